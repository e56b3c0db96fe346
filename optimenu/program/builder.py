"""Collects columns, rows and worth groups, then freezes them into a Program."""

from __future__ import annotations

from array import array
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.compressed import starts
from optimenu.program.growing import Growing
from optimenu.program.program import ANY, CEIL, HARD, LINK, NO_HIGH, NO_LOW, ORDINARY, Program

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Sequence
    from decimal import Decimal

    from optimenu.program.origin import Origin

_LIMIT = 1 << 61
_CHUNK = 1_000_000
_ROW = ("length", "decimals", "low", "high", "price", "kin", "kind")


def decimals_of(values: Iterable[Decimal]) -> int:
    """Return the fewest decimals that hold every value exactly."""
    most = 0
    for v in values:
        exponent = v.normalize().as_tuple().exponent
        if not isinstance(exponent, int):
            msg = f"{v} is not a finite number"
            raise ValueError(msg)
        most = max(most, -exponent)
    return most


def scaled(value: Decimal, decimals: int) -> int:
    """Return ``value * 10**decimals`` as an int; it must be whole."""
    whole = value.scaleb(decimals)
    if whole != whole.to_integral_value():
        msg = f"{value} has more than {decimals} decimals"
        raise ValueError(msg)
    return int(whole)


class Builder:
    """Growing program.

    Parameters
    ----------
    goal_decimals : int
        Decimals of gains, deductions and prices.
    members : sequence of tuples
        People (by number) of each party.
    """

    def __init__(self, goal_decimals: int, members: Sequence[tuple[int, ...]] = ((0,),)) -> None:
        self.goal_decimals = goal_decimals
        self.members = tuple(members)
        self._labels = array("i")
        self.low, self.high = array("q"), array("q")
        self.certain, self._continuous = bytearray(), bytearray()
        self._gain = array("q")
        self._class = array("i")
        self._classes: dict[Hashable, int] = {}
        self._places: dict[Hashable, int] = {}
        self._kins: dict[Hashable, int] = {}
        self._groups: list[tuple[np.ndarray, np.ndarray, list[int], int]] = []
        self._column, self._coef = Growing(np.int32), Growing(np.int64)
        self._row = array("q")
        self._origins: list[Origin] = []
        self._extras: list[tuple[int, np.ndarray, np.ndarray, int, int, int]] = []

    @property
    def n_menu(self) -> int:
        """Serving columns so far."""
        return len(self._gain)

    @property
    def labels(self) -> np.ndarray:
        """Party, day, meal, course and item of every serving column so far, int32 (n_menu, 5)."""
        return np.array(self._labels, dtype=np.int32).reshape(-1, 5)

    def column(
        self,
        *,
        labels: tuple[int, int, int, int, int] = (0, 0, 0, 0, 0),
        low: int = 0,
        high: int = 1,
        gain: int = 0,
        certain: bool = True,
        continuous: bool = False,
        merge: Hashable = None,
    ) -> int:
        """Add a serving column, return its number. ``merge``: its class; None, a class of its own."""
        number = self.n_menu
        key = ("own", number) if merge is None else merge
        self._add_columns(labels, [self._class_number(key)], low, high, gain, certain, continuous)
        return number

    def columns(
        self, place: tuple[int, int, int, int], items: Sequence[int], high: int, merge: Hashable
    ) -> None:
        """Add a certain serving column for each item in one place: party, day, meal, course.

        Those of one item in places of one ``merge`` are of one class.
        """
        number = self._places.setdefault(merge, len(self._places))
        classes = [self._class_number(("place", number, i)) for i in items]
        labels = [v for i in items for v in (*place, i)]
        self._add_columns(labels, classes, 0, high, 0, certain=True, continuous=False)

    def _add_columns(
        self,
        labels: Sequence[int],
        classes: Sequence[int],
        low: int,
        high: int,
        gain: int,
        certain: bool,
        continuous: bool,
    ) -> None:
        if self._extras:
            msg = "serving columns come before extra columns"
            raise ValueError(msg)
        n = len(classes)
        self._labels.extend(labels)
        self._class.extend(classes)
        self.low.extend([low] * n)
        self.high.extend([high] * n)
        self._gain.extend([gain] * n)
        self.certain.extend([certain] * n)
        self._continuous.extend([continuous] * n)

    def _class_number(self, merge: Hashable) -> int:
        return self._classes.setdefault(merge, len(self._classes))

    def group(self, entries: Sequence[tuple[int, int]], deductions: Sequence[int], person: int = 0) -> int:
        """Add a worth group: (column, gain there) pairs, and the deduction of each use allowed.

        The gains are added to the columns' own; deductions must not fall.
        """
        both = np.asarray(entries, dtype=np.int64).reshape(-1, 2)
        return self.array_group(both[:, 0], both[:, 1], deductions, person)

    def array_group(
        self, columns: np.ndarray, gains: np.ndarray, deductions: Sequence[int], person: int = 0
    ) -> int:
        """Add a worth group as ``group`` does, from arrays that are not changed later."""
        if any(a > b for a, b in pairwise(deductions)):
            msg = "deductions must not fall"
            raise ValueError(msg)
        self._groups.append((columns, gains, list(deductions), person))
        return len(self._groups) - 1

    def extra(
        self,
        kind: int,
        columns: Sequence[int] | np.ndarray,
        coefs: Sequence[int] | np.ndarray,
        *,
        origin: Origin,
        divisor: int = 1,
        high: int = 1,
        merge: Hashable = None,
    ) -> int:
        """Add an extra column with its link rows; return its final number.

        ``CEIL``: y = ceil(sum a x / divisor). ``ANY``: y = 1 when sum a x > 0. ``a`` > 0.
        """
        cols, vals = _entries(columns, coefs)
        if np.any(vals <= 0):
            msg = "an extra column needs positive coefficients"
            raise ValueError(msg)
        k = len(self._extras)
        number = self.n_menu + k
        key = ("extra", k) if merge is None else ("extra", merge)
        # copies: the caller may go on using its arrays
        self._extras.append((kind, cols.copy(), vals.copy(), divisor, high, self._class_number(key)))
        with_y = np.append(cols, number)
        kin = ("link", key)
        if kind == CEIL:
            # sum a x - divisor y in (-divisor, 0]
            self.row(
                origin, with_y, np.append(vals, -divisor), low=-divisor + 1, high=0, kind=LINK, merge=kin
            )
        elif kind == ANY:
            most = sum(v * self.high[c] for v, c in zip(vals.tolist(), cols.tolist(), strict=True))
            self.row(origin, with_y, np.append(vals, -most), high=0, kind=LINK, merge=(*kin, "high"))
            ones = np.ones_like(vals)
            self.row(origin, with_y, np.append(ones, -1), low=0, kind=LINK, merge=(*kin, "low"))
        else:
            msg = f"no such kind of extra column: {kind}"
            raise ValueError(msg)
        return number

    def row(
        self,
        origin: Origin,
        columns: Sequence[int] | np.ndarray,
        coefs: Sequence[int] | np.ndarray,
        *,
        low: int | None = None,
        high: int | None = None,
        decimals: int = 0,
        price: int = HARD,
        kind: int = ORDINARY,
        merge: Hashable = None,
    ) -> int:
        """Add a row; coefficients and limits are whole numbers at ``decimals``. Return its number."""
        cols, vals = _entries(columns, coefs)
        if not vals.all():
            keep = vals != 0
            cols, vals = cols[keep], vals[keep]
        lo, hi = NO_LOW if low is None else int(low), NO_HIGH if high is None else int(high)
        if any(abs(v) >= _LIMIT for v in (lo, hi) if v not in (NO_LOW, NO_HIGH)):
            msg = f"limit of {origin} is too large for exact arithmetic"
            raise ValueError(msg)
        number = len(self._origins)
        key = ("own", number) if merge is None else merge
        self._add_row(origin, cols, vals, (decimals, lo, hi, price, self._kin_number(key), kind))
        return number

    def count_row(self, origin: Origin, columns: np.ndarray, high: int, merge: Hashable) -> None:
        """Add the hard row sum x <= high over int32 columns, each named once."""
        self._add_row(origin, columns, 1, (0, NO_LOW, high, HARD, self._kin_number(merge), ORDINARY))

    def _kin_number(self, merge: Hashable) -> int:
        return self._kins.setdefault(merge, len(self._kins))

    def _add_row(
        self, origin: Origin, columns: np.ndarray, coefs: np.ndarray | int, more: tuple[int, ...]
    ) -> None:
        n = len(columns)
        self._column.add(columns, n)
        self._coef.add(coefs, n)
        self._row.extend((n, *more))
        self._origins.append(origin)

    def freeze(self) -> Program:
        """Return the Program; the builder may go on growing afterwards.

        Raises
        ------
        ValueError
            When an activity might leave 64 bits at some choice within the column bounds.
        """
        n = self.n_menu
        e = len(self._extras)
        i64, i32 = np.int64, np.int32
        labels = np.full((n + e, 5), -1, dtype=i32)
        labels[:n] = self.labels
        low = np.concatenate([_whole(self.low), np.zeros(e, dtype=i64)])
        high = np.concatenate([_whole(self.high), np.asarray([x[4] for x in self._extras], dtype=i64)])
        gain = np.concatenate([_whole(self._gain), np.zeros(e, dtype=i64)])
        group_column = _join([g[0] for g in self._groups], i32)
        group_gain = _join([g[1] for g in self._groups], i64)
        np.add.at(gain, group_column, group_gain)
        table = _whole(self._row).reshape(-1, len(_ROW)).T
        row = {name: np.ascontiguousarray(values) for name, values in zip(_ROW, table, strict=True)}
        row_start = starts(row["length"])
        row_column, row_coef = self._column.give(), self._coef.give()
        self._fits(row_start, row_column, row_coef, np.maximum(np.abs(low), np.abs(high)).astype(np.float64))
        no = np.zeros(e, dtype=bool)
        return Program(
            n_menu=n,
            goal_decimals=self.goal_decimals,
            **{
                f: np.ascontiguousarray(labels[:, k])
                for k, f in enumerate(("party", "day", "meal", "course", "item"))
            },
            low=low,
            high=high,
            certain=np.concatenate([np.frombuffer(bytes(self.certain), dtype=bool), ~no]),
            continuous=np.concatenate([np.frombuffer(bytes(self._continuous), dtype=bool), no]),
            gain=gain,
            column_class=np.asarray([*self._class, *(x[5] for x in self._extras)], dtype=i32),
            group_start=starts([len(g[0]) for g in self._groups]),
            group_column=group_column,
            group_gain=group_gain,
            group_person=np.asarray([g[3] for g in self._groups], dtype=i32),
            deduct_start=starts([len(g[2]) for g in self._groups]),
            deduction=np.asarray([d for g in self._groups for d in g[2]], dtype=i64),
            row_start=row_start,
            row_column=row_column,
            row_coef=row_coef,
            row_decimals=row["decimals"].astype(np.int8),
            row_low=row["low"],
            row_high=row["high"],
            row_price=row["price"],
            row_kin=row["kin"].astype(i32),
            row_kind=row["kind"].astype(np.uint8),
            extra_kind=np.asarray([x[0] for x in self._extras], dtype=np.uint8),
            extra_start=starts([len(x[1]) for x in self._extras]),
            extra_column=_join([x[1] for x in self._extras], i32),
            extra_coef=_join([x[2] for x in self._extras], i64),
            extra_divisor=np.asarray([x[3] for x in self._extras], dtype=i64),
            origins=tuple(self._origins),
            members=self.members,
        )

    def _fits(self, start: np.ndarray, column: np.ndarray, coef: np.ndarray, reach: np.ndarray) -> None:
        """Refuse rows whose activity might leave 64 bits; a million entries at a time, to spare memory."""
        largest = max(float(coef.max(initial=0)), -float(coef.min(initial=0)))
        if largest * float(reach.max(initial=0)) * float(np.diff(start).max(initial=0)) < _LIMIT / 2:
            return
        first = 0
        while first < len(start) - 1:
            last = int(np.searchsorted(start, start[first] + _CHUNK, side="right")) - 1
            last = max(last, first + 1)
            a, z = int(start[first]), int(start[last])
            most = np.zeros(z - a + 1)
            np.cumsum(np.abs(coef[a:z].astype(np.float64)) * reach[column[a:z]], out=most[1:])
            each = np.diff(most[start[first : last + 1] - a])
            # a running sum rounds, so what comes near is looked at by itself
            for r in np.flatnonzero(each >= _LIMIT / 2):
                b, c = int(start[first + r]), int(start[first + r + 1])
                if float(np.abs(coef[b:c].astype(np.float64)) @ reach[column[b:c]]) >= _LIMIT:
                    msg = f"coefficients of {self._origins[first + r]} are too large for exact arithmetic"
                    raise ValueError(msg)
            first = last


def _entries(
    columns: Sequence[int] | np.ndarray, coefs: Sequence[int] | np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    cols = np.asarray(columns, dtype=np.int32)
    vals = np.asarray(coefs, dtype=np.int64)
    if vals.shape != cols.shape:
        vals = np.broadcast_to(vals, cols.shape)
    if not (cols[1:] > cols[:-1]).all() and len(np.unique(cols)) != len(cols):
        # the same column named twice counts twice
        cols, back = np.unique(cols, return_inverse=True)
        total = np.zeros(len(cols), dtype=np.int64)
        np.add.at(total, back, vals)
        vals = total
    return cols, vals


def _whole(values: array[int]) -> np.ndarray:
    # a copy: an array that numpy looks into cannot grow any more
    return np.array(values, dtype=np.int64)


def _join(parts: list[np.ndarray], dtype: type) -> np.ndarray:
    return np.concatenate(parts).astype(dtype, copy=False) if parts else np.zeros(0, dtype=dtype)
