"""Mixed-integer rounding on the merged model: what a cut says, in whole numbers.

See ``program.certificate.Cut`` for the formula. Columns are those of the merged model without the slacks
of its soft rows: totals of column classes, then uses of worth groups. All are whole numbers in a menu,
and so are the rows' slacks, counted in the rows' last decimals.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gcd
from operator import add, mul
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.certificate import HIGH, Cut
from optimenu.program.compressed import ranges
from optimenu.program.program import HARD

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.merge import Merged

PARTS = 315 << 40
"""Multipliers count in this part of one: what is a half to a tenth is exact, all else to 15 digits."""
PLACES = 28
"""Binary places that finished coefficients keep."""
EXACT = float(1 << 48)
"""Below this the merged model's floating-point sums are whole numbers to well within a half."""
_WORD = 1 << 62


@dataclass(frozen=True, eq=False)
class CutRow:
    """A finished cut: ``sum coef[k] * column[k] <= high``.

    Attributes
    ----------
    cut : Cut
    column : int64 (k,)
        Columns of the merged model, rising.
    coef : int64 (k,)
    high : int
    size : float
        What one unit before rounding comes to in these coefficients.
    """

    cut: Cut
    column: NDArray[np.int64]
    coef: NDArray[np.int64]
    high: int
    size: float


@dataclass(frozen=True, eq=False)
class Entries:
    """Nonzeros of some rows, side by side.

    Attributes
    ----------
    column : int64 (k,)
        Columns that occur, rising.
    place : int64 (e,)
        Where in ``column`` the column of each nonzero stands.
    coef : int64 (e,)
    owner : int64 (e,)
        Which of the rows each nonzero belongs to.
    """

    column: NDArray[np.int64]
    place: NDArray[np.int64]
    coef: NDArray[np.int64]
    owner: NDArray[np.int64]


