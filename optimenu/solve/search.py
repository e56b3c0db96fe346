"""Looks for a good menu: split, search every component, settle what they share, check exactly."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import ORDINARY
from optimenu.solve.best import Best
from optimenu.solve.components import components, whole
from optimenu.solve.descent import Descent, back, repair
from optimenu.solve.engines import Maker
from optimenu.solve.halt import why
from optimenu.solve.layout_parts import BIG
from optimenu.solve.schedule import WARM
from optimenu.solve.split import crowded, deal, extra_use, leaning, shared_use

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Protocol

    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.best import Rank
    from optimenu.solve.components import Components
    from optimenu.solve.engine import Engine
    from optimenu.solve.halt import Stop
    from optimenu.solve.outcome import Ended

    class Guide(Protocol):
        """What the search reads of a relaxation."""

        @property
        def x(self) -> NDArray[np.float64]:
            """Use of every column."""

        @property
        def multiplier(self) -> NDArray[np.float64]:
            """Multiplier of every row, in goal units per unit of its last decimal."""


SETTLE_PART, SETTLE_PART_EASY = 0.2, 0.1
"""Of the budget, for settling what components share; less where menus come easily."""
BACK_PART = 0.02
"""Of the budget, for the way back to the menu started from."""
TWO_FROM, TWO_FROM_A_COLUMN = 4_000_000, 400
"""Moves, in all and a column, that each of two searches side by side needs to be better than one with
their sum; the better is kept. Only where there is one component, so one core would idle. From trials."""
PIECES = 16
"""Parts of the long cooling between which the menus are put together and looked at."""


@dataclass(frozen=True, eq=False)
class SearchResult:
    """What the search found.

    Attributes
    ----------
    counts : int64 (n_menu,) or None
        The best menu; it keeps every hard row, checked in whole numbers. None when none was found.
    value : int or None
        Its value in units of ``10**-goal_decimals``, exact; the first number of its rank where menus are
        compared by one.
    moves : int
        Moves tried.
    near : int64 (n_menu,) or None
        When no menu was found: the choice that comes nearest, fewest broken rows first.
    ended : str
        ``moves``: the budget was spent; ``gap``: good enough; ``seconds``, ``stopped``: cut short.
    """

    counts: NDArray[np.int64] | None
    value: int | None
    moves: int
    near: NDArray[np.int64] | None
    ended: Ended = "moves"


def search(
    program: Program,
    relaxation: Guide,
    *,
    moves: int,
    seed: int,
    threads: int = 2,
    stop: Stop | None = None,
    progress: Callable[[str, float, float | None], None] | None = None,
    start: NDArray[np.int64] | None = None,
    hold: NDArray[np.int64] | None = None,
    enough: Callable[[int], bool] | None = None,
    rank: Rank | None = None,
    lean: NDArray[np.float64] | None = None,
    together: bool = False,
) -> SearchResult:
    """Search for a menu of high value.

    The result does not depend on ``threads``, nor on time unless it is stopped.

    Parameters
    ----------
    program : Program
        Continuous columns are only tried at whole numbers.
    relaxation : Relaxation
        Its ``x`` and ``multiplier`` guide the search; any numbers are allowed.
    moves : int
        Budget of moves, over all components.
    seed : int
    threads : int
    stop : Stop, optional
        When set, the search ends within a fraction of a second with the best so far.
    progress : callable, optional
        Called with phase, part of the budget used (0 to 1) and the value of the best menu (in units of
        ``10**-goal_decimals``, None while there is none); from several threads, one at a time.
    start : int64 (n_menu,), optional
        A menu to start from: if it is feasible the result is never worse.
    hold : int64 (n_menu,), optional
        A menu to stay near: dishes stay where it has them unless another place is worth more.
    enough : callable, optional
        Told the value of the best menu at fixed points of the schedule; the search ends when it says so.
    rank : callable, optional
        What menus are compared by where it is not the program's value: told a choice of all columns and
        its excess over every row, returns two whole numbers, the greater the better; the first is then
        what the search tells as its value.
    lean : float64 (people,), optional
        Goal units that each person is to gain over the start by other parts of the wide shared limits,
        or to give up; sums to about 0.
    together : bool
        Search everybody's dishes at once, shared limits undealt; one thread then does it all.
    """
    return _Search(
        program, relaxation, moves, seed, threads, stop, progress, start, hold, enough, rank, lean, together
    ).result()


class _Search:
    """One search in progress; a stop signal itself, which remembers that it was heeded."""

    def __init__(
        self,
        program: Program,
        relaxation: Guide,
        moves: int,
        seed: int,
        threads: int,
        stop: Stop | None,
        progress: Callable[[str, float, float | None], None] | None,
        start: NDArray[np.int64] | None,
        hold: NDArray[np.int64] | None,
        enough: Callable[[int], bool] | None,
        rank: Rank | None,
        lean: NDArray[np.float64] | None,
        together: bool,
    ) -> None:
        self.program = program
        self.use = np.nan_to_num(np.asarray(relaxation.x, dtype=np.float64), posinf=0.0, neginf=0.0)
        self.multiplier = np.nan_to_num(
            np.asarray(relaxation.multiplier, dtype=np.float64), posinf=0.0, neginf=0.0
        )
        self.moves = max(0, moves)
        self.threads = max(1, threads)
        self.stop = stop
        self.progress = progress
        self.start = None if start is None else np.asarray(start, dtype=np.int64)
        self.hold = None if hold is None else np.asarray(hold, dtype=np.int64)
        back = 0 if hold is None else int(self.moves * BACK_PART)
        self.in_all = self.moves - back
        self.enough = enough
        self.lean = lean
        self.together = together
        self.best = Best(program, rank, self.hold)
        self.maker = Maker(program, self.use, self.multiplier, seed, self.hold)
        self.cut = False
        self.content = False
        self.settles = False
        self.easy = False
        self._engines: list[Engine] = []
        self._phase = "search"
        self._lock = threading.Lock()

    # --- bookkeeping
    def is_set(self) -> bool:
        """Tell whether to end soon."""
        if self.stop is not None and self.stop.is_set():
            self.cut = True
        return self.cut

    def done(self) -> bool:
        """Tell whether to go no further: stopped, or good enough. Asked between steps only."""
        value = self.best.value
        if self.enough is not None and value is not None and not self.cut:
            self.content = self.content or self.enough(value)
        return self.content or self.is_set()

    @property
    def spent(self) -> int:
        """Moves tried so far."""
        return sum(e.moves for e in self._engines)

    def tick(self) -> None:
        """Tell how far the search is."""
        if self.progress is None:
            return
        with self._lock:
            known = None if self.best.value is None else float(self.best.value)
            self.progress(self._phase, min(1.0, self.spent / max(self.moves, 1)), known)

    # --- the road
    def result(self) -> SearchResult:
        program = self.program
        if self.start is not None:
            self.best.offer(self.start)
        if program.n_menu == 0:
            self.best.offer(np.zeros(0, dtype=np.int64))
            return self.outcome()
        parts = components(program)
        if self.together or crowded(program, parts, self.use, self.multiplier):
            parts = whole(program)
        self.settles = parts.count > 1 and len(parts.shared) > 0
        engines = self.prepare(parts)
        each = max(TWO_FROM, TWO_FROM_A_COLUMN * program.n_menu)
        if parts.count == 1 and self.start is None and self.moves >= 2 * each:
            engines.append(self.maker.twin(engines[0]))
        self._engines = list(engines)
        self.tick()
        sizes = np.asarray([max(1, len(e.layout.columns)) for e in engines], dtype=np.float64)
        budgets = (self.in_all * (1 - SETTLE_PART * self.settles) * sizes / sizes.sum()).astype(np.int64)
        ways = [
            Descent(e, int(budget), PIECES, self, self.tick)
            for e, budget in zip(engines, budgets, strict=True)
        ]
        self.part(parts, ways)
        joined = self.join(engines)
        if self.settles and not self.done():
            self.settle(parts, engines, joined)
        if self.hold is not None and self.best.counts is not None and not self.done():
            self.go_back(self._engines[-1:] if self.settles else engines)
        return self.outcome()

    def part(self, parts: Components, ways: list[Descent]) -> None:
        """Search the components apart, step by step; after each step the menus are put together."""
        engines = [way.engine for way in ways]
        apart = [[e] for e in engines] if parts.count == 1 else [engines]
        long = [partial(Descent.piece, number=k) for k in range(PIECES)]
        steps: list[Callable[[Descent], None]] = [Descent.quick, Descent.short, *long, Descent.finish]
        if self.start is not None:
            steps = [Descent.near]
        with ThreadPoolExecutor(self.threads) as pool:
            for each in steps:
                list(pool.map(each, ways))
                for some in apart:
                    self.best.offer(self.join(some))
                self.tick()
                if self.done():
                    return
                if each is Descent.short and all(e.best_value is not None for e in engines):
                    self.easy = True
                    for way in ways:
                        way.easy = True
                        if self.settles:
                            way.budget = int(way.budget * (1 - SETTLE_PART_EASY) / (1 - SETTLE_PART))
            if parts.count > 1 and any(e.best_value is None for e in engines):
                self.redeal(parts, engines)
                late = [way for way in ways if way.engine.best_value is None]
                list(pool.map(lambda way: repair(way.engine, way.budget // 8, self, self.tick), late))
                self.best.offer(self.join(engines))

    def outcome(self) -> SearchResult:
        ended: Ended = "moves"
        if self.cut and self.stop is not None:
            ended = why(self.stop)
        elif self.content:
            ended = "gap"
        best = self.best
        return SearchResult(best.counts, best.value, self.spent, best.near, ended)

    def prepare(self, parts: Components) -> list[Engine]:
        """Deal the shared limits and lay out every component."""
        program = self.program
        # a menu to start from says better than the relaxation who needs how much
        use = self.use if self.start is None else program.complete(self.start).astype(np.float64)
        serving, extra = use[: program.n_menu], use[program.n_menu :]
        used = shared_use(program, parts, serving, extra_use(program, parts, serving, extra))
        if self.lean is not None:
            used += leaning(program, parts, use, self.multiplier, self.lean)
        low, high = deal(program, parts, used)

        def one(k: int) -> Engine:
            rows = parts.rows(k)
            lows, highs = program.row_low[rows], program.row_high[rows]
            at = np.searchsorted(rows, parts.shared)
            lows[at], highs[at] = low[:, k], high[:, k]
            engine = self.maker.engine(parts.columns(k), rows, lows, highs, k)
            engine.load(engine.draw() if self.start is None else self.start[engine.layout.columns])
            return engine

        with ThreadPoolExecutor(self.threads) as pool:
            engines = list(pool.map(one, range(parts.count)))
        # compiles the loop, where that was not done yet
        engines[0].run(0, 1.0)
        return engines

    def join(self, engines: list[Engine]) -> NDArray[np.int64]:
        """Put the components' best choices together, or where there is none, the nearest or present."""
        counts = np.zeros(self.program.n_menu, dtype=np.int64)
        for engine in engines:
            best = engine.best
            if best is None:
                best = engine.near if engine.near is not None else engine.state.x
            counts[engine.layout.columns] = best
        return counts

    def redeal(self, parts: Components, engines: list[Engine]) -> None:
        """Give what the others left over of the shared rows to the components without a menu."""
        program = self.program
        counts = self.join(engines)
        values = np.zeros((len(program.extra_kind), parts.count))
        for k in range(len(engines)):
            alone = np.where(parts.of_column == k, counts, 0)
            values[:, k] = program.complete(alone)[program.n_menu :]
        used = shared_use(program, parts, counts.astype(np.float64), values)
        needy = np.asarray([e.best_value is None for e in engines], dtype=np.float64)
        low, high = deal(program, parts, used, needy / needy.sum())
        place = np.full(program.m, -1, dtype=np.int64)
        place[parts.shared] = np.arange(len(parts.shared))
        for k, engine in enumerate(engines):
            if engine.best_value is not None:
                continue
            rows = engine.layout.rows
            at = np.where(rows >= 0, place[np.maximum(rows, 0)], -1)
            new_low, new_high = engine.layout.low.copy(), engine.layout.high.copy()
            mine = at >= 0
            mine[engine.layout.tilt] = False
            new_low[mine] = np.maximum(low[at[mine], k].astype(np.float64), -BIG)
            new_high[mine] = np.minimum(high[at[mine], k].astype(np.float64), BIG)
            engine.limit(new_low, new_high)

    def settle(self, parts: Components, engines: list[Engine], joined: NDArray[np.int64]) -> None:
        """Search all columns together at low temperature, under the shared limits as they are."""
        program = self.program
        rows = np.flatnonzero(program.row_kind == ORDINARY).astype(np.int64)
        columns = np.arange(program.n_menu, dtype=np.int64)
        engine = self.maker.engine(columns, rows, program.row_low[rows], program.row_high[rows], parts.count)
        layout = engine.layout
        boost = np.ones(program.m)
        for part in engines:
            own = part.layout.rows >= 0
            boost[part.layout.rows[own]] = part.boost[own]
        boost[parts.shared] = 1.0
        engine.boost[:] = np.where(layout.rows >= 0, boost[np.maximum(layout.rows, 0)], 1.0)
        engine.load(joined)
        budget = self.in_all - self.spent
        self._phase = "polish"
        self._engines.append(engine)
        engine.weigh(1.0, WARM.charge)
        repair(engine, budget, self, self.tick, easy=self.easy or self.start is not None)
        best = engine.best
        if best is not None:
            self.best.offer(best)
        elif engine.near is not None:
            self.best.offer(engine.near)

    def go_back(self, engines: list[Engine]) -> None:
        """Put dishes back where the menu started from has them, wherever that costs nothing."""
        assert self.best.counts is not None
        counts = self.best.counts.copy()
        for engine in engines:
            columns = engine.layout.columns
            budget = int(self.moves * BACK_PART * len(columns) / self.program.n_menu)
            counts[columns] = back(engine, counts[columns], budget, self, self.tick)
        self.best.offer(counts)
