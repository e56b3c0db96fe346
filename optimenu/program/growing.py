"""An array that grows at its end without a second copy of itself."""

from __future__ import annotations

import numpy as np

_BLOCK = 1 << 20
"""Values of a block: large enough for the system to hand out its memory in large pages."""


class Growing:
    """Values of one type, added at the end, kept in blocks until they are asked for."""

    def __init__(self, dtype: type) -> None:
        self._dtype = dtype
        self._full: list[np.ndarray] = []
        self._block: np.ndarray = np.empty(0, dtype=dtype)
        self._used = 0

    def add(self, values: np.ndarray | int, count: int) -> None:
        """Add ``count`` values, or one value so often."""
        end = self._used + count
        if end > len(self._block):
            self._close(count)
            end = count
        self._block[self._used : end] = values
        self._used = end

    def _close(self, count: int) -> None:
        if self._used:
            self._full.append(self._block[: self._used])
        # small to begin with, for the many small programs
        size = min(_BLOCK, 2 * len(self._block))
        self._block, self._used = np.empty(max(size, count, 1 << 10), dtype=self._dtype), 0

    def give(self) -> np.ndarray:
        """Return all values in one array; it never changes, whatever is added later."""
        if self._used or not self._full:
            self._full.append(self._block[: self._used])
        self._block, self._used = np.empty(0, dtype=self._dtype), 0
        if len(self._full) > 1:
            self._full = [self._joined()]
        return self._full[0]

    def _joined(self) -> np.ndarray:
        out: np.ndarray = np.empty(sum(len(part) for part in self._full), dtype=self._dtype)
        at = 0
        # each block is let go once it is copied
        while self._full:
            part = self._full.pop(0)
            out[at : at + len(part)] = part
            at += len(part)
        return out
