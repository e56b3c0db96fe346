"""Prescriptions while food is moved between dates: nothing is added that would break one."""

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
DOSE = "servings of "
"""Before the name of an allergen: a count of servings, among columns of nutrients."""
RUNS = {"day": 1, "three_days": 3, "seven_days": 7}


class Ceilings:
    """Amounts of each person and date of the nutrients a physician has limited.

    Parameters
    ----------
    dates : every date that counts: the stay's, and those it is prolonged by.

    Notes
    -----
    A ceiling of a meal holds for all that is added on a date, as if it were one meal of its own; one of
    the stay is held over any dates asked for, its mean over all of them. Servings a day that are borne of
    an allergen are counted alike. A prescribed step between dates is not made larger than allowed, and what
    is to be kept apart from other food by hours is not moved at all, since what is added has no hour. Amounts
    are those at production, which no loss in storage exceeds.
    """

    def __init__(self, problem: Problem, horizon: Horizon) -> None:
        self.problem = problem
        self.dates = sorted({*problem.dates, *horizon.dates})
        self._place = {w: k for k, w in enumerate(self.dates)}
        share = [problem.days[problem.sequence[k]].share for k in range(len(problem.dates))]
        self._share = share + [Decimal(1)] * (len(self.dates) - len(share))
        self._given = [self._plain(w, horizon) for w in self.dates]
        self._eaten: dict[tuple[int, str], list[Decimal]] = {}
        self._added: dict[tuple[int, str, int], Decimal] = defaultdict(lambda: ZERO)
        self._columns: dict[int, list[str]] = {}
        self._limits: dict[int, list[tuple[str, str, Decimal]]] = {
            p: [
                (column, window, high)
                for column, bands in who.prescription.limits.items()
                for window, (_, high) in bands.items()
                if high is not None
            ]
            for p, who in enumerate(problem.people)
        }
        for p, who in enumerate(problem.people):
            script = who.prescription
            self._limits[p] += [
                (f"{DOSE}{a}", "day", Decimal(most)) for a, most in script.intolerances.items()
            ]
            self._columns[p] = sorted({c for c, _, _ in self._limits[p]} | set(script.steps))
            for column in self._columns[p]:
                self._eaten[p, column] = [ZERO] * len(self.dates)

    def _plain(self, when: date, horizon: Horizon) -> Decimal:
        return horizon.plain_ml(when) / len(self.problem.people)

    def _amount(self, item: Item, column: str) -> Decimal | None:
        if column.startswith(DOSE):
            return Decimal(item.allergen(column.removeprefix(DOSE)) != "free")
        known = self.problem.amount(item, column)
        return known if known is not None else item.upper.get(column)

    def put(self, person: int, when: date, item: Item, count: int = 1, *, added: bool = False) -> None:
        """Count servings; a negative count takes them away again."""
        for column in self._columns[person]:
            amount = count * (self._amount(item, column) or ZERO)
            self._eaten[person, column][self._place[when]] += amount
            if added:
                self._added[person, column, self._place[when]] += amount

    def room(self, person: int, when: date, item: Item) -> bool:
        """Tell whether one more serving keeps every prescribed ceiling; an unknown amount does not."""
        script = self.problem.people[person].prescription
        if any(pair.these.matches(item) or pair.those.matches(item) for pair in script.apart.values()):
            return False
        limits = self._limits[person]
        return all(self._keeps(person, when, item, *limit) for limit in limits) and all(
            self._steps(person, when, self._amount(item, column), column, most)
            for column, most in script.steps.items()
        )

    def spares(self, person: int, when: date, item: Item) -> bool:
        """Tell whether a serving may be taken away and no prescribed step grows too large."""
        steps = self.problem.people[person].prescription.steps
        return all(
            self._steps(person, when, None if (a := self._amount(item, column)) is None else -a, column, most)
            for column, most in steps.items()
        )

    def _steps(self, person: int, when: date, more: Decimal | None, column: str, most: Decimal) -> bool:
        if more is None:
            return False
        at, eaten = self._place[when], self._eaten[person, column]
        given = self._given if column == "WATER_g" else [ZERO] * len(self.dates)
        new, old = eaten[at] + given[at] + more, eaten[at] + given[at]
        for k in (at - 1, at + 1):
            if 0 <= k < len(self.dates) and self._share[at] == self._share[k] == 1:
                beside = eaten[k] + given[k]
                if abs(new - beside) > most and abs(new - beside) > abs(old - beside):
                    return False
        return True

    def _keeps(self, person: int, when: date, item: Item, column: str, window: str, high: Decimal) -> bool:
        more = self._amount(item, column)
        if more is None:
            return False
        at, n = self._place[when], len(self.dates)
        if window == "meal":
            return self._added[person, column, at] + more <= high
        eaten = self._eaten[person, column]
        given = self.problem.people[person].prescription.supplements.get(column, ZERO)
        size = min(RUNS.get(window, n), n)
        plain = self._given if column == "WATER_g" else [ZERO] * n
        # servings borne of an allergen are so many on a short day too
        share = [Decimal(1)] * n if column.startswith(DOSE) else self._share
        for first in range(max(0, at - size + 1), min(at, n - size) + 1):
            run = range(first, first + size)
            if sum((eaten[k] + given + plain[k] - high * share[k] for k in run), more) > 0:
                return False
        return True
