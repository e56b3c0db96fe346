"""Which limits bind and what they are worth: the multipliers' promise, and the bound solved again.

A multiplier is the rate at which the relaxation's optimum grows with a limit. The optimum is concave in
the limits, so the rate promises too much for every larger step, never too little: the same multipliers
prove, in whole numbers, that with the limit moved by d no menu is worth more than the bound plus rate
times d. How much of that is real, a second solve with the limit moved tells. Both speak of the bound, which
is a ceiling on every menu; what a menu gains, only a search can tell.

Source: sensitivity of linear programs, Bertsimas and Tsitsiklis, Introduction to Linear Optimization,
1997, ch. 5 (from memory).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.explain.reading import Alike, Reading
from optimenu.program.page import GOAL_DECIMALS
from optimenu.program.program import HARD, IMPLIED, LINK
from optimenu.solve.bound import proved_bound

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.explain.reading import Readings
    from optimenu.program.origin import Origin
    from optimenu.program.program import Program
    from optimenu.solve.again import Again
    from optimenu.solve.bound import Relaxation

_SEEN = 1e-9
"""Worth, in mean liking, of a whole limit below which its multiplier is the solver's rounding."""


@dataclass(frozen=True)
class Limit:
    """A limit that binds.

    Attributes
    ----------
    origin : Origin
        Of the first of its rows.
    rows : tuple of int
        Rows of the Program that keep it, one for each day, run or meal.
    low_side : bool
        True for a floor, False for a ceiling.
    soft : bool
        Whether it may be missed at a price.
    reading : Reading
    rate : float
        Mean liking for one unit of every one of its rows, not negative.
    share : float
        Mean liking for 1 % of the limit; 0 where the limit is 0 or cannot be told.
    shape : bool
        Whether it is the shape of the meals: one more place is another plan, not a looser limit.
    finest : Decimal
        Least change that all of its rows can express, in the unit of the reading.
    alone : bool
        False where its setting says more than its rows do, so that to move them proves nothing of it.
    """

    origin: Origin
    rows: tuple[int, ...]
    low_side: bool
    soft: bool
    reading: Reading
    rate: float
    share: float
    shape: bool = False
    finest: Decimal = Decimal(0)
    alone: bool = True

    @property
    def step(self) -> Decimal:
        """One unit a person would change it by, as the reading has units: 1 L, 10 mg, 1 pack."""
        limit = self.reading.limit
        if self.reading.whole or not limit:
            return Decimal(1)
        return max(Decimal(1).scaleb((abs(limit) / 100).adjusted()), self.finest)

    @property
    def worth(self) -> float:
        """Mean liking for one ``step``."""
        return self.rate * float(self.reading.per * self.step)


@dataclass(frozen=True)
class Trial:
    """A limit moved, and the bound solved again.

    Attributes
    ----------
    step : Decimal
        How far, in the unit of the reading.
    promised : Decimal
        What the multiplier promises for it, mean liking.
    gain : Decimal or None
        Rise of the proved bound with the limit looser by the step; None when the solver cannot tell.
    loss : Decimal or None
        Fall of the proved bound with the limit tighter by it; None when the relaxation is then impossible
        (as HiGHS finds) or not decided.
    """

    step: Decimal
    promised: Decimal
    gain: Decimal | None
    loss: Decimal | None


@dataclass(frozen=True)
class SoftCost:
    """What missing one soft limit costs.

    Attributes
    ----------
    origin : Origin
        Of the first of its rows that are missed.
    rows : int
        How many are.
    cost : float
        Mean liking.
    """

    origin: Origin
    rows: int
    low_side: bool
    reading: Reading
    cost: float


def binding(program: Program, relaxation: Relaxation, readings: Readings) -> tuple[Limit, ...]:
    """Limits with a multiplier, those whose 1 % is worth most first; last those that are more than rows.

    Parameters
    ----------
    relaxation : Relaxation
        Solved. With cuts, part of the worth stands in their prices and is not told.
    """
    groups: dict[Alike, list[int]] = defaultdict(list)
    told = program.row_kind != LINK
    told &= program.row_kind != IMPLIED
    for r in np.flatnonzero((relaxation.multiplier != 0) & told).tolist():
        alike = Alike.of(program.origins[r], low_side=bool(relaxation.multiplier[r] < 0))
        # one setting speaks of all that may not come back
        groups[alike._replace(what="") if alike.rule == "repeats" else alike].append(r)
    found = (
        _limit(program, relaxation, tuple(rows), alike.low_side, readings) for alike, rows in groups.items()
    )
    seen = [k for k in found if k.share > _SEEN or (k.share == 0 and k.worth > _SEEN)]
    return tuple(sorted(seen, key=lambda k: (not k.alone, -k.share, -k.worth, k.origin)))


