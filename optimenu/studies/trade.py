"""The curve between two or three quantities, point by point.

Where liking is an axis it is the goal of every point, and another axis is held to a limit that moves from
the least a menu can take to what the best menu takes. Where it is not, every point is held to a part of the
best liking: the first axis is then made as good as it can be while the second is limited and no more liking
is lost. A third axis is held to a few levels, with a curve for each.
"""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

from optimenu.errors import Fault, nearest
from optimenu.studies.axes import AXES, Axis
from optimenu.studies.curve import Point, efficient
from optimenu.studies.held import Held, liked_at
from optimenu.studies.points import name_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from optimenu.config.case import Case
    from optimenu.studies.points import Limits, Points

FINEST = Decimal("0.004")
"""Two limits that lie nearer than this part of the whole range are not parted further."""
LEVELS = 3
"""Of a third axis."""
FEWEST = 3
"""Points of a curve."""


def axis_faults(names: Sequence[str], case: Case | None = None) -> list[Fault]:
    """Say what keeps quantities from being traded with each other.

    Parameters
    ----------
    case : Case, optional
        The config; without it only the names are judged.
    """
    faults = []
    known = [*AXES]
    for name in names:
        if name not in AXES:
            faults.append(f'no quantity "{name}".{nearest(name, known)} There are: {", ".join(known)}')
    if len(names) not in (2, 3) or len(set(names)) < len(names):
        faults.append("needs two or three different quantities, such as volume,liking")
    if {"least", "liking"} <= set(names):
        faults.append(
            "liking and least liking are both goals, and a point has one; trade either against a quantity "
            "that has a limit, and the other is told of every point"
        )
    costs = case is not None and any(i.cost is not None for i in case.problem.catalogue.items)
    if "cost" in names and case is not None and not costs:
        faults.append(f"the catalogue {case.problem.catalogue.file} states no cost; fill its column cost")
    return [Fault("--between", 0, text) for text in faults]


def trade(names: Sequence[str], points: Points) -> None:
    """Find the points; the store has them.

    Parameters
    ----------
    names : sequence of str
        Two or three axes without a fault.

    Raises
    ------
    Stopped
        When the user asked for an end.
    ProvedImpossible, Undecided
        When there is no menu even where nothing traded is limited.
    """
    axes = [AXES[n] for n in names]
    moved = [a for a in axes if a.limited]
    if len(moved) < len(axes):
        goal = next(a for a in axes if not a.limited)
        _levels(points, moved, lambda on, fixed, n: _liked(points, on, goal, fixed, n))
        return
    held = Held(points, floor_of(points, points.needed({}), "held"))
    _levels(points, moved[1:], lambda on, fixed, n: _held(points, held, moved[0], on, fixed, n))


def floor_of(points: Points, free: Point, fact: str) -> Decimal:
    """Return the part of the best liking that is asked for, per cent, and keep it under a name."""
    floor = (points.ways.floor * free.at(AXES["liking"])).quantize(Decimal("0.000001"), ROUND_FLOOR)
    points.store.facts[fact] = format(floor, "f")
    return floor


def _levels(points: Points, moved: Sequence[Axis], curve: Callable[[Axis, Limits, int], None]) -> None:
    """Draw one curve, or one for each level of a second axis that moves."""
    if len(moved) == 1:
        curve(moved[0], {}, points.ways.points)
        return
    last = moved[1]
    count = max(2, min(LEVELS, points.ways.points // FEWEST))
    free = points.needed({})
    floor = floor_of(points, free, "from free")
    tight = (liked_at(points, last, {}, floor) if floor else None) or points.end(last, {}, free)[0]
    loose = free.at(last)
    for k in range(count):
        limit = last.toward(loose + (tight - loose) * k / count, loose=True)
        curve(moved[0], {last.name: limit} if k else {}, -(-points.ways.points // count))


def _liked(points: Points, axis: Axis, goal: Axis, fixed: Limits, n: int) -> None:
    """Points between what the best menu takes of an axis and where little liking is left, or none at all."""
    free = points.needed(fixed)
    proved = points.proved(axis, fixed, free)
    nodes = {free.at(axis): free}
    floor = floor_of(points, free, f"from {name_of(fixed)}")
    tight = liked_at(points, axis, fixed, floor) if floor else None
    if tight is not None and proved is not None and axis.beats(tight, proved):
        tight = None
    if tight is not None and axis.beats(tight, free.at(axis)):
        nodes[tight] = points.point({**fixed, axis.name: tight})
    if tight is None or (tight in nodes and nodes[tight].end != "menu"):
        # where the relaxation sees too little of whole packs, a search says how little is enough
        least, start = points.end(axis, fixed, free)
        if axis.beats(least, free.at(axis)):
            nodes[least] = points.point({**fixed, axis.name: least}, start=start)
        if tight is not None:
            del nodes[tight]
    _between(nodes, axis, goal, n, lambda limit: points.point({**fixed, axis.name: limit}))


def _held(points: Points, held: Held, first: Axis, axis: Axis, fixed: Limits, n: int) -> None:
    """Points that keep the liking held: the first axis at its best for each limit of the other."""
    one, other = held.point(first, fixed), held.point(axis, fixed)
    if one is None or other is None:
        return
    far = other.at(axis)
    nodes = {one.at(axis): one}
    if axis.beats(far, one.at(axis)):
        nodes[far] = held.point(first, {**fixed, axis.name: far}) or other
    none = Point({}, "undecided")
    _between(nodes, axis, first, n, lambda limit: held.point(first, {**fixed, axis.name: limit}) or none)


def _between(
    nodes: dict[Decimal, Point], axis: Axis, goal: Axis, n: int, solve: Callable[[Decimal], Point]
) -> None:
    """Halve the largest gap between neighbours, in normalised axes, until n points are efficient."""
    most = n + max(2, n // 4)
    while len(efficient([*nodes.values()], (axis, goal))) < n and len(nodes) < most:
        limit = widest(nodes, axis, goal)
        if limit is None:
            return
        nodes[limit] = solve(limit)


def widest(nodes: Mapping[Decimal, Point], axis: Axis, goal: Axis) -> Decimal | None:
    """Return the limit in the middle of the largest gap; None where no gap can be parted.

    Parameters
    ----------
    nodes : mapping of Decimal to Point
        By limit; those without a menu, too, so that no limit is tried twice.
    """
    order = sorted(nodes)
    wide = order[-1] - order[0]
    heights = {x: nodes[x].at(goal) for x in order if nodes[x].end == "menu"}
    high = max(heights.values(), default=Decimal(0)) - min(heights.values(), default=Decimal(0))
    best: tuple[Decimal, Decimal] | None = None
    for low, top in zip(order, order[1:], strict=False):
        apart = (top - low) / wide
        middle = axis.toward((low + top) / 2, loose=True)
        if not low < middle < top or apart < FINEST:
            continue
        known = high and low in heights and top in heights
        rise = (heights[top] - heights[low]) / high if known else Decimal(0)
        size = apart * apart + rise * rise
        if best is None or size > best[0]:
            best = size, middle
    return None if best is None else best[1]
