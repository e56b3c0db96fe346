"""Papers that go with a menu: how each opens, and the sheet of one person."""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimenu.rules.base import plain, unit_word
from optimenu.views.audit import breach_lines
from optimenu.views.check import laid_down
from optimenu.views.console import (
    ABOVE,
    BELOW,
    KEPT,
    STYLES,
    UNKNOWN,
    UNPROVED,
    cell,
    heading,
    marked,
    marks,
    sign,
    soft_sign,
)
from optimenu.views.nutrient_words import WINDOWS, figure
from optimenu.views.summary import MOST_BREACHES, cautions, column_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from optimenu.audit.menu import Report
    from optimenu.crew.people import Person
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Breach
    from optimenu.stowage.person_sheet import PersonSheet, Planned

CONFIDENTIAL = "Confidential: for the physician and the dietitian; not for the mess."
DO_NOT_USE = "This menu breaks hard limits; do not use it."


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
    when = f"{long_date(problem.dates[0])} to {long_date(problem.dates[-1])}"
    return Group(
        Text(),
        title,
        cell(CONFIDENTIAL, "bold"),
        cell(when),
        *_body(sheet),
        *_prescribed(sheet, problem.people[problem.person_number[sheet.id]]),
        *_limits(sheet),
        *_supplements(sheet),
        *_traces(sheet),
        *_unmet(sheet),
        *_unjudged(sheet),
        cautions(problem),
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
    return [heading("Body and energy requirement"), *indented(lines)]


def _prescribed(sheet: PersonSheet, person: Person) -> list[RenderableType]:
    """Everything laid down that is no limit and no supplement, and by whom."""
    if sheet.on is None:
        text = "no prescription: nobody has laid down allergies, diets or limits"
        return [heading("Prescribed"), *indented([text])]
    lines = [f"as laid down by {sheet.by}, {long_date(sheet.on)}"]
    for name, words in (
        ("never, allergy", person.prescription.allergy_words()),
        ("diet", [spaced(d) for d in sheet.diets]),
        ("never, items", list(sheet.never_items)),
        ("never, items tagged", [spaced(t) for t in sheet.never_tags]),
    ):
        if words:
            lines.append(f"{name}: {', '.join(words)}")
    lines += laid_down(person)
    return [heading("Prescribed"), *indented(lines)]


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
    return [heading("Supplements, as prescribed"), *indented(lines)]


def _traces(sheet: PersonSheet) -> list[RenderableType]:
    """Items planned that a milder prescription lets pass: the reader judges each."""
    if not sheet.allergies:
        return []
    lines = [
        f"{t.name}: {spaced(t.state)} {spaced(t.allergen)} ({t.severity}); {', '.join(t.days)}"
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
    return [heading("Not judged"), *indented(lines)] if lines else []


# ---- words


def indented(lines: Iterable[str]) -> list[RenderableType]:
    """Return lines of a group, moved in."""
    return [Padding(cell(text), (0, 0, 0, 2)) for text in lines]


def _table(*heads: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=STYLES["quiet"])
    for head in heads:
        table.add_column(head, overflow="fold")
    return table


def spaced(word: str) -> str:
    """Return a word of a table as it is read: tree nuts."""
    return word.replace("_", " ")


def long_date(when: date) -> str:
    """Return a date with its year: 6 Oct 2026."""
    return f"{when.day} {when:%b %Y}"
