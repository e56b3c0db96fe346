"""Who may eat what: packs of others are given only where every rule of safety lets them be."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from optimenu.crew.acceptance import Acceptance
from optimenu.rules.avoid import Avoid, AvoidSettings
from optimenu.rules.hours import FoodsAndHours, HoursSettings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.catalogue.item import Item
    from optimenu.problem.calendar import PlanDay
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Rule

NOT_OF_SAFETY = frozenset(
    {"meals", "stock", "stowage", "reserve", "repeats", "variety", "requests", "condiments", "pairings",
     "water", "galley", "avoid", "hours"}
)  # fmt: skip
"""Rules that say where a serving stands in a plan, and two that are asked without the config's wishes. Any
other rule, a new one too, is asked about safety as it stands."""
BEST = Decimal(9)


class Safety:
    """Answers for one problem; what it was asked is kept.

    Notes
    -----
    Allergies, diets and exclusions are asked of the rule ``avoid`` with everything liked, so that only
    what is unsafe is refused; whether a person likes it is asked apart. Of the hours only those prescribed
    count, since a ration names no meal: coffee is not unsafe for being late.
    """

    def __init__(self, problem: Problem, rules: Sequence[Rule[Any]]) -> None:
        self.problem = problem
        liked = {
            (p.id, i.id): Acceptance(BEST, estimated=False)
            for p in problem.people
            for i in problem.catalogue.items
        }
        self._asked: list[Rule[Any]] = [
            Avoid(AvoidSettings(), replace(problem, acceptance=liked)),
            FoodsAndHours(HoursSettings(), problem),
            *(r for r in rules if r.table not in NOT_OF_SAFETY),
        ]
        self._tastes = [r for r in rules if r.table == "avoid"]
        self._known: dict[tuple[int, str, int], bool] = {}
        self._liked: dict[tuple[int, str], bool] = {}

    def may(self, person: int, item: Item, day: PlanDay | None) -> bool:
        """Tell whether a person may be given an item on a plan day; None: on no planned date."""
        when = day or self.problem.days[0]
        key = (person, item.id, when.number)
        if key not in self._known:
            party = self.problem.parties[self.problem.alone[person]]
            self._known[key] = all(r.allow(party, when, None, None, item) is None for r in self._asked)
        return self._known[key]

    def likes(self, person: int, item: Item) -> bool:
        """Tell whether the person would take it by choice."""
        key = (person, item.id)
        if key not in self._liked:
            party, day = self.problem.parties[self.problem.alone[person]], self.problem.days[0]
            self._liked[key] = all(r.allow(party, day, None, None, item) is None for r in self._tastes)
        return self._liked[key]
