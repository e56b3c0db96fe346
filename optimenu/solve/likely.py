"""Columns worth trying: those that earn about what they cost at the relaxation's prices."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.inner import inner
from optimenu.solve.sums import column_totals

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program

UNLIKELY = -0.025
"""Gain less cost, in mean servings' worth, under which a column is tried rarely; from trials."""


def likely(program: Program, use: NDArray[np.float64], multiplier: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which columns are worth trying, bool (n,).

    Parameters
    ----------
    program : Program
    use : float64 (n,)
        The relaxation's use of each column.
    multiplier : float64 (m,)
        Its multipliers, in goal units per unit of each row's last decimal.
    """
    gain = program.gain.astype(np.float64)
    mean = inner(gain, use) / max(float(use[: program.n_menu].sum()), 1e-9)
    chosen: NDArray[np.bool_] = gain - column_totals(program, multiplier) >= UNLIKELY * abs(mean)
    return chosen
