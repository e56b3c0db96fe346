"""Losses of items in storage, as their makers or a laboratory state them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from pathlib import Path

from optimenu.catalogue.columns import Column
from optimenu.catalogue.item import Catalogue
from optimenu.errors import InputFaults
from optimenu.files import choose
from optimenu.nutrition.losses import Stated, stored_nutrients
from optimenu.nutrition.nutrients import NUTRIENTS
from optimenu.tables import Row, read_table

_RATE, _ENERGY = "1/month", "kJ/mol"
LOSS_TABLE: dict[str, Column] = {
    c.name: c
    for c in (
        Column("item", "id", "Id of an item of the catalogue", required=True),
        Column("nutrient", "text", "Tagname of the nutrient, such as VITC", required=True),
        Column("per_month", "number", "First-order loss, at its most", _RATE, True, least=0, most=5),
        Column("least_per_month", "number", "At its least; empty: as per_month", _RATE, least=0, most=5),
        Column("temperature_c", "number", "Where it was found", "deg C", True, least=-80, most=60),
        Column("activation_kj_per_mol", "number", "Empty: unknown", _ENERGY, least=0, most=400),
        Column("source", "text", "Who found it: paper, laboratory report", required=True),
        Column("how_sure", "text", "How sure it is, in a few words"),
    )
}
Losses = Mapping[tuple[str, str], Stated]


def read_losses(path: Path, catalogue: Catalogue) -> Losses:
    """Read a table of losses from CSV or Parquet.

    Parameters
    ----------
    path : Path
        A table with the columns of `LOSS_TABLE`.
    catalogue : Catalogue
        Where the items are declared.

    Returns
    -------
    mapping of (item id, nutrient tag) to Stated

    Raises
    ------
    InputFaults
        Every fault of the file at once.
    """
    table = read_table(path, LOSS_TABLE, unique=("item", "nutrient"))
    faults = list(table.faults)
    found: dict[tuple[str, str], Stated] = {}
    for row in table.rows:
        slips = list(_slips(row, catalogue))
        faults += [table.fault(row.line, text) for text in slips]
        if row.sound and not slips:
            found[row.text("item") or "", row.text("nutrient") or ""] = _stated(row)
    if faults:
        raise InputFaults(faults)
    return found


def _slips(row: Row, catalogue: Catalogue) -> Iterator[str]:
    item, tag = row.text("item"), row.text("nutrient")
    if item is not None and item not in catalogue.by_id:
        yield f'item: no item "{item}" in {catalogue.file}.{choose(item, tuple(catalogue.by_id))}'
    known = tuple(stored_nutrients())
    if tag is not None and tag not in known:
        name = next((n.name for n in NUTRIENTS if tag in (n.tag, n.column)), None)
        if name is None:
            yield f'nutrient: no nutrient "{tag}".{choose(tag, known)}'
        else:
            yield f"nutrient: {tag} ({name}) takes no loss of its own; those that do: {', '.join(known)}"
    fast, slow = row.number("per_month"), row.number("least_per_month")
    if fast is not None and slow is not None and slow > fast:
        yield f"least_per_month: {slow} is more than per_month, {fast}; correct one of them"


def _stated(row: Row) -> Stated:
    fast, slow = row.number("per_month"), row.number("least_per_month")
    celsius = row.number("temperature_c")
    assert fast is not None and celsius is not None  # required cells of a sound row
    return Stated(
        Decimal(fast),
        Decimal(fast if slow is None else slow),
        celsius,
        row.number("activation_kj_per_mol"),
        row.text("source") or "",
        row.text("how_sure") or "",
    )
