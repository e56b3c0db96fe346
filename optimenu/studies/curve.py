"""What a set of points says: which are efficient, where the gaps are, where the knee is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from decimal import Decimal

    from optimenu.studies.axes import Axis

STRAIGHT = 0.05
"""A curve that lies nearer than this to its chord, in normalised axes, has no knee; from trials."""


@dataclass(frozen=True)
class Point:
    """A menu of the curve, or a place where there is none.

    Attributes
    ----------
    limits : mapping of axis to Decimal
        Limits it was planned under; an axis that is not named was free.
    end : str
        ``menu``, ``impossible`` (proved), ``undecided``.
    run : str
        Name of its run folder; empty without a menu.
    amounts : mapping of axis to Decimal or None
        What the menu takes, in the axes' units, measured by the audit; None where not known.
    bound : Decimal or None
        No menu within these limits does better in the goal (mean liking, or least liking where that is
        traded), per cent.
    gap : Decimal or None
        To that bound, as a part of it.
    least : mapping of axis to Decimal
        What a menu as good in the other axes takes at least, proved; where liking is held.
    """

    limits: Mapping[str, Decimal]
    end: str
    run: str = ""
    amounts: Mapping[str, Decimal | None] = field(default_factory=dict)
    bound: Decimal | None = None
    gap: Decimal | None = None
    least: Mapping[str, Decimal] = field(default_factory=dict)

    def at(self, axis: Axis) -> Decimal:
        """Amount of an axis, which must be known."""
        amount = self.amounts[axis.name]
        if amount is None:
            msg = f"{axis.words} of {self.run} is not known"
            raise ValueError(msg)
        return amount


def dominates(one: Point, other: Point, axes: Sequence[Axis]) -> bool:
    """Whether one point is no worse than another in anything, and better in something."""
    pairs = [(a, one.at(a), other.at(a)) for a in axes]
    return not any(a.beats(y, x) for a, x, y in pairs) and any(a.beats(x, y) for a, x, y in pairs)


def efficient(points: Sequence[Point], axes: Sequence[Axis]) -> list[Point]:
    """Points that no other dominates, one of those that are equal, along the first axis."""
    menus = [p for p in points if p.end == "menu"]
    kept: list[Point] = []
    for p in menus:
        if any(dominates(q, p, axes) for q in menus):
            continue
        if not any(all(q.at(a) == p.at(a) for a in axes) for q in kept):
            kept.append(p)
    return sorted(kept, key=lambda p: tuple(p.at(a) for a in axes))


def normalised(points: Sequence[Point], axes: Sequence[Axis]) -> list[tuple[float, ...]]:
    """Coordinates from 0 to 1 within the points' own ranges; 0 throughout on an axis they share."""
    columns = []
    for a in axes:
        values = [float(p.at(a)) for p in points]
        low, wide = min(values), max(values) - min(values)
        columns.append([(v - low) / wide if wide else 0.0 for v in values])
    return list(zip(*columns, strict=True))


def knee(points: Sequence[Point], axes: Sequence[Axis]) -> int | None:
    """Return the place of the knee among efficient points along the first of two axes, or None.

    The point farthest from the chord between the ends, on its good side, in normalised axes (Das, On
    characterizing the knee of the Pareto curve, Structural Optimization 18, 1999; in this discrete form
    Satopaa and others, Finding a kneedle in a haystack, 2011; both from memory). None with fewer than three
    points or where the curve is nearly straight.
    """
    if len(points) < 3:
        return None
    where = normalised(points, axes)
    good = [[1 - v if a.less else v for a, v in zip(axes, place, strict=True)] for place in where]
    (x0, y0), (x1, y1) = good[0], good[-1]
    across, up = x1 - x0, y1 - y0
    length = (across**2 + up**2) ** 0.5
    if not length:
        return None
    # both axes grow toward what is better, so the good side of the falling chord is away from the origin
    away = [abs(up) * (x - x0) / length + abs(across) * (y - y0) / length for x, y in good]
    best = max(range(len(away)), key=lambda k: (away[k], -k))
    return best if away[best] >= STRAIGHT else None
