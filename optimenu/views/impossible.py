"""When there is no menu: what is in the way, as far as it is known."""

from __future__ import annotations

from collections import Counter
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from optimenu.audit.menu import audit_menu
from optimenu.config.open_points import bare_courses
from optimenu.explain.words import measures_of_nothing, words_of
from optimenu.files import shown_path
from optimenu.menu.menu import from_counts
from optimenu.rules.base import plain
from optimenu.views.audit import outside
from optimenu.views.console import ABOVE, BELOW, STYLES, cell, marked, sign, state_of
from optimenu.views.open_points import bare_lines
from optimenu.views.totals import amount

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimenu.config.case import Case
    from optimenu.planning import Planned
    from optimenu.program.origin import Origin
    from optimenu.rules.base import Breach, Measure
    from optimenu.solve.elastic import Shortfall

MOST = 12
WHO = {
    "nobody": "nobody may loosen it, so another limit has to give way",
    "physician": "only a physician may loosen it",
    "dietitian": "the dietitian may loosen it",
    "planner": "the planner may loosen it",
}


def impossible(case: Case, shortfalls: Sequence[Shortfall], planned: Planned | None = None) -> RenderableType:
    """Say which limits cannot hold together and by how much, or which the nearest try breaks."""
    parts: list[RenderableType] = []
    bare = bare_courses(case) if shortfalls else []
    if bare:
        # a course without an item is reason enough; what limits lack on top only follows from it
        parts += bare_lines(bare, {p.id: p.name for p in case.problem.people})
        parts.append(cell(f"What is left for whom: optimenu check {shown_path(case.files[0])}"))
    elif shortfalls:
        parts.append(Text("These limits cannot hold together with all the others:", style=STYLES["head"]))
        measures = measures_of_nothing(case.problem, case.rules)
        parts += [_line(case, s, measures, planned) for s in shortfalls[:MOST]]
        if len(shortfalls) > MOST:
            parts.append(cell(f"and {len(shortfalls) - MOST} more", STYLES["quiet"]))
    if planned is not None and planned.outcome.near is not None:
        parts += _near(case, planned)
    return Group(*parts)


def _line(
    case: Case, s: Shortfall, measures: Mapping[Origin, Measure], planned: Planned | None
) -> RenderableType:
    if s.origin is None:
        return _indented(
            f"{_group(case, s, planned)} would be used {plain(_up(s.amount))} times more than it may be"
        )
    measure = measures.get(s.origin)
    label = words_of(case.problem, s.origin) if measure is None else measure.label
    if len(s.rows) > 1:
        label += f" (and {len(s.rows) - 1} alike)"
    size = amount(_up(s.amount), "" if measure is None else measure.unit)
    limit = None if measure is None else measure.low if s.low_side else measure.high
    if limit:
        size += f", {plain(_up(s.relative * 100))} % of the limit"
    side = "too little" if s.low_side else "too much"
    return _indented(
        f"[{s.origin.rule}] {label}: {side}, by {size}; {_place(case, s.origin)}; {WHO[s.origin.who]}",
        BELOW if s.low_side else ABOVE,
    )


def _up(value: float) -> Decimal:
    """A shortfall to two decimals, rounded up, so that a small one is never told as none."""
    # what lies beyond the ninth decimal is the linear program's rounding
    return Decimal(str(round(value, 9))).quantize(Decimal("0.01"), ROUND_CEILING)


def _group(case: Case, s: Shortfall, planned: Planned | None) -> str:
    if planned is None:
        return "an item"
    program = planned.program
    column = int(program.group_column[program.group_start[s.group]])
    party = case.problem.parties[int(program.party[column])]
    return f"{party.id}: {case.problem.catalogue.items[int(program.item[column])].name}"


def _place(case: Case, origin: Origin) -> str:
    return f"{origin.key} at {case.where(origin.key)}"


def _indented(text: str, state: str = ABOVE) -> RenderableType:
    return marked(sign(state), text)


def _near(case: Case, planned: Planned) -> list[RenderableType]:
    assert planned.outcome.near is not None
    menu = from_counts(case.problem, planned.program, planned.outcome.near)
    report = audit_menu(case.problem, case.rules, menu, planned.scale)
    broken, measures = report.breaches, outside(report)
    worst: dict[str, Breach] = {}
    for b in broken:
        if b.origin.key not in worst or b.amount > worst[b.origin.key].amount:
            worst[b.origin.key] = b
    times = Counter(b.origin.key for b in broken)
    word = "promise" if len(broken) == 1 else "promises"
    head = f"The nearest try, which is no menu, breaks {len(broken)} {word}:"
    parts: list[RenderableType] = [Text(head, style=STYLES["head"])]
    for key, _ in times.most_common(MOST):
        b = worst[key]
        more = f" (the worst of {times[key]})" if times[key] > 1 else ""
        text = f"[{b.origin.rule}] {b.text}{more}; {_place(case, b.origin)}; {WHO[b.origin.who]}"
        measure = measures.get((b.origin, b.amount))
        parts.append(_indented(text, ABOVE if measure is None else state_of(measure)))
    if len(times) > MOST:
        parts.append(cell(f"and {len(times) - MOST} more limits", STYLES["quiet"]))
    return parts
