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

    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.problem import Problem
    from optimenu.program.page import Page
    from optimenu.rules.which import Which


@dataclass(frozen=True)
class Need:
    """These are served only with a base: sum these <= for_each x sum base, in each meal of each person.

    Nothing is its own base. ``courses``: where a base counts; every course when empty.
    """

    rule: str
    key: str
    name: str
    these: Which
    base: Which
    for_each: int
    who: str
    courses: tuple[str, ...] = ()

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
        for p, day, meal, origin in self._places(page.problem):
            served = page.of(p, (day,), meal=meal, items=these, certain=True)
            if not len(served):
                continue
            courses = self.courses or None
            carrying = page.of(p, (day,), meal=meal, courses=courses, items=base & ~these, certain=True)
            weights = np.concatenate((np.ones(len(served)), np.full(len(carrying), -self.for_each)))
            page.row(origin, np.concatenate((served, carrying)), weights.astype(np.int64), high=Decimal(0))

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Servings of these beyond what the base carries."""
        problem = tally.problem
        for p, day, meal, origin in self._places(problem):
            n = Decimal(0)
            for e in tally.on(p, day, meal):
                if e.certain and self.these.matches(e.item):
                    n += e.count
                elif e.certain and self.base.matches(e.item) and self._counts(e):
                    n -= self.for_each * e.count
            where = f"{problem.people[p].id}, {problem.days[day].label}, {meal}"
            label = f"{where}: {self.these.words()} without {self.base.words()}"
            yield Measure(origin, label, "servings", n, n, high=Decimal(0))

    def _counts(self, e: Entry) -> bool:
        return not self.courses or (e.course is not None and e.course.name in self.courses)
