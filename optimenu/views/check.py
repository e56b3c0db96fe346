"""What a check found, on the screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table

from optimenu.views.console import BELOW, STYLES, cell, dates_of, heading, marks, sign
from optimenu.views.summary import cautions

if TYPE_CHECKING:
    from optimenu.config.case import Case
    from optimenu.config.inspect import Inspection, PersonView

MOST = 10


def check_page(case: Case, found: Inspection) -> RenderableType:
    """Return the page of a check: calendar, people, what each may choose from, what wants a look."""
    problem = case.problem
    kinds = ", ".join(f"{k} {sum(d.kind == k for d in problem.cycle)}" for k in problem.kinds)
    parts: list[RenderableType] = [
        heading(problem.name),
        cell(
            f"{dates_of(problem.dates[:1])} {problem.dates[0].year} to {dates_of(problem.dates[-1:])} "
            f"{problem.dates[-1].year}: {len(problem.dates)} dates; "
            f"cycle of {problem.cycle_length} days ({kinds}); "
            f"{len(problem.reserve)} reserve days; loads: "
            + ", ".join(f"{load.name} from {dates_of([load.arrives])}" for load in problem.loads)
        ),
        cell(f"{len(problem.catalogue.items)} items in the catalogue. Files: {', '.join(found.files)}"),
    ]
    parts += [_person(p) for p in found.people]
    parts += [_choices(found), *_looks(found), cautions()]
    return Group(*parts)


def _person(p: PersonView) -> RenderableType:
    lines = [
        *p.steps,
        f"nothing under acceptance {p.floor}; tasted {p.tasted} items, {p.estimated} estimated from others, "
        f"{p.unjudged} not to be judged",
    ]
    if p.avoids:
        lines.append("never: " + ", ".join(p.avoids))
    return Group(heading(p.name), *(Padding(cell(text), (0, 0, 0, 2)) for text in lines))


def _choices(found: Inspection) -> RenderableType:
    letters = marks([p.name for p in found.people])
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    for name in ("meal", "course"):
        table.add_column(name)
    table.add_column("offered", justify="right")
    for p in found.people:
        table.add_column(letters[p.name].letter, justify="right")
    for k, choice in enumerate(found.people[0].choices):
        meal = choice.meal if choice.block == "cycle" else f"{choice.meal} (reserve)"
        row: list[RenderableType] = [
            cell(meal.replace("_", " ")), cell(choice.course.replace("_", " ")), cell(choice.offered),
        ]  # fmt: skip
        for p in found.people:
            mine = p.choices[k]
            text = cell(mine.left)
            row.append(text.append(" ").append_text(sign(BELOW)) if mine.thin else text)
        table.add_row(*row)
    names = ", ".join(f"{m.letter} {m.name}" for m in letters.values())
    legend = cell("")
    legend.append_text(sign(BELOW)).append(" fewer than 5 items left")
    return Group(heading("Items left to choose from"), cell(names), table, legend)


def _looks(found: Inspection) -> list[RenderableType]:
    parts: list[RenderableType] = [heading("Worth a second look")]
    lists = (
        ("items with an unknown state of an allergen somebody must avoid", found.unknown_allergens),
        ("released lots that pass their use-by date during the stay", found.expiring),
        ("nutrients not assessed: the catalogue or the config leaves them out", found.not_assessed),
    )
    for words, names in lists:
        if names:
            shown = "; ".join(names[:MOST]) + (f"; and {len(names) - MOST} more" if len(names) > MOST else "")
            parts.append(Padding(cell(f"{len(names)} {words}: {shown}"), (0, 0, 0, 2)))
    waiting = {state: n for state, n in found.stock_states.items() if state != "released"}
    if waiting:
        text = ", ".join(f"{n} {state}" for state, n in waiting.items())
        parts.append(Padding(cell(f"lots not released, not counted: {text}"), (0, 0, 0, 2)))
    return parts
