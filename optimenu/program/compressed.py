"""Lists of unequal lengths stored one after the other: where each begins, and what lies in some of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray


def starts(lengths: NDArray[np.int64] | Sequence[int]) -> NDArray[np.int64]:
    """Return the starts of compressed lists from their lengths, int64 (n + 1,)."""
    out = np.zeros(len(lengths) + 1, dtype=np.int64)
    np.cumsum(lengths, out=out[1:])
    return out


def ranges(start: NDArray[np.int64], length: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return every number of the ranges that begin at ``start`` (k,), one range after the other."""
    offset = np.cumsum(length) - length
    return np.repeat(start - offset, length) + np.arange(int(length.sum()))
