"""Nutrients of one person: the stay against floors, the fullest seven dates against ceilings, the days."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.rules.base import plain
from optimenu.views.console import ABOVE, BELOW, KEPT, STYLES, UNKNOWN, UNPROVED, cell, heading, sign

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.menu.tally import Tally
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Measure

MOSTLY = Decimal("0.95")
"""Known share under which a row is marked as resting on unknown values; common practice, no source."""


@dataclass
class _Row:
    floors: list[Measure] = field(default_factory=list)
    ceilings: list[Measure] = field(default_factory=list)


def nutrients_page(
    problem: Problem, tally: Tally, measures: Sequence[Measure], person: int, not_assessed: Sequence[str]
) -> RenderableType:
    """Return one row for each nutrient with a limit, then shares and ratios, then what is not judged."""
    who = problem.people[person]
    rows: dict[str, _Row] = defaultdict(_Row)
    others: list[Measure] = []
    for m in measures:
        if m.section != "nutrients" or m.origin.person != who.id or m.shown is None:
            continue
        column = m.origin.what.split(" ")[0]
        unit = BY_COLUMN[column].unit
        if m.shown.unit != unit:
            others.append(m)
        elif m.low is not None:
            rows[column].floors.append(m)
        else:
            rows[column].ceilings.append(m)
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("")
    table.add_column("nutrient", ratio=1, min_width=19)
    for name in ("mean", "least", "most", "low day", "high day", "known"):
        table.add_column(name, justify="right", no_wrap=name in ("least", "most"))
    for column in BY_COLUMN:
        if column in rows:
            table.add_row(*_cells(problem, tally, person, column, rows[column]))
    parts: list[RenderableType] = [heading(f"{who.name}: nutrients, values at production"), table]
    if others:
        parts += [heading("Shares and ratios, the tightest of each"), _others(others)]
    parts.append(_legend())
    if not_assessed:
        names = ", ".join(
            sorted(BY_COLUMN[c].name if c in BY_COLUMN else c.rsplit("_", 1)[0] for c in not_assessed)
        )
        parts.append(cell(f"Not assessed, because the catalogue does not state them: {names}."))
    return Group(*parts)


def _cells(problem: Problem, tally: Tally, person: int, column: str, row: _Row) -> list[RenderableType]:
    nutrient = BY_COLUMN[column]
    given = problem.people[person].prescription.supplements.get(column, Decimal(0))
    if column == "WATER_g":
        given += problem.plain_water_ml
    daily = {d.number: given + _day(problem, tally, person, d.number, column) for d in problem.cycle}
    mean = sum((daily[d.number] * d.weight for d in problem.cycle), Decimal(0)) / len(problem.dates)
    both = [*row.floors, *row.ceilings]
    state = KEPT
    if any(m.short > 0 for m in both):
        state = BELOW
    elif any(m.over > 0 for m in both):
        state = ABOVE
    elif any(not m.proved for m in row.ceilings):
        state = UNPROVED
    known = min(m.known for m in both)
    if state == KEPT and known < MOSTLY:
        state = UNKNOWN
    floor = min(row.floors, key=lambda m: (m.short <= 0, m.least - (m.low or 0)), default=None)
    ceiling = max(row.ceilings, key=lambda m: m.most / m.high if m.high else Decimal(0), default=None)
    return [
        sign(state),
        cell(f"{_name(column)}, {nutrient.unit}"),
        cell(short(mean)),
        cell(_limit(floor)),
        cell(_limit(ceiling)),
        cell(short(min(daily.values()))),
        cell(short(max(daily.values()))),
        cell(f"{known * 100:.0f} %"),
    ]


def short(value: Decimal) -> str:
    """Write a number with three figures or so."""
    return plain(value, 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2)


def _limit(m: Measure | None) -> str:
    if m is None or m.shown is None:
        return ""
    value = m.shown.low if m.shown.low is not None else m.shown.high
    kind = m.origin.key.rsplit(".", 1)[1] if ".reference." in m.origin.key else ""
    if m.origin.key.startswith("prescriptions."):
        kind = "Rx"
    soft = "~" if m.soft is not None else ""
    return f"{soft}{short(value or Decimal(0))}{' ' + kind if kind else ''}"


def _name(column: str) -> str:
    return "Fluid: food, added and plain water" if column == "WATER_g" else BY_COLUMN[column].name


def _day(problem: Problem, tally: Tally, person: int, day: int, column: str) -> Decimal:
    entries = tally.on(person, day)
    return sum(
        (e.count * (problem.amount(e.item, column) or Decimal(0)) for e in entries if e.certain), Decimal(0)
    )


def _others(measures: Sequence[Measure]) -> Table:
    """The measure nearest to its limit of every share, density and ratio."""
    tightest: dict[tuple[str, str], Measure] = {}
    for m in measures:
        key = (m.origin.key, m.origin.what)
        if key not in tightest or _room(m) < _room(tightest[key]):
            tightest[key] = m
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("")
    table.add_column("what", ratio=1)
    for name in ("planned", "least", "most", "unit"):
        table.add_column(name, justify="right")
    for m in tightest.values():
        assert m.shown is not None
        state = BELOW if m.short > 0 else ABOVE if m.over > 0 else KEPT
        label = m.label.split(", ", 1)[1]
        table.add_row(
            sign(state),
            cell(label),
            cell(plain(m.shown.value)),
            cell("" if m.shown.low is None else plain(m.shown.low)),
            cell("" if m.shown.high is None else plain(m.shown.high)),
            cell(m.shown.unit),
        )
    return table


def _room(m: Measure) -> Decimal:
    return m.least - m.low if m.low is not None else (m.high or Decimal(0)) - m.most


def _legend() -> Text:
    text = Text("\n")
    for state, words in (
        (KEPT, "kept"), (BELOW, "below"), (ABOVE, "above"),
        (UNKNOWN, "rests on unknown values, or a ceiling not proved because of them"),
    ):  # fmt: skip
        text.append_text(sign(state)).append(f" {words}   ")
    text.append(
        "~ soft limit, at a price   Rx prescribed. Supplements are counted. Floors are judged on the mean of "
        "the stay, ceilings on the fullest meal, day or 7 dates."
    )
    return text
