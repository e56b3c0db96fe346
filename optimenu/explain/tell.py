"""One limit of a conflict, with all a person needs to find and change it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimenu.explain.board import refusal_grain
from optimenu.explain.words import label_of, measures_of_nothing, narrowest
from optimenu.measures import found as as_written
from optimenu.program.program import IMPLIED

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from decimal import Decimal
    from typing import Any

    from numpy.typing import NDArray

    from optimenu.explain.board import Board
    from optimenu.problem.problem import Problem
    from optimenu.program.origin import Origin
    from optimenu.rules.base import Refusal, Rule
    from optimenu.solve.subsets import Answer


@dataclass(frozen=True)
class Limit:
    """One promise that a person can find in the config and change.

    All hard rows of one config key, person and nutrient are one limit, whatever days, meals, items or
    stretches of dates they speak of. So is what a rule refuses by one entry: an allergy, a floor of
    acceptance, the lots of a load.

    Attributes
    ----------
    rule, key, person : str
        As in ``Origin``; person may be a party, or empty for the crew.
    what : str
        Nutrient, diet, allergen ... where one key speaks of several; else empty.
    who : str
        Who may loosen it: nobody, physician, dietitian, planner.
    where : str
        File and line of the key.
    label : str
        The promise in a dietitian's words, without numbers.
    low, high : Decimal or None
        Narrowest limits among its rows, as a person reads them; None where it has none or refuses only.
    unit : str
        Of both.
    written : str
        Value of the key as the config has it; empty where it is not written.
    origins : tuple of Origin
        Of its hard rows, each once, as ``build`` writes them.
    days : tuple of int
        Plan days that the proof leans on, rising; empty where it is not of single days.
    items : tuple of str
        Ids of the items whose rows or refusals the proof leans on; empty where it speaks of no items.
    refusals : int
        Pairings (party, day, meal, course, item) it refuses; 0 for a limit of rows alone.
    reason : str
        The rule's own words for the first of the refusals that matter; empty without.
    """

    rule: str
    key: str
    person: str
    what: str
    who: str
    where: str
    label: str
    low: Decimal | None = None
    high: Decimal | None = None
    unit: str = ""
    written: str = ""
    origins: tuple[Origin, ...] = ()
    days: tuple[int, ...] = ()
    items: tuple[str, ...] = ()
    refusals: int = 0
    reason: str = ""


class Teller:
    """Makes limits of a board's numbers."""

    def __init__(
        self,
        problem: Problem,
        rules: Sequence[Rule[Any]],
        board: Board,
        where: Callable[[str], str],
        written: Callable[[str], object],
    ) -> None:
        self.problem, self.rules, self.board = problem, rules, board
        self.where, self.written = where, written
        self.measures = measures_of_nothing(problem, rules)

    def limit(self, k: int, answer: Answer | None) -> Limit:
        """Return limit ``k``; the days and items are those that a proof leans on."""
        grain, owned = self.board.grains[k], self.board.owned
        program = owned.program
        mine = np.flatnonzero((owned.row_owner == k) & (program.row_kind != IMPLIED)).tolist()
        origins = tuple(dict.fromkeys(program.origins[r] for r in mine))
        measures = [self.measures[o] for o in origins if o in self.measures]
        low, high, unit = narrowest(measures)
        refused = np.asarray([k in s for s in owned.closing], dtype=bool)[owned.column_set]
        leans = refused & answer.leaning if answer is not None else refused
        first = self._refusal(k, leans if leans.any() else refused)
        days, items = self._leant_on(k, leans, answer)
        value = self.written(grain.key)
        return Limit(
            rule=grain.rule,
            key=grain.key,
            person=grain.person,
            what=grain.what,
            who=origins[0].who if origins else first.who if first else "dietitian",
            where=self.where(grain.key),
            label=label_of(self.problem, grain, measures),
            low=low,
            high=high,
            unit=unit,
            written="" if value is None or isinstance(value, dict) else as_written(value),
            origins=origins,
            days=days,
            items=items,
            refusals=int(refused.sum()),
            reason=first.text if first else "",
        )

    def _leant_on(
        self, k: int, leans: NDArray[np.bool_], answer: Answer | None
    ) -> tuple[tuple[int, ...], tuple[str, ...]]:
        """Plan days and items of the rows and refusals that a proof leans on."""
        program = self.board.program
        by_id = self.problem.catalogue.by_id
        days: set[int] = set()
        items: set[str] = set()
        if answer is not None:
            for r in (r for r in answer.multiplier if self.board.owned.row_owner[r] == k):
                origin = program.origins[r]
                days.update((origin.day,) if origin.day >= 0 else origin.run)
                # a limit of stock, or on uses, names its item first
                items.update(
                    {
                        w
                        for w in (origin.what, origin.what.split(" after ")[0], origin.what.split(",")[0])
                        if w in by_id
                    }
                )
            days.update(program.day[leans].tolist())
        items.update(self.problem.catalogue.items[i].id for i in np.unique(program.item[leans]).tolist())
        return tuple(sorted(days)), tuple(sorted(items))

    def _refusal(self, k: int, columns: NDArray[np.bool_]) -> Refusal | None:
        """What a rule says of the first of some servings that limit ``k`` refuses."""
        program, grain = self.board.program, self.board.grains[k]
        for c in np.flatnonzero(columns)[:1].tolist():
            day = self.problem.days[program.day[c]]
            meal = day.meals[program.meal[c]]
            party = self.problem.parties[program.party[c]]
            item = self.problem.catalogue.items[program.item[c]]
            for rule in self.rules:
                for why in rule.refusals(party, day, meal, meal.courses[program.course[c]], item):
                    if refusal_grain(rule, why) == grain:
                        return why
        return None

    def broken(self, near: NDArray[np.int64]) -> tuple[Limit, ...]:
        """Limits that a choice of servings (n_menu,) breaks, those with the most rows broken first."""
        program, owner = self.board.program, self.board.owned.row_owner
        rows = program.broken(program.complete(near))
        count = np.bincount(owner[rows][owner[rows] >= 0], minlength=len(self.board.grains))
        order = np.argsort(-count, kind="stable")
        return tuple(self.limit(k, None) for k in order.tolist() if count[k])
