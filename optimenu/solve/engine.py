"""One search state over a layout: loading menus, row weights, running moves, remembering the best."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.chance import seeded
from optimenu.solve.inner import inner
from optimenu.solve.kernel import anneal
from optimenu.solve.layout_parts import BIG
from optimenu.solve.state import (
    BEST,
    BROKEN,
    PENALTY,
    VALUE,
    State,
    Work,
    activities,
    extra_value,
    keep_best,
    note_best,
    refresh,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.layout import Layout

JOURNAL = 1 << 15
SWAP_SHARE = 0.45
PAIR_SHARE = 0.05
SOFT_START = 7.0
"""Price of breaking a row by its whole size, in mean servings; from trials on made-up instances."""
ABOVE_MULTIPLIER = 1.2
"""Weights must exceed the multipliers or breaking a row pays; from trials on made-up instances."""
WALL = 0.2
"""Part of its weight that a row's limit keeps while its use is priced; from trials."""
OVER = 10.0


class Engine:
    """Search state of one layout.

    Parameters
    ----------
    program : Program
    layout : Layout
    use : float64 (program.n,)
        The relaxation's use of each column.
    multiplier : float64 (program.m,)
        The relaxation's multipliers, in goal units per unit of each row's last decimal.
    seed : tuple of int
    """

    def __init__(
        self,
        program: Program,
        layout: Layout,
        use: NDArray[np.float64],
        multiplier: NDArray[np.float64],
        seed: tuple[int, ...],
    ) -> None:
        f = layout.fixed
        n, m = len(layout.columns), len(layout.rows)
        self.program = program
        self.layout = layout
        self.use = np.clip(use[layout.columns], layout.least, f.high)
        self.unit = _unit(f.gain, self.use, layout.price, layout.scale)
        # whole, as all that is summed: what was paid for a use too many comes back to the last digit
        self.over = float(round(OVER * self.unit))
        self._random = np.random.default_rng([abs(s) for s in seed])
        blocks, extras, groups = len(f.block_row) - 1, len(layout.extras), len(f.deduct_start) - 1
        self.state = State(
            x=np.zeros(n, dtype=np.int64),
            slot=np.zeros(int(f.slot_start[-1]), dtype=np.int32),
            filled=np.zeros(len(f.count_low), dtype=np.int64),
            activity=np.zeros(m),
            drawn=np.zeros(extras, dtype=np.int64),
            uses=np.zeros(groups, dtype=np.int64),
            low=layout.low.copy(),
            high=layout.high.copy(),
            weight=np.zeros(m),
            charge=np.zeros(m),
            hard=layout.hard,
            block_penalty=np.zeros(blocks),
            block_broken=np.zeros(blocks),
            score=np.asarray([0.0, 0.0, 0.0, -BIG]),
            random=seeded(*seed),
            best=np.zeros(n, dtype=np.int64),
            journal=np.zeros(JOURNAL, dtype=np.int32),
            log=np.zeros(3, dtype=np.int64),
        )
        room = max(blocks, m, extras, groups, 1)
        self.work = Work(
            change=np.zeros(m),
            block_stamp=np.zeros(blocks, dtype=np.int64),
            block_place=np.zeros((blocks, 2), dtype=np.int64),
            row_stamp=np.zeros(m, dtype=np.int64),
            extra_stamp=np.zeros(extras, dtype=np.int64),
            extra_change=np.zeros(extras, dtype=np.int64),
            group_stamp=np.zeros(groups, dtype=np.int64),
            group_change=np.zeros(groups, dtype=np.int64),
            touched=np.zeros(4 * room, dtype=np.int64),
            new_penalty=np.zeros(blocks),
            new_broken=np.zeros(blocks),
            stamp=np.zeros(1, dtype=np.int64),
        )
        self.moves = 0
        own = np.where(layout.rows >= 0, np.abs(multiplier[np.maximum(layout.rows, 0)]), 0.0)
        self.soft_weight = SOFT_START * self.unit / layout.scale
        self.least_weight = ABOVE_MULTIPLIER * own
        self.boost = np.ones(m)
        self.tilt_price = np.abs(multiplier[layout.rows[layout.tilt]])
        self.tilting = False
        self.loose = 0.0
        self.held = np.zeros(n, dtype=np.bool_)
        self.bonus = 0.0
        self._gain = f.gain.copy()
        priced = np.isin(layout.rows, layout.rows[layout.tilt])
        self._walls = np.flatnonzero(priced & (layout.hard > 0))
        self._kept: tuple[float, NDArray[np.int64]] | None = None
        self.near: NDArray[np.int64] | None = None
        self._near_rank = (np.inf, np.inf)

    def draw(self) -> NDArray[np.int64]:
        """Return a random choice near the relaxation's use, int64 (n,); counts of cells kept."""
        f = self.layout.fixed
        x = self.layout.least.copy()
        key = self._random.exponential(size=len(x)) / np.maximum(self.use - self.layout.least, 1e-3)
        for cell in range(len(f.count_low)):
            cols = f.cell_column[f.cell_start[cell] : f.cell_start[cell + 1]]
            wish = int(np.rint(float((self.use[cols] - self.layout.least[cols]).sum())))
            wish = min(max(wish, int(f.count_low[cell])), int(f.count_high[cell]))
            for c in cols[np.argsort(key[cols], kind="stable")]:
                if wish <= 0:
                    break
                take = min(wish, int(f.high[c] - x[c]))
                x[c] += take
                wish -= take
        return x

    def load(self, x: NDArray[np.int64]) -> None:
        """Make ``x`` (n,) the present state; cells with too many or too few servings are mended."""
        f, s = self.layout.fixed, self.state
        x = np.clip(x, self.layout.least, f.high)
        for cell in range(len(f.count_low)):
            cols = f.cell_column[f.cell_start[cell] : f.cell_start[cell + 1]]
            units = np.repeat(cols, (x - self.layout.least)[cols])
            most, fewest = int(f.count_high[cell]), int(f.count_low[cell])
            if len(units) > most:
                worst = units[np.argsort(f.gain[units], kind="stable")][: len(units) - most]
                np.subtract.at(x, worst, 1)
            elif len(units) < fewest:
                spare = np.repeat(cols, (f.high - x)[cols])
                spare = spare[self._random.permutation(len(spare))][: fewest - len(units)]
                np.add.at(x, spare, 1)
            units = np.repeat(cols, (x - self.layout.least)[cols])
            s.filled[cell] = len(units)
            s.slot[f.slot_start[cell] : f.slot_start[cell] + len(units)] = units
        # the best so far must not lean on a journal that began elsewhere
        keep_best(s)
        s.log[:] = (0, 0, 1)
        s.x[:] = x
        self._recount()

    def _uses(self, x: NDArray[np.int64]) -> NDArray[np.int64]:
        """Uses that ``x`` (n,) makes of every worth group here, int64 (groups,)."""
        f = self.layout.fixed
        uses = np.zeros(len(self.state.uses), dtype=np.int64)
        np.add.at(uses, f.group_id, np.repeat(x, np.diff(f.group_start)))
        return uses

    def _drawn(self, x: NDArray[np.int64]) -> NDArray[np.int64]:
        """What ``x`` (n,) draws on every extra column here, int64 (extras,)."""
        f = self.layout.fixed
        drawn = np.zeros(len(self.layout.extras), dtype=np.int64)
        np.add.at(drawn, f.source_extra, f.source_coef * np.repeat(x, np.diff(f.source_start)))
        return drawn

    def _full(self, x: NDArray[np.int64], drawn: NDArray[np.int64]) -> NDArray[np.int64]:
        """``x`` (n,) and the extra columns it draws on as columns of the Program, the others 0."""
        f, p = self.layout.fixed, self.program
        full = np.zeros(p.n, dtype=np.int64)
        full[self.layout.columns] = x
        full[p.n_menu + self.layout.extras] = [
            extra_value(int(t), int(d)) for t, d in zip(drawn, f.extra_divisor, strict=True)
        ]
        return full

    def _recount(self) -> None:
        """Work out activities, extra columns and uses from ``x``."""
        s, p = self.state, self.program
        s.drawn[:] = self._drawn(s.x)
        s.uses[:] = self._uses(s.x)
        full = self._full(s.x, s.drawn)
        values = full[p.n_menu + self.layout.extras]
        activities(p.row_start, p.row_column, p.row_coef, self.layout.rows, full, s.activity)
        own = np.flatnonzero(self.layout.rows < 0)
        s.activity[own] = values[self.layout.extra_high_of[own]]
        self._take_off(self.loose)

    def _take_off(self, part: float) -> None:
        """Take a part of what extra columns are rounded up by out of the activities."""
        if part == 0.0:
            return
        f, s = self.layout.fixed, self.state
        packs = np.maximum(f.extra_divisor, 1)
        over = np.where(f.extra_divisor > 0, -(-s.drawn // packs) - s.drawn / packs, 0.0)
        each = np.repeat(over, np.diff(f.extra_row_start))
        np.subtract.at(s.activity, f.extra_row, part * each * f.extra_row_coef)

    def let_off(self, loose: float) -> None:
        """Let off a part of the rounding up of extra columns, 0 none, 1 all; then ``weigh`` sums anew.

        A pack that one serving opens costs as much as all of it, so a search that knows only whole packs
        seldom finds out that another item's would serve better: on the way it pays for both.
        """
        if loose == self.loose:
            return
        self._put_aside()
        part = loose - self.loose
        self.loose = loose
        if loose:
            self._take_off(part)
        else:
            # whole again, to the last digit
            self._recount()

    def limit(self, low: NDArray[np.float64], high: NDArray[np.float64]) -> None:
        """Replace the limits of the rows; the best so far is forgotten, it may break them."""
        self.state.low[:] = low
        self.state.high[:] = high
        self.state.score[BEST] = -BIG
        self._kept = None
        self.near, self._near_rank = None, (np.inf, np.inf)

    def weigh(self, ramp: float, charge: float, soft: float = 1.0) -> None:
        """Set the row weights.

        Parameters
        ----------
        ramp : float
            0 soft, 1 full.
        charge : float
            Fixed charge of a broken row, as the breach of this part of its size.
        soft : float
            Part of the price that breaking a row starts with: less leaves the search more ways round it.
        """
        lay, s = self.layout, self.state
        start = self.soft_weight * soft
        weight = (start + ramp * (np.maximum(start, self.least_weight) - start)) * self.boost
        s.weight[:] = np.where(lay.hard > 0, weight, lay.price)
        s.charge[:] = np.where(lay.hard > 0, charge * lay.scale, 0.0)
        if self.tilting:
            s.weight[lay.tilt] = self.tilt_price
            s.weight[self._walls] *= WALL
        refresh(lay.fixed, s, self.over)
        if not self.loose:
            note_best(s)

    def tilt(self, on: bool) -> None:
        """Price the use of wide rows, or no more; the weights are set by ``weigh``."""
        if on != self.tilting and len(self.layout.tilt):
            self._put_aside()
            self.tilting = on

    def hold(self, bonus: float) -> None:
        """Let the columns ``held`` earn so much more, in mean servings; ``weigh`` sums the score anew."""
        # whole, as all that is summed
        whole = float(round(bonus * self.unit)) if self.held.any() else 0.0
        if whole != self.bonus:
            self._put_aside()
            self.bonus = whole
            self.layout.fixed.gain[:] = self._gain + whole * self.held

    def held_best(self) -> NDArray[np.int64] | None:
        """Return the best choice since the bonus was last set, bonus included, int64 (n,), or None."""
        if self.state.score[BEST] <= -BIG:
            return None
        keep_best(self.state)
        return self.state.best.copy()

    def worth(self, x: NDArray[np.int64]) -> float:
        """Gains less deductions and soft breaches of a choice ``x`` (n,), in goal units."""
        f, lay, p = self.layout.fixed, self.layout, self.program
        made = np.minimum(self._uses(x), np.diff(f.deduct_start) - 1)
        total = inner(self._gain, x) - float(f.deducted[f.deduct_start[:-1] + made].sum())
        soft = np.flatnonzero(lay.price > 0)
        act = np.zeros(len(soft))
        activities(p.row_start, p.row_column, p.row_coef, lay.rows[soft], self._full(x, self._drawn(x)), act)
        over = np.maximum(np.maximum(act - lay.high[soft], lay.low[soft] - act), 0.0)
        return total - inner(lay.price[soft], over)

    def _put_aside(self) -> None:
        """Keep the best so far and begin anew: from here on scores mean something else."""
        self._keep()
        self.state.score[BEST] = -BIG

    def _keep(self) -> None:
        """Put the best so far aside; its score is not its worth while rows are priced or columns held."""
        s = self.state
        if s.score[BEST] <= -BIG:
            return
        keep_best(s)
        worth = self.worth(s.best) if self.tilting or self.bonus else float(s.score[BEST])
        if self._kept is None or worth > self._kept[0]:
            self._kept = (worth, s.best.copy())

    def raise_broken(self, factor: float) -> int:
        """Multiply the weight of every hard row that is broken now; return how many are."""
        s = self.state
        broken = ((s.activity > s.high) | (s.activity < s.low)) & (s.hard > 0)
        self.boost[broken] *= factor
        return int(s.score[BROKEN] + 0.5)

    def run(self, moves: int, temperature: float, likely: float = 0.0, swap: float = SWAP_SHARE) -> None:
        """Try some moves.

        Parameters
        ----------
        temperature : float
            In mean servings' worth.
        likely : float
            Share of draws made among the likely columns of a cell alone.
        swap : float
            Share of moves between two cells of one kind.
        """
        f = self.layout.fixed
        if len(f.active) == 0:
            return
        anneal(
            f,
            self.state,
            self.work,
            moves,
            temperature * self.unit,
            self.over,
            swap,
            PAIR_SHARE,
            likely,
            self.loose,
        )
        self.moves += moves

    def note_near(self) -> None:
        """Remember the present state if it is the nearest to a menu so far."""
        s = self.state
        if self.loose:
            return
        over = np.maximum(np.maximum(s.activity - s.high, s.low - s.activity), 0.0) * s.hard
        rank = (float(s.score[BROKEN]), float((over / self.layout.scale).sum()))
        if rank < self._near_rank:
            self._near_rank = rank
            self.near = s.x.copy()

    @property
    def promising(self) -> bool:
        """Whether the present state breaks rows and yet is worth more than the best choice that does not."""
        best = self.best_value
        return best is not None and self.broken > 0 and self.worth(self.state.x) > best

    @property
    def broken(self) -> int:
        """Number of broken hard rows now."""
        return int(self.state.score[BROKEN] + 0.5)

    @property
    def best(self) -> NDArray[np.int64] | None:
        """Best choice that breaks nothing, int64 (n,), or None."""
        self._keep()
        return None if self._kept is None else self._kept[1].copy()

    @property
    def best_value(self) -> float | None:
        """Its value in goal units."""
        self._keep()
        return None if self._kept is None else self._kept[0]

    @property
    def value(self) -> float:
        """Value of the present state less its penalty, in goal units."""
        return float(self.state.score[VALUE] - self.state.score[PENALTY])


def _unit(
    gain: NDArray[np.float64],
    use: NDArray[np.float64],
    price: NDArray[np.float64],
    scale: NDArray[np.float64],
) -> float:
    """Mean worth of a serving in the relaxation: the measure of temperatures and soft weights."""
    worth = np.abs(gain)
    used = use * (worth > 0)
    earned = inner(worth, used)
    if used.sum() > 1e-9 and earned > 0:
        return float(earned / used.sum())
    if np.any(worth > 0):
        return float(worth[worth > 0].mean())
    soft = price > 0
    return float(np.median(price[soft] * scale[soft])) if np.any(soft) else 1.0
