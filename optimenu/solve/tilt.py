"""Tilts: a second copy of a row that spans days and bites, priced instead of limited.

A search that knows only the limit of the stowed volume meets a wall: nothing better can be had before
something else is given up, and in between the menu is worse. At the relaxation's price both ways pay for
themselves, so each step stands alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import HARD, NO_HIGH, NO_LOW
from optimenu.solve.inner import inner

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program

WIDE = 1 / 24
"""Largest part of a row's use that one serving may take; from trials."""
FAR = 0.5
"""Part of the limit at which a tilt begins, so low that every menu is past it."""


def wide(program: Program, row: int, inside: NDArray[np.bool_], use: NDArray[np.float64]) -> bool:
    """Tell whether a row spans days, and no serving of the columns ``inside`` (n,) takes much of its use."""
    a, z = program.row_start[row], program.row_start[row + 1]
    own = inside[program.row_column[a:z]]
    cols = program.row_column[a:z][own]
    if not len(cols) or (program.day[cols] == program.day[cols[0]]).all():
        return False
    size = np.abs(program.row_coef[a:z][own].astype(np.float64))
    return bool(size.max() <= WIDE * inner(size, use[cols]))


def tilted(
    program: Program,
    columns: NDArray[np.int64],
    rows: NDArray[np.int64],
    low: NDArray[np.int64],
    high: NDArray[np.int64],
    use: NDArray[np.float64],
    multiplier: NDArray[np.float64],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], int]:
    """Return rows and limits with the tilts after them, and how many these are.

    Parameters
    ----------
    program : Program
    columns : int64 (n,)
        Serving columns, rising.
    rows, low, high : int64 (k,)
        Ordinary rows and their limits.
    use : float64 (program.n,)
    multiplier : float64 (program.m,)
    """
    inside = np.zeros(program.n, dtype=bool)
    inside[columns] = True
    chosen, lows, highs = [], [], []
    for k in np.flatnonzero((multiplier[rows] != 0) & (program.row_price[rows] == HARD)):
        r = rows[k]
        up = multiplier[r] > 0
        limit = int(high[k] if up else low[k])
        if limit in (NO_LOW, NO_HIGH):
            continue
        if not wide(program, int(r), inside, use):
            continue
        far = int(FAR * abs(limit))
        chosen.append(r)
        lows.append(NO_LOW if up else limit + far)
        highs.append(limit - far if up else NO_HIGH)
    more = (np.asarray(part, dtype=np.int64) for part in (chosen, lows, highs))
    rows, low, high = (np.concatenate(pair) for pair in zip((rows, low, high), more, strict=True))
    return rows, low, high, len(chosen)
