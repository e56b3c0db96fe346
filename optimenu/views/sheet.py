"""Papers that go with a menu: a person's sheet, the allergen matrix, the crew's cards."""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimenu.rules.base import plain, unit_word
from optimenu.stowage.allergens import ANY_TIME, JAR, OWN, POT, TABLE
from optimenu.stowage.crew_card import AS_IT_IS, RESERVE, with_words
from optimenu.views.audit import breach_lines
from optimenu.views.console import (
    ABOVE,
    BELOW,
    KEPT,
    STYLES,
    UNKNOWN,
    UNPROVED,
    cell,
    dates_of,
    heading,
    marked,
    marks,
    sign,
    soft_sign,
)
from optimenu.views.nutrient_words import figure
from optimenu.views.summary import MOST_BREACHES, cautions, column_name, many

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from optimenu.audit.menu import Report
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Breach
    from optimenu.stowage.allergens import Matrix, Reach, Watched
    from optimenu.stowage.crew_card import Card, CardDay, Dish
    from optimenu.stowage.person_sheet import PersonSheet, Planned

CONFIDENTIAL = "Confidential: for the physician and the dietitian; not for the mess."
FOR_THE_GALLEY = "For the galley, the physician and the dietitian; not for the mess."
DO_NOT_USE = "This menu breaks hard limits; do not use it."
WINDOWS = {
    "meal": "each meal",
    "day": "each day",
    "three_days": "mean of any 3 dates in a row",
    "seven_days": "mean of any 7 dates in a row",
    "stay": "mean of the stay",
}
LETTERS = {"contains": "C", "may_contain": "M", "free": "-", "unknown": "?"}
WAY_LETTERS = {OWN: "o", POT: "p", JAR: "j", TABLE: "t"}
KEPT_AWAY = "x"
NAME_WIDTH = 24
"""Characters a name of an item needs at least, to be read at a glance."""
TWO_DAYS = 110
"""Characters from which two days of a card stand side by side."""


def warning(report: Report, breaches: Sequence[Breach], *, told: bool = True) -> list[RenderableType]:
    """Return the lines a page of a broken menu opens with; none when every hard limit holds.

    Parameters
    ----------
    breaches : sequence of Breach
        Those the reader may see.
    told : bool
        Whether to say what is broken; a paper for everybody does not.
    """
    if report.holds:
        return []
    lines: list[RenderableType] = [cell(DO_NOT_USE, "bold")]
    if told:
        lines += breach_lines(report, breaches[:MOST_BREACHES])
        rest = len(report.breaches) - len(breaches[:MOST_BREACHES])
        if rest:
            lines.append(cell(f"{'and ' if breaches else ''}{rest} more. All of them: optimenu audit"))
    return lines


# ---- a person's sheet


def person_page(problem: Problem, sheet: PersonSheet) -> RenderableType:
    """Return the sheet of one person for the physician and the dietitian."""
    title = marks(problem.people)[sheet.id].text(name=True)
    title.append(f": {cell(problem.name).plain}", STYLES["head"])
    when = f"{_long(problem.dates[0])} to {_long(problem.dates[-1])}"
    return Group(
        Text(),
        title,
        cell(CONFIDENTIAL, "bold"),
        cell(when),
        *_body(sheet),
        *_prescribed(sheet),
        *_limits(sheet),
        *_supplements(sheet),
        *_traces(sheet),
        *_unmet(sheet),
        *_unjudged(sheet),
        cautions(),
    )


def _body(sheet: PersonSheet) -> list[RenderableType]:
    energy = sheet.energy
    lines = [f"{sheet.sex}, {sheet.age} years, {plain(sheet.mass_kg)} kg, {plain(sheet.height_m)} m"]
    lines += [step.replace("_", " ") for step in sheet.steps]
    if not sheet.steps:
        lines += [f"{kind or 'each day'}: {plain(kcal)} kcal" for kind, kcal in energy.needed]
    if energy.mean is not None and energy.low is not None and energy.high is not None:
        lines.append(
            f"planned: {figure(energy.mean)} kcal a day, mean of the stay; days from {figure(energy.low)} to "
            f"{figure(energy.high)} kcal"
        )
    return [heading("Body and energy requirement"), *_indented(lines)]


