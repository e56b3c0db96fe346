"""The page of a study: a table for each line of cases, and what grows with the length of the stay."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.rules.base import plain, raised
from optimenu.studies.charts import charts
from optimenu.studies.scaling import TOTALS, Growth, Line, growths, lines, number, stretches
from optimenu.views.console import ABOVE, KEPT, STYLES, cell, heading, marked, sign
from optimenu.views.plot import MARKS, legend, plot
from optimenu.views.summary import cautions_where, column_name, many

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.studies.folder import Row
    from optimenu.studies.work import End

WIDE = 110
"""Columns from which the limit that binds has a column of its own."""
ENDS: dict[End, str] = {
    "menu": "menu",
    "impossible": "proved impossible",
    "undecided": "not decided",
    "faults": "faults in the input",
    "failed": "failed",
}
COLUMNS = (
    ("kg", "mass_kg_person_day", 3),
    ("L", "volume_l_person_day", 3),
    ("water L", "water_l_person_day", 3),
    ("liking %", "liking", 1),
    ("least %", "least_liking", 1),
    ("variety", "variety", 1),
    ("gap %", "gap", 2),
)
"""Heading, figure and decimals; shares are shown in per cent."""
PLOTTED = ("volume_l_person_day", "liking")
PERCENT = ("liking", "least_liking", "gap")
_NAMES = {"mass_kg": "Gross mass", "volume_l": "Stowed volume", "water_l": "Water"}
NONE = "no limit"
UNSURE = 0.25
"""Half of an interval of an exponent from which nothing is said of it; common practice, no source."""
_NUMBERS = re.compile(r"[\d.,]+")


def compare_page(name: str, rows: Sequence[Row], width: int) -> RenderableType:
    """Return the page of a study.

    Parameters
    ----------
    rows : sequence of Row
        Every case, answered or not.
    width : int
        Columns of the screen.
    """
    answered = [r for r in rows if r.answer is not None]
    parts: list[RenderableType] = [heading(name), cell(_count(rows))]
    for line in lines(rows):
        parts += [heading(_title(line)), _table(line, wide=width >= WIDE)]
        parts += [marked(sign(KEPT), text) for text in _statements(line)]
        parts += [marked(sign(ABOVE), text) for text in _without(line)]
    parts += _plots(name, rows, width)
    if any(r.answer is not None and r.answer.end == "menu" for r in answered):
        parts += [cell(""), cell(LEGEND, STYLES["quiet"])]
    said = [r.answer.figures.get("losses_counted") for r in answered if r.answer is not None]
    counted = {word == "yes" for word in said if word is not None}
    return Group(*parts, cautions_where(counted))


LEGEND = (
    "kg, L, water L: gross mass, stowed volume and water of a person-day, the reserve's packs and plain "
    "water included. liking: mean over people; least: of who likes it least. variety: different items "
    "eaten, mean over people. gap: how much better at most any menu could be, rounded up. "
    "Matters most: 1 % of the limit is worth most liking, by the multipliers that prove the bound."
)


def _plots(name: str, rows: Sequence[Row], width: int) -> list[RenderableType]:
    """What tells most of a study, in plain characters; of many lines only the files tell them apart."""
    found = charts(name, rows)
    parts: list[RenderableType] = []
    for figure in PLOTTED:
        chart = found.get(figure)
        if chart is not None and len(chart.lines) <= len(MARKS):
            parts += [heading(chart.title), Text("\n".join(plot(chart, width)), no_wrap=True)]
            parts.append(cell(legend(chart), STYLES["quiet"]))
    return parts


def _count(rows: Sequence[Row]) -> str:
    answered = [r.answer.end for r in rows if r.answer is not None]
    words = {**ENDS, "menu": "with a menu", "faults": "with faults in the input"}
    ends = [f"{answered.count(end)} {word}" for end, word in words.items() if end in answered]
    open_ = len(rows) - len(answered)
    ends += [f"{open_} not planned yet"] if open_ else []
    return f"{many(len(rows), 'case')}: {', '.join(ends)}."


def _title(line: Line) -> str:
    return ", ".join(f"{name} {text or '-'}" for name, text in line.fixed.items()) or "All cases"


def _table(line: Line, *, wide: bool) -> Table:
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("case", justify="right")
    table.add_column(line.axis or "config", justify="right", overflow="fold")
    for head, _, _ in COLUMNS:
        table.add_column(head, justify="right")
    if wide:
        table.add_column("of the crew's limits, matters most", overflow="fold")
    for row in line.rows:
        assert row.answer is not None
        cells = [cell(row.case.number), cell(row.case.labels.get(line.axis, "-"))]
        cells += [cell(_shown(row, figure, places)) for _, figure, places in COLUMNS]
        if wide:
            what = _said(row, "binding_shared") if row.answer.end == "menu" else ENDS[row.answer.end]
            cells.append(cell(what))
        table.add_row(*cells)
    return table


def _shown(row: Row, figure: str, places: int) -> str:
    value = row.answer.figures.get(figure) if row.answer is not None else None
    if not isinstance(value, Decimal):
        return "-"
    if figure in PERCENT:
        value *= 100
    if figure == "gap":
        value = raised(value, places)
    return f"{value:.{places}f}"


def _said(row: Row, name: str) -> str:
    found = row.answer.figures.get(name) if row.answer is not None else None
    return str(found) if found else NONE


def _span(line: Line, first: Row, last: Row) -> str:
    a, b = (r.case.labels.get(line.axis, "-") for r in (first, last))
    return f"{line.axis} {a}" if a == b else f"{line.axis} {a} to {b}"


def _statements(line: Line) -> list[str]:
    """What repeats, what ages out, what binds."""
    found = [_growth(g) for g in growths(line)]
    found += _aging(line)
    found += _losses(line)
    for name, head in (("binding_shared", "Of what the crew shares"), ("binding", "Of all limits")):
        runs = stretches(line.menus, partial(_said, name=name))
        if any(what != NONE for what, _, _ in runs):
            words = "; ".join(f"{_span(line, a, b)}: {what}" for what, a, b in runs)
            found.append(f"{head}, matters most: {words}.")
    return found


def _growth(g: Growth) -> str:
    unit = TOTALS[g.name]
    each = f"{plain(Decimal(str(g.least)), 3)} to {plain(Decimal(str(g.most)), 3)} {unit} a person-day"
    how = "the same each day, as far as these cases tell"
    if g.half > UNSURE:
        how = "these cases do not tell whether it changes a day"
    elif not g.repeats:
        how = "less a day, the longer the stay" if g.exponent < 1 else "more a day, the longer the stay"
    power = f"days to the {g.exponent:.3f} ± {g.half:.3f}"
    return f"{_NAMES[g.name]} grows as {power} (95 %, {g.count} lengths): {how}; {each}."


def _aging(line: Line) -> list[str]:
    """What passes its dates as the stay grows, and what is left to choose from."""
    first, last = line.rows[0], line.rows[-1]
    found = []
    for name, words in (("lots_past_use_by", "use-by"), ("lots_past_best_before", "best-before")):
        a, b = number(first, name), number(last, name)
        if a is not None and b is not None and b > a:
            lots = number(last, "lots") or 0
            found.append(
                f"Lots past their {words} date before the stay ends: {a:.0f} of {lots:.0f} at "
                f"{_span(line, first, first)}, {b:.0f} at {_span(line, last, last)}."
            )
    if line.menus:
        a, b = (number(r, "items_offered") for r in (line.menus[0], line.menus[-1]))
        if a != b and a is not None and b is not None:
            found.append(
                f"Items somebody may be given: {a:.0f} at {_span(line, line.menus[0], line.menus[0])}, "
                f"{b:.0f} at {_span(line, line.menus[-1], line.menus[-1])}."
            )
    return found


def _losses(line: Line) -> list[str]:
    """From which case on storage makes which floors bind."""
    first: dict[str, Row] = {}
    for row in line.menus:
        for part in _said(row, "losses_bind").split("; "):
            person, _, columns = part.partition(": ")
            for column in columns.split():
                first.setdefault(f"{column_name(column)} of {person}", row)
    if not first:
        return []
    words = "; ".join(f"{what} from {_span(line, row, row)} on" for what, row in first.items())
    return [f"Losses in storage make a floor bind: {words}."]


def _without(line: Line) -> list[str]:
    """Cases without a menu, those with the same end and reason together."""
    rows = [r for r in line.rows if r.answer is not None and r.answer.end != "menu"]
    found = []
    for _, first, last in stretches(rows, lambda r: _NUMBERS.sub("", _why(r))):
        later = "" if _why(first) == _why(last) else f"; at {_span(line, last, last)}: {_reason(last)}"
        found.append(f"{_span(line, first, last)}: {_why(first)}{later}")
    return found


def _why(row: Row) -> str:
    assert row.answer is not None
    return f"{ENDS[row.answer.end]}: {_reason(row)}"


def _reason(row: Row) -> str:
    return "" if row.answer is None else row.answer.reason
