"""How far a limit can be tightened before the merged model has no answer, or none good enough."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.linear import LinearModel, maximise

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.solve.merge import Merged


def reach(
    merged: Merged, rows: Sequence[int], *, high: bool, floor: float | None = None, goal_decimals: int = 0
) -> float | None:
    """Return the least high limit, or the greatest low one, that the rows of a program can share.

    A guide, no proof.

    Parameters
    ----------
    rows : sequence of int
        Numbers of the program's rows, each of a kin of its own.
    high : bool
        Which limit of theirs is meant.
    floor : float, optional
        The goal is to be at least this, in its units.

    Returns
    -------
    float or None
        In units of the rows; None where the model has no answer.
    """
    model = merged.model
    n, m = len(model.cost), len(model.row_low)
    kins = merged.kin_of[np.asarray(rows)]
    at = np.sort((merged.high_row if high else merged.low_row)[kins])
    sign = -1.0 if high else 1.0
    # activity - limit <= 0, or >= 0, with the limit a column of its own
    ends = model.start[at + 1]
    index = np.insert(model.index, ends, n)
    value = np.insert(model.value, ends, -1.0)
    start = model.start.astype(np.int64)
    start[1:] += np.cumsum(np.isin(np.arange(m), at))
    row_low, row_high = model.row_low.copy(), model.row_high.copy()
    (row_high if high else row_low)[at] = 0.0
    (row_low if high else row_high)[at] = -np.inf if high else np.inf
    if floor is not None:
        paid = np.flatnonzero(model.cost)
        index = np.concatenate([index, paid])
        value = np.concatenate([value, model.cost[paid]])
        start = np.append(start, len(index))
        row_low = np.append(row_low, floor * 10.0**goal_decimals / merged.goal_unit)
        row_high = np.append(row_high, np.inf)
    cost = np.zeros(n + 1)
    cost[n] = sign
    asked = LinearModel(
        cost=cost,
        low=np.append(model.low, 0.0),
        high=np.append(model.high, np.inf),
        row_low=row_low,
        row_high=row_high,
        start=start.astype(np.int32),
        index=index.astype(np.int32),
        value=value,
    )
    found = maximise(replace(asked, part=None))
    return float(found.x[n]) if found.status == "solved" else None
