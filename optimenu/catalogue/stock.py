"""Stock on hand or ordered: packs of an item by load and lot, with the dates that bound their use."""

from __future__ import annotations

import calendar
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

from optimenu.catalogue.columns import Column
from optimenu.catalogue.item import Catalogue
from optimenu.errors import InputFaults
from optimenu.files import choose
from optimenu.nutrition.losses import DAYS_PER_MONTH
from optimenu.tables import Row, read_table

STATES = ("released", "held", "rejected", "ordered")
"""Release states; only ``released`` packs may be eaten, ``ordered`` ones not before they arrive."""

STOCK_COLUMNS: dict[str, Column] = {
    c.name: c
    for c in (
        Column("item", "id", "Id of an item of the catalogue", required=True),
        Column("load", "id", "Load it travels with", required=True),
        Column("lot", "text", "Lot as printed on the pack", required=True),
        Column("production_date", "date", "Date of production", required=True),
        Column("use_by", "date", "Safety: last date; empty: production date and the item's use_by_months"),
        Column("best_before", "date", "Quality: last date; empty: from the item's best_before_months"),
        Column("packs", "whole", "Packs of this lot", "packs", True, least=0, most=1_000_000),
        Column("state", "word", "Release state", words=STATES, required=True),
    )
}


@dataclass(frozen=True, slots=True)
class StockRow:
    """Packs of one lot.

    Attributes
    ----------
    use_by, best_before : date or None
        Last date of safety and of quality; None when neither the row nor the item states it (unknown).
    packs : int
    state : str
        One of `STATES`.
    line : int
        Line of the file (row, for Parquet), from 1.
    """

    item: str
    load: str
    lot: str
    production_date: date
    use_by: date | None
    best_before: date | None
    packs: int
    state: str
    line: int

    def usable(self, arrives: date) -> bool:
        """Tell whether these packs count: released, and known to be within their use-by on arrival."""
        return self.state == "released" and self.use_by is not None and self.use_by >= arrives


def add_months(start: date, months: Decimal) -> date:
    """Return a date some months on.

    Whole months are months of the calendar, the day cut to the last of the month; the part of a month
    counts 30.4375 days to the month, rounded down, so that the date is never too late.
    """
    whole = int(months)
    year, month = divmod(start.year * 12 + start.month - 1 + whole, 12)
    day = min(start.day, calendar.monthrange(year, month + 1)[1])
    return date(year, month + 1, day) + timedelta(days=int((months - whole) * DAYS_PER_MONTH))


def read_stock(path: Path, catalogue: Catalogue) -> tuple[StockRow, ...]:
    """Read stock from CSV or Parquet.

    Parameters
    ----------
    path : Path
        A table with the columns of `STOCK_COLUMNS`.
    catalogue : Catalogue
        Where the items are declared; supplies shelf lives for empty dates.

    Returns
    -------
    tuple of StockRow
        In the order of the file, never none.

    Raises
    ------
    InputFaults
        Every fault of the file at once.
    """
    table = read_table(path, STOCK_COLUMNS, unique=("item", "load", "lot", "state"))
    faults = list(table.faults)
    stock = []
    for row in table.rows:
        use_by, best_before = _dates(row, catalogue)
        found = list(_faults(row, catalogue, use_by, best_before))
        faults.extend(table.fault(row.line, message) for message in found)
        if row.sound and not found:
            stock.append(_row(row, use_by, best_before))
    if faults:
        raise InputFaults(faults)
    return tuple(stock)


def _dates(row: Row, catalogue: Catalogue) -> tuple[date | None, date | None]:
    """Return use-by and best-before as stated, else from the item's shelf life."""
    use_by, best_before = row.day("use_by"), row.day("best_before")
    made, item = row.day("production_date"), catalogue.by_id.get(row.text("item") or "")
    if made is None or item is None or not row.sound:
        return use_by, best_before
    if use_by is None and item.use_by_months is not None:
        use_by = add_months(made, item.use_by_months)
    if best_before is None and item.best_before_months is not None:
        best_before = add_months(made, item.best_before_months)
        # Quality cannot be promised beyond a use-by date stated for this lot.
        best_before = min(best_before, use_by or best_before)
    return use_by, best_before


def _faults(row: Row, catalogue: Catalogue, use_by: date | None, best_before: date | None) -> Iterator[str]:
    item, made = row.text("item"), row.day("production_date")
    if item is not None and item not in catalogue.by_id:
        yield f'item: no item "{item}" in {catalogue.file}.{choose(item, tuple(catalogue.by_id))}'
    for name, last in (("use_by", use_by), ("best_before", best_before)):
        if made is not None and last is not None and last < made:
            yield f"{name}: {last} lies before production_date, {made}; correct one of them"
    if use_by is not None and best_before is not None and use_by < best_before:
        yield f"best_before: {best_before} lies after use_by, {use_by}; quality ends before safety"


def _row(row: Row, use_by: date | None, best_before: date | None) -> StockRow:
    made, packs = row.day("production_date"), row.whole("packs")
    assert made is not None and packs is not None  # required cells of a sound row
    return StockRow(
        item=row.text("item") or "",
        load=row.text("load") or "",
        lot=row.text("lot") or "",
        production_date=made,
        use_by=use_by,
        best_before=best_before,
        packs=packs,
        state=row.text("state") or "",
        line=row.line,
    )
