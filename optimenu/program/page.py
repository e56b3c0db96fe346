"""What a rule writes on: columns to choose from, rows to add; numbers only."""

from __future__ import annotations

from collections import defaultdict
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.problem.opening import drawers, spans
from optimenu.program.builder import Builder, decimals_of, scaled
from optimenu.program.origin import Origin
from optimenu.program.program import ANY, CEIL, HARD, IMPLIED, ORDINARY

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Hashable, Mapping, Sequence
    from datetime import date

    from numpy.typing import NDArray

    from optimenu.problem.opening import Block
    from optimenu.problem.problem import Problem

    Columns = NDArray[np.int32]

GOAL_DECIMALS = 18
"""Worth has six decimals, the price of a person's worth twelve."""
SOFT_PRICE_DECIMALS = 12
"""Of a soft limit's price for one unit; so rows may carry six decimals and stay exact."""


class Page:
    """The program under construction, as rules see it.

    All coefficients are whole numbers at a stated number of decimals; limits are decimals.

    Parameters
    ----------
    labels : int32 (n_menu, 5)
        Party, day, meal, course and item of every serving column.
    sift : callable of (Origin, bool), optional
        Whether a row is written, soft or not; all are without it.
    """

    def __init__(
        self,
        problem: Problem,
        builder: Builder,
        labels: NDArray[np.int32],
        sift: Callable[[Origin, bool], bool] | None = None,
    ) -> None:
        self.problem = problem
        self._sift = sift
        self.builder = builder
        self.party, self.day, self.meal, self.course, self.item = (labels[:, k] for k in range(5))
        self.certain = np.frombuffer(bytes(builder.certain), dtype=bool)
        self.high = np.array(builder.high, dtype=np.int64)
        left = np.flatnonzero(~self.certain)
        self._first_optional = int(left[0]) if len(left) else 1 << 31
        classes: dict[Hashable, int] = {}
        self._class_of_day = [classes.setdefault(c, len(classes)) for c in problem.day_class]
        self._dated = frozenset(d.number for d in problem.days if d.block == "dated")
        self._names: dict[str, int] = {}
        self._meal_name, self._course_name = self._named()
        self._of_person_day = self._index()
        self._known: dict[tuple[int | None, tuple[int, ...]], Columns] = {}
        self._heads = np.asarray([len(p.members) for p in problem.parties], dtype=np.int64)
        self._packs: dict[Hashable, tuple[Columns, NDArray[np.int64]]] = {}
        self._opened: dict[Hashable, tuple[Columns, NDArray[np.int32], NDArray[np.int64]]] = {}
        self._of_drawers = self._index_drawers()
        self._caps: dict[tuple[int, int], int] = {}
        self.capped: list[tuple[int, int, int, Origin]] = []
        """Person, item, most uses, and the one limit they follow from."""

    def _name(self, word: str) -> int:
        return self._names.setdefault(word, len(self._names))

    def _named(self) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        # numbers of meals and courses count within a day; names are the same on every day
        days = self.problem.days
        most_meals = max((len(d.meals) for d in days), default=0)
        most_courses = max((len(m.courses) for d in days for m in d.meals), default=0)
        table = np.full((len(days), most_meals + 1, most_courses + 1, 2), -1, dtype=np.int32)
        for d, day in enumerate(days):
            for m, meal in enumerate(day.meals):
                for k, course in enumerate(meal.courses):
                    table[d, m, k] = self._name(meal.name), self._name(course.name)
        # the last place stands for -1: no meal, no course
        names = table[self.day, self.meal, self.course]
        return names[:, 0], names[:, 1]

    def _index(self) -> Mapping[tuple[int, int], Columns]:
        found: dict[tuple[int, int], list[Columns]] = defaultdict(list)
        place = self.party.astype(np.int64) * len(self.problem.days) + self.day
        for cols in _alike(place):
            for person in self.problem.parties[self.party[cols[0]]].members:
                found[person, int(self.day[cols[0]])].append(cols)
        return {key: np.sort(np.concatenate(parts)) for key, parts in found.items()}

    def _index_drawers(self) -> Mapping[int, Mapping[tuple[int, ...], Columns]]:
        """Columns by item and people who draw on its packs."""
        found: dict[int, dict[tuple[int, ...], list[Columns]]] = defaultdict(lambda: defaultdict(list))
        items = self.problem.catalogue.items
        for cols in _alike(self.party.astype(np.int64) * len(items) + self.item):
            party, k = self.problem.parties[self.party[cols[0]]], int(self.item[cols[0]])
            found[k][drawers(self.problem, party, items[k])].append(cols)
        return {
            k: {people: np.sort(np.concatenate(parts)) for people, parts in groups.items()}
            for k, groups in found.items()
        }

    def of(
        self,
        person: int | None = None,
        days: Collection[int] | None = None,
        *,
        meal: str | None = None,
        courses: Collection[str] | None = None,
        items: NDArray[np.bool_] | None = None,
        certain: bool | None = None,
    ) -> Columns:
        """Serving columns that feed a person (or anyone), on some plan days, rising.

        Parameters
        ----------
        items : bool (number of items,), optional
            Items meant.
        meal, courses : optional
            Names; an allowance belongs to no meal and no course.
        """
        wanted = range(len(self.problem.days)) if days is None else sorted(set(days))
        cols = self._of_days(person, tuple(wanted))
        if items is not None:
            cols = cols[items[self.item[cols]]]
        if certain is not None:
            cols = cols[self.certain[cols] == certain]
        if meal is not None:
            cols = cols[self._meal_name[cols] == self._name(meal)]
        if courses is not None:
            # one place more, for the -1 of an allowance, which belongs to no course
            meant = np.zeros(len(self._names) + len(courses) + 1, dtype=bool)
            meant[[self._name(c) for c in courses]] = True
            cols = cols[meant[self._course_name[cols]]]
        return cols

    def _of_days(self, person: int | None, days: tuple[int, ...]) -> Columns:
        """Columns that feed a person, or anyone, on plan days; asked again and again, so kept."""
        if (person, days) not in self._known:
            people = range(len(self.problem.people)) if person is None else (person,)
            index = self._of_person_day
            parts = [index[p, d] for p in people for d in days if (p, d) in index]
            cols: Columns = np.zeros(0, dtype=np.int32)
            if len(parts) == 1:
                cols = parts[0]
            elif parts:
                cols = np.sort(np.concatenate(parts))
                # a shared dish was met once for each member
                cols = cols[np.concatenate(([True], cols[1:] > cols[:-1]))]
            self._known[person, days] = cols
        return self._known[person, days]

    def row(
        self,
        origin: Origin,
        columns: Columns,
        coefs: NDArray[np.int64] | int,
        *,
        low: Decimal | None = None,
        high: Decimal | None = None,
        decimals: int = 0,
        soft: Decimal | None = None,
        implied: bool = False,
    ) -> None:
        """Add low <= sum coefs x <= high.

        Parameters
        ----------
        coefs : int64
            Whole numbers at ``decimals``.
        soft : Decimal, optional
            Price, in mean liking, of one unit outside the limits.

        Notes
        -----
        Rows alike but for the cycle's days in the run, or for a day of the same class, are merged in the
        bound.
        An optional serving counts at whichever end, none or all, is worse for each side; where that
        differs, the two sides become two rows.
        """
        if self._sift is not None and not self._sift(origin, soft is not None):
            return
        need = max(decimals, decimals_of([v for v in (low, high) if v is not None]))
        factor = 10 ** (need - decimals)
        if isinstance(coefs, int):
            vals = np.full(len(columns), coefs * factor, dtype=np.int64)
        else:
            vals = np.asarray(coefs, dtype=np.int64)
            if factor != 1:
                vals = vals * factor
        lo = None if low is None else scaled(low, need)
        hi = None if high is None else scaled(high, need)
        price = HARD
        if soft is not None:
            price = scaled(soft_price(soft), self.builder.goal_decimals - need)
        merge = self._kin(origin)
        kind = IMPLIED if implied else ORDINARY
        sides: list[tuple[str, int | None, int | None, NDArray[np.bool_] | None]] = [("both", lo, hi, None)]
        optional = self._optional_among(columns)
        if optional is not None and (optional & (vals != 0)).any():
            sides = [("low", lo, None, optional & (vals > 0)), ("high", None, hi, optional & (vals < 0))]
        for side, least, most, drop in sides:
            if least is None and most is None:
                continue
            cols, coef = (columns, vals) if drop is None else (columns[~drop], vals[~drop])
            self.builder.row(
                origin,
                cols,
                coef,
                low=least,
                high=most,
                decimals=need,
                price=price,
                kind=kind,
                merge=(*merge, side),
            )

    def count(self, origin: Origin, columns: Columns, most: int) -> None:
        """Add sum x <= most over planned servings, each named once: the plainest row, and by far the most."""
        if self._sift is not None and not self._sift(origin, False):
            return
        self.builder.count_row(origin, columns, most, (*self._kin(origin), "both"))

    def _kin(self, origin: Origin) -> tuple[object, ...]:
        """What rows that are merged in the bound have in common."""
        day = -1 if origin.day < 0 else self._class_of_day[origin.day]
        # a day planned by itself is in few runs: summed with the cycle's it would be lost among them
        own = tuple(d for d in origin.run if d in self._dated) if self._dated else ()
        return (origin.rule, origin.key, origin.person, origin.meal, origin.what, day, own)

    def _optional_among(self, columns: Columns) -> NDArray[np.bool_] | None:
        """Which columns are servings that may be left, bool (n,); None where none is."""
        if not len(columns) or int(columns.max()) < self._first_optional:
            return None
        inner = columns < len(self.certain)
        optional = np.zeros(len(columns), dtype=bool)
        optional[inner] = ~self.certain[columns[inner]]
        return optional

    def used(self, origin: Origin, columns: Columns) -> int:
        """Add a column that is 1 when any of these servings is planned, else 0; return its number."""
        day = -1 if origin.day < 0 else self._class_of_day[origin.day]
        merge = ("used", origin.rule, origin.key, origin.person, origin.meal, origin.what, day)
        return self.builder.extra(
            ANY, columns, np.ones(len(columns), dtype=np.int64), origin=origin, merge=merge
        )

    def packs(
        self, item: int, load: int, block: Block, *, after: date | None = None, overwraps: bool = False
    ) -> tuple[Columns, NDArray[np.int64]]:
        """Packs (or overwraps) of an item that everybody opens from a load: columns, whole coefficients.

        Parameters
        ----------
        after : date, optional
            Count only what is eaten on later dates.
        """
        parts = [self._drawn(people, item, load, block, after, overwraps) for people in self._groups(item)]
        return _joined(parts)

    def opened(
        self, load: int, block: Block, *, overwraps: bool = False, person: int | None = None
    ) -> tuple[Columns, NDArray[np.int32], NDArray[np.int64]]:
        """Packs (or overwraps) opened from a load: columns, items, coefficients.

        Parameters
        ----------
        person : int, optional
            Only packs that nobody else draws on.
        """
        key = (load, block, overwraps, person)
        if key not in self._opened:
            parts, items = [], []
            for k, item in enumerate(self.problem.catalogue.items):
                if overwraps and item.overwrap_packs is None:
                    continue
                for people in self._groups(k):
                    if person is None or people == (person,):
                        part = self._drawn(people, k, load, block, None, overwraps)
                        parts.append(part)
                        items.append(np.full(len(part[0]), k, dtype=np.int32))
            cols, vals = _joined(parts)
            none = np.zeros(0, dtype=np.int32)
            self._opened[key] = (cols, np.concatenate(items) if items else none, vals)
        return self._opened[key]

    def _groups(self, item: int) -> list[tuple[int, ...]]:
        """People who draw on packs of an item together, in a fixed order."""
        return sorted(self._of_drawers.get(item, {}))

    def _drawn(
        self,
        people: tuple[int, ...],
        k: int,
        load: int,
        block: Block,
        after: date | None,
        overwraps: bool,
    ) -> tuple[Columns, NDArray[np.int64]]:
        key = (people, k, load, block, after, overwraps)
        if key not in self._packs:
            item = self.problem.catalogue.items[k]
            size = item.servings_per_pack * (item.overwrap_packs or 1 if overwraps else 1)
            every = self._of_drawers[k][people]
            parts = []
            for span in spans(self.problem, item, load, block, after):
                cols = every
                if span.meal is not None:
                    name = -1 if span.meal == "" else self._name(span.meal)
                    cols = cols[self._meal_name[cols] == name]
                vals = (
                    np.asarray(span.weights, dtype=np.int64)[self.day[cols]] * self._heads[self.party[cols]]
                )
                cols, vals = cols[vals > 0], vals[vals > 0]
                if size > 1 and span.meal != "" and len(cols):
                    origin = Origin("stock", "stock", self._who(people), what=item.id, who="nobody")
                    # spans of one load are alike: together they cover every day of it
                    kin = ("packs", *key, span.times)
                    cols, vals = self._containers(origin, cols, vals, size, kin)
                parts.append((cols, vals * span.times))
            self._packs[key] = _joined(parts)
        return self._packs[key]

    def _who(self, people: tuple[int, ...]) -> str:
        return " ".join(self.problem.people[p].id for p in people)

    def _containers(
        self, origin: Origin, cols: Columns, vals: NDArray[np.int64], size: int, kin: Hashable
    ) -> tuple[Columns, NDArray[np.int64]]:
        """Whole containers of ``size`` servings, as one extra column."""
        most = -(-int(vals @ self.high[cols]) // size)
        y = self.builder.extra(CEIL, cols, vals, origin=origin, divisor=size, high=most, merge=kin)
        return np.asarray([y], dtype=np.int32), np.ones(1, dtype=np.int64)

    def cap_uses(self, person: int, item: int, most: int, origin: Origin | None = None) -> None:
        """Allow at most this many uses of an item by a person over the plan days of the cycle.

        Parameters
        ----------
        origin : Origin, optional
            The limit whose rows alone already say so; None where it takes several.
        """
        if origin is not None:
            self.capped.append((person, item, most, origin))
        key = (person, item)
        self._caps[key] = min(most, self._caps.get(key, most))

    def most_uses(self, person: int, item: int, otherwise: int) -> int:
        """Return uses allowed, or ``otherwise`` when no rule has said."""
        return min(otherwise, self._caps.get((person, item), otherwise))


def _alike(key: NDArray[np.int64]) -> list[Columns]:
    """Columns of each key, rising."""
    if not len(key):
        return []
    order = np.argsort(key, kind="stable").astype(np.int32)
    ends = np.flatnonzero(np.diff(key[order])) + 1
    return np.split(order, ends)


def _joined(
    parts: Sequence[tuple[Columns, NDArray[np.int64]]],
) -> tuple[Columns, NDArray[np.int64]]:
    if not parts:
        return np.zeros(0, dtype=np.int32), np.zeros(0, dtype=np.int64)
    return np.concatenate([c for c, _ in parts]), np.concatenate([v for _, v in parts])


def soft_price(price: Decimal) -> Decimal:
    """Round the price of one unit outside a soft limit to the decimals every computation of it uses."""
    return price.quantize(Decimal(1).scaleb(-SOFT_PRICE_DECIMALS), ROUND_HALF_EVEN)


def soft_amount(value: Decimal, price: Decimal | None) -> Decimal:
    """Round what a soft row counts to the decimals its price leaves; a hard row's value is kept as it is."""
    if price is None:
        return value
    return value.quantize(Decimal(1).scaleb(SOFT_PRICE_DECIMALS - GOAL_DECIMALS), ROUND_HALF_EVEN)


def vector(values: Sequence[Decimal]) -> tuple[NDArray[np.int64], int]:
    """Return decimals as whole numbers, int64 (n,), and how many decimals they carry."""
    places = decimals_of(values)
    return np.asarray([scaled(v, places) for v in values], dtype=np.int64), places
