"""What is used of every shared limit, and how full it is."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.rules.base import plain, unit_word
from optimenu.views.console import STYLES, cell, heading, sign, state_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.rules.base import Measure

SHORT_LIST = 15
_LARGER = {"g": "kg", "mL": "L"}
_LARGE = 10_000
TITLES = {
    "stowage": "Mass and stowed volume",
    "water": "Water",
    "galley": "Galley at each sitting",
    "condiments": "Condiments",
    "packs": "Packs in stock",
    "requests": "Requests",
    "variety": "Variety",
    "cost": "Cost",
    "liking": "Servings not yet tasted",
    "reserve": "Reserve",
}


def amount(value: Decimal, unit: str) -> str:
    """Write an amount; grams and millilitres from 10,000 on as kilograms and litres."""
    if unit in _LARGER and abs(value) >= _LARGE:
        return f"{plain(value / 1000)} {_LARGER[unit]}"
    return f"{plain(value)} {unit_word(unit, value)}".rstrip()


def reading(m: Measure) -> tuple[Decimal, Decimal | None, Decimal | None, str]:
    """Value, least, most and unit, as a dietitian reads them; the end that is worse for the limit."""
    if m.shown is not None:
        return m.shown.value, m.shown.low, m.shown.high, m.shown.unit
    return (m.least if m.high is None or m.short > m.over else m.most), m.low, m.high, m.unit


def limit(low: Decimal | None, high: Decimal | None, unit: str) -> str:
    """Write a limit with the word that says which side it is."""
    sides = []
    if low is not None:
        sides.append(f"at least {amount(low, unit)}")
    if high is not None:
        sides.append(f"at most {amount(high, unit)}")
    return ", ".join(sides)


def fullness(m: Measure) -> Decimal:
    """How near a measure is to its limit, 1 at the limit, more outside; 0 where there is nothing to part."""
    value, low, high, _ = reading(m)
    if m.amount > 0:
        return Decimal(1) + abs(m.amount)
    parts = [value / high] if high else []
    parts += [low / value] if low and value > 0 else []
    return max(parts, default=Decimal(0))


def percent(m: Measure) -> str:
    """How full a ceiling is; never 100 % unless it is full, never more unless it is over."""
    value, _, high, _ = reading(m)
    if not high:
        return ""
    side = ROUND_FLOOR if value <= high else ROUND_CEILING
    return f"{(value / high * 100).quantize(Decimal(1), side)} %"


def limits_table(measures: Sequence[Measure]) -> Table:
    """Return one row per measure: sign, what, planned, limit, how full."""
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("")
    table.add_column("what", overflow="fold")
    for name in ("planned", "limit", "full"):
        table.add_column(name, justify="right", overflow="fold")
    for m in measures:
        value, low, high, unit = reading(m)
        what = cell(m.label)
        if m.note:
            what.append(f"\n{cell(m.note).plain}", STYLES["quiet"])
        table.add_row(
            sign(state_of(m)), what, cell(amount(value, unit)), cell(limit(low, high, unit)),
            cell(percent(m)),
        )  # fmt: skip
    return table


def totals_page(measures: Sequence[Measure], *, everything: bool = False) -> RenderableType:
    """Every section of measures that screens show, tightest first; long lists cut unless asked."""
    parts: list[RenderableType] = []
    for section, title in TITLES.items():
        found = [m for m in measures if m.section == section]
        if not found:
            continue
        found.sort(key=lambda m: (-fullness(m), m.label))
        rest = 0 if everything else max(len(found) - SHORT_LIST, 0)
        parts += [heading(title), limits_table(found[: len(found) - rest])]
        if rest:
            parts.append(cell(f"{rest} more, less tight; all of them with --all", STYLES["quiet"]))
    return Group(*(parts or [Text("No limit of the config is shown here.")]))
