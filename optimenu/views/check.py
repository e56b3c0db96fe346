"""What a check found, on the screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table

from optimenu.config.inspect import FEW
from optimenu.views.console import BELOW, STYLES, cell, dates_of, heading, marks, sign
from optimenu.views.summary import cautions, column_name

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimenu.config.case import Case
    from optimenu.config.inspect import Inspection, PersonView
    from optimenu.views.console import Mark

MOST = 10


def check_page(case: Case, found: Inspection) -> RenderableType:
    """Return the page of a check: calendar, people, what each may choose from, what wants a look."""
    problem = case.problem
    kinds = ", ".join(f"{sum(d.kind == k for d in problem.cycle)} {k}" for k in problem.kinds)
    served = sorted({d.weight for d in problem.cycle})
    weights = ", ".join(f"{sum(d.weight == w for d in problem.cycle)} days serve {w} dates" for w in served)
    loads = ", ".join(f"{load.name} from {dates_of([load.arrives])}" for load in problem.loads)
    lines = [
        f"{dates_of(problem.dates[:1])} {problem.dates[0].year} to {dates_of(problem.dates[-1:])} "
        f"{problem.dates[-1].year}: {len(problem.dates)} dates.",
        f"Cycle of {problem.cycle_length} days: {kinds}; {weights}.",
        f"Reserve days: {len(problem.reserve)}. Loads: {loads}.",
        f"Items in the catalogue: {len(problem.catalogue.items)}. Files: {', '.join(found.files)}.",
    ]
    letters = marks(problem.people)
    parts: list[RenderableType] = [heading(problem.name), *map(cell, lines)]
    parts += [_person(p, letters[p.id]) for p in found.people]
    parts += [_choices(found, letters), *_looks(case, found), cautions()]
    return Group(*parts)


def _person(p: PersonView, mark: Mark) -> RenderableType:
    lines = [
        *p.steps,
        f"nothing under acceptance {p.floor}; {p.tasted} items tasted, {p.estimated} estimated from others, "
        f"{p.unjudged} not to be judged",
    ]
    if p.avoids:
        lines.append("never: " + ", ".join(p.avoids))
    parts = [Padding(cell(text), (0, 0, 0, 2)) for text in lines]
    return Group(cell(""), mark.text(name=True), *parts)


def _choices(found: Inspection, letters: Mapping[str, Mark]) -> RenderableType:
    table = Table(box=None, pad_edge=False, header_style=STYLES["quiet"])
    for name in ("meal", "course"):
        table.add_column(name, overflow="fold")
    table.add_column("offered", justify="right")
    for p in found.people:
        table.add_column(letters[p.id].text(), justify="right", no_wrap=True)
    for k, choice in enumerate(found.people[0].choices):
        meal = choice.meal if choice.block == "cycle" else f"{choice.meal} (reserve)"
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
        parts.append(sign(BELOW).append(f" fewer than {FEW} items left: little to vary with", STYLES[BELOW]))
    return Group(*parts)


def _looks(case: Case, found: Inspection) -> list[RenderableType]:
    """What wants a second look, items by name."""
    items = case.problem.catalogue.by_id
    lots = []
    for text in found.expiring:
        item, rest = text.split(",", 1)
        lots.append(f"{items[item].name},{rest}")
    lists = (
        (
            "Items of which an allergen somebody must avoid is unknown",
            [items[i].name for i in found.unknown_allergens],
        ),
        ("Released lots that pass their use-by date during the stay", lots),
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
    return [heading("Worth a second look"), *parts] if parts else []
