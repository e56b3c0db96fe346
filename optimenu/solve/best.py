"""The best menu a search has seen, by exact numbers; while there is none, the choice that comes nearest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import HARD

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from optimenu.program.program import Program

    Rank = Callable[[NDArray[np.int64], NDArray[np.int64]], tuple[int, int]]
    """From a choice of all columns and its excess over every row to two numbers, the greater the better."""


class Best:
    """The best menu so far.

    Parameters
    ----------
    rank : callable, optional
        What menus are compared by where it is not the program's value.
    hold : int64 (n_menu,), optional
        Of menus that rank alike, the one with more servings where this one has them is better.

    Attributes
    ----------
    counts : int64 (n_menu,) or None
    value : int or None
        First number of its rank.
    """

    def __init__(self, program: Program, rank: Rank | None, hold: NDArray[np.int64] | None) -> None:
        self.program = program
        self.counts: NDArray[np.int64] | None = None
        self.value: int | None = None
        self._compare = rank
        self._hold = hold
        self._rank: tuple[int, int, int] | None = None
        self._near: NDArray[np.int64] | None = None
        self._misses = (0, 0.0)

    @property
    def near(self) -> NDArray[np.int64] | None:
        """The choice that comes nearest, fewest broken rows first; None once there is a menu."""
        return self._near if self.counts is None else None

    def offer(self, counts: NDArray[np.int64]) -> bool:
        """Weigh a choice of all serving columns in exact numbers; return whether it is a menu."""
        program = self.program
        x = program.complete(counts)
        # every entry is read for it, so once
        excess = program.excess(x)
        if program.feasible(x, excess):
            first = (program.value(x, excess), 0) if self._compare is None else self._compare(x, excess)
            rank = (*first, self._kept(counts))
            if self._rank is None or rank > self._rank:
                self._rank, self.value, self.counts = rank, rank[0], counts.copy()
            return True
        broken = (excess > 0) & (program.row_price == HARD)
        size = np.maximum(np.maximum(_size(program.row_low), _size(program.row_high)), 1.0)
        misses = (int(broken.sum()), float((excess / size)[broken].sum()))
        if self._near is None or misses < self._misses:
            self._misses, self._near = misses, counts.copy()
        return False

    def _kept(self, counts: NDArray[np.int64]) -> int:
        return 0 if self._hold is None else int(np.minimum(counts, self._hold).sum())


def _size(limit: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.where(np.abs(limit) >= 1 << 62, 0, np.abs(limit)).astype(np.float64)
