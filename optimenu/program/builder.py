"""Collects columns, rows and worth groups, then freezes them into a Program."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import ANY, CEIL, HARD, LINK, NO_HIGH, NO_LOW, ORDINARY, Program

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Sequence

    from optimenu.program.origin import Origin

_LIMIT = 1 << 61
_CHUNK = 1_000_000


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
        self._labels: list[tuple[int, int, int, int, int]] = []
        self.bounds: list[tuple[int, int]] = []
        self.flags: list[tuple[bool, bool]] = []
        self._gain: list[int] = []
        self._class: list[int] = []
        self._classes: dict[Hashable, int] = {}
        self._kins: dict[Hashable, int] = {}
        self._groups: list[tuple[list[tuple[int, int]], list[int], int]] = []
        self._rows: list[tuple[np.ndarray, np.ndarray, int, int, int, int, int, int]] = []
        self._origins: list[Origin] = []
        self._extras: list[tuple[int, np.ndarray, np.ndarray, int, int, int]] = []

    @property
    def n_menu(self) -> int:
        """Serving columns so far."""
        return len(self._gain)

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
        if self._extras:
            msg = "serving columns come before extra columns"
            raise ValueError(msg)
        number = self.n_menu
        self._labels.append(labels)
        self.bounds.append((low, high))
        self.flags.append((certain, continuous))
        self._gain.append(gain)
        self._class.append(self._class_number(("own", number) if merge is None else merge))
        return number

    def _class_number(self, merge: Hashable) -> int:
        return self._classes.setdefault(merge, len(self._classes))

    def group(self, entries: Sequence[tuple[int, int]], deductions: Sequence[int], person: int = 0) -> int:
        """Add a worth group: (column, gain there) pairs, and the deduction of each use allowed.

        The gains are added to the columns' own; deductions must not fall.
        """
        if any(a > b for a, b in zip(deductions, list(deductions)[1:], strict=False)):
            msg = "deductions must not fall"
            raise ValueError(msg)
        for column, gain in entries:
            self._gain[column] += gain
        self._groups.append((list(entries), list(deductions), person))
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
        self._extras.append((kind, cols, vals, divisor, high, self._class_number(key)))
        with_y = np.append(cols, number)
        kin = ("link", key)
        if kind == CEIL:
            # sum a x - divisor y in (-divisor, 0]
            self.row(
                origin, with_y, np.append(vals, -divisor), low=-divisor + 1, high=0, kind=LINK, merge=kin
            )
        elif kind == ANY:
            most = int(vals @ np.asarray([self.bounds[c][1] for c in cols], dtype=np.int64))
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
        number = len(self._rows)
        kin = self._kins.setdefault(("own", number) if merge is None else merge, len(self._kins))
        self._rows.append((cols, vals, decimals, lo, hi, price, kin, kind))
        self._origins.append(origin)
        return number

    def plain_row(
        self, origin: Origin, columns: np.ndarray, coefs: np.ndarray, high: int, merge: Hashable
    ) -> None:
        """Add a hard row without decimals whose arrays are as they must be and are not changed later."""
        kin = self._kins.setdefault(merge, len(self._kins))
        self._rows.append((columns, coefs, 0, NO_LOW, high, HARD, kin, ORDINARY))
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
        labels = np.full((n + e, 5), -1, dtype=np.int32)
        if n:
            labels[:n] = np.asarray(self._labels, dtype=np.int32)
        bounds = self.bounds + [(0, x[4]) for x in self._extras]
        flags = self.flags + [(True, False)] * e
        reach = np.asarray([max(abs(a), abs(z)) for a, z in bounds], dtype=np.float64)
        i64, i32 = np.int64, np.int32
        row_start = _starts([len(r[0]) for r in self._rows])
        row_column = _join([r[0] for r in self._rows], i32)
        row_coef = _join([r[1] for r in self._rows], i64)
        self._fits(row_start, row_column, row_coef, reach)
        group_entries = [pair for entries, _, _ in self._groups for pair in entries]
        return Program(
            n_menu=n,
            goal_decimals=self.goal_decimals,
            **{
                f: np.ascontiguousarray(labels[:, k])
                for k, f in enumerate(("party", "day", "meal", "course", "item"))
            },
            low=np.asarray([b[0] for b in bounds], dtype=i64),
            high=np.asarray([b[1] for b in bounds], dtype=i64),
            certain=np.asarray([f[0] for f in flags], dtype=bool),
            continuous=np.asarray([f[1] for f in flags], dtype=bool),
            gain=np.asarray(self._gain + [0] * e, dtype=i64),
            column_class=np.asarray(self._class + [x[5] for x in self._extras], dtype=i32),
            group_start=_starts([len(g[0]) for g in self._groups]),
            group_column=np.asarray([c for c, _ in group_entries], dtype=i32),
            group_gain=np.asarray([w for _, w in group_entries], dtype=i64),
            group_person=np.asarray([g[2] for g in self._groups], dtype=i32),
            deduct_start=_starts([len(g[1]) for g in self._groups]),
            deduction=np.asarray([d for _, ds, _ in self._groups for d in ds], dtype=i64),
            row_start=row_start,
            row_column=row_column,
            row_coef=row_coef,
            row_decimals=np.asarray([r[2] for r in self._rows], dtype=np.int8),
            row_low=np.asarray([r[3] for r in self._rows], dtype=i64),
            row_high=np.asarray([r[4] for r in self._rows], dtype=i64),
            row_price=np.asarray([r[5] for r in self._rows], dtype=i64),
            row_kin=np.asarray([r[6] for r in self._rows], dtype=i32),
            row_kind=np.asarray([r[7] for r in self._rows], dtype=np.uint8),
            extra_kind=np.asarray([x[0] for x in self._extras], dtype=np.uint8),
            extra_start=_starts([len(x[1]) for x in self._extras]),
            extra_column=_join([x[1] for x in self._extras], i32),
            extra_coef=_join([x[2] for x in self._extras], i64),
            extra_divisor=np.asarray([x[3] for x in self._extras], dtype=i64),
            origins=tuple(self._origins),
            members=self.members,
        )

    def _fits(self, start: np.ndarray, column: np.ndarray, coef: np.ndarray, reach: np.ndarray) -> None:
        """Refuse rows whose activity might leave 64 bits; a million entries at a time, to spare memory."""
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
    # copies: the caller may go on using its arrays
    cols = np.array(columns, dtype=np.int32)
    vals = np.array(coefs, dtype=np.int64)
    if vals.shape != cols.shape:
        vals = np.array(np.broadcast_to(vals, cols.shape))
    if not (cols[1:] > cols[:-1]).all() and len(np.unique(cols)) != len(cols):
        # the same column named twice counts twice
        cols, back = np.unique(cols, return_inverse=True)
        total = np.zeros(len(cols), dtype=np.int64)
        np.add.at(total, back, vals)
        vals = total
    return cols, vals


def _starts(lengths: Sequence[int]) -> np.ndarray:
    out = np.zeros(len(lengths) + 1, dtype=np.int64)
    np.cumsum(lengths, out=out[1:])
    return out


def _join(parts: list[np.ndarray], dtype: type) -> np.ndarray:
    return np.concatenate(parts).astype(dtype) if parts else np.zeros(0, dtype=dtype)
