"""The integer program as frozen arrays.

Everything is a whole number: row coefficients and limits carry the row's own number of decimals,
gains and prices the program's. So the search, the bound and the audit speak of exactly the same
problem, and no tolerance hides a breach.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from optimenu.program.compressed import ranges, starts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.origin import Origin

_CHUNK = 1 << 22
NO_LOW = -(1 << 62)
NO_HIGH = 1 << 62
HARD = -1

ORDINARY, IMPLIED, LINK = 0, 1, 2
"""Row kinds: ``IMPLIED`` rows serve merge and bound only and never cut off a feasible menu;
``LINK`` rows tie an extra column to the function of the menu that gives its value."""

CEIL, ANY = 0, 1
"""Extra columns: ceil(sum a x / divisor), or 1 when sum a x > 0 and else 0."""


@dataclass(frozen=True, eq=False)
class Program:
    """Maximise gains less deductions less the price of soft breaches, over whole numbers.

    Columns ``0 .. n_menu-1`` are servings, the rest are extra columns. With ``g = goal_decimals``
    the value of a choice ``x`` is, in units of ``10**-g``,

        sum_c gain[c] x[c]
        - sum_groups (deduction[0] + ... + deduction[n-1]),  n = uses in the group
        - sum_soft rows price[r] * (how far r's whole-number activity lies outside [low, high]).

    Attributes
    ----------
    party, day, meal, course, item : int32 (n,)
        Labels, -1 for extra columns.
    low, high : int64 (n,)
        Finite bounds.
    certain, continuous : bool (n,)
        Not certain: an allowance. Continuous: hand-made programs only.
    gain : int64 (n,)
        Linear worth; for a column in groups the sum of its entries there.
    column_class : int32 (n,)
        Columns that differ only in an interchangeable day share a class.
    group_start, group_column, group_gain : int64 (G+1,), int32, int64
        Worth groups as compressed rows: a column and what it is worth in this group.
    group_person : int32 (G,)
        Number of the person whose worth the group is.
    deduct_start, deduction : int64 (G+1,), int64
        Deduction of the first, second ... use, not falling; as many as uses are allowed.
    row_start, row_column, row_coef : int64 (m+1,), int32, int64
        Rows, compressed.
    row_decimals : int8 (m,)
        Decimals of the row's coefficients and limits.
    row_low, row_high : int64 (m,)
        Limits; ``NO_LOW`` and ``NO_HIGH`` for none.
    row_price : int64 (m,)
        ``HARD``, or the price of one unit of the row's last decimal.
    row_kin : int32 (m,)
        Rows that differ only in an interchangeable day share a number.
    row_kind : uint8 (m,)
        ``ORDINARY``, ``IMPLIED`` or ``LINK``.
    extra_kind, extra_start, extra_column, extra_coef, extra_divisor
        Definition of extra column ``n_menu + k``: sources are serving columns only.
    origins : tuple of Origin, length m
    members : tuple of tuples
        People (by number) of each party.
    """

    n_menu: int
    goal_decimals: int
    party: NDArray[np.int32]
    day: NDArray[np.int32]
    meal: NDArray[np.int32]
    course: NDArray[np.int32]
    item: NDArray[np.int32]
    low: NDArray[np.int64]
    high: NDArray[np.int64]
    certain: NDArray[np.bool_]
    continuous: NDArray[np.bool_]
    gain: NDArray[np.int64]
    column_class: NDArray[np.int32]
    group_start: NDArray[np.int64]
    group_column: NDArray[np.int32]
    group_gain: NDArray[np.int64]
    group_person: NDArray[np.int32]
    deduct_start: NDArray[np.int64]
    deduction: NDArray[np.int64]
    row_start: NDArray[np.int64]
    row_column: NDArray[np.int32]
    row_coef: NDArray[np.int64]
    row_decimals: NDArray[np.int8]
    row_low: NDArray[np.int64]
    row_high: NDArray[np.int64]
    row_price: NDArray[np.int64]
    row_kin: NDArray[np.int32]
    row_kind: NDArray[np.uint8]
    extra_kind: NDArray[np.uint8]
    extra_start: NDArray[np.int64]
    extra_column: NDArray[np.int32]
    extra_coef: NDArray[np.int64]
    extra_divisor: NDArray[np.int64]
    origins: tuple[Origin, ...]
    members: tuple[tuple[int, ...], ...]

    @property
    def n(self) -> int:
        """Number of columns, extra ones included."""
        return len(self.low)

    @property
    def m(self) -> int:
        """Number of rows."""
        return len(self.row_low)

    @property
    def n_groups(self) -> int:
        """Number of worth groups."""
        return len(self.group_start) - 1

    @cached_property
    def row_of_entry(self) -> NDArray[np.int32]:
        """Row number of every nonzero, int32 (nnz,)."""
        return np.repeat(np.arange(self.m, dtype=np.int32), np.diff(self.row_start))

    @cached_property
    def digest(self) -> str:
        """SHA-256 over every array and every origin, hexadecimal."""
        sha = hashlib.sha256()
        for f in fields(self):
            value: Any = getattr(self, f.name)
            if isinstance(value, np.ndarray):
                sha.update(f"{f.name}:{value.dtype.str}:{value.shape}".encode())
                sha.update(np.ascontiguousarray(value).view(np.uint8).data)
            else:
                sha.update(f"{f.name}:{value!r}".encode())
        return sha.hexdigest()

    def complete(self, counts: NDArray[np.int64]) -> NDArray[np.int64]:
        """Servings (n_menu,) extended by the extra columns' values, int64 (n,)."""
        x = np.zeros(self.n, dtype=np.int64)
        x[: self.n_menu] = counts
        for k in range(len(self.extra_kind)):
            a, b = self.extra_start[k], self.extra_start[k + 1]
            total = int(self.extra_coef[a:b] @ x[self.extra_column[a:b]])
            if self.extra_kind[k] == ANY:
                x[self.n_menu + k] = 1 if total > 0 else 0
            else:
                x[self.n_menu + k] = -(-total // int(self.extra_divisor[k]))
        return x

    def activity(self, x: NDArray[np.int64]) -> NDArray[np.int64]:
        """Whole-number activity of every row, int64 (m,)."""
        out = np.zeros(self.m, dtype=np.int64)
        filled = np.flatnonzero(np.diff(self.row_start) > 0)
        at = self.row_start[filled]
        # a piece at a time: temporary copies of every entry would be the largest arrays of all
        first = 0
        while first < len(filled):
            last = max(first + 1, int(np.searchsorted(at, at[first] + _CHUNK)))
            a, z = int(at[first]), int(self.row_start[filled[last - 1] + 1])
            parts = self.row_coef[a:z] * x[self.row_column[a:z]]
            out[filled[first:last]] = np.add.reduceat(parts, at[first:last] - a)
            first = last
        return out

    def excess(self, x: NDArray[np.int64]) -> NDArray[np.int64]:
        """How far each row lies outside its limits, int64 (m,), 0 when it holds."""
        act = self.activity(x)
        over: NDArray[np.int64] = np.maximum(np.maximum(self.row_low - act, act - self.row_high), 0)
        return over

    def broken(self, x: NDArray[np.int64], excess: NDArray[np.int64] | None = None) -> NDArray[np.intp]:
        """Numbers of the hard rows that ``x`` (n,) breaks."""
        over = self.excess(x) if excess is None else excess
        return np.flatnonzero((over > 0) & (self.row_price == HARD))

    def uses(self, x: NDArray[np.int64]) -> NDArray[np.int64]:
        """Uses counted in every worth group, int64 (G,)."""
        owner = np.repeat(np.arange(self.n_groups), np.diff(self.group_start))
        out = np.zeros(self.n_groups, dtype=np.int64)
        np.add.at(out, owner, x[self.group_column])
        return out

    def value(self, x: NDArray[np.int64], excess: NDArray[np.int64] | None = None) -> int:
        """Goal of ``x`` (n,) in units of ``10**-goal_decimals``, a Python int (exact).

        Parameters
        ----------
        excess : int64 (m,), optional
            What ``excess`` said of ``x``, where it is known.
        """
        at = np.flatnonzero(x)
        total: int = sum(g * v for g, v in zip(self.gain[at].tolist(), x[at].tolist(), strict=True))
        for g, n in enumerate(self.uses(x)):
            start = int(self.deduct_start[g])
            total -= sum(int(d) for d in self.deduction[start : start + int(n)])
        over = self.excess(x) if excess is None else excess
        for r in np.flatnonzero((over > 0) & (self.row_price != HARD)):
            total -= int(self.row_price[r]) * int(over[r])
        return total

    def feasible(self, x: NDArray[np.int64], excess: NDArray[np.int64] | None = None) -> bool:
        """True when ``x`` (n,) keeps column bounds, group lengths and every hard row; see ``value``."""
        if np.any(x < self.low) or np.any(x > self.high):
            return False
        if np.any(self.uses(x) > np.diff(self.deduct_start)):
            return False
        return len(self.broken(x, excess)) == 0

    def keep(self, columns: NDArray[np.bool_], *, soft: bool = True) -> Program:
        """Return the program of some columns: rows and groups that lie wholly inside, and their extras.

        Parameters
        ----------
        columns : bool (n_menu,)
            Serving columns to keep.
        soft : bool
            Keep soft rows.
        """
        mask = np.zeros(self.n, dtype=bool)
        mask[: self.n_menu] = columns
        of_source = np.repeat(np.arange(len(self.extra_kind)), np.diff(self.extra_start))
        whole_extra = np.ones(len(self.extra_kind), dtype=bool)
        whole_extra[of_source[~mask[self.extra_column]]] = False
        extra = np.flatnonzero(whole_extra)
        mask[self.n_menu + extra] = True
        number = np.full(self.n, -1, dtype=np.int32)
        number[mask] = np.arange(int(mask.sum()), dtype=np.int32)
        rows, entries = self._inside(mask, soft=soft)
        owner = np.repeat(np.arange(self.n_groups), np.diff(self.group_start))
        whole = np.ones(self.n_groups, dtype=bool)
        whole[owner[~mask[self.group_column]]] = False
        g_entries = whole[owner]
        d_owner = np.repeat(np.arange(self.n_groups), np.diff(self.deduct_start))
        source = whole_extra[of_source]
        gain = np.zeros(self.n, dtype=np.int64)
        np.add.at(gain, self.group_column[g_entries], self.group_gain[g_entries])
        grouped = np.zeros(self.n, dtype=bool)
        grouped[self.group_column] = True
        gain[~grouped] = self.gain[~grouped]
        return replace(
            self,
            n_menu=int(mask[: self.n_menu].sum()),
            **{
                f: getattr(self, f)[mask]
                for f in (
                    "party",
                    "day",
                    "meal",
                    "course",
                    "item",
                    "low",
                    "high",
                    "certain",
                    "continuous",
                    "column_class",
                )
            },
            gain=gain[mask],
            group_start=starts(np.diff(self.group_start)[whole]),
            group_column=number[self.group_column[g_entries]],
            group_gain=self.group_gain[g_entries],
            group_person=self.group_person[whole],
            deduct_start=starts(np.diff(self.deduct_start)[whole]),
            deduction=self.deduction[whole[d_owner]],
            row_start=starts(np.diff(self.row_start)[rows]),
            row_column=number[self.row_column[entries]],
            row_coef=self.row_coef[entries],
            **{
                f: getattr(self, f)[rows]
                for f in ("row_decimals", "row_low", "row_high", "row_price", "row_kin", "row_kind")
            },
            extra_kind=self.extra_kind[extra],
            extra_start=starts(np.diff(self.extra_start)[extra]),
            extra_column=number[self.extra_column[source]],
            extra_coef=self.extra_coef[source],
            extra_divisor=self.extra_divisor[extra],
            origins=tuple(self.origins[r] for r in rows.tolist()),
        )

    def part(self, columns: NDArray[np.bool_], rows: NDArray[np.bool_]) -> Program:
        """Return the program of some columns and rows, all other columns being 0 and worth groups left out.

        Parameters
        ----------
        columns : bool (n,)
            Extra columns have to be among them whose sources are.
        rows : bool (m,)
        """
        number = np.full(self.n, -1, dtype=np.int32)
        number[columns] = np.arange(int(columns.sum()), dtype=np.int32)
        entry = rows[self.row_of_entry] & columns[self.row_column]
        length = np.bincount(self.row_of_entry[entry], minlength=self.m)[rows]
        extra = columns[self.n_menu :]
        owner = np.repeat(np.arange(len(self.extra_kind)), np.diff(self.extra_start))
        source = extra[owner] & columns[self.extra_column]
        none = np.zeros(0, dtype=np.int64)
        per_column = ("party", "day", "meal", "course", "item", "low", "high", "certain", "continuous")
        per_row = ("row_decimals", "row_low", "row_high", "row_price", "row_kin", "row_kind")
        return replace(
            self,
            n_menu=int(columns[: self.n_menu].sum()),
            **{f: getattr(self, f)[columns] for f in (*per_column, "column_class")},
            gain=np.zeros(int(columns.sum()), dtype=np.int64),
            group_start=np.zeros(1, dtype=np.int64),
            group_column=none.astype(np.int32),
            group_gain=none,
            group_person=none.astype(np.int32),
            deduct_start=np.zeros(1, dtype=np.int64),
            deduction=none,
            row_start=starts(length),
            row_column=number[self.row_column[entry]],
            row_coef=self.row_coef[entry],
            **{f: getattr(self, f)[rows] for f in per_row},
            extra_kind=self.extra_kind[extra],
            extra_start=starts(np.bincount(owner[source], minlength=len(self.extra_kind))[extra]),
            extra_column=number[self.extra_column[source]],
            extra_coef=self.extra_coef[source],
            extra_divisor=self.extra_divisor[extra],
            origins=tuple(self.origins[r] for r in np.flatnonzero(rows).tolist()),
        )

    def _inside(self, mask: NDArray[np.bool_], *, soft: bool) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Rows whose columns are all in ``mask``, rising, and the places of their entries.

        A row without entries says nothing of these columns.
        """
        length = np.diff(self.row_start)
        asked = length > 0 if soft else (length > 0) & (self.row_price == HARD)
        rows = np.flatnonzero(asked)
        # the first entry tells of most rows that they lie elsewhere
        rows = rows[mask[self.row_column[self.row_start[rows]]]]
        entries = ranges(self.row_start[rows], length[rows])
        owner = np.repeat(np.arange(len(rows)), length[rows])
        whole = np.ones(len(rows), dtype=bool)
        whole[owner[~mask[self.row_column[entries]]]] = False
        return rows[whole], entries[whole[owner]]
