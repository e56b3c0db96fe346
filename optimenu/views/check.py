"""What a check found, on the screen."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table

from optimenu.config.inspect import FEW
from optimenu.views.console import BELOW, STYLES, cell, dates_of, heading, marked, marks, sign
from optimenu.views.summary import cautions, column_name, many
from optimenu.views.totals import amount, limit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimenu.catalogue.item import Catalogue
    from optimenu.config.case import Case
    from optimenu.config.inspect import Inspection, PersonView
    from optimenu.crew.people import Person
    from optimenu.views.console import Mark

MOST = 10
_UNITS = {"ug": "µg"}
_WINDOWS = {
    "meal": "each meal",
    "day": "each day",
    "three_days": "daily mean of any 3 dates in a row",
    "seven_days": "daily mean of any 7 dates in a row",
    "stay": "daily mean of the stay",
}


def check_page(case: Case, found: Inspection) -> RenderableType:
    """Return the page of a check: calendar, people, what each may choose from, what wants a look."""
    problem = case.problem
    kinds = ", ".join(f"{sum(d.kind == k for d in problem.cycle)} {k}" for k in problem.kinds)
    served = Counter(d.weight for d in problem.cycle)
    weights = ", ".join(
        f"{many(n, 'day')} {'serves' if n == 1 else 'serve'} {many(w, 'date')}"
        for w, n in sorted(served.items())
    )
    loads = ", ".join(f"{load.name} from {dates_of([load.arrives])}" for load in problem.loads)
    lines = [
        f"{dates_of(problem.dates[:1])} {problem.dates[0].year} to {dates_of(problem.dates[-1:])} "
        f"{problem.dates[-1].year}: {len(problem.dates)} dates.",
        f"Cycle of {problem.cycle_length} days: {kinds}; {weights}.",
        f"Reserve days: {len(problem.reserve)}. Loads: {loads}.",
        f"Items in the catalogue: {_kept(problem.catalogue)}. Files: {', '.join(found.files)}.",
    ]
    letters = marks(problem.people)
    parts: list[RenderableType] = [heading(problem.name), *map(cell, lines)]
    parts += [_person(case, p, letters[p.id]) for p in found.people]
    if found.activity_sources:
        parts.append(heading("Where the costs of activities come from"))
        words = [line.replace("_", " ") for line in found.activity_sources]
        parts += [Padding(cell(line), (0, 0, 0, 2)) for line in words]
    parts += [_choices(found, letters), *_looks(case, found), cautions()]
    return Group(*parts)


def _kept(catalogue: Catalogue) -> str:
    kept, out = len(catalogue.items), catalogue.left_out
    return f"{kept} of {kept + out}, {out} left out by this config" if out else str(kept)


def _person(case: Case, p: PersonView, mark: Mark) -> RenderableType:
    problem = case.problem
    person = problem.people[problem.person_number[p.id]]
    scores = [problem.acceptance.get((p.id, i.id)) for i in problem.catalogue.items]
    under = sum(1 for a in scores if a is not None and a.value < person.floor)
    lines = [
        *(step.replace("_", " ") for step in p.steps),
        f"{many(p.tasted, 'item')} tasted, {p.estimated} estimated from others, {p.unjudged} not to be "
        "judged",
        f"nothing under acceptance {p.floor}: {many(under, 'item')} left out",
    ]
    if p.avoids:
        lines.append("never: " + ", ".join(p.avoids))
    lines += prescribed(person)
    parts = [Padding(cell(text), (0, 0, 0, 2)) for text in lines]
    return Group(cell(""), mark.text(name=True), *parts)


def prescribed(person: Person) -> list[str]:
    """Return a person's prescribed limits and supplements, a line each, then who laid them down."""
    script = person.prescription
    lines = []
    for column, windows in script.limits.items():
        for window, (low, high) in windows.items():
            unit = column.rsplit("_", 1)[1]
            words = limit(low, high, _UNITS.get(unit, unit))
            lines.append(f"prescribed: {column_name(column)} {words}, {_WINDOWS[window]}")
    for column, given in script.supplements.items():
        unit = column.rsplit("_", 1)[1]
        lines.append(f"supplement: {column_name(column)} {amount(given, _UNITS.get(unit, unit))} a day")
    if script.by and script.date is not None:
        lines.append(f"as laid down by {script.by}, {dates_of([script.date])} {script.date.year}")
    else:
        lines.append("no prescription: nobody has laid down allergies, diets or limits")
    return lines


def _choices(found: Inspection, letters: Mapping[str, Mark]) -> RenderableType:
    # quiet words, but not quiet letters of people
    table = Table(box=None, pad_edge=False, header_style="")
    for name in ("meal", "course"):
        table.add_column(cell(name, STYLES["quiet"]), overflow="fold")
    table.add_column(cell("offered", STYLES["quiet"]), justify="right")
    for p in found.people:
        table.add_column(letters[p.id].text(), justify="right", no_wrap=True)
    for k, choice in enumerate(found.people[0].choices):
        meal = choice.meal if choice.block != "reserve" else f"{choice.meal} (reserve)"
        row: list[RenderableType] = [
            cell(meal.replace("_", " ")), cell(choice.course.replace("_", " ")), cell(choice.offered),
        ]  # fmt: skip
        for p in found.people:
            mine = p.choices[k]
            text = cell(mine.left)
            row.append(sign(BELOW).append(" ").append_text(text) if mine.thin else text)
        table.add_row(*row)
    parts: list[RenderableType] = [
        heading("Items left to choose from, after everything that is never given"),
        table,
    ]
    if any(c.thin for p in found.people for c in p.choices):
        parts.append(marked(sign(BELOW), f"fewer than {FEW} items left: little to vary with"))
    return Group(*parts)


def _looks(case: Case, found: Inspection) -> list[RenderableType]:
    """What wants a second look, items by name."""
    items = case.problem.catalogue.by_id
    last = case.problem.dates[-1]
    lots = [
        f"{items[row.item].name}, lot {row.lot or '?'}: {many(row.packs, 'pack')}, use by "
        f"{dates_of([row.use_by])} {row.use_by.year}"
        for row in case.problem.stock or ()
        if row.state == "released" and row.use_by is not None and row.use_by <= last
    ]
    lists = (
        (
            "Items of which an allergen somebody must avoid is unknown",
            [items[i].name for i in found.unknown_allergens],
        ),
        (
            "Nutrients not assessed, because the catalogue does not state them",
            [column_name(c) for c in found.not_assessed],
        ),
        (
            "States of lots that are not released, so not counted",
            [f"{n} {state}" for state, n in found.stock_states.items() if state != "released"],
        ),
    )
    parts: list[RenderableType] = []
    for words, names in lists:
        if names:
            shown = "; ".join(names[:MOST]) + (f"; and {len(names) - MOST} more" if len(names) > MOST else "")
            parts.append(Padding(cell(f"{words} ({len(names)}): {shown}"), (0, 0, 0, 2)))
    if lots:
        text = f"Released lots that pass their use-by date during the stay ({len(lots)}):"
        parts.append(Padding(cell(text), (0, 0, 0, 2)))
        parts += [Padding(cell(lot), (0, 0, 0, 4)) for lot in lots[:MOST]]
        if len(lots) > MOST:
            parts.append(Padding(cell(f"and {len(lots) - MOST} more"), (0, 0, 0, 4)))
    return [heading("Worth a second look"), *parts] if parts else []
