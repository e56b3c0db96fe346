"""The least steps of named levers that let the merged model have an answer.

A lever moves the limits of all its rows by the same part of their size, as one setting of a config does.
What no lever moves stays as it is: a limit that is nobody's to lift is never bent to spare another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import LINK
from optimenu.solve.linear import LinearModel, maximise

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.merge import Merged

_SEEN = 1e-7
"""Steps below this are the solver's rounding."""


@dataclass(frozen=True, eq=False)
class Bar:
    """Serving columns that only a lever lets in: they sum to no more than its step times ``size``."""

    lever: int
    columns: NDArray[np.int64]
    size: float


@dataclass(frozen=True, eq=False)
class Levers:
    """What may be moved, by number; -1 for what may not.

    Attributes
    ----------
    count : int
    low, high : int64 (m,)
        Lever of each row's low and high limit.
    size : float64 (m,)
        What one step moves a row's limit by, in units.
    cost : float64 (levers,)
        What one step of each lever costs beside those of the others.
    bars : sequence of Bar
    """

    count: int
    low: NDArray[np.int64]
    high: NDArray[np.int64]
    size: NDArray[np.float64]
    cost: NDArray[np.float64]
    bars: Sequence[Bar] = ()


@dataclass(frozen=True, eq=False)
class Given:
    """Least steps.

    Attributes
    ----------
    step : float64 (levers,)
        Step of each lever as a part of the size of its limits.
    uses : float64 (n,)
        Uses of every column of the Program, those of one class alike.
    """

    step: NDArray[np.float64]
    uses: NDArray[np.float64]

    @property
    def moved(self) -> list[int]:
        """Levers that move, the largest step first."""
        on = np.flatnonzero(self.step > _SEEN)
        return [int(k) for k in on[np.argsort(-self.step[on], kind="stable")]]


def give(program: Program, merged: Merged, levers: Levers, free: NDArray[np.bool_]) -> Given | None:
    """Find the least sum of steps, None where even these levers do not suffice, or nobody can tell.

    Parameters
    ----------
    free : bool (levers,)
        Levers that may move.
    """
    model, first = _model(program, merged, levers, free)
    result = maximise(model)
    if result.status != "solved":
        return None
    sizes = np.bincount(merged.class_of, minlength=merged.n_class)
    uses = result.x[: merged.n_class][merged.class_of] / sizes[merged.class_of]
    return Given(result.x[first : first + levers.count], uses)


def _model(
    program: Program, merged: Merged, levers: Levers, free: NDArray[np.bool_]
) -> tuple[LinearModel, int]:
    """The merged model without its goal, with a column for each lever; and the first of those."""
    base = merged.model
    n, m = len(base.cost), len(base.row_low)
    row, lever, value = _entries(program, merged, levers)
    bar_row, bar_column, bar_value = _bars(merged, levers, m, n)
    rows = np.concatenate([np.repeat(np.arange(m), np.diff(base.start)), row, bar_row])
    index = np.concatenate([base.index, n + lever, bar_column])
    values = np.concatenate([base.value, value, bar_value])
    order = np.argsort(rows, kind="stable")
    more = len(levers.bars)
    start = np.zeros(m + more + 1, dtype=np.int32)
    np.cumsum(np.bincount(rows, minlength=m + more), out=start[1:])
    model = LinearModel(
        cost=np.concatenate([np.zeros(n), -levers.cost]),
        low=np.concatenate([base.low, np.zeros(levers.count)]),
        high=np.concatenate([base.high, np.where(free, np.inf, 0.0)]),
        row_low=np.concatenate([base.row_low, np.full(more, -np.inf)]),
        row_high=np.concatenate([base.row_high, np.zeros(more)]),
        start=start,
        index=index[order].astype(np.int32),
        value=values[order],
    )
    return model, n


def _entries(
    program: Program, merged: Merged, levers: Levers
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Merged row, lever and what a step adds to the row's activity, each pair once."""
    row, lever, value = [], [], []
    ordinary = program.row_kind != LINK
    for of_row, merged_row, sign in ((levers.low, merged.low_row, 1.0), (levers.high, merged.high_row, -1.0)):
        own = np.flatnonzero((of_row >= 0) & ordinary & (merged_row[merged.kin_of] >= 0))
        row.append(merged_row[merged.kin_of[own]])
        lever.append(of_row[own])
        value.append(sign * levers.size[own])
    key = np.concatenate(row).astype(np.int64) * max(levers.count, 1) + np.concatenate(lever)
    pairs, back = np.unique(key, return_inverse=True)
    total = np.bincount(back.reshape(-1), weights=np.concatenate(value), minlength=len(pairs))
    rows, number = np.divmod(pairs, max(levers.count, 1))
    return rows, number, total.astype(np.float64)


def _bars(
    merged: Merged, levers: Levers, m: int, n: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    row, column, value = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)], [np.zeros(0)]
    for k, bar in enumerate(levers.bars):
        classes = np.unique(merged.class_of[bar.columns])
        row.append(np.full(len(classes) + 1, m + k))
        column.append(np.append(classes, n + bar.lever))
        value.append(np.append(np.ones(len(classes)), -bar.size))
    return np.concatenate(row), np.concatenate(column), np.concatenate(value)
