"""One component's way through its budget, in steps that leave a menu behind early."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from optimenu.solve.schedule import (
    AGAIN,
    BACK,
    KNOWN,
    MAIN,
    MEND,
    NEAR,
    POLISH,
    QUICK,
    SKETCH,
    SMALL,
    WARM,
    chunks,
    cool,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    from optimenu.solve.engine import Engine
    from optimenu.solve.halt import Stop

QUICK_PART, QUICK_MOST = 0.05, 400_000
SHORT_PART = 0.0625
"""Part of the budget spent on a first whole cooling, so that whoever stops early has a decent menu."""
SHORT_FEWEST = 20_000
"""Moves below which such a cooling finds nothing the quick one has not."""
SKETCH_PART = 0.005
"""Part of the budget spent on one sketch of a menu from the middle of the long cooling."""
SKETCH_FROM = 0.4
"""Part of the long cooling before which its state is too hot to make a menu of."""
MAIN_PART, MAIN_PART_EASY = 0.75, 0.85
"""Of what is left, for the long cooling; the rest is for repairs, of which there are few where menus
come easily."""
NEAR_PART = 0.8
AGAIN_ROUNDS, WARM_ROUNDS, MEND_ROUNDS = 4, 2, 4
MEND_PART = 0.125
"""Of what is left after the long cooling, for one round of mending what it left broken."""
MOVES_A_COLUMN = 1500
"""Moves a column after which a new start gains more than slower cooling; from trials."""
MOST_STARTS = 8
FEW_COLUMNS = 200


def repair(
    engine: Engine,
    budget: int,
    stop: Stop,
    tick: Callable[[], None] | None = None,
    *,
    easy: bool = False,
) -> None:
    """Spend moves at low temperature: on the broken rows first, then on the value.

    Parameters
    ----------
    easy : bool
        Whether menus come easily: then they are polished, else shaken a little more.
    """
    rounds = AGAIN_ROUNDS
    each = budget // rounds
    left = budget
    while rounds and engine.best_value is None and not stop.is_set():
        cool(engine, AGAIN, each, stop, tick)
        left -= each
        rounds -= 1
    for k in range(WARM_ROUNDS):
        best = engine.best
        if best is None or stop.is_set():
            break
        engine.load(best)
        cool(
            engine,
            POLISH if easy else WARM,
            left * (k + 1) // WARM_ROUNDS - left * k // WARM_ROUNDS,
            stop,
            tick,
        )


def back(
    engine: Engine,
    x: NDArray[np.int64],
    budget: int,
    stop: Stop | None = None,
    tick: Callable[[], None] | None = None,
) -> NDArray[np.int64]:
    """Return a choice as good as ``x`` (n,) with no fewer servings where the menu started from has them.

    Days of one class are alike, so a search may leave a dish on any of them; whoever changes a plan a
    little wants the rest to stay.
    """
    engine.load(x)
    cool(engine, BACK, budget, stop, tick)
    found = engine.held_best()
    return x if found is None else found


class Descent:
    """The search of one component.

    Parameters
    ----------
    engine : Engine
        Loaded with a first choice.
    budget : int
        Moves.
    pieces : int
        Parts in which the long cooling is run; the caller may look at the menus in between.
    """

    def __init__(
        self, engine: Engine, budget: int, pieces: int, stop: Stop, tick: Callable[[], None] | None
    ) -> None:
        self.engine = engine
        self.budget = budget
        self.pieces = pieces
        self.stop = stop
        self.tick = tick
        self.columns = max(1, len(engine.layout.columns))
        self.small = self.columns <= FEW_COLUMNS
        self.easy = False
        self.early = 0
        self.plan = MAIN

    def quick(self) -> None:
        """Find any menu."""
        cool(self.engine, QUICK, min(int(self.budget * QUICK_PART), QUICK_MOST), self.stop, self.tick)

    def short(self) -> None:
        """Run a whole cooling in few moves."""
        moves = int(self.budget * SHORT_PART)
        if moves < SHORT_FEWEST or self.stop.is_set():
            return
        engine = self.engine
        before = engine.moves
        engine.load(engine.draw())
        engine.boost[:] = 1.0
        cool(engine, MAIN, int(moves * MAIN_PART), self.stop, self.tick)
        repair(engine, moves - (engine.moves - before), self.stop, self.tick, easy=True)
        self.early = engine.moves - before

    def near(self) -> None:
        """Stay near the menu the engine was loaded with: warm it up a little, and cool it again."""
        engine = self.engine
        cool(engine, NEAR, int(self.budget * NEAR_PART), self.stop, self.tick)
        repair(engine, self.budget - engine.moves, self.stop, self.tick, easy=True)

    def _share_out(self) -> None:
        """Share out what is left of the budget."""
        sketches = sum(self._sketched(k) for k in range(self.pieces))
        self.sketch_moves = int(self.budget * SKETCH_PART)
        if self.engine.best_value is not None:
            self.plan = SMALL if self.small else KNOWN
        left = self.budget - self.early - sketches * self.sketch_moves
        main = int(left * (MAIN_PART_EASY if self.easy else MAIN_PART))
        most = max(1, main // (MOVES_A_COLUMN * self.columns))
        self.starts = MOST_STARTS if self.small else min(MOST_STARTS, most)
        self.each = main // self.starts

    def _sketched(self, piece: int) -> bool:
        part = (piece + 1) / self.pieces
        return self.sketching and SKETCH_FROM <= part < 1

    @property
    def sketching(self) -> bool:
        """Whether the budget is large enough for sketches."""
        return int(self.budget * SKETCH_PART) >= 1000

    def piece(self, number: int) -> None:
        """Run one part of the long cooling, or of several one after the other."""
        if number == 0:
            self._share_out()
        engine = self.engine
        per = chunks(self.plan, self.each)
        units = per * self.starts
        at, end = units * number // self.pieces, units * (number + 1) // self.pieces
        while at < end and not self.stop.is_set():
            start, first = divmod(at, per)
            last = min(per, first + end - at)
            if first == 0:
                if start:
                    engine.load(engine.draw())
                engine.boost[:] = 1.0
            # few columns, few soft rows: no telling what temperature suits
            plan = self.plan
            if self.small:
                plan = replace(plan, hot=plan.hot * 4.0 ** (start % 3))
            cool(engine, plan, self.each, self.stop, self.tick, (first, last))
            at += last - first
        if self._sketched(number) and not self.stop.is_set():
            self._sketch()

    def _sketch(self) -> None:
        """Make a menu of the present state, then go on as if nothing had been."""
        engine = self.engine
        x, boost = engine.state.x.copy(), engine.boost.copy()
        cool(engine, SKETCH, self.sketch_moves, self.stop, self.tick)
        engine.load(x)
        engine.boost[:] = boost

    def finish(self) -> None:
        """Mend what the cooling left broken if it is good, then spend the rest at low temperature."""
        moves = int((self.budget - self.engine.moves) * MEND_PART)
        for _ in range(MEND_ROUNDS):
            if self.stop.is_set() or not self.engine.promising:
                break
            cool(self.engine, MEND, moves, self.stop, self.tick)
        repair(self.engine, self.budget - self.engine.moves, self.stop, self.tick, easy=self.easy)
