"""Sums of products in one fixed order.

``@`` hands long sums to BLAS, which shares them out among its threads: their last digits would depend on how
many it has, and with them what a search finds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def inner(a: NDArray[Any], b: NDArray[Any]) -> float:
    """Sum of ``a[k] * b[k]``, for arrays (n,)."""
    return float(np.einsum("k,k->", a, b))


def mixed(weight: NDArray[np.float64], rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows (p, n) added up, each times its weight (p,): float64 (n,)."""
    out: NDArray[np.float64] = np.einsum("p,pn->n", weight, rows)
    return out


def each(rows: NDArray[np.float64], x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Every row (p, n) times ``x`` (n,): float64 (p,)."""
    out: NDArray[np.float64] = np.einsum("pn,n->p", rows, x)
    return out
