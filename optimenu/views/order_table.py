"""Tables of an order sheet: for each load, what to order by each date."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.rules.base import plain
from optimenu.views.console import STYLES, cell
from optimenu.views.summary import many

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    from optimenu.stowage.order import Sheet
    from optimenu.stowage.order_line import OrderLine

WIDE = 116
"""From so many characters on, what is ordered has columns of its own instead of a line under the item."""
COUNTS: dict[str, Callable[[OrderLine], str]] = {
    "menu": lambda x: str(x.menu),
    "cond": lambda x: str(x.condiments),
    "res": lambda x: str(x.reserve),
    "samp": lambda x: str(x.tasting + x.quality),
    "spare": lambda x: str(x.spare),
    "stock": lambda x: str(x.stock),
    "need": lambda x: str(x.need),
    "order": lambda x: str(x.packs),
}
SIZES: dict[str, Callable[[OrderLine], str]] = {
    "units": lambda x: units(x) if x.packs else "",
    "kg": lambda x: plain(x.gross_g / 1000),
    "L": lambda x: plain(x.volume_ml / 1000),
    "cost": lambda x: "?" if x.cost is None else f"{x.cost:,.2f}",
}


def long_date(when: date) -> str:
    """Return a date with its year: 3 Feb 2031."""
    return f"{when.day} {when:%b} {when.year}"


def units(x: OrderLine) -> str:
    """How many order units are ordered; single packs where the unit is not stated."""
    if x.item.order_unit_packs is None:
        return f"{x.packs} single?"
    return f"{x.packs // x.unit} x {x.unit}"


def order_tables(
    sheet: Sheet, lines: Sequence[OrderLine], shown: Sequence[OrderLine], width: int
) -> list[RenderableType]:
    """One table for each date by which to order.

    Parameters
    ----------
    lines : sequence of OrderLine
        Of one load.
    shown : sequence of OrderLine
        Of the whole sheet, on which a column has one width.
    """
    wide = width >= WIDE
    columns, gap = ({**COUNTS, **SIZES}, 2) if wide else (COUNTS, 1)
    sizes = {name: max(len(name), *(len(of(x)) for x in shown)) for name, of in columns.items()}
    rest = max(width - sum(sizes.values()) - gap * len(sizes), 1)
    parts: list[RenderableType] = []
    for (when, lead), group in groupby(lines, key=lambda x: (x.order_by, x.lead_days)):
        table = Table(box=None, pad_edge=False, header_style=STYLES["quiet"], padding=(0, gap, 0, 0))
        table.add_column("item", width=rest)
        for name, size in sizes.items():
            table.add_column(name, justify="right", no_wrap=True, width=size)
        for x in group:
            values = [cell(of(x), STYLES["head"] if name == "order" else "") for name, of in columns.items()]
            table.add_row(_item(sheet, x, sized=not wide), *values)
        if when is None or lead is None:
            text = "Order by: not known; neither lead_days nor supply is stated"
        else:
            text = f"Order by {long_date(when)}, {many(lead, 'day')} ahead"
        parts += [Text(), cell(text, STYLES["head"]), table]
    return parts


def _item(sheet: Sheet, x: OrderLine, *, sized: bool) -> Text:
    """Name of an item, marked if somebody must not have it, and under it what else must be known."""
    made = cell(f"! {x.item.name}" if sheet.avoid(x.item) else x.item.name)
    for line in _beside(x, sized=sized):
        made.append("\n  ").append_text(cell(line, STYLES["quiet"]))
    return made


def _beside(x: OrderLine, *, sized: bool) -> list[str]:
    lines = []
    if x.packs and sized:
        each = {name: of(x) for name, of in SIZES.items()}
        lines.append(f"{each['units']}, {each['kg']} kg, {each['L']} L, cost {each['cost']}")
    if x.packs and x.item.smallest_batch_packs:
        lines.append(f"smallest batch {x.item.smallest_batch_packs}")
    lines += x.not_counted
    if x.packs and x.too_short_lived is not None:
        lines.append(f"too short-lived: made on the needed-by date it keeps to {x.too_short_lived}")
    return lines
