"""Losses in storage on the screen: what is left as eaten, and which floors that makes bind."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table

from optimenu.nutrition.losses import FRESH_DAYS
from optimenu.rules.base import plain, raised, unit_word
from optimenu.views.console import BELOW, STYLES, cell, dates_of, heading, marked, marks, sign
from optimenu.views.nutrient_words import figure
from optimenu.views.summary import column_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.config.inspect import Inspection
    from optimenu.problem.problem import Problem
    from optimenu.stowage.losses import Lost

SPREAD = (
    "Rates are means with a wide spread between foods, packs and laboratories: a licensed dietitian judges "
    "whether they fit, and a physician lays down what supplements make up."
)


def lost_table(problem: Problem, person: int, found: Sequence[Lost]) -> list[RenderableType]:
    """Return one row for each nutrient of a person that has a floor and is lost; nothing where none is."""
    rows = [x for x in found if x.part]
    if not rows:
        return []
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=STYLES["quiet"])
    table.add_column("")
    table.add_column("nutrient", overflow="fold")
    for head in ("at pro-\nduction", "as\neaten", "last\ndate", "lost", "no\nrate", "floor"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("holds until", overflow="fold")
    for x in rows:
        unit = unit_word(x.column.rsplit("_", 1)[1])
        table.add_row(
            sign(BELOW) if x.state in ("below", "short") else cell("=" if x.state == "binds" else ""),
            cell(f"{column_name(x.column)}, {unit}"),
            cell(figure(x.produced)),
            cell(figure(x.eaten, x.floor)),
            cell(figure(x.last, x.floor)),
            cell(percent(x.part)),
            cell(percent(x.unknown) if x.unknown else ""),
            cell("" if x.floor is None else plain(x.floor) + (" goal" if x.soft else "")),
            cell(_until(problem, x)),
        )
    return [
        heading("Losses in storage, mean of a day with supplements"),
        table,
        *binding(problem, person, rows),
        *(cell(text, STYLES["quiet"]) for text in _legend()),
    ]


def _legend() -> list[str]:
    return [
        f"As eaten: the oldest pack on each date. Last date: the whole menu as if eaten on it. {SPREAD}",
        "= binds: less than 2 % above its floor, more at production. "
        f"No rate: part that counts for nothing because nobody states its loss and it is over {FRESH_DAYS} "
        "days old. Holds until: last day on which the whole menu, eaten "
        "that day from these packs, would reach the floor, use-by dates aside.",
    ]


def binding(problem: Problem, person: int, found: Sequence[Lost]) -> list[RenderableType]:
    """Return a line of the floors that losses break, and one of those they make bind or fall in the stay."""
    name = problem.people[person].name
    low = [_bound(problem, x) for x in found if x.state == "below"]
    full = [_bound(problem, x) for x in found if x.state == "binds" or (not x.state and _falls(problem, x))]
    lines = []
    if low:
        lines.append(marked(sign(BELOW), f"{name}: losses bring below the floor or goal: {'; '.join(low)}"))
    if full:
        lines.append(marked(cell("="), f"{name}: losses make the floor or goal bind: {'; '.join(full)}"))
    return lines


def _bound(problem: Problem, x: Lost) -> str:
    """A floor with what is eaten and was produced, and when in the stay the menu falls under it."""
    unit = unit_word(x.column.rsplit("_", 1)[1])
    made = f"{figure(x.produced)} at production"
    late = f", under it after {_until(problem, x)}" if _falls(problem, x) else ""
    amount = f"{figure(x.eaten, x.floor)} of {plain(x.floor or Decimal(0))} {unit}"
    return f"{column_name(x.column)} {amount} ({made}{late})"


def _falls(problem: Problem, x: Lost) -> bool:
    """Tell whether the menu, eaten alike on every day, falls under a floor within the stay."""
    return x.until is not None and problem.dates[0] <= x.until < problem.dates[-1]


def _until(problem: Problem, x: Lost) -> str:
    if x.floor is None or x.state == "short" or not x.part:
        return ""
    if x.until is None:
        return "over 5 years"
    day = (x.until - problem.dates[0]).days + 1
    if day < 1:
        return "no day"
    return f"day {day}" if x.until < problem.dates[-1] else f"{dates_of([x.until])} {x.until.year}"


def lost_lines(problem: Problem, found: Sequence[Sequence[Lost]]) -> list[RenderableType]:
    """Return for the closing page of a plan: who loses how much, and which floors that makes bind."""
    if problem.storage is None:
        return []
    letters = marks(problem.people)
    parts: list[RenderableType] = [
        heading("Losses in storage: part of the food's vitamins gone on the last date")
    ]
    for p, mine in enumerate(found):
        lost = sorted((x for x in mine if x.part), key=lambda x: -x.part)
        words = ", ".join(f"{column_name(x.column)} {percent(x.part)}" for x in lost)
        line = letters[problem.people[p].id].text(name=True).append(f": {words or 'none that has a floor'}")
        parts.append(Padding(line, (0, 0, 0, 2)))
    for p, mine in enumerate(found):
        parts += [Padding(line, (0, 0, 0, 0)) for line in binding(problem, p, mine)]
    parts.append(
        cell(
            "Under it after a day: from then on the whole menu, eaten that day, is too old. More of it: "
            "optimenu show --nutrients",
            STYLES["quiet"],
        )
    )
    return parts


def offered_lines(problem: Problem, found: Inspection) -> list[RenderableType]:
    """Return for a check: what is left of the vitamins in all that each person may be given."""
    if problem.storage is None or not any(p.losses for p in found.people):
        return []
    letters = marks(problem.people)
    table = Table(box=None, pad_edge=False, header_style="")
    table.add_column(cell("of what is left to choose from", STYLES["quiet"]), overflow="fold")
    for p in found.people:
        table.add_column(letters[p.id].text(), justify="right", no_wrap=True)
    by_column = {x.column: None for p in found.people for x in p.losses}
    each = [{x.column: x for x in p.losses} for p in found.people]
    for column in by_column:
        cells = [
            f"{percent(m[column].first)} / {percent(m[column].last)}" if column in m else "" for m in each
        ]
        table.add_row(cell(column_name(column)), *map(cell, cells))
    first, last = dates_of(problem.dates[:1]), dates_of(problem.dates[-1:])
    return [
        heading(
            f"Lost in storage by {first} and by {last}, kept at {plain(problem.storage.temperature_c)} °C"
        ),
        table,
        cell(
            f"Gone by the first date, gone by the last. Food over {FRESH_DAYS} days old of which nobody "
            f"states a loss counts as all lost in floors and as whole in ceilings. {SPREAD}",
            STYLES["quiet"],
        ),
    ]


def percent(part: Decimal) -> str:
    """Write a part as whole percent, rounded up: no loss is told smaller than it is."""
    return f"{raised(part * 100, 0)} %"