class WholeRows:
    """Rows of the merged model in whole numbers, and the cuts found so far after them.

    Attributes
    ----------
    n : int
        Class totals and uses.
    start, index, coef : int64
        Compressed rows; empty where a row cannot serve.
    usable : bool (m,)
        Whether every menu keeps the row and its whole numbers are known: a hard kin whose sum is the
        same for all columns of every class, or the link of a group that takes in classes whole.
    low, high : float64 (m,)
        Limits in last decimals, infinite for none; exact in usable rows that are no cuts.
    unit : float64 (m,)
        Last decimals in a unit of the open model's row.
    least, most : int64 (n,)
        Bounds of the columns.
    """

    def __init__(self, program: Program, merged: Merged) -> None:
        model = merged.model
        self.merged = merged
        self.n = merged.n_class + len(merged.use_group)
        self.first_cut = m = len(model.row_low)
        self.cuts: list[CutRow] = []
        self.least, self.most = _bounds(program, merged)
        self.kin = np.full(m, -1, dtype=np.int64)
        for rows in (merged.high_row, merged.low_row):
            self.kin[rows[rows >= 0]] = np.flatnonzero(rows >= 0)
        self.group = np.full(m, -1, dtype=np.int64)
        self.group[merged.link_row] = np.arange(len(merged.link_row))
        self._name_limits(program)
        length = np.diff(model.start)
        wide = np.append(model.high[: self.n] >= EXACT, np.zeros(len(model.high) - self.n, dtype=bool))
        self.usable[np.repeat(np.arange(m), length)[wide[model.index]]] = False
        keep = np.repeat(self.usable, length)
        self.start = np.append(0, np.cumsum(np.where(self.usable, length, 0)))
        self.index = model.index[keep].astype(np.int64)
        self.coef = np.rint((model.value * np.repeat(self.unit, length))[keep]).astype(np.int64)
        self._seen = np.zeros(self.n, dtype=bool)
        self._place = np.zeros(self.n, dtype=np.int64)

    def _name_limits(self, program: Program) -> None:
        """Set ``unit``, ``low``, ``high`` and ``usable``; a link has its limits of 0 from the model."""
        merged, model = self.merged, self.merged.model
        own = np.flatnonzero(self.kin >= 0)
        kin = self.kin[own]
        self.unit = np.ones(len(self.kin))
        self.unit[own] = 10.0 ** merged.kin_decimals[kin]
        self.low, self.high = model.row_low.copy(), model.row_high.copy()
        self.usable = self.low == self.high
        self.usable[own] = _hard_and_exact(program, merged)[kin]
        for side, number, limits in ((self.low, 0, program.row_low), (self.high, 1, program.row_high)):
            # a kin in which one row lacks the limit has none, and what its others add up to is not used
            total = np.zeros(len(merged.kin_decimals), dtype=np.int64)
            np.add.at(total, merged.kin_of, limits)
            about = merged.kin_limit[kin, number] * self.unit[own]
            side[own] = np.where(np.isfinite(about), total[kin], about)
            self.usable[own] &= ~np.isfinite(about) | (np.abs(about) < EXACT)

    def add(self, cuts: list[CutRow]) -> None:
        """Put cuts after the rows; the open model's rows hold their coefficients over ``size``."""
        self.cuts += cuts
        length = np.asarray([len(c.column) for c in cuts], dtype=np.int64)
        self.start = np.concatenate([self.start, self.start[-1] + np.cumsum(length)])
        self.index = np.concatenate([self.index, *(c.column for c in cuts)])
        self.coef = np.concatenate([self.coef, *(c.coef for c in cuts)])
        self.usable = np.concatenate([self.usable, np.ones(len(cuts), dtype=bool)])
        self.low = np.concatenate([self.low, np.full(len(cuts), -np.inf)])
        self.high = np.concatenate([self.high, np.asarray([float(c.high) for c in cuts])])
        self.unit = np.concatenate([self.unit, np.asarray([c.size for c in cuts])])

    def entries(self, rows: NDArray[np.int64]) -> Entries:
        """Nonzeros of some rows (k,)."""
        length = self.start[rows + 1] - self.start[rows]
        owner = np.repeat(np.arange(len(rows)), length)
        entry = ranges(self.start[rows], length)
        index = self.index[entry]
        self._seen[index] = True
        column = np.flatnonzero(self._seen)
        self._seen[column] = False
        self._place[column] = np.arange(len(column))
        return Entries(column, self._place[index], self.coef[entry], owner)

    def round(
        self,
        rows: NDArray[np.int64],
        multiplier: NDArray[np.float64],
        side: NDArray[np.int64],
        turned: NDArray[np.int64],
    ) -> CutRow | None:
        """Return the cut of some rows in whole numbers; None where there is nothing to round.

        Parameters
        ----------
        rows : int64 (k,)
            Usable rows.
        multiplier : float64 (k,)
            Per last decimal.
        side : int64 (k,)
            ``HIGH`` or ``LOW``; one that has a limit, ``HIGH`` for links.
        turned : int64
            Columns counted from their high end.
        """
        times = [round(float(v) * PARTS) for v in multiplier]
        sides = side.tolist()
        limits = [self._limit(r, s) for r, s in zip(rows.tolist(), sides, strict=True)]
        held = self.entries(rows)
        flip = np.isin(held.column, turned)
        end = np.where(flip, self.most[held.column], self.least[held.column]).tolist()
        sums = _added(held, times)
        total = _product(times, limits) - _product(sums, end)
        part = total % PARTS
        if part == 0:
            return None
        slack = [
            -_rounded(t, part) if s == HIGH else _rounded(-t, part) for t, s in zip(times, sides, strict=True)
        ]
        out = [
            -_rounded(-a, part) if f else _rounded(a, part) for a, f in zip(sums, flip.tolist(), strict=True)
        ]
        high = total // PARTS * (PARTS - part) + _product(out, end) + _product(slack, limits)
        coefs = list(map(add, out, _added(held, slack)))
        unit = max(1, (PARTS - part) >> PLACES, gcd(*coefs))
        coefs = [a // unit for a in coefs]
        if max(map(abs, coefs), default=0) >= _WORD:
            return None
        coef = np.asarray(coefs, dtype=np.int64)
        keep = coef != 0
        return CutRow(
            cut=self._named(rows, times, sides, held.column[flip], unit),
            column=held.column[keep],
            coef=coef[keep],
            high=high // unit,
            size=(PARTS - part) / unit,
        )

    def _limit(self, row: int, side: int) -> int:
        if row >= self.first_cut:
            return self.cuts[row - self.first_cut].high
        return int((self.high if side == HIGH else self.low)[row])

    def _named(
        self,
        rows: NDArray[np.int64],
        times: list[int],
        sides: list[int],
        turned: NDArray[np.int64],
        unit: int,
    ) -> Cut:
        """Say in the Program's own labels where a cut comes from."""
        kins, links, cuts = [], [], []
        for r, t, s in zip(rows.tolist(), times, sides, strict=True):
            if not t:
                continue
            if r >= self.first_cut:
                cuts.append((r - self.first_cut, t))
            elif self.kin[r] >= 0:
                kins.append((int(self.merged.kin_label[self.kin[r]]), t, s))
            else:
                links.append((int(self.group[r]), t))
        classes = turned[turned < self.merged.n_class]
        uses = turned[turned >= self.merged.n_class] - self.merged.n_class
        return Cut(
            parts=PARTS,
            unit=unit,
            kins=tuple(kins),
            links=tuple(links),
            cuts=tuple(cuts),
            turned=tuple(self.merged.class_label[classes].tolist()),
            turned_uses=tuple(k for u in uses.tolist() for k in self.merged.places(u)),
        )


def _bounds(program: Program, merged: Merged) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    least = np.zeros(merged.n_class + len(merged.use_group), dtype=np.int64)
    most = np.append(np.zeros(merged.n_class, dtype=np.int64), merged.use_length)
    np.add.at(least, merged.class_of, program.low)
    np.add.at(most, merged.class_of, program.high)
    return least, most


def _hard_and_exact(program: Program, merged: Merged) -> NDArray[np.bool_]:
    """Kins (K,) of hard rows whose merged coefficients are whole numbers beyond doubt."""
    # each row counted at its largest coefficient: no copy of every entry is made
    filled = np.flatnonzero(np.diff(program.row_start))
    at = program.row_start[filled]
    most, least = np.maximum.reduceat(program.row_coef, at), np.minimum.reduceat(program.row_coef, at)
    largest = np.maximum(most.astype(np.float64), -least.astype(np.float64))
    reach = largest * np.diff(program.row_start)[filled]
    size = np.bincount(merged.kin_of[filled], reach, minlength=len(merged.kin_decimals))
    hard = np.ones(len(size), dtype=bool)
    hard[merged.kin_of[program.row_price != HARD]] = False
    out: NDArray[np.bool_] = merged.exact & hard & (size < EXACT)
    return out


def _rounded(a: int, part: int) -> int:
    """Rounded coefficient in ``1 / PARTS``, times ``PARTS - part``."""
    floor, rest = divmod(a, PARTS)
    return floor * (PARTS - part) + max(0, rest - part)


def _product(a: Iterable[int], b: Iterable[int]) -> int:
    return sum(map(mul, a, b))


def _added(held: Entries, times: list[int]) -> list[int]:
    """Sum by column of the nonzeros times their rows' multipliers, exact."""
    out = np.zeros(len(held.column), dtype=object)
    np.add.at(out, held.place, held.coef.astype(object) * np.asarray(times, dtype=object)[held.owner])
    whole: list[int] = out.tolist()
    return whole
