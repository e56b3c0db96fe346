"""How much of a nutrient is left when an item is eaten: the two tables of retention by age."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

from optimenu.nutrition.losses import FRESH_DAYS, RETENTION_DECIMALS, left, stored_nutrients, tag_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from optimenu.catalogue.item import Item
    from optimenu.catalogue.stock import StockRow
    from optimenu.nutrition.losses import Rate
    from optimenu.problem.problem import Problem

ZERO, ONE = Decimal(0), Decimal(1)
_STEP = ONE.scaleb(-RETENTION_DECIMALS)
RETINOL, CAROTENE, WHOLE = "RETOL", "CARTB", "VITA_RAE"
Ages = tuple[int, int]
"""Most and least days since production."""


@dataclass(frozen=True)
class Storage:
    """How food is kept, and what it loses.

    Attributes
    ----------
    temperature_c : Decimal
        Temperature of storage, deg C.
    produced_days_before : int
        Most days before the arrival of its load on which food that no lot lists was produced.
    rates : mapping of (item id, nutrient tag) to Rate
        Where one is stated or published.
    """

    temperature_c: Decimal
    produced_days_before: int
    rates: Mapping[tuple[str, str], Rate]


@dataclass(frozen=True)
class Share:
    """Parts of a nutrient left, for the days of one class.

    Attributes
    ----------
    low, high : Decimal
        Of a serving, on whichever date of the class it is least and most.
    low_sum, high_sum : Decimal
        Summed over the dates of whichever day of the class it is least and most.
    known : bool
        Whether a rate is known, or the food is young enough on every date.
    """

    low: Decimal
    high: Decimal
    low_sum: Decimal
    high_sum: Decimal
    known: bool


class Retention:
    """The lower and the upper table of retention, read at ages on the dates of the plan.

    Notes
    -----
    The lower table, for floors, takes the oldest lot that may still be eaten on a date, the upper one, for
    ceilings, the youngest. Days of one class are interchangeable, so they share the extreme of all their
    dates; the mean over a stay sums over the dates of each day, and then takes the extreme over the class.
    A reserve day may come on any date: the last for floors, the first for ceilings.
    """

    def __init__(self, problem: Problem, storage: Storage) -> None:
        self.problem = problem
        self.storage = storage
        self._lots: dict[tuple[str, int], list[StockRow]] = {}
        numbers = {load.name: k for k, load in enumerate(problem.loads)}
        for row in problem.stock or ():
            load = numbers.get(row.load)
            if load is not None and row.usable(problem.loads[load].arrives):
                self._lots.setdefault((row.item, load), []).append(row)
        self._ages: dict[tuple[str, int, date], Ages] = {}
        self._shares: dict[tuple[str, str, int], Share] = {}
        self._first: dict[object, int] = {}
        self._days: dict[int, list[int]] = {}
        for number, kind in enumerate(problem.day_class):
            self._days.setdefault(self._first.setdefault(kind, number), []).append(number)

    def of_class(self, day: int) -> int:
        """Return the first plan day of the class of a plan day."""
        return self._first[self.problem.day_class[day]]

    @staticmethod
    def may_change(column: str) -> bool:
        """Tell whether a nutrient column may change in storage at all."""
        return column in tag_of()

    def ages(self, item: Item, load: int, when: date) -> Ages:
        """Return the most and the least days since production of what may be eaten from a load on a date."""
        key = (item.id, load, when)
        if key not in self._ages:
            lots = self._lots.get((item.id, load), [])
            # a lot past its use-by date is not eaten; where all are, the item is refused anyway
            dates = [r.production_date for r in lots if r.use_by is not None and r.use_by >= when]
            dates = dates or [r.production_date for r in lots]
            if dates:
                old, young = ((when - d).days for d in (min(dates), max(dates)))
            else:
                young = (when - self.problem.loads[load].arrives).days
                old = young + self.storage.produced_days_before
            self._ages[key] = max(old, 0), max(young, 0)
        return self._ages[key]

    def on(
        self, item: Item, column: str, when: date, load: int | None = None
    ) -> tuple[Decimal, Decimal, bool]:
        """Return the least and the most that is left on a date, four decimals, and whether that is known."""
        at = self.problem.load_on(when) if load is None else load
        return self.at_age(item, column, *self.ages(item, at, when))

    def at_age(self, item: Item, column: str, old: int, young: int) -> tuple[Decimal, Decimal, bool]:
        """Return the same for packs of at most and at least so many days."""
        tag = tag_of()[column]
        if stored_nutrients()[tag].parts and (item.id, tag) not in self.storage.rates:
            return self._vitamin_a(item, old, young)
        return self._one(item, tag, old, young)

    def _one(self, item: Item, tag: str, old: int, young: int) -> tuple[Decimal, Decimal, bool]:
        # a rate stated for vitamin A as a whole speaks of both its parts
        whole = self.storage.rates.get((item.id, WHOLE)) if tag in (RETINOL, CAROTENE) else None
        rate = self.storage.rates.get((item.id, tag), whole)
        if rate is None and not stored_nutrients()[tag].strict:
            return ONE, ONE, True
        fast = rate.fast if rate is not None else None
        high = left(rate.slow, young, up=True) if rate is not None else ONE
        if fast is None:
            return ONE if old <= FRESH_DAYS else ZERO, high, old <= FRESH_DAYS
        return left(fast, old, up=False), high, True

    def _vitamin_a(self, item: Item, old: int, young: int) -> tuple[Decimal, Decimal, bool]:
        """Vitamin A as retinol and carotenes; where retinol is not stated, each end takes the worse."""
        retinol, carotene = (self._one(item, tag, old, young) for tag in (RETINOL, CAROTENE))
        whole, preformed = item.amount("VITA_RAE_ug"), item.amount("RETOL_ug")
        if whole is None or preformed is None:
            known = retinol[2] and carotene[2]
            return min(retinol[0], carotene[0]), max(retinol[1], carotene[1]), known
        # labels are rounded, so the part may come out above the whole
        part = min(preformed / whole, ONE) if whole else ONE
        low = (part * retinol[0] + (1 - part) * carotene[0]).quantize(_STEP, ROUND_FLOOR)
        high = (part * retinol[1] + (1 - part) * carotene[1]).quantize(_STEP, ROUND_CEILING)
        return low, high, (retinol[2] or not part) and (carotene[2] or part == 1)

    def share(self, item: Item, column: str, day: int) -> Share:
        """Return what is left of a nutrient on the plan days of a day's class."""
        first = self.of_class(day)
        key = (item.id, column, first)
        if key not in self._shares:
            self._shares[key] = self._share(item, column, self._days[first])
        return self._shares[key]

    def _share(self, item: Item, column: str, days: list[int]) -> Share:
        problem = self.problem
        lows, highs, low_sums, high_sums, known = [], [], [], [], True
        for number in days:
            day = problem.days[number]
            if day.eaten:
                found = [self.on(item, column, when) for when in day.dates]
            else:
                last = self.on(item, column, problem.dates[-1], 0)
                found = [(last[0], self.on(item, column, problem.dates[0], 0)[1], last[2])]
            lows += [low for low, _, _ in found]
            highs += [high for _, high, _ in found]
            low_sums.append(sum((low for low, _, _ in found), ZERO))
            high_sums.append(sum((high for _, high, _ in found), ZERO))
            known = known and all(sure for _, _, sure in found)
        return Share(min(lows), max(highs), min(low_sums), max(high_sums), known)
