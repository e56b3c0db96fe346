"""Temperatures and row weights over a search; knows engines, not programs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from optimenu.solve.engine import SWAP_SHARE

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimenu.solve.engine import Engine
    from optimenu.solve.halt import Stop

MOST_PER_CALL = 50_000
"""Moves between two looks at the stop signal: some hundredths of a second."""


@dataclass(frozen=True)
class Plan:
    """One cooling.

    Attributes
    ----------
    hot, cold : float
        First and last temperature in mean servings' worth; falls geometrically.
    chunks : int
        Times the weights are looked at.
    ramp : tuple of two floats
        Parts of the schedule at which the weights start and end to rise from soft to full.
    raises : tuple of (part, factor)
        From that part of the schedule on, broken rows' weights grow by the factor each chunk.
    charge : float
        Fixed charge of a broken row, as a part of its size.
    until_menu : bool
        End at the first menu.
    near_from : float
        Part from which near misses are noted.
    tilt : float
        Part up to which the use of wide rows is priced.
    likely : float
        Share of draws made among likely columns alone.
    hold : float
        What a serving earns more for standing where the menu started from has it, in temperatures: so it
        moves only for something, and as the search cools ever less suffices.
    swap : float
        Share of moves between two cells of one kind: they mend, the others improve.
    soft : float
        Part of the price that breaking a row starts with.
    loose : tuple of three floats
        Part of the rounding up of extra columns that is let off at first, and parts of the schedule at
        which that begins to fall and has become nothing.
    """

    hot: float
    cold: float
    chunks: int
    ramp: tuple[float, float]
    raises: tuple[tuple[float, float], ...]
    charge: float
    until_menu: bool = False
    near_from: float = 0.5
    tilt: float = 0.0
    likely: float = 0.0
    hold: float = 0.0
    swap: float = SWAP_SHARE
    soft: float = 1.0
    loose: tuple[float, float, float] = (0.0, 0.0, 0.0)


# Figures found by trials on made-up instances, not derived.
QUICK = Plan(0.3, 0.005, 40, (-1.0, -1.0), ((0.0, 1.3),), 2e-4, until_menu=True)
MAIN = Plan(0.08, 0.001, 160, (0.1, 0.6), ((0.5, 1.05), (0.85, 1.2)), 2e-4, tilt=0.95)
KNOWN = replace(MAIN, hot=0.05, ramp=(0.2, 0.8), likely=0.95, swap=0.25, soft=0.36, loose=(0.5, 0.2, 0.7))
"""The long cooling where a menu is known already; to find a first one takes all columns and stiff rows."""
SMALL = replace(MAIN, likely=KNOWN.likely)
"""The same for a component of few columns, which needs heat, not softness."""
AGAIN = Plan(0.03, 0.0025, 40, (-1.0, -1.0), ((0.0, 1.1),), 2e-3, near_from=0.0)
SKETCH = Plan(0.03, 0.0025, 24, (-1.0, -1.0), ((0.0, 1.2),), 2e-3, near_from=0.0)
NEAR = Plan(
    0.016, 0.001, 80, (-1.0, -1.0), ((0.0, 1.1),), 2e-4, near_from=0.0, tilt=0.9, likely=0.95, hold=3.0
)
POLISH = Plan(
    0.004, 0.0025, 40, (-1.0, -1.0), ((0.0, 1.1),), 2e-4, near_from=0.0, hold=5.0, swap=0.25, soft=0.36
)
MEND = Plan(0.004, 0.001, 40, (-1.0, -1.0), ((0.0, 1.15),), 2e-3, near_from=0.0, swap=0.25, soft=0.36)
"""What is good but for some rows, at little more than the temperature it was left at."""
BACK = Plan(1e-10, 1e-10, 4, (-1.0, -1.0), (), 2e-4, hold=10.0)
"""Back to the menu started from, wherever that costs nothing; the last of a search."""
WARM = Plan(0.06, 0.0025, 40, (-1.0, -1.0), ((0.0, 1.1),), 2e-4, near_from=0.0)


def chunks(plan: Plan, moves: int) -> int:
    """Chunks a cooling of that many moves has."""
    return max(1, min(plan.chunks, moves // 200))


def _loose(plan: Plan, part: float) -> float:
    """Part of the rounding up that is let off at a part of the schedule."""
    most, begin, end = plan.loose
    return most * min(1.0, max(0.0, (end - part) / (end - begin))) if most else 0.0


def cool(
    engine: Engine,
    plan: Plan,
    moves: int,
    stop: Stop | None = None,
    tick: Callable[[], None] | None = None,
    span: tuple[int, int] | None = None,
) -> None:
    """Run one cooling of at most ``moves`` moves from the engine's present state.

    Parameters
    ----------
    tick : callable, optional
        Called after every chunk.
    span : tuple of int, optional
        First chunk, and the one after the last, when only a part of the cooling is to be run.
    """
    count = chunks(plan, moves)
    first, last = span or (0, count)
    done = moves * first // count
    for k in range(first, last):
        part = k / count
        begin, end = plan.ramp
        ramp = 1.0 if part >= end else max(0.0, (part - begin) / (end - begin))
        temperature = plan.hot * (plan.cold / plan.hot) ** (k / max(count - 1, 1))
        engine.tilt(part < plan.tilt)
        engine.let_off(_loose(plan, part))
        engine.hold(plan.hold * temperature)
        engine.weigh(ramp, plan.charge, plan.soft)
        target = moves * (k + 1) // count
        while done < target:
            if stop is not None and stop.is_set():
                break
            step = min(MOST_PER_CALL, target - done)
            engine.run(step, temperature, plan.likely, plan.swap)
            done += step
        if part >= plan.near_from and engine.broken:
            engine.note_near()
        factor = 1.0
        for start, by in plan.raises:
            if part >= start:
                factor = by
        engine.raise_broken(factor)
        if tick is not None:
            tick()
        if (stop is not None and stop.is_set()) or (plan.until_menu and engine.best_value is not None):
            break
