"""Rule: what must go together, and what never does."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field

from optimenu.program.origin import Origin
from optimenu.rules.base import Measure, Rule, SettingFault
from optimenu.rules.needs import Need
from optimenu.rules.which import Which
from optimenu.settings import Role, Settings, Whole, Word

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from optimenu.menu.tally import Entry, Tally
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits


class NeedTable(Settings):
    """Something that is eaten only with something else in the same meal."""

    these: Which
    """What needs a base."""
    base: Which
    """What it needs."""
    for_each: Annotated[Whole, Field(ge=1)] = 1
    """Servings that one serving of the base carries."""
    who: Role = "dietitian"
    """Who may loosen it."""


class ApartTable(Settings):
    """Two things that never go together."""

    these: Which
    """One thing."""
    those: Which
    """The other."""
    within: Literal["meal", "day"] = "meal"
    """Where they must not meet."""
    who: Role = "dietitian"
    """Who may loosen it."""


class PairingsSettings(Settings):
    """Pairings."""

    needs: dict[Word, NeedTable] = Field(default_factory=dict)
    """What needs a base, by a name of yours."""
    apart: dict[Word, ApartTable] = Field(default_factory=dict)
    """What is kept apart, by a name of yours."""


class Pairings(Rule[PairingsSettings]):
    """Pairings.

    What
        A spread needs its bread in the same meal; two things that do not go together never meet.
    Maths
        sum these <= for_each x sum base, for each person and meal; u[these] + u[those] <= 1 with u = 1
        when any serving is planned.
    When
        Every plan day.
    Source
        Kitchen sense; common practice, no source.
    """

    table: ClassVar[str] = "pairings"
    model: ClassVar[type[Settings]] = PairingsSettings
    example: ClassVar[str] = """
[pairings.needs.spread_on_bread]
these = { tags = ["spread"] }
base = { tags = ["bread_base"] }
[pairings.apart.fish_and_cocoa]
these = { main_ingredients = ["salmon"] }
those = { items = ["cocoa_drink"] }
within = "meal"
"""

    def faults(self) -> Iterable[SettingFault]:
        """Unknown names."""
        catalogue = self.problem.catalogue
        for name, need in self.settings.needs.items():
            yield from need.these.faults(catalogue, ("needs", name, "these"))
            yield from need.base.faults(catalogue, ("needs", name, "base"))
        for name, apart in self.settings.apart.items():
            yield from apart.these.faults(catalogue, ("apart", name, "these"))
            yield from apart.those.faults(catalogue, ("apart", name, "those"))

    def _places(self, within: str) -> Iterator[tuple[int, int, str]]:
        """Person, plan day and meal (empty: the whole day) in which things may meet."""
        for p in range(len(self.problem.people)):
            for day in self.problem.days:
                if within == "day":
                    yield p, day.number, ""
                else:
                    for meal in day.meals:
                        yield p, day.number, meal.name

    def _needs(self) -> list[Need]:
        return [
            Need("pairings", f"pairings.needs.{n}", n, t.these, t.base, t.for_each, t.who)
            for n, t in self.settings.needs.items()
        ]

    def _origin(self, name: str, p: int, day: int, meal: str, who: str) -> Origin:
        key = f"pairings.apart.{name}"
        return Origin("pairings", key, self.problem.people[p].id, day, meal, name, who=who)

    def write(self, page: Page) -> None:
        """One row per person, meal and pairing."""
        for need in self._needs():
            need.write(page)
        catalogue = self.problem.catalogue
        for name, apart in self.settings.apart.items():
            sides = apart.these.mask(catalogue), apart.those.mask(catalogue)
            for p, day, meal in self._places(apart.within):
                found = [page.of(p, (day,), meal=meal or None, items=s, certain=True) for s in sides]
                if all(len(f) for f in found):
                    origin = self._origin(name, p, day, meal, apart.who)
                    used = [
                        page.used(Origin(origin.rule, origin.key, origin.person, day, meal, f"{name} {k}"), f)
                        for k, f in enumerate(found)
                    ]
                    page.row(origin, np.asarray(used, dtype=np.int32), 1, high=Decimal(1))

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Count both sides of every pairing."""
        for need in self._needs():
            yield from need.measures(tally)
        for name, apart in self.settings.apart.items():
            for p, day, meal in self._places(apart.within):
                entries = [e for e in tally.on(p, day, meal or None) if e.certain]
                n = Decimal(self._met(entries, apart.these) + self._met(entries, apart.those))
                label = (
                    f"{self._where(p, day, meal)}: {apart.these.words()} and {apart.those.words()} together"
                )
                yield Measure(
                    self._origin(name, p, day, meal, apart.who), label, "kinds", n, n, high=Decimal(1)
                )

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Let each base carry more; what is kept apart stays so."""
        return self.more_for_each(origin, amount, low=low, word="base")

    def _met(self, entries: list[Entry], which: Which) -> int:
        return int(any(which.matches(e.item) for e in entries))

    def _where(self, p: int, day: int, meal: str) -> str:
        where = f"{self.problem.people[p].id}, {self.problem.days[day].label}"
        return f"{where}, {meal}" if meal else where
