"""A chart: what it says, for screens and files alike, and the same as a picture (SVG).

Lines differ in shape of mark and stroke, not in colour alone. The same chart gives the same bytes.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

Kind = Literal["points", "bound", "line"]
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
"""Okabe and Ito, Color Universal Design, 2008."""
SHAPES = ("o", "s", "^", "D", "v", "P")
STROKES = ("-", "--", "-.", ":")
_BOUND = "#555555"
_WIDE, _HIGH = 8.0, 5.2
"""Inches."""


@dataclass(frozen=True)
class Line:
    """Points that belong together.

    Attributes
    ----------
    x, y : tuple of float
        As many of one as of the other.
    labels : tuple of str
        A short word beside each point; empty, or as many as points.
    kind : str
        ``points``: marks joined by a line; ``line``: a line alone; ``bound``: marks apart, that nothing lies
        beyond.
    """

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    labels: tuple[str, ...] = ()
    kind: Kind = "points"


@dataclass(frozen=True)
class Note:
    """Words about one place of the chart."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Chart:
    """What a chart says; numbers in the units that the axis labels name."""

    title: str
    x_label: str
    y_label: str
    lines: tuple[Line, ...]
    notes: tuple[Note, ...] = ()
    caption: str = ""


def svg_bytes(chart: Chart) -> bytes:
    """Draw a chart as SVG: letters as outlines, so that it looks alike everywhere; no date in it."""
    return _drawn(chart, "svg")


def _drawn(chart: Chart, form: str) -> bytes:
    # a second to load, which other commands need not wait for
    import matplotlib

    out = io.BytesIO()
    with matplotlib.rc_context():
        # whatever the user's own settings of the library say
        matplotlib.rcdefaults()
        matplotlib.rcParams.update({"svg.hashsalt": "optimenu", "svg.fonttype": "path", "font.size": 10})
        extra = {"Date": None, "Title": chart.title} if form == "svg" else {}
        _figure(chart).savefig(out, format=form, dpi=120, metadata=extra)
    return out.getvalue()


def _figure(chart: Chart) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(_WIDE, _HIGH), layout="constrained")
    axes = figure.add_subplot()
    plain = [line for line in chart.lines if line.kind != "bound"]
    for line in chart.lines:
        if line.kind == "bound":
            axes.plot(line.x, line.y, linestyle="none", marker="_", markersize=13, markeredgewidth=1.6,
                      color=_BOUND, label=line.name, zorder=2)  # fmt: skip
            continue
        k = plain.index(line)
        axes.plot(
            line.x, line.y, STROKES[k % len(STROKES)], color=COLOURS[k % len(COLOURS)],
            marker=SHAPES[k % len(SHAPES)] if line.kind == "points" else None,
            markersize=6, linewidth=1.2, label=line.name, zorder=3,
        )  # fmt: skip
        for x, y, word in zip(line.x, line.y, line.labels, strict=False):
            axes.annotate(word, (x, y), xytext=(5, -11), textcoords="offset points", fontsize=8, zorder=4)
    axes.margins(0.07)
    for note in chart.notes:
        _note(axes, note)
    axes.set_xlabel(chart.x_label)
    axes.set_ylabel(chart.y_label)
    axes.set_title(chart.title, loc="left", fontsize=11)
    axes.grid(visible=True, color="#DDDDDD", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.legend(loc="best", frameon=True, fontsize=9)
    if chart.caption:
        figure.supxlabel(chart.caption, fontsize=8, color="#333333", x=0.01, ha="left")
    return figure


def _note(axes: Any, note: Note) -> None:
    """Ring a place and write beside it, towards the middle of the chart."""
    axes.plot([note.x], [note.y], "o", markersize=15, fillstyle="none", color="#000000", zorder=4)
    left, right = axes.get_xlim()
    low, high = axes.get_ylim()
    before, under = note.x < (left + right) / 2, note.y < (low + high) / 2
    axes.annotate(
        note.text, (note.x, note.y), xytext=(34 if before else -34, 40 if under else -44),
        textcoords="offset points", ha="left" if before else "right", fontsize=9, zorder=5,
        arrowprops={"arrowstyle": "-", "color": "#000000", "shrinkB": 8},
    )  # fmt: skip


def span(values: Sequence[float]) -> tuple[float, float]:
    """Least and greatest of some values, a little apart where all are alike."""
    low, high = min(values), max(values)
    if low == high:
        pad = abs(low) / 100 or 1.0
        return low - pad, high + pad
    return low, high
