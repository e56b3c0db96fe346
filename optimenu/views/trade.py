"""The page of a trade: its points, a small plot, the knee in words, what is proved."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.rules.base import plain
from optimenu.studies.axes import AXES
from optimenu.studies.points import GAP, limit_words
from optimenu.studies.result import (
    chart,
    percent_up,
    places_of,
    rate,
    sentences,
    step_of,
)
from optimenu.views.console import STYLES, cell, heading
from optimenu.views.plot import NOTE, legend, plot
from optimenu.views.summary import cautions_where, many

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from optimenu.studies.axes import Axis
    from optimenu.studies.curve import Point
    from optimenu.studies.result import Result, Series

WIDE = 110
"""From so many characters on, every quantity and the run have a column."""
PLOT_WIDTH = 100
SHOWN = 5
_PLACES = {"%": 2, "items": 0, "currency": 0}


def trade_page(found: Result, folder: Path, width: int) -> RenderableType:
    """Return what a trade found.

    Parameters
    ----------
    folder : Path
        As the user would write it.
    width : int
        Characters across.
    """
    others = "".join(f", {a.words}" for a in found.axes if a not in (found.across, found.up))
    parts: list[RenderableType] = [
        heading(f"{found.name}: {found.up.words} against {found.across.words}{others}")
    ]
    if found.held is not None:
        parts.append(
            cell(f"Every menu keeps a mean liking of {plain(found.held)} % or more; {found.up.words} counts.")
        )
    for s in found.series:
        if s.words:
            parts.append(heading(s.words[:1].upper() + s.words[1:]))
        parts.append(_table(found, s, folder, width))
    drawn = chart(found)
    parts.append(Text(""))
    parts += [Text(line, no_wrap=True) for line in plot(drawn, min(width, PLOT_WIDTH))]
    parts.append(cell(legend(drawn), STYLES["quiet"]))
    parts.append(heading("What it costs"))
    for s in found.series:
        parts += [cell(f"{s.words}: {text}" if s.words else text) for text in sentences(found, s)]
    parts += [heading("What is proved"), *map(cell, _proved(found))]
    knee = next((s.numbers[s.knee] for s in found.series if s.knee is not None), 1)
    parts += [Text(""), *map(cell, _next(folder, knee)), cautions_where(())]
    return Group(*parts)


def _table(found: Result, s: Series, folder: Path, width: int) -> Table:
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    columns = _columns(found, s, width)
    table.add_column("", justify="right")
    for head, _ in columns:
        table.add_column(head, justify="right", overflow="fold")
    if width >= WIDE:
        table.add_column("run", overflow="fold")
    for k, (number, p) in enumerate(zip(s.numbers, s.points, strict=True)):
        before = s.points[k - 1] if k else None
        words = [cell(f"{NOTE} {number}" if k == s.knee else str(number))]
        words += [cell(of(p, before)) for _, of in columns]
        if width >= WIDE:
            words.append(cell(f"runs/{p.run}"))
        table.add_row(*words)
    return table


def _columns(found: Result, s: Series, width: int) -> list[tuple[str, Callable[[Point, Point | None], str]]]:
    """Headings and how to fill them from a point and the one before it."""
    x, y = found.across, found.up
    step = step_of(s.points, x) if s.points else x.step

    def amount(a: Axis) -> tuple[str, Callable[[Point, Point | None], str]]:
        places = places_of(x, step) if a is x else _PLACES.get(a.unit, 1)
        return f"{_short(a)}\n{a.unit}", lambda p, _: _number(p.amounts[a.name], places)

    def beyond(p: Point, _: Point | None) -> str:
        value = found.beyond(p)
        if value is not None and y.unit == "%":
            value = value.quantize(Decimal("0.01"), ROUND_CEILING)
        return _number(value, _PLACES.get(y.unit, 1))

    def change(p: Point, before: Point | None) -> str:
        each = None if before is None else rate(before, p, found, step)
        return "" if each is None else f"{each:+.2f}"

    side = "at most" if not y.less else "no less"
    columns = [amount(x), amount(y), (f"{side}\n{y.unit}", beyond)]
    columns.append((f"per\n{step:f} {x.unit if x.unit != 'items' else 'more'}", change))
    rest = [a for a in AXES.values() if a not in (x, y)]
    traded = [a for a in rest if a in found.axes]
    columns += [amount(a) for a in traded]
    if y.name != "liking":
        columns.append(amount(AXES["liking"]))
    columns.append(("gap\n%", lambda p, _: "?" if p.gap is None else f"{percent_up(p.gap):.2f}"))
    left = [a for a in rest if a not in traded and a.name != "liking"]
    if width < WIDE:
        left = [a for a in left if a.name in ("least", "mass", "variety")]
    return columns + [amount(a) for a in left]


def _short(axis: Axis) -> str:
    """Head of a column, in one word."""
    return {"least": "least", "variety": "different"}.get(axis.name, axis.name)


def _number(value: Decimal | None, places: int) -> str:
    return "?" if value is None else f"{value:,.{places}f}"


def _proved(found: Result) -> list[str]:
    lines = []
    if not found.up.limited:
        lines.append(
            f"No menu within a point's limits has a higher {found.up.words} than stands under at most."
        )
    else:
        more = "less" if found.up.less else "more"
        side = "no less" if found.up.less else "at most"
        lines.append(
            f"No menu that keeps the liking and the point's other limits takes {more} {found.up.words} than "
            f"stands under {side}; the gap is that of its liking."
        )
    for key, value in found.facts.items():
        if key.startswith("proved ") and key.endswith(" free") and value is not None:
            axis = AXES[key.split(" ")[1]]
            word, side = ("less", "below") if axis.less else ("more", "above")
            lines.append(
                f"No menu takes {word} {axis.words} than {plain(Decimal(value))} {axis.unit}: "
                f"proved impossible {side} that."
            )
    for p in found.impossible[:SHOWN]:
        lines.append(f"Proved impossible: {limit_words(p.limits, {**AXES})}.")
    if len(found.impossible) > SHOWN:
        lines.append(f"And {len(found.impossible) - SHOWN} more.")
    lines += _left_out(found)
    if found.wide:
        numbers = ", ".join(map(str, found.wide))
        word = "Point" if len(found.wide) == 1 else "Points"
        lines.append(f"{word} {numbers}: a gap over {GAP * 100:g} %; more --moves may help.")
    return lines


def _left_out(found: Result) -> list[str]:
    lines = []
    for p in found.undecided[:SHOWN]:
        lines.append(f"No menu found, and none proved impossible: {limit_words(p.limits, {**AXES})}.")
    if found.dominated:
        lines.append(
            f"{many(len(found.dominated), 'menu')} left out: another is as good or better in everything."
        )
    if found.short:
        lines.append(f"{many(len(found.short), 'menu')} left out: liked less than is held.")
    return lines


def _next(folder: Path, point: int) -> list[str]:
    return [
        f"Written to {folder}: points.csv, points.parquet, curve.svg, and a run for each point.",
        f"Make point {point} the latest run: optimenu trade {folder} --pick {point}",
    ]
