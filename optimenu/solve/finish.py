"""Exact steps after the search of a small program: HiGHS chooses some days anew, the others as they are.

A search by single moves and swaps leaves what only several changes at once would mend. Two whole days of
everybody are few columns, and HiGHS finds their best beside the rest of the menu in less than a second. A
program that is small as a whole is one such step, and then its answer is the best there is, as HiGHS says.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.leave_out import useful
from optimenu.solve.plain import Plain, improve

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.bound import Relaxation
    from optimenu.solve.halt import Stop

SMALL = 4000
"""Serving columns up to which days are chosen exactly; on larger programs the same time spent searching
gains more, or the default plan would take far longer."""
WHOLE = 400
"""Columns up to which a program is one step, those left out that no better menu has."""
MOVES_A_STEP = 1_000_000
"""Moves of the search that take about as long as one step; from trials."""
NODES_STEP, NODES_WHOLE = 200, 20_000
"""Nodes of HiGHS's tree at most: a count, so that the answer is the same every time."""
STAY = 1e-6
"""What a serving of the menu started from earns more, where the best earn 10 to 100."""
AT_ONCE = 2
"""Days chosen anew in one step."""


@dataclass(frozen=True, eq=False)
class Finished:
    """What became of a menu.

    Attributes
    ----------
    counts : int64 (n_menu,)
        Checked in whole numbers, and never worse.
    value : int
        Whole goal units.
    closed : bool
        Nothing is better: as HiGHS says of the columns that are not left out, in floating point.
    steps : int
        How many steps there were.
    """

    counts: NDArray[np.int64]
    value: int
    closed: bool = False
    steps: int = 0


def finish(
    program: Program,
    relaxation: Relaxation,
    counts: NDArray[np.int64],
    value: int,
    *,
    moves: int,
    seed: int,
    stop: Stop | None = None,
    tell: Callable[[float, int], None] | None = None,
    start: NDArray[np.int64] | None = None,
) -> Finished:
    """Improve a menu of a small program by exact steps; one of a larger program comes back as it is.

    The result depends on program, relaxation, menu, moves and seed alone, unless it is stopped.

    Parameters
    ----------
    counts, value
        A menu that keeps every hard row, and its worth.
    moves : int
        Moves the search was given: more of them, more steps.
    tell : callable, optional
        Called with the part done (0 to 1) and the worth of the menu.
    start : int64 (n_menu,), optional
        A menu to stay near: of days equally good, those that have more of it.
    """
    if not 0 < program.n_menu <= SMALL or program.continuous.any():
        return Finished(counts, value)
    return _Finish(program, relaxation, counts, value, stop, start).run(moves // MOVES_A_STEP, seed, tell)


class _Finish:
    def __init__(
        self,
        program: Program,
        relaxation: Relaxation,
        counts: NDArray[np.int64],
        value: int,
        stop: Stop | None,
        start: NDArray[np.int64] | None,
    ) -> None:
        self.program = program
        self.relaxation = relaxation
        self.counts = counts
        self.value = value
        self.stop = stop
        self.plain = Plain(program)
        none = np.zeros(program.n_menu)
        self.stay = none if start is None else np.where(start > 0, STAY, none)

    def run(self, most: int, seed: int, tell: Callable[[float, int], None] | None) -> Finished:
        movable = self.program.low[: self.program.n_menu] < self.program.high[: self.program.n_menu]
        self.open = movable & useful(self.program, self.relaxation, self.value)
        if self.open.sum() <= WHOLE:
            self.stay = np.zeros(self.program.n_menu)
            closed = self.step(movable, NODES_WHOLE)
            return Finished(self.counts, self.value, closed, 1)
        day = self.program.day[: self.program.n_menu]
        pairs = list(combinations(np.unique(day[movable]).tolist(), AT_ONCE))
        order = np.random.default_rng([abs(seed), 2]).permutation(len(pairs))
        steps = idle = 0
        while steps < most and idle < len(pairs) and not self.stopped:
            if tell is not None:
                tell(steps / most, self.value)
            before = self.value
            self.step(movable & np.isin(day, pairs[order[steps % len(pairs)]]), NODES_STEP)
            idle = idle + 1 if self.value == before else 0
            steps += 1
        return Finished(self.counts, self.value, False, steps)

    @property
    def stopped(self) -> bool:
        return self.stop is not None and self.stop.is_set()

    def step(self, free: NDArray[np.bool_], nodes: int) -> bool:
        """Choose some columns anew, but for those that no better menu has.

        Returns whether HiGHS closed its gap and its answer stood the check.
        """
        program = self.program
        # what is served already stays a choice, else a menu that has less of it would be forgotten
        free = free & (self.open | (self.counts > program.low[: program.n_menu]))
        part = self.plain.part(self.counts, free, self.stay)
        values, closed = improve(part, program.complete(self.counts)[part.columns], nodes, self.stop)
        found = self.counts.copy()
        serving = part.columns < program.n_menu
        found[part.columns[serving]] = values[serving]
        x = program.complete(found)
        excess = program.excess(x)
        if not program.feasible(x, excess):
            return False
        worth = program.value(x, excess)
        if worth > self.value:
            self.counts, self.value = found, worth
            self.open &= useful(program, self.relaxation, worth)
        return closed and worth >= self.value
