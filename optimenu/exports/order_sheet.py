"""The order sheet as a table: one row per item and load, whatever is ordered of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from optimenu.stowage.order import Sheet
    from optimenu.stowage.order_line import OrderLine

ORDER = (
    "load", "arrives", "needed_by", "keeps_to", "order_by", "lead_days", "item", "name", "supply",
    "menu_packs", "condiment_packs", "reserve_packs", "tasting_packs", "quality_packs", "spare_packs",
    "stock_packs", "need_packs", "order_unit_packs", "smallest_batch_packs", "order_units", "order_packs",
    "gross_g", "volume_ml", "cost", "not_counted", "not_free_of",
)  # fmt: skip
"""need = menu + condiment + reserve + tasting + quality + spare - stock, never under 0.

Empty: not stated. An order unit that is not stated counts as 1 pack. ``not_counted`` holds lots that
do not count, ``not_free_of`` the allergens somebody must not have; both parted by semicolons.
"""


def order_rows(sheet: Sheet) -> list[tuple[object, ...]]:
    """Every line of the sheet as a row of `ORDER`."""
    return [_row(sheet, line) for line in sheet.lines]


def _row(sheet: Sheet, x: OrderLine) -> tuple[object, ...]:
    load, item = x.load, x.item
    dates = (load.arrives, load.needed_by, load.keeps_to, x.order_by)
    return (
        load.name, *(None if d is None else d.isoformat() for d in dates), x.lead_days, item.id, item.name,
        item.supply, x.menu, x.condiments, x.reserve, x.tasting, x.quality, x.spare, x.stock, x.need,
        item.order_unit_packs, item.smallest_batch_packs, x.packs // x.unit, x.packs, x.gross_g, x.volume_ml,
        x.cost, "; ".join(x.not_counted),
        "; ".join(f"{a}: {state}" for a, state in sheet.avoid(item).items()),
    )  # fmt: skip
