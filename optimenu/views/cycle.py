"""The menu cycle of one person, cut into pages of as many days as the width holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.box import SIMPLE_HEAD
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.views.console import STYLES, cell, dates_of, heading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.calendar import PlanDay
    from optimenu.problem.problem import Problem

LABEL_WIDTH = 11
NARROWEST = 15
"""Fewest characters of a day's column; the longest word of a name still fits."""


def cycle_page(problem: Problem, tally: Tally, person: int, width: int) -> RenderableType:
    """Return every plan day of a person: courses of each meal, what is free, then the reserve."""
    who = problem.people[person]
    parts: list[RenderableType] = [heading(f"{who.name}: {problem.name}")]
    per_page = max(1, (width - LABEL_WIDTH - 2) // (_column(problem, width) + 2))
    for days in (problem.cycle, problem.reserve):
        for first in range(0, len(days), per_page):
            parts.append(_page(problem, tally, person, days[first : first + per_page], width))
    return Group(*parts)


def _column(problem: Problem, width: int) -> int:
    """Width of a day's column: the longest word anywhere, but a few days on a page."""
    longest = max(len(word) for i in problem.catalogue.items for word in i.name.split())
    return min(max(NARROWEST, longest), width - LABEL_WIDTH - 4)


def _page(problem: Problem, tally: Tally, person: int, days: Sequence[PlanDay], width: int) -> RenderableType:
    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False, width=width, header_style=STYLES["head"])
    table.add_column("", width=LABEL_WIDTH)
    for day in days:
        title = Text.assemble((day.label, STYLES["head"]), (f"\n{_subtitle(day)}", STYLES["quiet"]))
        table.add_column(title, ratio=1)
    meals = list(dict.fromkeys(m.name for d in days for m in d.meals))
    for meal in meals:
        table.add_row(Text(meal.replace("_", " ").upper(), style=STYLES["head"]), *[""] * len(days))
        courses = list(
            dict.fromkeys(c.name for d in days for m in d.meals if m.name == meal for c in m.courses)
        )
        for course in courses:
            cells = [_names(tally.on(person, d.number, meal), course) for d in days]
            if any(cells):
                table.add_row(cell(course.replace("_", " "), STYLES["quiet"]), *map(cell, cells))
    free = [_free(tally.on(person, d.number)) for d in days]
    if any(free):
        table.add_row(cell("free in the day", STYLES["quiet"]), *map(cell, free))
    return Group(table, Text())


def _subtitle(day: PlanDay) -> str:
    return f"{day.kind}; {dates_of(day.dates)}" if day.dates else "reserve, no date"


def _names(entries: Sequence[Entry], course: str) -> str:
    found = [e for e in entries if e.course is not None and e.course.name == course]
    return "; ".join(e.item.name if e.count == 1 else f"{e.count} x {e.item.name}" for e in found)


def _free(entries: Sequence[Entry]) -> str:
    return "; ".join(f"up to {e.count} x {e.item.name}" for e in entries if not e.certain)
