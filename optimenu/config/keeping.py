"""How the food is kept: from the table ``storage`` to a rate of loss for every item and nutrient."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar

from optimenu.nutrition.losses import ROOM_C, Stated, at_temperature, published_losses, stored_nutrients
from optimenu.problem.storage import Storage
from optimenu.settings import Number, Role, Settings, Span, Text, Unit, Whole

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.catalogue.item import Catalogue, Item
    from optimenu.catalogue.losses import Losses


class StorageTable(Settings):
    """How food is kept, so that losses of vitamins are counted; without this table they are not."""

    changed_by: ClassVar[Role | None] = "dietitian"

    temperature_c: Annotated[Number, Span(least=-60, most=60), Unit("deg C")]
    """Temperature of storage from production on; of several the warmest is the safe one. An item the
    catalogue keeps colder (store_at_c) is taken at its own."""
    produced_days_before: Annotated[Whole, Span(least=0, most=3650), Unit("days")]
    """Most days before its load arrives that food was produced of which the stock table lists no lot."""
    losses: Text | None = None
    """CSV or Parquet file of losses found for items: item, nutrient, per_month, least_per_month,
    temperature_c, activation_kj_per_mol, source, how_sure."""


def storage_of(table: StorageTable, catalogue: Catalogue, own: Losses) -> Storage:
    """Return a rate for every item and nutrient of which anybody states a loss.

    Notes
    -----
    A row of the config's own file goes before the catalogue's column, which is taken at 21 deg C, and that
    before what is published for the preservation form.
    """
    rates = {}
    for item in catalogue.items:
        celsius = (
            table.temperature_c if item.store_at_c is None else min(item.store_at_c, table.temperature_c)
        )
        for tag, stated in _stated(item, own):
            rates[item.id, tag] = at_temperature(stated, celsius)
    return Storage(table.temperature_c, table.produced_days_before, rates)


def _stated(item: Item, own: Losses) -> Iterator[tuple[str, Stated]]:
    for tag in stored_nutrients():
        found = own.get((item.id, tag))
        if found is None and tag in item.losses:
            k: Decimal = item.losses[tag]
            found = Stated(k, k, ROOM_C, None, "the catalogue", f"taken at {ROOM_C} deg C")
        if found is None and not _whole_stated(item, own, tag):
            found = published_losses().get((item.form, tag))
        if found is not None:
            yield tag, found


def _whole_stated(item: Item, own: Losses, tag: str) -> bool:
    """Tell whether a loss of vitamin A as a whole is stated for an item, of which this is a part."""
    return tag in ("RETOL", "CARTB") and ((item.id, "VITA_RAE") in own or "VITA_RAE" in item.losses)