def _prescribed(sheet: PersonSheet) -> list[RenderableType]:
    """Everything laid down that is no limit and no supplement, and by whom."""
    if sheet.on is None:
        text = "no prescription: nobody has laid down allergies, diets or limits"
        return [heading("Prescribed"), *_indented([text])]
    lines = [f"as laid down by {sheet.by}, {_long(sheet.on)}"]
    for name, words in (
        ("never, allergy", [f"{_plain(a)} ({severity})" for a, severity in sheet.allergies]),
        ("diet", [_plain(d) for d in sheet.diets]),
        ("never, items", list(sheet.never_items)),
        ("never, items tagged", [_plain(t) for t in sheet.never_tags]),
    ):
        if words:
            lines.append(f"{name}: {', '.join(words)}")
    return [heading("Prescribed"), *_indented(lines)]


def _limits(sheet: PersonSheet) -> list[RenderableType]:
    if not sheet.limits:
        return []
    table = _table("", "prescribed limit", "worst planned", "on")
    for p in sheet.limits:
        where = ", ".join(w.removeprefix("day ") for w in p.when) or WINDOWS.get(p.window, "")
        days = "days " if len(p.when) > 1 and all(w.startswith("day ") for w in p.when) else ""
        days = "day " if not days and p.when and p.when[0].startswith("day ") else days
        table.add_row(sign(_state(p)), cell(_limit(p)), cell(_worst(p)), cell(days + where))
    parts: list[RenderableType] = [heading("Prescribed limits, against the planned value nearest to them")]
    parts.append(table)
    if any(not p.proved for p in sheet.limits):
        parts.append(marked(sign(UNPROVED), "not proved: items planned that do not state it"))
    return parts


def _limit(p: Planned) -> str:
    limit = "" if p.limit is None else f" {p.side} {plain(p.limit)} {unit_word(p.unit)}"
    window = f", {WINDOWS[p.window]}" if p.window in WINDOWS else ""
    return f"{p.name}{limit}{window}"


def _worst(p: Planned) -> str:
    return "not measured" if p.worst is None else f"{figure(p.worst, p.limit)} {unit_word(p.unit)}"


def _state(p: Planned) -> str:
    if p.outside > 0:
        return BELOW if p.side == "at least" else ABOVE
    return KEPT if p.proved else UNPROVED


def _supplements(sheet: PersonSheet) -> list[RenderableType]:
    if not sheet.supplements:
        return []
    lines = [
        f"{column_name(column)} {plain(amount)} {unit_word(column.rsplit('_', 1)[1])} a day"
        for column, amount in sheet.supplements
    ]
    lines.append("Counted in the sums above and below; the plan never adds or changes a supplement.")
    return [heading("Supplements, as prescribed"), *_indented(lines)]


def _traces(sheet: PersonSheet) -> list[RenderableType]:
    """Items planned that a milder prescription lets pass: the reader judges each."""
    if not sheet.allergies:
        return []
    lines = [
        f"{t.name}: {_plain(t.state)} {_plain(t.allergen)} ({t.severity}); {', '.join(t.days)}"
        for t in sheet.traces
    ]
    if not lines:
        return [
            heading("Items planned that are not stated free of what is prescribed"),
            marked(sign(KEPT), "none: every item planned is stated free of it in the catalogue"),
        ]
    parts: list[RenderableType] = [heading("Items planned that are not stated free of what is prescribed")]
    return parts + [marked(sign(UNKNOWN), text) for text in lines]


def _unmet(sheet: PersonSheet) -> list[RenderableType]:
    parts: list[RenderableType] = [heading("Reference intakes not met")]
    for p in sheet.unmet:
        unit = unit_word(p.unit)
        side = "short by" if p.side == "at least" else "over by"
        text = (
            f"{p.name}: {figure(p.worst or Decimal(0), p.limit)} {unit} of {p.side} "
            f"{plain(p.limit or Decimal(0))} {unit} a day, {p.key.rsplit('.', 1)[1]}, "
            f"{WINDOWS.get(p.window, 'over ' + ', '.join(p.when))}; {side} {figure(p.outside)} {unit}"
        )
        parts.append(marked(soft_sign() if p.soft else sign(_state(p)), text))
    if not sheet.unmet:
        parts.append(marked(sign(KEPT), "none of those the catalogue states"))
    return parts


def _unjudged(sheet: PersonSheet) -> list[RenderableType]:
    lines = [
        f"Ceiling not proved, {name}: {(known * 100).quantize(Decimal(1), ROUND_FLOOR)} % of what is eaten, "
        "by mass, states it on the dates where it is least"
        for name, known in sheet.not_proved
    ]
    if sheet.not_assessed:
        names = "; ".join(map(column_name, sheet.not_assessed))
        lines.append(f"Not assessed, because the catalogue does not state them: {names}")
    return [heading("Not judged"), *_indented(lines)] if lines else []


