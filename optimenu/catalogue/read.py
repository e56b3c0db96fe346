"""Read a catalogue of items, checking each cell and what must agree between cells."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from optimenu.catalogue.columns import (
    ALL_COLUMNS,
    ALLERGENS,
    DIETS,
    ITEM_COLUMNS,
    ORDER_COLUMNS,
    VITAMINS_LOST,
)
from optimenu.catalogue.item import Catalogue, Item
from optimenu.errors import InputFaults
from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.tables import Row, read_table

NET_TOLERANCE = Decimal("0.01")
"""Net mass may differ from servings times serving mass by this share (rounding on labels; common
practice, no source)."""

_OVERWRAP = ("overwrap_packs", "overwrap_g", "overwrap_ml")


def read_catalogue(path: Path) -> Catalogue:
    """Read a catalogue from CSV or Parquet.

    Parameters
    ----------
    path : Path
        A table with the columns of ``optimenu.catalogue.columns``.

    Returns
    -------
    Catalogue
        Items in the order of the file, never none.

    Raises
    ------
    InputFaults
        Every fault of the file at once, with line, column and remedy.
    """
    table = read_table(path, ALL_COLUMNS, unique=("id",))
    faults = list(table.faults)
    for row in table.rows:
        faults.extend(table.fault(row.line, message) for message in _disagreements(row))
    if faults:
        raise InputFaults(faults)
    present = frozenset(table.columns)
    nutrients = tuple(name for name in table.columns if name in BY_COLUMN)
    items = tuple(_item(row, nutrients) for row in table.rows)
    return Catalogue(items, frozenset(nutrients), table.file, present)


def _item(row: Row, nutrients: tuple[str, ...]) -> Item:
    # Each of these columns is a field of Item; an empty one takes the field's default.
    stated: dict[str, Any] = {
        c.name: row.cells[c.name]
        for c in (*ITEM_COLUMNS, *ORDER_COLUMNS)
        if row.cells.get(c.name) is not None
    }
    stated["tags"] = frozenset(row.words("tags"))
    return Item(
        **stated,
        allergens={a: row.text(f"allergen_{a}") or "unknown" for a in ALLERGENS},
        diets={d: row.text(f"diet_{d}") or "unknown" for d in DIETS},
        losses={v: n for v in VITAMINS_LOST if (n := row.number(f"loss_{v}_per_month")) is not None},
        amounts={name: row.number(name) for name in nutrients},
        upper={name: n for name in BY_COLUMN if (n := row.number(f"{name}_upper")) is not None},
        line=row.line,
    )


def _disagreements(row: Row) -> Iterator[str]:
    """Yield what does not agree between the cells of a row, in a user's words."""
    number = row.number
    net, gross = number("net_g"), number("gross_g")
    if net is not None and gross is not None and gross < net:
        yield f"gross_g: {gross} g is less than net_g, {net} g; the gross mass includes the pack"
    serving, servings = number("serving_g"), number("servings_per_pack")
    if net is not None and serving is not None and servings is not None:
        total = serving * servings
        if abs(net - total) > NET_TOLERANCE * total:
            yield (
                f"net_g: {net} g is not {servings} servings of {serving} g, which make {total} g; "
                "correct serving_g, servings_per_pack or net_g (1 % apart is accepted)"
            )
    use_by, best = number("use_by_months"), number("best_before_months")
    if use_by is not None and best is not None and use_by < best:
        yield f"use_by_months: {use_by} is less than best_before_months, {best}; safety ends after quality"
    water = number("water_ml")
    if row.text("water_kind") == "none" and water:
        yield f"water_kind: is none, but water_ml is {water}; say hot or chilled, or give 0 mL"
    missing = [name for name in _OVERWRAP if row.cells.get(name) is None]
    if row.sound and 0 < len(missing) < len(_OVERWRAP):
        yield f"{', '.join(missing)}: is empty; give {', '.join(_OVERWRAP)} together or none of them"
    for name in BY_COLUMN:
        amount, upper = number(name), number(f"{name}_upper")
        if amount is not None and upper is not None and upper < amount:
            yield f"{name}_upper: {upper} is less than {name}, {amount}; correct one of them"
