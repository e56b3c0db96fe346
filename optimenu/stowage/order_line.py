"""One line of an order sheet: an item of a load, what it is needed for and what is ordered of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from optimenu.catalogue.stock import add_months

if TYPE_CHECKING:
    from optimenu.catalogue.item import Item
    from optimenu.catalogue.stock import StockRow


@dataclass(frozen=True)
class LoadDates:
    """Dates of a load.

    Attributes
    ----------
    needed_by : date
        Date by which everything must be there to be packed and loaded.
    keeps_to : date
        Last date on which its food may be eaten; for the load that carries the reserve, the last of the stay.
    """

    number: int
    name: str
    arrives: date
    needed_by: date
    keeps_to: date


@dataclass(frozen=True)
class OrderLine:
    """An item of a load; every count is of whole packs.

    Attributes
    ----------
    menu : int
        Opened for planned servings, condiments left out.
    condiments : int
        Opened besides for courses of condiments and for what is free in the day, at its most.
    reserve, tasting, quality, spare : int
    stock : int
        Released packs that are sure to be in date when they are wanted.
    released : int
        Released packs in date when the load arrives; more than ``stock`` where some pass their use-by first.
    lead_days : int or None
        Days from the order to its delivery; None when neither the item nor its supply tells.
    aside : tuple of StockRow
        Lots that are listed for the load and do not count.
    """

    load: LoadDates
    item: Item
    menu: int
    condiments: int
    reserve: int
    tasting: int
    quality: int
    spare: int
    stock: int
    released: int
    lead_days: int | None
    aside: tuple[StockRow, ...] = ()

    @property
    def wanted(self) -> int:
        """Packs wanted for everything."""
        return self.menu + self.condiments + self.reserve + self.tasting + self.quality + self.spare

    @property
    def need(self) -> int:
        """Packs wanted that stock does not hold."""
        return max(0, self.wanted - self.stock)

    @property
    def unit(self) -> int:
        """Packs in one order unit; 1 where none is stated."""
        return self.item.order_unit_packs or 1

    @property
    def packs(self) -> int:
        """Packs ordered: the fewest whole order units that hold the need and the smallest batch.

        A batch that is no whole number of order units is rounded up to one: part of a unit cannot be had.
        """
        if not self.need:
            return 0
        least = max(self.need, self.item.smallest_batch_packs or 1)
        return -(-least // self.unit) * self.unit

    @property
    def order_by(self) -> date | None:
        """Last date for the order; None when the lead time is not known."""
        return None if self.lead_days is None else self.load.needed_by - timedelta(days=self.lead_days)

    @property
    def overwraps(self) -> int:
        """Overwraps of the packs ordered."""
        return -(-self.packs // self.item.overwrap_packs) if self.item.overwrap_packs else 0

    @property
    def gross_g(self) -> Decimal:
        """Gross mass of what is ordered, overwraps included, g."""
        return self.packs * self.item.gross_g + self.overwraps * (self.item.overwrap_g or Decimal(0))

    @property
    def volume_ml(self) -> Decimal:
        """Stowed volume of what is ordered, overwraps included, mL."""
        return self.packs * self.item.volume_ml + self.overwraps * (self.item.overwrap_ml or Decimal(0))

    @property
    def cost(self) -> Decimal | None:
        """Cost of what is ordered in the catalogue's currency; None when the pack's is not stated."""
        return None if self.item.cost is None else self.packs * self.item.cost

    @property
    def too_short_lived(self) -> date | None:
        """Use-by date of packs made on the needed-by date, where even those do not last."""
        if self.item.use_by_months is None:
            return None
        last = add_months(self.load.needed_by, self.item.use_by_months)
        return last if last < self.load.keeps_to else None

    @property
    def not_counted(self) -> tuple[str, ...]:
        """Packs listed for the load that do not count, with the reason, packs and lot, a sentence each."""
        words = [
            f"{self._why(r)}: {r.packs} {'pack' if r.packs == 1 else 'packs'}, lot {r.lot}"
            for r in self.aside
        ]
        if self.need and self.stock < self.released:
            words.append(f"use by too early: {self.released - self.stock} of {self.released} released packs")
        return tuple(words)

    def _why(self, lot: StockRow) -> str:
        if lot.state != "released":
            return lot.state
        if lot.use_by is None:
            return "use-by date not known"
        return f"use by {lot.use_by}, before the load arrives"
