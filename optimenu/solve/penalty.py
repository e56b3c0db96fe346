"""Compiled: what a move would cost in a block of dense rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.solve.compiled import compiled

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@compiled
def one_change(
    vectors: NDArray[np.float64],
    out: np.int64,
    new: np.int64,
    r0: int,
    width: int,
    activity: NDArray[np.float64],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    weight: NDArray[np.float64],
    charge: NDArray[np.float64],
    hard: NDArray[np.float64],
    change: NDArray[np.float64],
) -> tuple[float, float]:
    """Penalty and broken rows of a block after an edit; leaves the changes in ``change``."""
    p, h = 0.0, 0.0
    for k in range(width):
        r = r0 + k
        step = vectors[new + k] - vectors[out + k]
        change[r] = step
        now = activity[r] + step
        v = max(0.0, max(now - high[r], low[r] - now))
        u = min(v, 1.0)
        p += weight[r] * (v + charge[r] * u)
        h += hard[r] * u
    return p, h


@compiled
def two_changes(
    vectors: NDArray[np.float64],
    out: np.int64,
    new: np.int64,
    out_b: np.int64,
    new_b: np.int64,
    r0: int,
    width: int,
    activity: NDArray[np.float64],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    weight: NDArray[np.float64],
    charge: NDArray[np.float64],
    hard: NDArray[np.float64],
    change: NDArray[np.float64],
) -> tuple[float, float]:
    """Do the same for two edits in cells of one block."""
    p, h = 0.0, 0.0
    for k in range(width):
        r = r0 + k
        step = vectors[new + k] - vectors[out + k] + (vectors[new_b + k] - vectors[out_b + k])
        change[r] = step
        now = activity[r] + step
        v = max(0.0, max(now - high[r], low[r] - now))
        u = min(v, 1.0)
        p += weight[r] * (v + charge[r] * u)
        h += hard[r] * u
    return p, h
