"""What a rule writes on: columns to choose from, rows to add; numbers only."""

from __future__ import annotations

from collections import defaultdict
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.builder import Builder, decimals_of, scaled
from optimenu.program.origin import Origin
from optimenu.program.program import ANY, CEIL, HARD, IMPLIED, ORDINARY

if TYPE_CHECKING:
    from collections.abc import Collection, Hashable, Mapping, Sequence

    from numpy.typing import NDArray

    from optimenu.problem.problem import Problem

    Columns = NDArray[np.int32]

GOAL_DECIMALS = 18
"""Worth has six decimals, the price of a person's worth twelve."""
SOFT_PRICE_DECIMALS = 12
"""Of a soft limit's price for one unit; so rows may carry six decimals and stay exact."""


class Page:
    """The program under construction, as rules see it.

    All coefficients are whole numbers at a stated number of decimals; limits are decimals.
    """

    def __init__(self, problem: Problem, builder: Builder, labels: NDArray[np.int32]) -> None:
        self.problem = problem
        self.builder = builder
        self.party, self.day, self.meal, self.course, self.item = (labels[:, k] for k in range(5))
        self.certain = np.asarray([f[0] for f in builder.flags], dtype=bool)
        self.high = np.asarray([b[1] for b in builder.bounds], dtype=np.int64)
        self._names: dict[str, int] = {}
        self._meal_name, self._course_name = self._named()
        self._of_person_day = self._index()
        self._packs: dict[Hashable, tuple[Columns, NDArray[np.int64]]] = {}
        self._opened: dict[Hashable, tuple[Columns, NDArray[np.int32], NDArray[np.int64]]] = {}
        self._of_party_item = self._items_of_parties()
        self._caps: dict[tuple[int, int], int] = {}

    def _name(self, word: str) -> int:
        return self._names.setdefault(word, len(self._names))

    def _named(self) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        # numbers of meals and courses count within a day; names are the same on every day
        days = self.problem.days
        pairs = [
            (self._name(days[d].meals[m].name), self._name(days[d].meals[m].courses[k].name))
            if m >= 0
            else (-1, -1)
            for d, m, k in zip(self.day.tolist(), self.meal.tolist(), self.course.tolist(), strict=True)
        ]
        table = np.asarray(pairs, dtype=np.int32).reshape(-1, 2)
        return table[:, 0], table[:, 1]

    def _index(self) -> Mapping[tuple[int, int], Columns]:
        found: dict[tuple[int, int], list[int]] = defaultdict(list)
        members = [p.members for p in self.problem.parties]
        for c, (party, day) in enumerate(zip(self.party.tolist(), self.day.tolist(), strict=True)):
            for person in members[party]:
                found[person, day].append(c)
        return {key: np.asarray(cs, dtype=np.int32) for key, cs in found.items()}

    def _items_of_parties(self) -> Mapping[tuple[int, int], Columns]:
        found: dict[tuple[int, int], list[int]] = defaultdict(list)
        for c, key in enumerate(zip(self.party.tolist(), self.item.tolist(), strict=True)):
            found[key].append(c)
        return {key: np.asarray(cs, dtype=np.int32) for key, cs in found.items()}

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
        people = range(len(self.problem.people)) if person is None else (person,)
        wanted = range(len(self.problem.days)) if days is None else sorted(set(days))
        parts = [self._of_person_day[p, d] for p in people for d in wanted if (p, d) in self._of_person_day]
        if not parts:
            return np.zeros(0, dtype=np.int32)
        cols: Columns = parts[0]
        if len(parts) > 1:
            cols = np.sort(np.concatenate(parts))
            if person is None:
                # a shared dish was met once for each member
                cols = cols[np.concatenate(([True], cols[1:] > cols[:-1]))]
        if items is not None:
            cols = cols[items[self.item[cols]]]
        if certain is not None:
            cols = cols[self.certain[cols] == certain]
        if meal is not None:
            cols = cols[self._meal_name[cols] == self._name(meal)]
        if courses is not None:
            cols = cols[np.isin(self._course_name[cols], [self._name(c) for c in courses])]
        return cols

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
        Rows alike but for the run of days, or for a day of the same class, are merged in the bound.
        An optional serving counts at whichever end, none or all, is worse for each side; where that
        differs, the two sides become two rows.
        """
        need = max(decimals, decimals_of([v for v in (low, high) if v is not None]))
        vals = np.broadcast_to(np.asarray(coefs, dtype=np.int64), columns.shape) * 10 ** (need - decimals)
        lo = None if low is None else scaled(low, need)
        hi = None if high is None else scaled(high, need)
        price = HARD
        if soft is not None:
            price = scaled(soft_price(soft), self.builder.goal_decimals - need)
        day = -1 if origin.day < 0 else self.problem.day_class[origin.day]
        merge = (origin.rule, origin.key, origin.person, origin.meal, origin.what, day)
        kind = IMPLIED if implied else ORDINARY
        inner = columns < len(self.certain)
        optional = np.zeros(len(columns), dtype=bool)
        optional[inner] = ~self.certain[columns[inner]]
        for side, least, most, drop in (
            ("low", lo, None, optional & (vals > 0)),
            ("high", None, hi, optional & (vals < 0)),
        ):
            if least is None and most is None:
                continue
            if not drop.any() and not (optional & (vals != 0)).any():
                self.builder.row(
                    origin,
                    columns,
                    vals,
                    low=lo,
                    high=hi,
                    decimals=need,
                    price=price,
                    kind=kind,
                    merge=(*merge, "both"),
                )
                return
            self.builder.row(
                origin,
                columns[~drop],
                vals[~drop],
                low=least,
                high=most,
                decimals=need,
                price=price,
                kind=kind,
                merge=(*merge, side),
            )

    def used(self, origin: Origin, columns: Columns) -> int:
        """Add a column that is 1 when any of these servings is planned, else 0; return its number."""
        day = -1 if origin.day < 0 else self.problem.day_class[origin.day]
        merge = ("used", origin.rule, origin.key, origin.person, origin.meal, origin.what, day)
        return self.builder.extra(
            ANY, columns, np.ones(len(columns), dtype=np.int64), origin=origin, merge=merge
        )

    def packs(
        self, party: int, item: int, weights: tuple[int, ...], label: Hashable, size: int
    ) -> tuple[Columns, NDArray[np.int64]]:
        """Containers a party opens of an item, as columns and whole coefficients.

        Parameters
        ----------
        weights : tuple of int, one per plan day
            Dates of each plan day that count; 0 leaves the day out.
        label : hashable
            Name of this set of dates; containers are counted whole within it.
        size : int
            Servings in one container: a pack, or an overwrap of packs.
        """
        key = (party, item, label, size)
        if key not in self._packs:
            cols = self._of_party_item.get((party, item), np.zeros(0, dtype=np.int32))
            vals = np.asarray(weights, dtype=np.int64)[self.day[cols]]
            cols, vals = cols[vals > 0], vals[vals > 0]
            if size > 1 and len(cols):
                who, what = self.problem.parties[party].id, self.problem.catalogue.items[item].id
                origin = Origin("stock", "stock", who, what=what, who="nobody")
                most = int(vals @ self.high[cols])
                y = self.builder.extra(
                    CEIL, cols, vals, origin=origin, divisor=size, high=-(-most // size), merge=("packs", key)
                )
                cols, vals = np.asarray([y], dtype=np.int32), np.ones(1, dtype=np.int64)
            self._packs[key] = (cols, vals)
        return self._packs[key]

    def opened(
        self, load: int, block: str, party: int, *, overwraps: bool = False
    ) -> tuple[Columns, NDArray[np.int32], NDArray[np.int64]]:
        """Packs (or overwraps) a party opens from a load in a block: columns, items, coefficients."""
        key = (load, block, party, overwraps)
        if key not in self._opened:
            weights = tuple(
                w[load] if d.block == block else 0
                for d, w in zip(self.problem.days, self.problem.load_weights, strict=True)
            )
            cols, items, vals = [], [], []
            for k, item in enumerate(self.problem.catalogue.items):
                if overwraps and item.overwrap_packs is None:
                    continue
                size = item.servings_per_pack * (item.overwrap_packs or 1 if overwraps else 1)
                c, v = self.packs(party, k, weights, (load, block), size)
                cols.append(c)
                vals.append(v)
                items.append(np.full(len(c), k, dtype=np.int32))
            none = np.zeros(0, dtype=np.int32)
            self._opened[key] = (
                np.concatenate(cols) if cols else none,
                np.concatenate(items) if items else none,
                np.concatenate(vals) if vals else none.astype(np.int64),
            )
        return self._opened[key]

    def cap_uses(self, person: int, item: int, most: int) -> None:
        """Allow at most this many uses of an item by a person over the plan days of the cycle."""
        key = (person, item)
        self._caps[key] = min(most, self._caps.get(key, most))

    def most_uses(self, person: int, item: int, otherwise: int) -> int:
        """Return uses allowed, or ``otherwise`` when no rule has said."""
        return min(otherwise, self._caps.get((person, item), otherwise))


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
