"""The least steps of few levers that let a menu be: by linear programs, or by a search in whole servings.

The work is bounded by a count of solves, never by seconds, so that the answer is the same on any machine.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import HARD
from optimenu.solve.bound import relax
from optimenu.solve.give import give
from optimenu.solve.merge import merge
from optimenu.solve.search import search

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from numpy.typing import NDArray

    from optimenu.explain.levers import Board
    from optimenu.planning import Options
    from optimenu.program.program import Program
    from optimenu.solve.give import Given
    from optimenu.solve.halt import Halt

MOST_LEVERS = 4
"""Most changes of one way: more is another plan."""
SOLVES = 16
"""Most least steps solved for, by a linear program or a search, before the next way is planned."""
_STEP = 10**15
"""Goal units of one whole step where limits are soft, small enough for any limit in 64 bits."""
_CHANGED = 1e-6

Steps = dict[int, float]
"""Lever to its step, as a part of its limits' size."""


class SpentError(Exception):
    """All solves of one way are used."""


class TooManyError(Exception):
    """A way that would need too many changes: how many, in words, and its levers, the largest step first."""

    def __init__(self, words: str, levers: Sequence[int]) -> None:
        super().__init__(words)
        self.levers = levers


class LeastSteps:
    """Finds the least steps of the levers of a board.

    Attributes
    ----------
    solves : int
        Solves counted since it was last set to 0.
    uses : float64 (n,)
        Uses of every column of the Program in the last answer.
    """

    def __init__(self, board: Board, options: Options, stop: Halt | None) -> None:
        self.board, self._options, self._stop = board, options, stop
        self.program: Program = board.program
        self._merged = merge(board.program)
        self._moved = board.moved()
        self.solves = 0
        self.uses: NDArray[np.float64] = np.zeros(board.program.n)

    def _spend(self) -> None:
        """Count one solve; none begins once all are used, or the user asks for an end."""
        if self.solves == SOLVES or (self._stop is not None and self._stop.is_set()):
            raise SpentError
        self.solves += 1

    def _give(self, free: NDArray[np.bool_]) -> Given | None:
        self._spend()
        return give(self.program, self._merged, self._moved, free)

    def only(self, levers: Collection[int]) -> NDArray[np.bool_]:
        """Return what is free where these levers alone may move."""
        free = np.zeros(len(self.board.levers), dtype=bool)
        free[list(levers)] = True
        return free

    def least(self, barred: set[int]) -> Steps | None:
        """Least steps without some levers, as few levers as suffice; None where nothing suffices.

        Raises
        ------
        TooManyError, SpentError
        """
        free = np.ones(len(self.board.levers), dtype=bool)
        free[list(barred)] = False
        if not free.any():
            return None
        given = self._give(free)
        if given is None:
            return None
        if not given.moved:
            # whole servings alone stand in the way
            self._spend()
            return self._fewest(self.whole(free))
        chosen, needed = given.moved, 1
        for k in reversed(given.moved[1:]):
            fewer = [j for j in chosen if j != k]
            if self._give(self.only(fewer)) is not None:
                chosen = fewer
                continue
            # what is needed among many levers is needed among fewer of them too
            needed += 1
            if needed > MOST_LEVERS:
                raise TooManyError(f"{needed} or more changes", given.moved)
        if len(chosen) < len(given.moved):
            given = self._give(self.only(chosen)) or given
        self.uses = given.uses
        return {k: float(given.step[k]) for k in given.moved}

    def _fewest(self, steps: Steps | None) -> Steps | None:
        """The same with as few levers as suffice."""
        if not steps:
            return steps
        needed = 0
        for k in sorted(steps, key=steps.__getitem__):
            if len(steps) == 1:
                break
            if k not in steps:
                continue
            self._spend()
            fewer = self.whole(self.only([j for j in steps if j != k]))
            steps = fewer or steps
            needed += not fewer
            if needed > MOST_LEVERS:
                words = f"{needed} or more changes, as far as a search can tell"
                raise TooManyError(words, sorted(steps, key=lambda k: -steps[k]))
        return steps

    def whole(self, free: NDArray[np.bool_]) -> Steps | None:
        """Steps by which the nearest choice of whole servings misses the limits that may give way."""
        program = self._soft(free)
        relaxation = relax(program, merge(program), stop=self._stop)
        if relaxation.status != "solved":
            return None
        found = search(
            program, relaxation, moves=self._options.moves, seed=self._options.seed,
            threads=self._options.threads, stop=self._stop,
        )  # fmt: skip
        if found.counts is None:
            return None
        x = program.complete(found.counts)
        over = self.program.excess(x) * 10.0 ** -self.program.row_decimals.astype(np.float64)
        self.uses = x.astype(np.float64)
        steps: Steps = {}
        for lever in self.board.levers:
            part = max((float(over[r] / self.board.size[r]) for r in lever.rows), default=0.0)
            if lever.columns and not lever.rows and x[lever.columns].any():
                part = max(part, _CHANGED * 10)
            if part > _CHANGED:
                steps[lever.number] = part
        return steps

    def _soft(self, free: NDArray[np.bool_]) -> Program:
        """The program in which what may give way has its price, and nothing else is worth anything."""
        program = self.program
        price, gain = program.row_price.copy(), np.zeros_like(program.gain)
        high, cost = program.high.copy(), self.board.cost
        last = self.board.size * 10.0 ** program.row_decimals.astype(np.float64)
        for lever in self.board.levers:
            if free[lever.number]:
                for r in lever.rows:
                    price[r] = max(1, int(_STEP * cost[lever.number] / last[r]))
                if not lever.rows:
                    gain[lever.columns] -= _STEP // 10
            elif lever.columns and not lever.rows:
                high[lever.columns] = 0
        price[program.row_price != HARD] = 0
        return replace(
            program, row_price=price, gain=gain, high=high, group_gain=np.zeros_like(program.group_gain),
            deduction=np.zeros_like(program.deduction),
        )  # fmt: skip
