"""Columns parted by plan day, for rules that write rows over many sets of days."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence


class ByDay:
    """Columns of one value, plan day by plan day.

    Attributes
    ----------
    room : int64 (plan days,)
        Most servings there can be on each day; none where there are no columns.
    """

    def __init__(self, cols: np.ndarray, days: np.ndarray, high: np.ndarray, n_days: int) -> None:
        order = np.argsort(days, kind="stable")
        self._cols = cols[order]
        self._start = np.searchsorted(days[order], np.arange(n_days + 1)).tolist()
        total = np.zeros(len(cols) + 1, dtype=np.int64)
        np.cumsum(high[order], out=total[1:])
        self.room = np.diff(total[self._start])

    def on(self, days: Sequence[int]) -> np.ndarray:
        """Return the columns of some plan days, rising numbers, in their order."""
        parts = []
        first = last = self._start[days[0]]
        for d in days:
            if self._start[d] != last:
                parts.append(self._cols[first:last])
                first = self._start[d]
            last = self._start[d + 1]
        parts.append(self._cols[first:last])
        return parts[0] if len(parts) == 1 else np.concatenate(parts)


def most_apart(places: Sequence[int], length: int, gap: int) -> int:
    """Return the most of these places on a ring of so many that lie at least a gap apart all round."""
    best = 0
    for first in places:
        taken, last = 1, first
        for place in places:
            if place >= last + gap and place + gap <= first + length:
                taken, last = taken + 1, place
        best = max(best, taken)
    return best
