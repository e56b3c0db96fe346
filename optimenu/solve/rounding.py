"""Mixed-integer rounding on the merged model: what a cut says, in whole numbers.

See ``program.certificate.Cut`` for the formula. Columns are those of the merged model without the slacks
of its soft rows: totals of column classes, then uses of worth groups. All are whole numbers in a menu,
and so are the rows' slacks, counted in the rows' last decimals.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.certificate import HIGH, Cut

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.merge import Merged

PARTS = 315 << 40
"""Multipliers count in this part of one: what is a half to a tenth is exact, all else to 15 digits."""
PLACES = 28
"""Binary places that finished coefficients keep."""
_WHOLE = float(1 << 53)


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


class WholeRows:
    """Rows of the merged model in whole numbers, and the cuts found so far after them.

    Attributes
    ----------
    n : int
        Class totals and uses.
    start, index, coef : int64
        Compressed rows; empty where a row cannot serve.
    usable : bool (m,)
        Whether the row holds for every menu, exactly and per column class.
    low, high : float64 (m,)
        Limits in last decimals, infinite for none; whole numbers.
    unit : float64 (m,)
        Last decimals in a unit of the open model's row.
    least, most : int64 (n,)
        Bounds of the columns.
    """

    def __init__(self, program: Program, merged: Merged) -> None:
        model = merged.model
        self.merged = merged
        self.n = merged.n_class + len(merged.use_group)
        m = len(model.row_low)
        kin = np.full(m, -1, dtype=np.int64)
        for rows in (merged.high_row, merged.low_row):
            kin[rows[rows >= 0]] = np.flatnonzero(rows >= 0)
        self.kin = kin
        self.group = np.full(m, -1, dtype=np.int64)
        self.group[merged.link_row] = np.arange(len(merged.link_row))
        own = kin >= 0
        decimals = np.where(own, merged.kin_decimals[np.maximum(kin, 0)], 0)
        self.unit = 10.0 ** decimals.astype(np.float64)
        coef = np.rint(model.value * np.repeat(self.unit, np.diff(model.start)))
        limit = merged.kin_limit[np.maximum(kin, 0)] * self.unit[:, None]
        self.low = np.where(own, limit[:, 0], model.row_low)
        self.high = np.where(own, limit[:, 1], model.row_high)
        self.usable = np.where(
            own,
            merged.exact[np.maximum(kin, 0)] & ~np.isfinite(merged.kin_price[np.maximum(kin, 0)]),
            model.row_low == model.row_high,
        )
        for side in (self.low, self.high):
            there = np.isfinite(side)
            side[there] = np.rint(side[there])
            self.usable &= ~there | (np.abs(np.where(there, side, 0)) < _WHOLE)
        keep = np.repeat(self.usable, np.diff(model.start))
        length = np.where(self.usable, np.diff(model.start), 0)
        self.start = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(length)])
        self.index = model.index[keep].astype(np.int64)
        self.coef = coef[keep].astype(np.int64)
        self.least = np.rint(model.low[: self.n]).astype(np.int64)
        self.most = np.rint(model.high[: self.n]).astype(np.int64)
        self.first_cut = m
        self.cuts: list[CutRow] = []
        self._kin_label = np.unique(program.row_kin)
        self._class_label = np.unique(program.column_class)

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

    def entries(self, rows: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Places of the rows' nonzeros, and the number of nonzeros of each."""
        length = self.start[rows + 1] - self.start[rows]
        begin = self.start[rows] - (np.cumsum(length) - length)
        return np.repeat(begin, length) + np.arange(int(length.sum())), length

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
            ``HIGH`` or ``LOW``; one that has a limit.
        turned : int64
            Columns counted from their high end.
        """
        times = [round(float(v) * PARTS) for v in multiplier]
        limits = [
            self._limit(int(r), bool(s == HIGH)) for r, s in zip(rows.tolist(), side.tolist(), strict=True)
        ]
        entry, length = self.entries(rows)
        columns, place = np.unique(self.index[entry], return_inverse=True)
        coefs = self.coef[entry].astype(object)
        owner = np.repeat(np.arange(len(rows)), length)
        sums = _added(place, coefs * np.asarray(times, dtype=object)[owner], len(columns))
        flip = np.isin(columns, turned)
        least, most = self.least[columns].tolist(), self.most[columns].tolist()
        total = sum(t * limit for t, limit in zip(times, limits, strict=True))
        total -= sum(
            a * (h if f else low) for a, f, low, h in zip(sums, flip.tolist(), least, most, strict=True)
        )
        part = total % PARTS
        if part == 0:
            return None
        out = [
            -_rounded(-a, part) if f else _rounded(a, part) for a, f in zip(sums, flip.tolist(), strict=True)
        ]
        high = (total // PARTS) * (PARTS - part)
        high += sum(
            a * (h if f else low) for a, f, low, h in zip(out, flip.tolist(), least, most, strict=True)
        )
        slack = []
        for t, limit, s in zip(times, limits, side.tolist(), strict=True):
            # activity + slack = limit on a high side, activity - slack = limit on a low one
            own = _rounded(t, part) if s == HIGH else -_rounded(-t, part)
            slack.append(-own)
            high -= own * limit
        out = [
            a + b
            for a, b in zip(
                out, _added(place, coefs * np.asarray(slack, dtype=object)[owner], len(columns)), strict=True
            )
        ]
        unit = max(1, (PARTS - part) >> PLACES)
        done = [a // unit for a in out]
        if max((abs(a) for a in done), default=0) >= 1 << 62:
            return None
        keep = np.asarray([k for k, a in enumerate(done) if a], dtype=np.int64)
        return CutRow(
            cut=self._named(rows, times, side, columns[flip], unit),
            column=columns[keep],
            coef=np.asarray([done[k] for k in keep], dtype=np.int64),
            high=-(-high // unit),
            size=(PARTS - part) / unit,
        )

    def _limit(self, row: int, high: bool) -> int:
        if row >= self.first_cut:
            return self.cuts[row - self.first_cut].high
        return int((self.high if high else self.low)[row])

    def _named(
        self,
        rows: NDArray[np.int64],
        times: list[int],
        side: NDArray[np.int64],
        turned: NDArray[np.int64],
        unit: int,
    ) -> Cut:
        """Say in the Program's own labels where a cut comes from."""
        kins, links, cuts = [], [], []
        for r, t, s in zip(rows.tolist(), times, side.tolist(), strict=True):
            if not t:
                continue
            if r >= self.first_cut:
                cuts.append((r - self.first_cut, t))
            elif self.kin[r] >= 0:
                kins.append((int(self._kin_label[self.kin[r]]), t, s))
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
            turned=tuple(self._class_label[classes].tolist()),
            turned_uses=tuple(k for u in uses.tolist() for k in self.places(u).tolist()),
        )

    def places(self, use: int) -> NDArray[np.int64]:
        """Places in the Program's ``deduction`` of a use column."""
        first = int(self.merged.use_place[use])
        return np.arange(first, first + int(self.most[self.merged.n_class + use]))


def _rounded(a: int, part: int) -> int:
    """Rounded coefficient in ``1 / PARTS``, times ``PARTS - part``."""
    floor, rest = divmod(a, PARTS)
    return floor * (PARTS - part) + max(0, rest - part)


def _added(place: NDArray[np.int64], values: NDArray[np.object_], count: int) -> list[int]:
    out = np.zeros(count, dtype=object)
    np.add.at(out, place, values)
    return out.tolist()  # type: ignore[no-any-return]
