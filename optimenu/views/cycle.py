"""The menu cycle of one person, cut into pages of as many days as the width holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.box import SIMPLE_HEAD
from rich.cells import cell_len
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.views.console import STYLES, cell, dates_of, heading, marks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.calendar import PlanDay
    from optimenu.problem.problem import Problem

NARROWEST = 17
"""Fewest characters of a day's column: two or three words of a name to a line."""
WIDEST = 34
LABEL_WIDTH = 11
GAP = 2


def cycle_page(problem: Problem, tally: Tally, person: int, width: int) -> RenderableType:
    """Return every plan day of a person: courses of each meal, what is free, then the reserve."""
    who = problem.people[person]
    title = marks(problem.people)[who.id].text(name=True)
    parts: list[RenderableType] = [Text(), title.append(f": {cell(problem.name).plain}", STYLES["head"])]
    label = min(LABEL_WIDTH, width // 4)
    most = max(1, (width - label) // (_column(problem, tally, person) + GAP))
    for days in (sorted(problem.cycle, key=lambda d: d.dates), problem.reserve):
        if days and days[0].block == "reserve":
            parts.append(heading(f"{who.name}: reserve, beside the cycle and on no date of its own"))
        # pages as equal as can be, rather than a short last one; columns of one width on all of them
        pages = max(1, -(-len(days) // most))
        each = (width - label) // max(1, -(-len(days) // pages)) - GAP
        first = 0
        for k in range(pages):
            last = first + len(days) // pages + (k < len(days) % pages)
            parts.append(_page(tally, person, days[first:last], label, max(1, min(each, WIDEST))))
            first = last
    return Group(*parts)


def _column(problem: Problem, tally: Tally, person: int) -> int:
    """Fewest characters a day's column needs, so that no word of a name on this menu is broken."""
    words = [w for e in tally.by_person.get(person, ()) for w in e.item.name.split()]
    words += [w for d in problem.days for w in d.kind.split()]
    return max(NARROWEST, *map(cell_len, words)) if words else NARROWEST


def _page(tally: Tally, person: int, days: Sequence[PlanDay], label: int, each: int) -> RenderableType:
    # the box itself puts one blank between columns
    table = Table(
        box=SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, GAP - 1, 0, 0), header_style=""
    )
    table.add_column("", width=label, overflow="fold")
    for day in days:
        title = cell(day.label, STYLES["head"])
        if day.dates:
            title.append(f" · {cell(day.kind).plain}", STYLES["quiet"])
        table.add_column(title, width=each, overflow="fold")
    if any(d.dates for d in days):
        table.add_row("", *(_served(d, each) for d in days))
    times = {m.name: tally.problem.time_of(person, m) for d in days for m in d.meals}
    for meal in sorted(times, key=lambda name: times[name]):
        table.add_row(cell(meal.replace("_", " ").upper(), STYLES["head"]))
        courses = dict.fromkeys(c.name for d in days for m in d.meals if m.name == meal for c in m.courses)
        for course in courses:
            cells = [_names(tally.on(person, d.number, meal), course) for d in days]
            if any(cells):
                table.add_row(cell(course.replace("_", " "), STYLES["quiet"]), *map(cell, cells))
    free = [_free(tally.on(person, d.number)) for d in days]
    if any(free):
        table.add_row(cell("free", STYLES["quiet"]), *map(cell, free))
    return Group(Text(), table)


def _served(day: PlanDay, width: int) -> Text:
    """Dates a day serves, with no line break between a day and its month."""
    count = "1 date" if len(day.dates) == 1 else f"{len(day.dates)} dates"
    lines = [f"{count}:"]
    for date in dates_of(day.dates).split(", "):
        word = f"{date},"
        if len(lines[-1]) + len(word) < width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return Text("\n".join(lines).removesuffix(","), style=STYLES["quiet"], overflow="fold")


def _names(entries: Sequence[Entry], course: str) -> str:
    found = [e for e in entries if e.course is not None and e.course.name == course]
    return "; ".join(e.item.name if e.count == 1 else f"{e.count} x {e.item.name}" for e in found)


def _free(entries: Sequence[Entry]) -> str:
    return "; ".join(f"{e.item.name}, up to {e.count} a day" for e in entries if not e.certain)