def _limit(
    program: Program,
    relaxation: Relaxation,
    rows: tuple[int, ...],
    low_side: bool,
    readings: Readings,
) -> Limit:
    at = np.asarray(rows)
    unit = 10.0 ** program.row_decimals[at].astype(np.float64)
    rate = np.abs(relaxation.multiplier[at]) * unit / 10.0**program.goal_decimals
    side = program.row_low if low_side else program.row_high
    whole = float((rate * np.abs(side[at]) / unit).sum())
    reading = readings.of([program.origins[r] for r in rows], low_side=low_side)
    if reading.limit is not None and reading.per:
        # a limit on a mean counts what is given beside the menu, which its row does not
        whole = float(rate.sum()) * float(abs(reading.limit * reading.per))
    return Limit(
        origin=program.origins[rows[0]],
        rows=rows,
        low_side=low_side,
        soft=bool((program.row_price[at] != HARD).any()),
        reading=reading,
        rate=float(rate.sum()),
        share=whole / 100,
        shape=readings.shapes(program.origins[rows[0]]),
        finest=Decimal(1).scaleb(-int(program.row_decimals[at].min())) / reading.per,
        alone=readings.rows_alone(program.origins[rows[0]]),
    )


def moved(program: Program, limit: Limit, step: Decimal) -> Program:
    """The program with every row of a limit looser by a step in the unit of its reading; tighter if negative.

    Where a row cannot express the step, its last decimal is rounded.
    Columns stay as they are: of settings that also say how often an item may be used at all (repeats), only
    the rows move.
    """
    low, high = program.row_low.copy(), program.row_high.copy()
    for r in limit.rows:
        by = int((step * limit.reading.per).scaleb(int(program.row_decimals[r])).to_integral_value())
        if limit.low_side:
            low[r] -= by
        else:
            high[r] += by
    return replace(program, row_low=low, row_high=high)


def tried(again: Again, base: int, limit: Limit, step: Decimal) -> Trial:
    """Move a limit both ways and solve the relaxation again.

    Parameters
    ----------
    base : int
        Proved bound of the program as it is, whole goal units.
    step : Decimal
        In the unit of the reading, positive.
    """
    bounds: list[Decimal | None] = []
    for by in (step, -step):
        other = moved(again.program, limit, by)
        found = again.solve(other)
        known = None if found.status != "solved" else proved_bound(other, found)
        bounds.append(None if known is None else Decimal(known - base).scaleb(-GOAL_DECIMALS))
    rows = list(limit.rows)
    other = moved(again.program, limit, step)
    way = (again.program.row_low - other.row_low) + (other.row_high - again.program.row_high)
    promised = float(np.abs(again.first.multiplier[rows]) @ way[rows].astype(np.float64))
    return Trial(
        step, Decimal(promised).scaleb(-GOAL_DECIMALS), bounds[0], None if bounds[1] is None else -bounds[1]
    )


def stride(limit: Limit) -> Decimal:
    """The step a limit is tried by: large enough that the promise may fail."""
    return limit.step if limit.reading.whole else 10 * limit.step


def soft_costs(program: Program, x: NDArray[np.float64], readings: Readings) -> tuple[SoftCost, ...]:
    """What soft limits cost a choice, the dearest first.

    Parameters
    ----------
    x : (n,)
        Uses of every column; whole numbers of a menu, or fractions of a relaxation.
    """
    soft = np.flatnonzero(program.row_price != HARD)
    groups: dict[Alike, list[int]] = defaultdict(list)
    cost: dict[Alike, float] = defaultdict(float)
    for r in soft.tolist():
        a, b = int(program.row_start[r]), int(program.row_start[r + 1])
        activity = float(program.row_coef[a:b].astype(np.float64) @ x[program.row_column[a:b]])
        low, high = int(program.row_low[r]), int(program.row_high[r])
        over = max(low - activity, activity - high, 0.0)
        price = over * int(program.row_price[r]) / 10.0**program.goal_decimals
        if price > _SEEN / 100:
            alike = Alike.of(program.origins[r], low_side=low > activity)
            groups[alike].append(r)
            cost[alike] += price
    found = [
        SoftCost(
            program.origins[rows[0]],
            len(rows),
            low_side=alike.low_side,
            reading=readings.of([program.origins[r] for r in rows], low_side=alike.low_side),
            cost=cost[alike],
        )
        for alike, rows in groups.items()
    ]
    return tuple(sorted(found, key=lambda c: (-c.cost, c.origin)))
