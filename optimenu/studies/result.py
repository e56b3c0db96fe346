"""What a trade found: its curves, the table of its points, the knee and the price of each step."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from optimenu.exports.chart import Chart, Line, Note
from optimenu.rules.base import plain, raised
from optimenu.studies.axes import AXES, Axis
from optimenu.studies.curve import Point, efficient, knee
from optimenu.studies.points import GAP, limit_words
from optimenu.studies.store import points_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(frozen=True)
class Series:
    """Efficient points of one curve, along its first axis.

    Attributes
    ----------
    words : str
        What a third axis is held to; empty where there is none.
    numbers : tuple of int
        Of the points, from 1, as tables have them.
    knee : int or None
        Place of the knee among the points.
    """

    words: str
    points: tuple[Point, ...]
    numbers: tuple[int, ...]
    knee: int | None


@dataclass(frozen=True)
class Result:
    """A trade as it stands.

    Attributes
    ----------
    name : str
        Of the plan.
    axes : tuple of Axis
        As asked.
    across, up : Axis
        What the curve runs along, and what is made as good as it can be for it.
    series : tuple of Series
    dominated, short, impossible, undecided : tuple of Point
        Menus that another beats in everything, menus liked less than is held, places proved to have no menu,
        places where none was found.
    facts : mapping
        As the store has them.
    """

    name: str
    axes: tuple[Axis, ...]
    across: Axis
    up: Axis
    series: tuple[Series, ...]
    dominated: tuple[Point, ...]
    short: tuple[Point, ...]
    impossible: tuple[Point, ...]
    undecided: tuple[Point, ...]
    facts: Mapping[str, Any]

    @property
    def points(self) -> tuple[Point, ...]:
        """Every efficient point, in the order of its number."""
        return tuple(p for s in self.series for p in s.points)

    @property
    def held(self) -> Decimal | None:
        """Liking that every menu keeps, per cent; None where liking is an axis."""
        return Decimal(self.facts["held"]) if "held" in self.facts else None

    @property
    def wide(self) -> tuple[int, ...]:
        """Numbers of the points whose gap is wider than asked."""
        asked = Decimal(str(GAP))
        return tuple(k for k, p in enumerate(self.points, 1) if p.gap is not None and p.gap > asked)

    def beyond(self, point: Point) -> Decimal | None:
        """Return what no menu within the point's limits betters, in the unit of `up`; None if not proved."""
        return point.least.get(self.up.name) if self.up.limited else point.bound


def result(data: Mapping[str, Any]) -> Result:
    """Return what ``trade.json`` says, put in order."""
    axes = tuple(AXES[n] for n in data["question"]["axes"])
    moved = [a for a in axes if a.limited]
    goals = [a for a in axes if not a.limited]
    up, across = (goals[0], moved[0]) if goals else (moved[0], moved[1])
    tried = list(points_of(data).values())
    facts = data["facts"]
    floor = Decimal(facts["held"]) if not goals and "held" in facts else None
    menus = [p for p in tried if p.end == "menu"]
    short = [p for p in menus if floor is not None and p.at(AXES["liking"]) < floor]
    order = (across, up, *(a for a in axes if a not in (across, up)))
    kept = efficient([p for p in menus if p not in short], order)
    third = [a for a in axes if a not in (across, up)]
    series: list[Series] = []
    number = 1
    levels = sorted({tuple(p.limits.get(a.name) for a in third) for p in kept}, key=str)
    for level in levels:
        own = tuple(p for p in kept if tuple(p.limits.get(a.name) for a in third) == level)
        limits: dict[str, Decimal] = {a.name: v for a, v in zip(third, level, strict=True) if v is not None}
        words = (
            limit_words(limits, {**AXES}) if limits else (f"{third[0].words} not limited" if third else "")
        )
        numbers = tuple(range(number, number + len(own)))
        number += len(own)
        series.append(Series(words, own, numbers, knee(own, (across, up))))
    return Result(
        data["question"].get("name", ""),
        axes,
        across,
        up,
        tuple(series),
        tuple(p for p in menus if p not in kept and p not in short),
        tuple(short),
        tuple(p for p in tried if p.end == "impossible"),
        tuple(p for p in tried if p.end not in ("menu", "impossible")),
        facts,
    )


COLUMNS = (
    "point", "curve", "knee", "run",
    *(a.column for a in AXES.values()),
    "goal", "goal_at_most", "gap", *(f"limit_{a.column}" for a in AXES.values() if a.limited),
    *(f"least_{a.column}" for a in AXES.values() if a.limited), "liking_held", "audited",
)  # fmt: skip
"""Likings and the goal's bound in per cent; the gap is a part of the bound. A limit is empty where there is
none; ``least_`` is what a menu takes at least that keeps the other limits and the liking held, proved."""


