"""An array that grows at its end without a second copy of itself."""

from __future__ import annotations

import numpy as np

_FIRST = 1 << 16
_SHARE = 8
"""Grown by an eighth at a time: the memory's pages are moved, not copied, so often is cheap."""


class Growing:
    """Values of one type, added at the end."""

    def __init__(self, dtype: type) -> None:
        self._all: np.ndarray = np.zeros(0, dtype=dtype)
        self._given = False
        self.size = 0

    def add(self, values: np.ndarray | int, count: int) -> None:
        """Add ``count`` values, or one value so often."""
        end = self.size + count
        if end > len(self._all) or self._given:
            self._grow(end)
        self._all[self.size : end] = values
        self.size = end

    def _grow(self, end: int) -> None:
        if self._given:
            self._all, self._given = self._all.copy(), False
        # nobody else holds the array: what is given away is not grown any more
        self._all.resize(max(end, len(self._all) + len(self._all) // _SHARE, _FIRST), refcheck=False)

    def give(self) -> np.ndarray:
        """Return the array as it is; it never changes, whatever is added later."""
        if not self._given:
            self._all.resize(self.size, refcheck=False)
            self._given = True
        return self._all
