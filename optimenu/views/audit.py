"""What an audit found, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from optimenu.rules.base import plain

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from optimenu.audit.menu import Report
    from optimenu.rules.base import Breach


def audit_page(report: Report, faults: Sequence[str], proved: Decimal | None) -> RenderableType:
    """Breaches first, each with its amount; then the bound; then what was looked at."""
    parts: list[RenderableType] = []
    hard, soft = report.breaches, report.soft
    if hard:
        parts.append(Text(f"{len(hard)} limits broken:", style="bold"))
        parts += [_line(b) for b in hard]
    for fault in faults:
        parts.append(Text(f"Not proved: {fault}.", style="bold"))
    if soft:
        parts.append(Text(f"{len(soft)} soft limits missed, at their price:"))
        parts += [_line(b) for b in soft]
    if not hard:
        parts.append(
            Text(f"Every hard limit holds: {len(report.measures)} promises measured from the tables.")
        )
    if proved is not None and not faults:
        parts.append(
            Text(f"Value {report.value:.6f}. The bound {proved:.6f} is proved again from its multipliers.")
        )
    return Group(*parts)


def _line(b: Breach) -> RenderableType:
    amount = f"{plain(b.amount)} {b.unit}".strip()
    return Padding(Text(f"{b.text} (outside by {amount}; {b.origin.key})"), (0, 0, 0, 2))
