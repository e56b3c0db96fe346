"""A program's merged relaxation kept open, to be solved again with other limits or another goal."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.bound import relax, relaxation_of
from optimenu.solve.linear import OpenModel
from optimenu.solve.merge import ends, gains, limits, merge

if TYPE_CHECKING:
    from optimenu.program.program import Program
    from optimenu.solve.bound import Relaxation
    from optimenu.solve.linear import LinearModel
    from optimenu.solve.merge import Merged


class Again:
    """The relaxation of a program, and of programs that differ from it in little.

    Parameters
    ----------
    program : Program
    merged : Merged, optional
        Its merged model, where it is known.

    Attributes
    ----------
    first : Relaxation
        Of the program itself, without cuts.

    Raises
    ------
    ValueError
        When a column may be negative.
    """

    def __init__(self, program: Program, merged: Merged | None = None) -> None:
        self.program = program
        self.merged = merge(program) if merged is None else merged
        self._model = self.merged.model
        self._opened = OpenModel(self._model)
        self.first = relaxation_of(program, self.merged, self._opened.solve())

    def solve(self, other: Program) -> Relaxation:
        """Solve a program whose limits, column ends, gains and deductions may differ; no cuts.

        It begins from the last basis, so small changes take a few steps. Among equally good answers the
        one found depends on what was solved before; the optimum does not.

        Raises
        ------
        ValueError
            When more than that differs.
        """
        if (other.n, other.m) != (self.program.n, self.program.m):
            msg = f"{other.n} columns and {other.m} rows, not {self.program.n} and {self.program.m}"
            raise ValueError(msg)
        model = self._changed(other)
        if model is None:
            return relax(other)
        self._opened.change(self._model, model)
        self._model = model
        result = self._opened.solve()
        return relaxation_of(other, replace(self.merged, model=model), result)

    def _changed(self, other: Program) -> LinearModel | None:
        """The merged model with what differs; None where uses of one column are no longer alike."""
        merged, base = self.merged, self.merged.model
        n, uses = merged.n_class, len(merged.use_place)
        length = merged.use_length - 1
        if np.any(other.deduction[merged.use_place] != other.deduction[merged.use_place + length]):
            return None
        cost, low, high = base.cost.copy(), base.low.copy(), base.high.copy()
        cost[:n] = gains(other, merged.class_of, n) / merged.goal_unit
        cost[n : n + uses] = -other.deduction[merged.use_place].astype(np.float64) / merged.goal_unit
        low[:n], high[:n] = ends(other, merged.class_of, n)
        row_low, row_high = base.row_low.copy(), base.row_high.copy()
        kin_low, kin_high, _ = limits(other, merged.kin_of, merged.kin_decimals)
        has_high, has_low = merged.high_row >= 0, merged.low_row >= 0
        row_high[merged.high_row[has_high]] = kin_high[has_high]
        row_low[merged.low_row[has_low]] = kin_low[has_low]
        return replace(base, cost=cost, low=low, high=high, row_low=row_low, row_high=row_high)
