"""What is used of every shared limit, and how full it is."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table

from optimenu.rules.base import plain
from optimenu.views.console import STYLES, cell, sign, state_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.audit.menu import Report
    from optimenu.rules.base import Measure

SHORT_LIST = 15
_LARGER = {"g": "kg", "mL": "L"}
TITLES = {
    "stowage": "Mass and stowed volume",
    "water": "Water",
    "condiments": "Condiments, packs for the crew",
    "packs": "Packs in stock",
    "requests": "Requests",
    "variety": "Variety",
    "liking": "Servings not yet tasted",
    "reserve": "Reserve",
}


def amount(value: Decimal, unit: str) -> str:
    """Write an amount; grams and millilitres from 10,000 on as kilograms and litres."""
    if unit in _LARGER and abs(value) >= 10_000:
        return f"{plain(value / 1000, 1)} {_LARGER[unit]}"
    return f"{plain(value)} {unit}"


def _shown(m: Measure) -> tuple[Decimal, Decimal | None, Decimal | None, str]:
    if m.shown is not None:
        return m.shown.value, m.shown.low, m.shown.high, m.shown.unit
    return (m.least if m.high is None else m.most), m.low, m.high, m.unit


def fullness(m: Measure) -> Decimal:
    """Value as a part of the limit it is nearest to; 0 without one."""
    value, low, high, _ = _shown(m)
    if high:
        return value / high
    if low and value:
        return low / value
    return Decimal(0)


def limits_table(title: str, measures: Sequence[Measure]) -> Table:
    """Return one row per measure: sign, what, used, limit, how full."""
    table = Table(
        box=None, pad_edge=False, title=title, title_justify="left", title_style=STYLES["head"],
        header_style=STYLES["head"],
    )  # fmt: skip
    table.add_column("")
    table.add_column("what", ratio=1)
    for name in ("planned", "least", "most", "full"):
        table.add_column(name, justify="right", no_wrap=True)
    for m in measures:
        value, low, high, unit = _shown(m)
        full = f"{value / high * 100:.0f} %" if high else ""
        table.add_row(
            sign(state_of(m)),
            cell(m.label),
            cell(amount(value, unit)),
            cell("" if low is None else amount(low, unit).split(" ")[0]),
            cell("" if high is None else amount(high, unit)),
            cell(full),
        )
    return table


def totals_page(report: Report, *, everything: bool = False) -> RenderableType:
    """Every section of measures that screens show; long lists cut to the tightest rows unless asked."""
    parts: list[RenderableType] = []
    for section, title in TITLES.items():
        found = [m for m in report.measures if m.section == section]
        if not found:
            continue
        found.sort(key=lambda m: (-fullness(m), m.label))
        rest = 0 if everything else max(len(found) - SHORT_LIST, 0)
        parts.append(limits_table(f"\n{title}", found[: len(found) - rest]))
        if rest:
            parts.append(cell(f"  {rest} more, less tight; all of them with --all", STYLES["quiet"]))
    return Group(*parts)
