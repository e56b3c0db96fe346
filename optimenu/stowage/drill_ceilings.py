"""Prescribed ceilings while food is moved between dates: nothing is added that would break one."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date

    from optimenu.catalogue.item import Item
    from optimenu.problem.problem import Problem
    from optimenu.stowage.drill_question import Horizon

ZERO = Decimal(0)
RUNS = {"day": 1, "three_days": 3, "seven_days": 7}


class Ceilings:
    """Amounts of each person and date of the nutrients a physician has limited.

    Parameters
    ----------
    dates : every date that counts: the stay's, and those it is prolonged by.

    Notes
    -----
    A ceiling of a meal holds for all that is added on a date, as if it were one meal of its own; one of
    the stay is held over any dates asked for, its mean over all of them.
    """

    def __init__(self, problem: Problem, horizon: Horizon) -> None:
        self.problem = problem
        self.dates = sorted({*problem.dates, *horizon.dates})
        self._place = {w: k for k, w in enumerate(self.dates)}
        share = [problem.days[problem.sequence[k]].share for k in range(len(problem.dates))]
        self._share = share + [Decimal(1)] * (len(self.dates) - len(share))
        self._eaten: dict[tuple[int, str], list[Decimal]] = {}
        self._added: dict[tuple[int, str, int], Decimal] = defaultdict(lambda: ZERO)
        self._limits = {
            p: [
                (column, window, high)
                for column, bands in who.prescription.limits.items()
                for window, (_, high) in bands.items()
                if high is not None
            ]
            for p, who in enumerate(problem.people)
        }
        for p, limits in self._limits.items():
            for column, _, _ in limits:
                self._eaten[p, column] = [ZERO] * len(self.dates)

    def _amount(self, item: Item, column: str) -> Decimal | None:
        known = self.problem.amount(item, column)
        return known if known is not None else item.upper.get(column)

    def put(self, person: int, when: date, item: Item, count: int = 1, *, added: bool = False) -> None:
        """Count servings; a negative count takes them away again."""
        for column in {c for c, _, _ in self._limits[person]}:
            amount = count * (self._amount(item, column) or ZERO)
            self._eaten[person, column][self._place[when]] += amount
            if added:
                self._added[person, column, self._place[when]] += amount

    def room(self, person: int, when: date, item: Item) -> bool:
        """Tell whether one more serving keeps every prescribed ceiling; an unknown amount does not."""
        return all(
            self._keeps(person, when, item, column, window, high)
            for column, window, high in self._limits[person]
        )

    def _keeps(self, person: int, when: date, item: Item, column: str, window: str, high: Decimal) -> bool:
        more = self._amount(item, column)
        if more is None:
            return False
        at, n = self._place[when], len(self.dates)
        if window == "meal":
            return self._added[person, column, at] + more <= high
        eaten = self._eaten[person, column]
        given = self.problem.people[person].prescription.supplements.get(column, ZERO)
        if column == "WATER_g":
            given += self.problem.plain_water_ml
        size = min(RUNS.get(window, n), n)
        for first in range(max(0, at - size + 1), min(at, n - size) + 1):
            run = range(first, first + size)
            if sum((eaten[k] + given - high * self._share[k] for k in run), more) > 0:
                return False
        return True
