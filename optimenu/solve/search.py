"""Looks for a good menu: split, search every component, settle what they share, check exactly."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import HARD, ORDINARY
from optimenu.solve.components import components, whole
from optimenu.solve.engine import Engine
from optimenu.solve.layout import lay_out
from optimenu.solve.layout_parts import BIG
from optimenu.solve.schedule import AGAIN, MAIN, QUICK, WARM, cool
from optimenu.solve.split import crowded, deal, extra_use, shared_use

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Protocol

    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.components import Components

    class Guide(Protocol):
        """What the search reads of a relaxation."""

        @property
        def x(self) -> NDArray[np.float64]:
            """Use of every column."""

        @property
        def multiplier(self) -> NDArray[np.float64]:
            """Multiplier of every row, in goal units per unit of its last decimal."""


QUICK_PART, MAIN_PART, SETTLE_PART = 0.05, 0.75, 0.2
QUICK_MOST = 400_000
AGAIN_ROUNDS = 4
WARM_ROUNDS = 2
MOVES_A_COLUMN = 1500
"""Moves a column after which a new start gains more than slower cooling; from trials."""
MOST_STARTS = 8
FEW_COLUMNS = 200


@dataclass(frozen=True, eq=False)
class SearchResult:
    """What the search found.

    Attributes
    ----------
    counts : int64 (n_menu,) or None
        The best menu; it keeps every hard row, checked in whole numbers. None when none was found.
    value : int or None
        Its value in units of ``10**-goal_decimals``, exact.
    moves : int
        Moves tried.
    near : int64 (n_menu,) or None
        When no menu was found: the choice that comes nearest, fewest broken rows first.
    """

    counts: NDArray[np.int64] | None
    value: int | None
    moves: int
    near: NDArray[np.int64] | None


def search(
    program: Program,
    relaxation: Guide,
    *,
    moves: int,
    seed: int,
    threads: int = 2,
    stop: threading.Event | None = None,
    progress: Callable[[str, float, float | None], None] | None = None,
    start: NDArray[np.int64] | None = None,
) -> SearchResult:
    """Search for a menu of high value.

    The result depends on program, relaxation, seed, moves and start alone, not on ``threads``.

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
    stop : threading.Event, optional
        When set, the search ends within a fraction of a second with the best so far.
    progress : callable, optional
        Called with phase, part of the budget used (0 to 1) and the value of the best menu (in units of
        ``10**-goal_decimals``, None while there is none); from several threads, one at a time.
    start : int64 (n_menu,), optional
        A menu to start from; if it is feasible the result is never worse.
    """
    return _Search(program, relaxation, moves, seed, threads, stop, progress, start).result()


class _Search:
    """One search in progress."""

    def __init__(
        self,
        program: Program,
        relaxation: Guide,
        moves: int,
        seed: int,
        threads: int,
        stop: threading.Event | None,
        progress: Callable[[str, float, float | None], None] | None,
        start: NDArray[np.int64] | None,
    ) -> None:
        self.program = program
        self.use = np.nan_to_num(np.asarray(relaxation.x, dtype=np.float64), posinf=0.0, neginf=0.0)
        self.multiplier = np.nan_to_num(
            np.asarray(relaxation.multiplier, dtype=np.float64), posinf=0.0, neginf=0.0
        )
        self.moves = max(0, moves)
        self.seed = seed
        self.threads = max(1, threads)
        self.stop = stop
        self.progress = progress
        self.start = None if start is None else np.asarray(start, dtype=np.int64)
        self.best: tuple[int, NDArray[np.int64]] | None = None
        self.near: tuple[tuple[int, float], NDArray[np.int64]] | None = None
        self.spent = 0
        self._part: dict[int, float] = {}
        self._lock = threading.Lock()

    # --- bookkeeping
    def offer(self, counts: NDArray[np.int64]) -> bool:
        """Weigh a choice of all serving columns in exact numbers; return whether it is a menu."""
        x = self.program.complete(counts)
        if self.program.feasible(x):
            value = self.program.value(x)
            if self.best is None or value > self.best[0]:
                self.best = (value, counts.copy())
            return True
        excess = self.program.excess(x)
        broken = (excess > 0) & (self.program.row_price == HARD)
        size = np.maximum(np.maximum(_size(self.program.row_low), _size(self.program.row_high)), 1.0)
        rank = (int(broken.sum()), float((excess / size)[broken].sum()))
        if self.near is None or rank < self.near[0]:
            self.near = (rank, counts.copy())
        return False

    def stopped(self) -> bool:
        return self.stop is not None and self.stop.is_set()

    def ticker(self, phase: str, key: int, before: float, share: float) -> Callable[[float], None] | None:
        """Progress of one of several searches that make up a phase."""
        if self.progress is None:
            return None
        progress = self.progress

        def tick(part: float) -> None:
            with self._lock:
                self._part[key] = before + share * part
                known = None if self.best is None else float(self.best[0])
                progress(phase, min(1.0, sum(self._part.values())), known)

        return tick

    # --- the road
    def result(self) -> SearchResult:
        program = self.program
        if self.start is not None:
            self.offer(self.start)
        if program.n_menu == 0:
            self.offer(np.zeros(0, dtype=np.int64))
            return self.outcome()
        parts = components(program)
        if crowded(program, parts, self.use, self.multiplier):
            parts = whole(program)
        joint_part = SETTLE_PART if parts.count > 1 and len(parts.shared) else 0.0
        engines = self.prepare(parts)
        sizes = np.asarray([max(1, len(e.layout.columns)) for e in engines], dtype=np.float64)
        budgets = (self.moves * (1 - joint_part) * sizes / sizes.sum()).astype(np.int64)
        shares = budgets / max(self.moves, 1)
        with ThreadPoolExecutor(self.threads) as pool:
            list(pool.map(self.quick, engines, budgets.tolist()))
            self.offer(self.join(parts, engines))
            list(pool.map(self.long, range(parts.count), engines, budgets.tolist(), shares.tolist()))
            joined = self.join(parts, engines)
            self.offer(joined)
            if joint_part and any(e.best_value is None for e in engines):
                self.redeal(parts, engines)
                late = [k for k in range(parts.count) if engines[k].best_value is None]
                list(pool.map(lambda k: self.repair(engines[k], int(budgets[k] // 8)), late))
                joined = self.join(parts, engines)
                self.offer(joined)
        self.spent = sum(e.moves for e in engines)
        if joint_part and not self.stopped():
            self.settle(parts, engines, joined)
        return self.outcome()

    def outcome(self) -> SearchResult:
        if self.best is not None:
            return SearchResult(self.best[1], self.best[0], self.spent, None)
        return SearchResult(None, None, self.spent, None if self.near is None else self.near[1])

    def prepare(self, parts: Components) -> list[Engine]:
        """Deal the shared limits and lay out every component."""
        program = self.program
        serving, extra = self.use[: program.n_menu], self.use[program.n_menu :]
        used = shared_use(program, parts, serving, extra_use(program, parts, serving, extra))
        low, high = deal(program, parts, used)

        def one(k: int) -> Engine:
            rows = parts.rows(k)
            lows, highs = program.row_low[rows], program.row_high[rows]
            at = np.searchsorted(rows, parts.shared)
            lows[at], highs[at] = low[:, k], high[:, k]
            layout = lay_out(program, parts.columns(k), rows, lows, highs, self.use, self.multiplier)
            engine = Engine(program, layout, self.use, self.multiplier, (self.seed, k))
            engine.load(engine.draw() if self.start is None else self.start[layout.columns])
            return engine

        with ThreadPoolExecutor(self.threads) as pool:
            return list(pool.map(one, range(parts.count)))

    def quick(self, engine: Engine, budget: int) -> None:
        """Find any menu of the component."""
        cool(engine, QUICK, min(int(budget * QUICK_PART), QUICK_MOST), self.stop)

    def long(self, key: int, engine: Engine, budget: int, share: float) -> None:
        """Spend the component's budget."""
        if self.stopped():
            return
        main = int(budget * MAIN_PART)
        columns = max(1, len(engine.layout.columns))
        small = columns <= FEW_COLUMNS
        starts = MOST_STARTS if small else min(MOST_STARTS, max(1, main // (MOVES_A_COLUMN * columns)))
        for k in range(starts):
            if k > 0:
                engine.load(engine.draw())
            engine.boost[:] = 1.0
            # few columns, few soft rows: no telling what temperature suits
            plan = replace(MAIN, hot=MAIN.hot * 4.0 ** (k % 3)) if small else MAIN
            tick = self.ticker("search", key, k * share / starts, share / starts)
            cool(engine, plan, main // starts, self.stop, tick)
            if self.stopped():
                return
        self.repair(engine, budget - engine.moves)

    def repair(self, engine: Engine, budget: int) -> None:
        """Spend moves at low temperature: on the broken rows first, then on the value."""
        rounds = AGAIN_ROUNDS
        each = budget // rounds
        left = budget
        while rounds and engine.best_value is None and not self.stopped():
            cool(engine, AGAIN, each, self.stop)
            left -= each
            rounds -= 1
        for k in range(WARM_ROUNDS):
            best = engine.best
            if best is None or self.stopped():
                break
            engine.load(best)
            cool(engine, WARM, left * (k + 1) // WARM_ROUNDS - left * k // WARM_ROUNDS, self.stop)

    def join(self, parts: Components, engines: list[Engine]) -> NDArray[np.int64]:
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
        counts = self.join(parts, engines)
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
            new_low[mine] = np.maximum(low[at[mine], k].astype(np.float64), -BIG)
            new_high[mine] = np.minimum(high[at[mine], k].astype(np.float64), BIG)
            engine.limit(new_low, new_high)

    def settle(self, parts: Components, engines: list[Engine], joined: NDArray[np.int64]) -> None:
        """Search all columns together at low temperature, under the shared limits as they are."""
        program = self.program
        rows = np.flatnonzero(program.row_kind == ORDINARY).astype(np.int64)
        columns = np.arange(program.n_menu, dtype=np.int64)
        layout = lay_out(
            program, columns, rows, program.row_low[rows], program.row_high[rows], self.use, self.multiplier
        )
        engine = Engine(program, layout, self.use, self.multiplier, (self.seed, parts.count))
        boost = np.ones(program.m)
        for part in engines:
            own = part.layout.rows >= 0
            boost[part.layout.rows[own]] = part.boost[own]
        boost[parts.shared] = 1.0
        engine.boost[:] = np.where(layout.rows >= 0, boost[np.maximum(layout.rows, 0)], 1.0)
        engine.load(joined)
        budget = self.moves - self.spent
        engine.weigh(1.0, WARM.charge)
        self.repair(engine, budget)
        self.spent += engine.moves
        best = engine.best
        if best is not None:
            self.offer(best)
        elif engine.near is not None:
            self.offer(engine.near)


def _size(limit: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.where(np.abs(limit) >= 1 << 62, 0, np.abs(limit)).astype(np.float64)
