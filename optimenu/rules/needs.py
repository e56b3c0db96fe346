"""What is eaten only with a base in the same meal: shared by pairings and condiments."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.origin import Origin
from optimenu.rules.base import Measure

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.menu.tally import Tally
    from optimenu.problem.problem import Problem
    from optimenu.program.page import Page
    from optimenu.rules.which import Which


@dataclass(frozen=True)
class Need:
    """These are served only with a base: sum these <= for_each x sum base, in each meal of each person."""

    rule: str
    key: str
    name: str
    these: Which
    base: Which
    for_each: int
    who: str

    def _places(self, problem: Problem) -> Iterator[tuple[int, int, str, Origin]]:
        for p, person in enumerate(problem.people):
            for day in problem.days:
                for meal in day.meals:
                    origin = Origin(
                        self.rule, self.key, person.id, day.number, meal.name, self.name, who=self.who
                    )
                    yield p, day.number, meal.name, origin

    def write(self, page: Page) -> None:
        """One row per person, day and meal in which these could be served."""
        catalogue = page.problem.catalogue
        these, base = self.these.mask(catalogue), self.base.mask(catalogue)
        weight = these.astype(np.int64) - self.for_each * base.astype(np.int64)
        for p, day, meal, origin in self._places(page.problem):
            cols = page.of(p, (day,), meal=meal, items=these | base, certain=True)
            if these[page.item[cols]].any():
                page.row(origin, cols, weight[page.item[cols]], high=Decimal(0))

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Servings of these beyond what the base carries."""
        problem = tally.problem
        for p, day, meal, origin in self._places(problem):
            n = Decimal(0)
            for e in tally.on(p, day, meal):
                if e.certain:
                    carries = self.for_each * int(self.base.matches(e.item))
                    n += e.count * (int(self.these.matches(e.item)) - carries)
            where = f"{problem.people[p].id}, {problem.days[day].label}, {meal}"
            label = f"{where}: {self.these.words()} without {self.base.words()}"
            yield Measure(origin, label, "servings", n, n, high=Decimal(0))

    def edit(self) -> str:
        """Return the change of the config that lets more through."""
        return f"raise {self.key}.for_each, or take {self.key} out"