# ---- the allergen matrix


def allergens_page(problem: Problem, found: Matrix, width: int) -> RenderableType:
    """Return items against allergens, how each comes near whom, and what the letters mean."""
    letters = marks(problem.people)
    names = [_plain(a) for a in found.allergens]
    fixed = 4 * len(found.people) + 2 * len(found.people)
    wide = NAME_WIDTH + fixed + sum(len(n) + 1 for n in names) <= width
    heads = names if wide else _codes(names)
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    table.add_column(cell("item", STYLES["quiet"]), overflow="fold", ratio=1)
    for head in heads:
        table.add_column(cell(head, STYLES["quiet"]), justify="center", no_wrap=True, width=len(head))
    for w in found.people:
        table.add_column(letters[w.id].text(), no_wrap=True, width=5)
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
    return Group(*parts, cautions())


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
    avoid = ", ".join(f"{_plain(a)} ({severity})" for a, severity in w.allergies)
    parts: list[RenderableType] = [Text(), title.append(f": never {avoid}")]
    away = [r for r in w.reach if r.kept_away]
    lines = [f"kept away: {many(len(away), 'item')} of {len(w.reach)} on the menu that are not free of it"]
    beside: dict[str, set[str]] = {}
    for r in away:
        for _, meal in r.at:
            beside.setdefault(meal, set()).add(r.item)
    if beside:
        order = dict.fromkeys([m.name for d in problem.days for m in d.meals] + [ANY_TIME])
        meals = ", ".join(f"{_plain(meal)} {len(beside[meal])}" for meal in order if meal in beside)
        lines.append(f"of these at the same table, items by meal: {meals}")
    parts += _indented(lines)
    for r in w.reach:
        if not r.kept_away:
            held = ", ".join(f"{_plain(state)} {_plain(a)}" for a, state in r.allergens)
            spots = "; ".join(f"{day}, {_plain(meal)}" for day, meal in r.at)
            parts.append(marked(sign(UNKNOWN), f"{r.name}: {held}; {', '.join(r.ways)}; {spots}"))
    return parts


# ---- the crew's cards


def card_page(problem: Problem, card: Card, width: int) -> RenderableType:
    """Return the card of one person; two days side by side where the page is wide enough."""
    title = marks(problem.people)[card.id].text(name=True)
    title.append(f": what you eat, {_long(card.first)} to {_long(card.last)}", STYLES["head"])
    parts: list[RenderableType] = [Text(), title, cell(card.ask, "bold"), *_days(card.days, width)]
    if card.reserve:
        parts += [Text(), cell(RESERVE, "bold"), *_days(card.reserve, width)]
    return Group(*parts)


def _days(days: Sequence[CardDay], width: int) -> Iterable[RenderableType]:
    if width < TWO_DAYS:
        return [_day(d) for d in days]
    grid = Table.grid(expand=True, padding=(0, 3, 0, 0))
    for _ in range(2):
        grid.add_column(ratio=1)
    for k in range(0, len(days), 2):
        grid.add_row(*(_day(d) for d in days[k : k + 2]))
    return [grid]


def _day(day: CardDay) -> RenderableType:
    dates = dates_of(day.dates)
    title = f"{day.title} ({dates})" if day.title and dates else day.title or dates
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True, width=5)
    table.add_column(overflow="fold")
    for meal in day.meals:
        table.add_row(cell(meal.at), cell(meal.name, "bold"))
        for dish in meal.dishes:
            table.add_row("", _dish(dish))
    free = _indented(f"at any time: {name}, {most}" for name, most in day.any_time)
    return Group(Text(), cell(title, STYLES["head"]), Padding(table, (0, 0, 0, 2)), *free)


def _dish(dish: Dish) -> Text:
    text = f"{dish.servings} of {dish.name}" if dish.servings else dish.name
    if dish.shared_with:
        text += f" (with {with_words(dish.shared_with)})"
    return cell(text).append("" if dish.serve == AS_IT_IS else f": {dish.serve}", STYLES["quiet"])


# ---- words


def _indented(lines: Iterable[str]) -> list[RenderableType]:
    return [Padding(cell(text), (0, 0, 0, 2)) for text in lines]


def _table(*heads: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=STYLES["quiet"])
    for head in heads:
        table.add_column(head, overflow="fold")
    return table


def _plain(word: str) -> str:
    return word.replace("_", " ")


def _long(when: date) -> str:
    return f"{when.day} {when:%b %Y}"