def rows(found: Result) -> list[tuple[object, ...]]:
    """Every efficient point as a row of `COLUMNS`."""
    out: list[tuple[object, ...]] = []
    caps = [a for a in AXES.values() if a.limited]
    goal = "liking" if found.up.limited else found.up.name
    for s in found.series:
        for k, (number, p) in enumerate(zip(s.numbers, s.points, strict=True)):
            out.append(
                (number, s.words, k == s.knee, f"runs/{p.run}", *(p.amounts[n] for n in AXES),
                 goal, p.bound, p.gap,
                 *(p.limits.get(a.name) for a in caps), *(p.least.get(a.name) for a in caps), found.held,
                 True)
            )  # fmt: skip
    return out


def step_of(points: Sequence[Point], axis: Axis) -> Decimal:
    """Return a round amount of an axis, about a twentieth of its range among points."""
    values = [p.at(axis) for p in points]
    wide = max(values) - min(values)
    if not wide:
        return axis.step
    rough = wide / 20
    power = Decimal(1).scaleb(rough.adjusted())
    step = next((power * k for k in (1, 2, 5) if power * k >= rough), power * 10)
    return max(step, axis.step).normalize()


def places_of(axis: Axis, step: Decimal) -> int:
    """Return the decimals that tell amounts of an axis apart, of which a step is one twentieth."""
    if axis.step == 1:
        return 0
    exponent = step.as_tuple().exponent
    return max(1, 1 - exponent) if isinstance(exponent, int) else 1


def rate(one: Point, other: Point, found: Result, step: Decimal) -> Decimal | None:
    """Return how much `up` grows for a step of `across` more, between two points; None where they meet."""
    apart = other.at(found.across) - one.at(found.across)
    return (other.at(found.up) - one.at(found.up)) / apart * step if apart else None


def sentences(found: Result, s: Series) -> list[str]:
    """Say where the knee is and what each side of it costs, for a planner."""
    if len(s.points) < 2:
        return []
    # from the point where `up` is best to the other end
    best, worst = s.points[0], s.points[-1]
    if found.up.beats(worst.at(found.up), best.at(found.up)):
        best, worst = worst, best
    step = step_of(s.points, found.across)
    if s.knee is None:
        return [f"The curve is nearly straight, without a knee. {_cost(found, best, worst, step)}."]
    at = s.points[s.knee]
    where = _amount(found.across, at.at(found.across), step)
    name = f"The knee is point {s.numbers[s.knee]}, at {where}"
    return [f"{name}. {_cost(found, best, at, step)}; {_cost(found, at, worst, step, again=True)}."]


def _amount(axis: Axis, value: Decimal, step: Decimal) -> str:
    return f"{plain(value, places_of(axis, step))} {axis.unit}"


def _cost(found: Result, one: Point, other: Point, step: Decimal, *, again: bool = False) -> str:
    x, y = found.across, found.up
    lost = abs(other.at(y) - one.at(y))
    each = rate(one, other, found, step) or Decimal(0)
    of = f" of {y.words.removeprefix('mean ')}" if y.unit == "%" else ""
    costs = "costs" if y.unit == "%" else "takes" if y.less else "gives up"
    start = plain(one.at(x), places_of(x, step))
    span = f"{'from' if again else 'From'} {start} to {_amount(x, other.at(x), step)}"
    more = f"{step:f} {x.unit}" if x.unit != "items" or step != 1 else "item"
    rates = f"{plain(abs(each), 2)} {y.unit} for each {more}"
    return f"{span} {costs} {plain(lost, 1)} {y.unit}{of}, {rates}"


def bound_words(found: Result) -> str:
    """Name what the bounds say."""
    if not found.up.limited:
        return "no menu lies above (proved)"
    return f"no menu lies {'below' if found.up.less else 'above'} (proved)"


def chart(found: Result) -> Chart:
    """Draw the points and their bounds."""
    x, y = found.across, found.up
    lines, notes = [], []
    for s in found.series:
        if not s.points:
            continue
        name = s.words or "menus, audited"
        xs = tuple(float(p.at(x)) for p in s.points)
        lines.append(Line(name, xs, tuple(float(p.at(y)) for p in s.points), tuple(map(str, s.numbers))))
        proved = [(float(p.at(x)), float(b)) for p in s.points if (b := found.beyond(p)) is not None]
        if proved and len(found.series) == 1:
            px, py = zip(*proved, strict=True)
            lines.append(Line(bound_words(found), px, py, kind="bound"))
        if s.knee is not None and len(found.series) == 1:
            p = s.points[s.knee]
            notes.append(Note(float(p.at(x)), float(p.at(y)), f"knee: point {s.numbers[s.knee]}"))
    held = "" if found.held is None else f" Every menu keeps a liking of {found.held} % or more."
    return Chart(
        f"{found.name}: {y.words} against {x.words}",
        x.label,
        y.label,
        tuple(lines),
        tuple(notes),
        f"Each point is an audited menu.{held}",
    )


def percent_up(value: Decimal) -> Decimal:
    """Return a part as per cent, rounded up to two decimals."""
    return raised(value * 100, 2)
