"""Who may eat what: packs of others are given only where every rule of safety lets them be."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from optimenu.crew.acceptance import Acceptance
from optimenu.rules.avoid import Avoid, AvoidSettings
from optimenu.rules.hours import FoodsAndHours, HoursSettings
from optimenu.stowage.drill_loss import must_be_hot

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

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
        self._asked: tuple[Rule[Any], ...] = (
            Avoid(AvoidSettings(), replace(problem, acceptance=liked)),
            FoodsAndHours(HoursSettings(), problem),
            *(r for r in rules if r.table not in NOT_OF_SAFETY),
        )
        # on a day without a heater, what must be hot is unsafe
        self._galley = tuple(r for r in rules if r.table == "galley")
        self._tastes = [r for r in rules if r.table == "avoid"]
        self._known: dict[tuple[int, str, int, tuple[str, ...]], bool] = {}
        self._liked: dict[tuple[int, str], bool] = {}

    def may(self, person: int, item: Item, day: PlanDay | None, when: date) -> bool:
        """Tell whether a person may be given an item on a date, at whatever hour of it.

        Parameters
        ----------
        day : PlanDay or None
            Plan day of the date; of a date beyond the stay the one that would come, if any.
        """
        like = day or self.problem.days[0]
        fasts = tuple(f.name for f in self.problem.people[person].prescription.fasts_on((when,)))
        key = (person, item.id, like.number, fasts)
        if key not in self._known:
            party = self.problem.parties[self.problem.alone[person]]
            # a plan day comes on many dates; a fast is kept on those it names
            here = replace(like, dates=(when,))
            asked = (*self._asked, *(self._galley if must_be_hot(item) else ()))
            self._known[key] = all(r.allow(party, here, None, None, item) is None for r in asked)
        return self._known[key]

    def from_pack(self, person: int, owner: int, item: Item) -> bool:
        """Tell whether a person may draw on a pack of another's plan.

        A pack of several that other hands are in is as unknown as their plates: nobody severely allergic
        draws on another's, and nobody else on theirs.
        """
        if person == owner or item.servings_per_pack == 1:
            return True
        return not any(self.problem.people[p].prescription.severe for p in (person, owner))

    def likes(self, person: int, item: Item) -> bool:
        """Tell whether the person would take it by choice."""
        key = (person, item.id)
        if key not in self._liked:
            party, day = self.problem.parties[self.problem.alone[person]], self.problem.days[0]
            self._liked[key] = all(r.allow(party, day, None, None, item) is None for r in self._tastes)
        return self._liked[key]
