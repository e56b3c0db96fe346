"""A start for a large linear program: its parts solved by themselves first.

People are tied by few rows: what is shared of mass, volume, stock, water. A basis put together from the
best of each part is no worse than none, mostly close to the whole's best, and the dual simplex needs few
steps more. It changes the way, never the optimum.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import highspy
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from optimenu.solve.linear import LinearModel

NO_PART = -1
FEW_ROWS = 4000
"""Under that many a linear program is solved as soon at once; from trials."""
MANY_ENTRIES = 3_000_000
"""Over that many too: a start of our own forgoes the solver's presolve, and where shared rows bite hard
the steps left are many and dear. From trials: 2 million entries 2 to 5 times as soon, 5 million later."""


class Block(NamedTuple):
    """One part: its columns and rows in the whole, rising, and their own linear program."""

    columns: NDArray[np.int64]
    rows: NDArray[np.int64]
    model: LinearModel


def blocks(model: LinearModel) -> Iterator[Block]:
    """Yield the parts of a model; none where it has fewer than two, or where they are of no use.

    A row is of a part when all its columns are. A column of no part that stands in the rows of one part
    alone, as the slack of a soft row does, goes with them.
    """
    if model.part is None or len(model.row_low) < FEW_ROWS or len(model.value) > MANY_ENTRIES:
        return
    if len(np.unique(model.part[model.part != NO_PART])) < 2:
        return
    length = np.diff(model.start)
    row_of = np.repeat(np.arange(len(length)), length)
    of_row = _common(row_of, model.part[model.index], len(length))
    of_column = model.part.copy()
    loose = np.flatnonzero(of_column[model.index] == NO_PART)
    follows = _common(model.index[loose], of_row[row_of[loose]], len(of_column))
    of_column[of_column == NO_PART] = follows[of_column == NO_PART]
    # what stands in a row beside its part's own columns makes it shared
    of_row[row_of[of_column[model.index] == NO_PART]] = NO_PART
    of_row[length == 0] = NO_PART
    for part in np.unique(of_row[of_row != NO_PART]).tolist():
        columns, rows = np.flatnonzero(of_column == part), np.flatnonzero(of_row == part)
        number = np.full(len(of_column), -1, dtype=np.int32)
        number[columns] = np.arange(len(columns), dtype=np.int32)
        inside = of_row[row_of] == part
        start = np.zeros(len(rows) + 1, dtype=np.int32)
        np.cumsum(length[rows], out=start[1:])
        own = type(model)(
            cost=model.cost[columns],
            low=model.low[columns],
            high=model.high[columns],
            row_low=model.row_low[rows],
            row_high=model.row_high[rows],
            start=start,
            index=number[model.index[inside]],
            value=model.value[inside],
        )
        yield Block(columns, rows, own)


def _common(place: NDArray[Any], part: NDArray[Any], size: int) -> NDArray[np.int32]:
    """Return the one part met at every place, entries of no part left aside; -1 for none or several."""
    known = part != NO_PART
    least = np.full(size, np.iinfo(np.int32).max, dtype=np.int32)
    most = np.full(size, NO_PART, dtype=np.int32)
    np.minimum.at(least, place[known], part[known].astype(np.int32))
    np.maximum.at(most, place[known], part[known].astype(np.int32))
    return np.where(least == most, most, np.int32(NO_PART))


def start_of(model: LinearModel, solved: Callable[[LinearModel], Any]) -> Any:
    """Return a basis of the whole from those of its parts, or None.

    Parameters
    ----------
    solved : callable
        Returns the solver after a part's optimum, or None where the part has none.
    """
    states = highspy.HighsBasisStatus
    column: list[Any] = [states.kLower] * len(model.cost)
    row: list[Any] = [states.kBasic] * len(model.row_low)
    found = False
    for block in blocks(model):
        solver = solved(block.model)
        if solver is None:
            return None
        basis = solver.getBasis()
        for c, state in zip(block.columns.tolist(), basis.col_status, strict=True):
            column[c] = state
        for r, state in zip(block.rows.tolist(), basis.row_status, strict=True):
            row[r] = state
        found = True
    if not found:
        return None
    whole = highspy.HighsBasis()
    whole.col_status, whole.row_status, whole.valid = column, row, True
    return whole
