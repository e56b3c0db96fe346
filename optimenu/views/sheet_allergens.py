"""The allergen matrix of a menu; letters with a legend, colour never the only cue."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.stowage.allergens import ANY_TIME, JAR, OWN, POT, TABLE
from optimenu.views.console import STYLES, UNKNOWN, cell, heading, marked, marks, sign
from optimenu.views.sheet import indented, spaced
from optimenu.views.summary import cautions, many

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.problem.problem import Problem
    from optimenu.stowage.allergens import Matrix, Reach, Watched

FOR_THE_GALLEY = "For the galley, the physician and the dietitian; not for the mess."
LETTERS = {"contains": "C", "may_contain": "M", "free": "-", "unknown": "?"}
WAY_LETTERS = {OWN: "o", POT: "p", JAR: "j", TABLE: "t"}
KEPT_AWAY = "x"
WAYS_WIDTH = 5
NAME_WIDTH = 24
"""Characters a name of an item needs at least, to be read at a glance."""


def allergens_page(problem: Problem, found: Matrix, width: int) -> RenderableType:
    """Return items against allergens, how each comes near whom, and what the letters mean."""
    letters = marks(problem.people)
    names = [spaced(a) for a in found.allergens]
    taken = sum(len(n) + 1 for n in names) + (WAYS_WIDTH + 1) * len(found.people)
    wide = NAME_WIDTH + 1 + taken <= width
    heads = names if wide else _codes(names)
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    table.add_column(cell("item", STYLES["quiet"]), overflow="fold", ratio=1)
    for head in heads:
        table.add_column(cell(head, STYLES["quiet"]), justify="center", no_wrap=True, width=len(head))
    for w in found.people:
        table.add_column(letters[w.id].text(), no_wrap=True, width=WAYS_WIDTH)
    reach = [{r.item: r for r in w.reach} for w in found.people]
    for row in found.rows:
        ways = (_way_cell(mine.get(row.item)) for mine in reach)
        table.add_row(cell(row.name), *map(_state_cell, row.states), *ways)
    parts: list[RenderableType] = [
        heading(f"{problem.name}: allergens of the {many(len(found.rows), 'item')} on the menu"),
        cell(FOR_THE_GALLEY, "bold"),
        Text(),
        table,
        *_matrix_legend(names, heads, found),
    ]
    for w in found.people:
        parts += _watched(problem, letters[w.id].text(name=True), w)
    return Group(*parts, cautions(problem))


def _codes(names: Sequence[str]) -> list[str]:
    """Two letters for each allergen, no two alike."""
    codes: list[str] = []
    for name in names:
        letters = [c for c in name if c.isalpha()]
        tries = [f"{letters[0].upper()}{c}" for c in letters[1:]] + [f"{k:02d}" for k in range(100)]
        codes.append(next(t for t in tries if t not in codes))
    return codes


def _state_cell(state: str) -> Text:
    style = {"contains": "bold", "may_contain": "bold", "unknown": STYLES[UNKNOWN]}.get(state, "")
    return cell(LETTERS[state], style)


def _way_cell(reach: Reach | None) -> Text:
    """Letters of the ways by which an item comes to a person; empty where it is free of what they avoid."""
    if reach is None:
        return Text()
    away = KEPT_AWAY if reach.kept_away else ""
    return cell(away + "".join(WAY_LETTERS[w] for w in reach.ways), "" if reach.kept_away else "bold")


def _matrix_legend(names: Sequence[str], heads: Sequence[str], found: Matrix) -> list[RenderableType]:
    lines = ["C contains, M may contain, - free, ? unknown: as unsafe as contains"]
    if list(heads) != list(names):
        lines.append(", ".join(f"{head} {name}" for head, name in zip(heads, names, strict=True)))
    if not names:
        lines.append("No prescription names an allergen. Every allergen: --all")
    if found.people:
        ways = ", ".join(f"{letter} {way}" for way, letter in WAY_LETTERS.items())
        lines.append(f"People: {KEPT_AWAY} kept away: none of it is served to them; {ways}")
        lines.append("Shared jar: a pack of several servings that others of the party draw from.")
    return [Text(), *(cell(text, STYLES["quiet"]) for text in lines)]


def _watched(problem: Problem, title: Text, w: Watched) -> list[RenderableType]:
    """Say of one person what reaches them, and at which meals what they avoid stands beside them."""
    script = problem.people[problem.person_number[w.id]].prescription
    doses = [f"{spaced(a)} (at most {many(n, 'serving')} a day)" for a, n in script.intolerances.items()]
    avoid = ", ".join([*(f"never {x}" for x in script.allergy_words()), *doses])
    parts: list[RenderableType] = [Text(), title.append(f": {avoid}")]
    away = [r for r in w.reach if r.kept_away]
    lines = [f"kept away: {many(len(away), 'item')} of {len(w.reach)} on the menu that are not free of it"]
    beside: dict[str, set[str]] = {}
    for r in away:
        for _, meal in r.at:
            beside.setdefault(meal, set()).add(r.item)
    if beside:
        order = dict.fromkeys([m.name for d in problem.days for m in d.meals] + [ANY_TIME])
        meals = ", ".join(f"{spaced(meal)} {len(beside[meal])}" for meal in order if meal in beside)
        lines.append(f"of these at the same table, items by meal: {meals}")
    if w.own_packs:
        lines.append(f"own packs, to be labelled and kept from the shared ones: {', '.join(w.own_packs)}")
    parts += indented(lines)
    for r in w.reach:
        if not r.kept_away:
            held = ", ".join(f"{spaced(state)} {spaced(a)}" for a, state in r.allergens)
            spots = "; ".join(f"{day}, {spaced(meal)}" for day, meal in r.at)
            parts.append(marked(sign(UNKNOWN), f"{r.name}: {held}; {', '.join(r.ways)}; {spots}"))
    return parts
