"""How much of a nutrient is left when an item is eaten: the two tables of retention by age."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

from optimenu.nutrition.losses import FRESH_DAYS, RETENTION_DECIMALS, left, stored_nutrients, tag_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
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
        self._losses: dict[tuple[str, str], _Loss] = {}
        self._curves: dict[tuple[Decimal, bool], _Curve] = {}
        self._of_day: dict[tuple[str, int], list[Ages]] = {}
        self._fresh = _Fresh()
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
        return self._of(item, tag_of()[column], [(old, young)])[0]

    def _of(self, item: Item, tag: str, ages: Sequence[Ages]) -> list[tuple[Decimal, Decimal, bool]]:
        if stored_nutrients()[tag].parts and (item.id, tag) not in self.storage.rates:
            return self._vitamin_a(item, ages)
        loss = self._loss(item, tag)
        return [(loss.low[old], loss.high[young], loss.stated or old <= FRESH_DAYS) for old, young in ages]

    def _loss(self, item: Item, tag: str) -> _Loss:
        key = (item.id, tag)
        if key not in self._losses:
            # a rate stated for vitamin A as a whole speaks of both its parts
            whole = self.storage.rates.get((item.id, WHOLE)) if tag in (RETINOL, CAROTENE) else None
            rate = self.storage.rates.get(key, whole)
            if rate is None:
                strict = stored_nutrients()[tag].strict
                self._losses[key] = _Loss(
                    self._fresh if strict else self._curve(ZERO), self._curve(ZERO), not strict
                )
            else:
                low = self._fresh if rate.fast is None else self._curve(rate.fast)
                self._losses[key] = _Loss(low, self._curve(rate.slow, up=True), rate.fast is not None)
        return self._losses[key]

    def _curve(self, per_month: Decimal, *, up: bool = False) -> _Curve:
        """One curve for every rate, since few rates serve many items."""
        return self._curves.setdefault((per_month, up), _Curve(per_month, up=up))

    def _vitamin_a(self, item: Item, ages: Sequence[Ages]) -> list[tuple[Decimal, Decimal, bool]]:
        """Vitamin A as retinol and carotenes; where retinol is not stated, each end takes the worse."""
        both = zip(self._of(item, RETINOL, ages), self._of(item, CAROTENE, ages), strict=True)
        whole, preformed = item.amount("VITA_RAE_ug"), item.amount("RETOL_ug")
        if whole is None or preformed is None:
            return [(min(a[0], b[0]), max(a[1], b[1]), a[2] and b[2]) for a, b in both]
        # labels are rounded, so the part may come out above the whole
        part = min(preformed / whole, ONE) if whole else ONE
        rest = 1 - part
        return [
            (
                (part * a[0] + rest * b[0]).quantize(_STEP, ROUND_FLOOR),
                (part * a[1] + rest * b[1]).quantize(_STEP, ROUND_CEILING),
                (a[2] or not part) and (b[2] or not rest),
            )
            for a, b in both
        ]

    def share(self, item: Item, column: str, day: int) -> Share:
        """Return what is left of a nutrient on the plan days of a day's class."""
        first = self.of_class(day)
        key = (item.id, tag_of()[column], first)
        if key not in self._shares:
            self._shares[key] = self._share(item, key[1], self._days[first])
        return self._shares[key]

    def _share(self, item: Item, tag: str, days: list[int]) -> Share:
        lows, highs, low_sums, high_sums, known = [], [], [], [], True
        for number in days:
            low, high, sure = zip(*self._of(item, tag, self._ages_on(item, number)), strict=True)
            if not self.problem.days[number].eaten:
                low, high = low[-1:], high[:1]
            lows.append(min(low))
            highs.append(max(high))
            low_sums.append(sum(low, ZERO))
            high_sums.append(sum(high, ZERO))
            known = known and all(sure)
        return Share(min(lows), max(highs), min(low_sums), max(high_sums), known)

    def _ages_on(self, item: Item, number: int) -> list[Ages]:
        """Ages on the dates of a plan day; of a reserve day on the first and the last date of the stay."""
        key = (item.id, number)
        if key not in self._of_day:
            problem, day = self.problem, self.problem.days[number]
            if day.eaten:
                found = [self.ages(item, problem.load_on(w), w) for w in day.dates]
            else:
                found = [self.ages(item, 0, w) for w in (problem.dates[0], problem.dates[-1])]
            self._of_day[key] = found
        return self._of_day[key]


class _Curve(dict[int, Decimal]):
    """What is left by age in days, worked out as it is asked for."""

    def __init__(self, per_month: Decimal, *, up: bool) -> None:
        super().__init__()
        self._rate, self._up = per_month, up

    def __missing__(self, days: int) -> Decimal:
        self[days] = part = left(self._rate, days, up=self._up)
        return part


class _Fresh(dict[int, Decimal]):
    """All while young, nothing after: what counts of a nutrient of unknown loss."""

    def __missing__(self, days: int) -> Decimal:
        self[days] = part = ONE if days <= FRESH_DAYS else ZERO
        return part


@dataclass(frozen=True)
class _Loss:
    """How an item loses a nutrient: by age at least, at most, and whether the loss is stated."""

    low: dict[int, Decimal]
    high: dict[int, Decimal]
    stated: bool
