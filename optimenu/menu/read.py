"""Reads a menu back, hand-edited ones included."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.catalogue.columns import Column
from optimenu.errors import InputFaults
from optimenu.menu.menu import Line, Menu
from optimenu.tables import read_table

if TYPE_CHECKING:
    from pathlib import Path

MENU_COLUMNS = {
    c.name: c
    for c in (
        Column("party", "text", "Party that eats it", required=True),
        Column("block", "word", "Part of the plan", words=("cycle", "dated", "reserve"), required=True),
        Column("day", "whole", "Day of the block, from 1", required=True, least=1, most=1000),
        Column("meal", "text", "Meal; empty: free in the day"),
        Column("course", "text", "Course", required=True),
        Column("item", "text", "Item id", required=True),
        Column("count", "whole", "Servings", required=True, least=1, most=1000),
        Column(
            "certain", "word", "Planned (yes) or free in the day (no)", words=("yes", "no"), required=True
        ),
    )
}


def read_menu(path: Path) -> Menu:
    """Read a menu from CSV or Parquet.

    Raises
    ------
    InputFaults
        Every fault of the table.
    """
    table = read_table(path, MENU_COLUMNS)
    if table.faults:
        raise InputFaults(table.faults)
    return Menu.of(
        Line(
            party=row.text("party") or "",
            block=row.text("block") or "",
            day=row.whole("day") or 0,
            meal=row.text("meal") or "",
            course=row.text("course") or "",
            item=row.text("item") or "",
            count=row.whole("count") or 0,
            certain=row.text("certain") == "yes",
        )
        for row in table.rows
    )
