"""A Program as the plain integer model every solver gets: the same columns and rows, whole numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import highspy
import numpy as np

from optimenu.program.program import HARD, IMPLIED, NO_HIGH, NO_LOW
from optimenu.solve.linear import ready

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from optimenu.program.program import Program


@dataclass(frozen=True, eq=False)
class Plain:
    """Maximise ``cost @ x``; the Program's columns, then the uses of the worth groups, then slacks.

    Attributes
    ----------
    cost : float64 (n,), units of ``goal_unit`` whole goal units.
    low, high : float64 (n,)
    whole : bool (n,), columns that must be whole numbers.
    start, index, value : compressed rows; ``value`` int64 at ``one`` units a row.
    row_low, row_high : int64 (m,), ``NO_LOW`` and ``NO_HIGH`` for none.
    one : float64 (m,), what a row's numbers are divided by.
    """

    cost: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    whole: NDArray[np.bool_]
    start: NDArray[np.int64]
    index: NDArray[np.int32]
    value: NDArray[np.int64]
    row_low: NDArray[np.int64]
    row_high: NDArray[np.int64]
    one: NDArray[np.float64]
    goal_unit: float


def plain(program: Program) -> Plain:
    """Return the plain model, as ``program.to_pulp`` does, but from arrays; implied rows are left out."""
    p = program
    kept = np.flatnonzero(p.row_kind != IMPLIED)
    uses = np.repeat(np.arange(p.n_groups), np.diff(p.deduct_start))
    soft = p.row_price != HARD
    over = np.flatnonzero(soft & (p.row_high != NO_HIGH) & (p.row_kind != IMPLIED))
    under = np.flatnonzero(soft & (p.row_low != NO_LOW) & (p.row_kind != IMPLIED))
    first_over = p.n + len(uses)
    first_under = first_over + len(over)
    n = first_under + len(under)
    # a slack counts in units of its row, so that its bounds and cost are of ordinary size
    one = 10.0 ** p.row_decimals.astype(np.float64)
    place = np.full(p.m, -1)
    place[kept] = np.arange(len(kept))
    entry_row = place[p.row_of_entry]
    on = entry_row >= 0
    m = len(kept)
    owner = np.repeat(np.arange(p.n_groups), np.diff(p.group_start))
    row = np.concatenate([entry_row[on], place[over], place[under], m + owner, m + uses])
    column = np.concatenate(
        [
            p.row_column[on],
            first_over + np.arange(len(over)),
            first_under + np.arange(len(under)),
            p.group_column,
            p.n + np.arange(len(uses)),
        ]
    )
    whole_one = np.rint(one).astype(np.int64)
    value = np.concatenate(
        [p.row_coef[on], -whole_one[over], whole_one[under], np.ones(len(owner), int), np.full(len(uses), -1)]
    )
    order = np.argsort(row, kind="stable")
    start = np.zeros(m + p.n_groups + 1, dtype=np.int64)
    np.cumsum(np.bincount(row, minlength=m + p.n_groups), out=start[1:])
    cost = np.concatenate(
        [
            p.gain.astype(np.float64),
            -p.deduction.astype(np.float64),
            -(p.row_price.astype(np.float64) * one)[over],
            -(p.row_price.astype(np.float64) * one)[under],
        ]
    )
    largest = max(1.0, float(np.abs(p.gain).max(initial=1)))
    unit = 10.0 ** max(0, int(np.log10(largest)) - 1)
    return Plain(
        cost=cost / unit,
        low=np.concatenate([p.low.astype(np.float64), np.zeros(n - p.n)]),
        high=np.concatenate([p.high.astype(np.float64), np.ones(len(uses)), np.full(n - first_over, np.inf)]),
        whole=np.concatenate([~p.continuous, np.zeros(n - p.n, dtype=bool)]),
        start=start,
        index=column[order].astype(np.int32),
        value=value[order],
        row_low=np.concatenate([p.row_low[kept], np.zeros(p.n_groups, int)]),
        row_high=np.concatenate([p.row_high[kept], np.zeros(p.n_groups, int)]),
        one=np.concatenate([one[kept], np.ones(p.n_groups)]),
        goal_unit=unit,
    )


def to_highs(model: Plain) -> highspy.Highs:
    """The model in HiGHS, to be minimised (the cost's sign turned), nothing set but silence."""
    ready()
    h = highspy.Highs()
    h.setOptionValue("output_flag", False)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(model.cost), len(model.row_low)
    lp.col_cost_ = -model.cost
    lp.col_lower_, lp.col_upper_ = model.low, model.high
    lp.row_lower_ = np.where(model.row_low == NO_LOW, -np.inf, model.row_low / model.one)
    lp.row_upper_ = np.where(model.row_high == NO_HIGH, np.inf, model.row_high / model.one)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = model.start.astype(np.int32)
    lp.a_matrix_.index_ = model.index
    lp.a_matrix_.value_ = model.value / np.repeat(model.one, np.diff(model.start))
    kinds = highspy.HighsVarType
    lp.integrality_ = [kinds.kInteger if w else kinds.kContinuous for w in model.whole.tolist()]
    if h.passModel(lp) == highspy.HighsStatus.kError:
        msg = "HiGHS refuses the model"
        raise RuntimeError(msg)
    return h


def write_mps(model: Plain, path: Path) -> None:
    """The same model as an MPS file, for solvers that read one."""
    to_highs(model).writeModel(str(path))
