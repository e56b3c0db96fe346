"""When there is no menu: what is in the way, as far as it is known."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from optimenu.rules.base import plain
from optimenu.views.console import STYLES, cell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.config.case import Case
    from optimenu.planning import Planned
    from optimenu.program.origin import Origin
    from optimenu.solve.elastic import Shortfall

MOST = 12
_WHO = {
    "nobody": "nobody may loosen it",
    "physician": "only a physician may loosen it",
    "dietitian": "the dietitian may loosen it",
    "planner": "the planner may loosen it",
}


def impossible(case: Case, shortfalls: Sequence[Shortfall], planned: Planned | None = None) -> RenderableType:
    """Say which limits cannot hold together and by how much, or which the nearest try breaks."""
    parts: list[RenderableType] = []
    if shortfalls:
        parts.append(Text("These limits cannot hold together with all the others:", style=STYLES["head"]))
        parts += [_line(case, s) for s in shortfalls[:MOST]]
        if len(shortfalls) > MOST:
            parts.append(cell(f"  and {len(shortfalls) - MOST} more", STYLES["quiet"]))
    if planned is not None and planned.outcome.near is not None:
        parts += _near(case, planned)
    return Group(*parts)


def _line(case: Case, s: Shortfall) -> RenderableType:
    if s.origin is None:
        return Padding(
            cell(f"an item may not be used often enough: {plain(Decimal(str(s.amount)))} more uses"),
            (0, 0, 0, 2),
        )
    side = "too little" if s.low_side else "too much"
    size = plain(Decimal(str(s.amount)), 3)
    text = f"{words(case, s.origin)}: {side}, by {size}; {case.where(s.origin.key)}; {_WHO[s.origin.who]}"
    return Padding(cell(text), (0, 0, 0, 2))


def words(case: Case, origin: Origin) -> str:
    """Name a promise: rule, person, day, meal, what."""
    parts = [origin.person, case.problem.days[origin.day].label if origin.day >= 0 else "", origin.meal]
    where = ", ".join(p for p in parts if p)
    what = origin.what.replace("_", " ") or origin.key
    return f"[{origin.rule}] {where + ': ' if where else ''}{what} ({origin.key})"


def _near(case: Case, planned: Planned) -> list[RenderableType]:
    program = planned.program
    assert planned.outcome.near is not None
    x = program.complete(planned.outcome.near)
    excess = program.excess(x)
    broken = sorted(program.broken(x).tolist())
    head = f"The nearest try, which is no menu, breaks {len(broken)} limits:"
    parts: list[RenderableType] = [Text(head, style=STYLES["head"])]
    for r in broken[:MOST]:
        amount = Decimal(int(excess[r])).scaleb(-int(program.row_decimals[r]))
        origin = program.origins[r]
        parts.append(
            Padding(
                cell(f"{words(case, origin)}: by {plain(amount, 3)}; {case.where(origin.key)}"), (0, 0, 0, 2)
            )
        )
    if len(broken) > MOST:
        parts.append(cell(f"  and {len(broken) - MOST} more", STYLES["quiet"]))
    return parts
