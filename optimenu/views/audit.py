"""What an audit found, in words."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from optimenu.views.console import (
    ABOVE,
    BELOW,
    KEPT,
    STYLES,
    UNPROVED,
    cell,
    heading,
    marked,
    sign,
    soft_sign,
    state_of,
)
from optimenu.views.nutrient_words import figure
from optimenu.views.totals import amount

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimenu.audit.menu import Report
    from optimenu.program.origin import Origin
    from optimenu.rules.base import Breach, Measure


def audit_page(
    report: Report, faults: Sequence[str], proved: Decimal | None, least: Decimal | None = None
) -> RenderableType:
    """Breaches first, each with its amount; then the bound; then what was looked at."""
    parts: list[RenderableType] = []
    hard, soft = report.breaches, report.soft
    if hard:
        parts.append(heading("1 limit broken:" if len(hard) == 1 else f"{len(hard)} limits broken:"))
        parts += breach_lines(report, hard)
    else:
        count = f"{len(report.measures):,} promises measured from the tables"
        parts.append(marked(sign(KEPT), f"Every hard limit holds: {count}."))
    for fault in faults:
        parts.append(marked(sign(UNPROVED), f"Not proved: {fault.rstrip('.')}.", STYLES["head"]))
    if soft:
        word = "1 soft limit" if len(soft) == 1 else f"{len(soft)} soft limits"
        parts.append(heading(f"{word} missed, at the price of liking beside each:"))
        parts += soft_lines(report)
    if hard:
        parts += [Text(), cell("A menu that breaks hard limits has no value; do not use it.")]
    elif proved is not None and not faults:
        text = f"Value {report.value:.6f}. The bound {proved:.6f} is proved again from its multipliers."
        if least is not None:
            text = (
                f"Least liking {report.least:.6f}, the price of soft limits missed taken off; the bound "
                f"{least:.6f} is proved again from its multipliers. {text}"
            )
        parts += [Text(), cell(text)]
    return Group(*parts)


def breach_lines(report: Report, breaches: Sequence[Breach]) -> list[RenderableType]:
    """One line for each broken promise: what it says, by how much it is missed, where the limit stands."""
    measures = outside(report)
    return [_line(b, measures.get((b.origin, b.amount))) for b in breaches]


def soft_lines(report: Report) -> list[RenderableType]:
    """One line for each soft limit missed, with what it costs of the mean liking."""
    measures = outside(report)
    lines: list[RenderableType] = []
    for b in report.soft:
        cost = measures[b.origin, b.amount].cost
        lines.append(marked(soft_sign(), f"{b.text}; costs {figure(cost * 100, Decimal(0))} % of liking"))
    return lines


def outside(report: Report) -> Mapping[tuple[Origin, Decimal], Measure]:
    """Return the measures outside their limits, by what a breach of them names."""
    return {(m.origin, m.amount): m for m in report.measures if m.amount > 0}


def _line(b: Breach, m: Measure | None) -> RenderableType:
    if m is None:
        # a serving that could not have been planned at all is neither too little nor too much
        return marked(sign(ABOVE), f"{b.text} ({amount(b.amount, b.unit)}; {b.origin.key})")
    state = state_of(m)
    side = "too little" if state == BELOW else "too much"
    missed, unit = b.amount, b.unit
    limit = None if m.shown is None else m.shown.low if state == BELOW else m.shown.high
    if m.shown is not None and limit is not None:
        # in the unit of the sentence, not of the row
        missed, unit = abs(limit - m.shown.value), m.shown.unit
    return marked(sign(state), f"{b.text} ({side}, by {amount(missed, unit)}; {b.origin.key})")
