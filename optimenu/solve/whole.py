"""Small programs asked by HiGHS for any menu at all, straight from arrays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from optimenu.program.program import IMPLIED, NO_HIGH, NO_LOW
from optimenu.solve.linear import LinearModel, whole_answer

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program


@dataclass(frozen=True, eq=False)
class Found:
    """Whether a program has a menu.

    Attributes
    ----------
    status : str
        ``menu``: checked in whole numbers; ``impossible``: as HiGHS says; ``undecided``.
    counts : int64 (n_menu,) or None
    """

    status: Literal["menu", "impossible", "undecided"]
    counts: NDArray[np.int64] | None = None


def any_menu(program: Program, *, presolve: bool = True, nodes: int = 2000) -> Found:
    """Look for a choice that keeps every hard row of a program; its worth is not looked at.

    Parameters
    ----------
    nodes : int
        Most nodes of the solver's tree, so that an answer does not depend on the machine's speed.
    """
    rows = np.flatnonzero(program.row_kind != IMPLIED)
    entry = program.row_kind[program.row_of_entry] != IMPLIED
    unit = 10.0 ** -program.row_decimals.astype(np.float64)
    length = np.diff(program.row_start)[rows]
    start = np.zeros(len(rows) + 1, dtype=np.int32)
    np.cumsum(length, out=start[1:])
    low, high = program.row_low[rows], program.row_high[rows]
    model = LinearModel(
        cost=np.zeros(program.n),
        low=program.low.astype(np.float64),
        high=program.high.astype(np.float64),
        row_low=np.where(low == NO_LOW, -np.inf, low * unit[rows]),
        row_high=np.where(high == NO_HIGH, np.inf, high * unit[rows]),
        start=start,
        index=program.row_column[entry],
        value=(program.row_coef * unit[program.row_of_entry])[entry],
    )
    status, x = whole_answer(model, presolve=presolve, nodes=nodes)
    if status != "solved":
        return Found("impossible" if status == "impossible" else "undecided")
    counts = np.rint(x[: program.n_menu]).astype(np.int64)
    # within the solver's tolerances only is no menu
    return Found("menu", counts) if program.feasible(program.complete(counts)) else Found("undecided")
