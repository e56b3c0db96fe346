"""Naming foods in a prescription: by id, tag, main ingredient, allergen, or amount of a nutrient."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from optimenu.catalogue.columns import ALLERGENS
from optimenu.catalogue.named import LISTS, Named
from optimenu.errors import nearest
from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.settings import NonNegative

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.catalogue.item import Catalogue, Item

KINDS = (*LISTS, "contains", "column")


class Foods(Named):
    """Foods meant: every item that any of the lists names; what is unknown is taken to be meant."""

    contains: tuple[str, ...] = ()
    """Allergens: items that contain, may contain or are not known to be free of one of them."""
    column: str | None = None
    """Nutrient column (``CAFFN_mg``): items with more than ``most`` in one serving at production; an unknown
    amount counts at its upper estimate, and without one is more."""
    most: NonNegative = Decimal(0)
    """Most in one serving that is not meant, in the nutrient's unit."""

    def matches(self, item: Item) -> bool:
        """Tell whether an item is meant, or cannot be known not to be."""
        return (
            super().matches(item)
            or (bool(self.main_ingredients) and item.main_ingredient is None)
            or (bool(self.cuisines) and item.cuisine is None)
            or any(item.allergen(a) != "free" for a in self.contains)
            or (self.column is not None and self._more(item, self.column))
        )

    def _more(self, item: Item, column: str) -> bool:
        amount = item.amount(column)
        if amount is None:
            amount = item.upper.get(column)
        return amount is None or amount > self.most

    def words(self) -> str:
        """Return the names, for reading."""
        words = [named] if (named := super().words()) else []
        words += [f"what may contain {a.replace('_', ' ')}" for a in self.contains]
        if self.column is not None:
            nutrient = BY_COLUMN.get(self.column)
            name, unit = (nutrient.inside, nutrient.unit) if nutrient else (self.column, "")
            amount = f"{self.most.normalize():f} {unit}".rstrip()
            words.append(f"more than {amount} of {name}" if self.most else f"any {name}")
        return ", ".join(words)

    def slips(self) -> Iterator[tuple[str, str]]:
        """Settings that no catalogue could make sense of, each with what to do; the key may be empty."""
        for allergen in self.contains:
            if allergen not in ALLERGENS:
                yield "contains", f'no allergen "{allergen}".{nearest(allergen, ALLERGENS)}'
        if "most" in self.model_fields_set and self.column is None:
            yield "most", "speaks of a nutrient; name its column too"
        if not any(getattr(self, kind) for kind in KINDS):
            yield "", f"name at least one of {', '.join(KINDS)}"

    def absent(self, catalogue: Catalogue) -> Iterator[tuple[str, str]]:
        """Names that no item of the catalogue bears: a misspelt one would leave out nothing."""
        yield from super().absent(catalogue)
        if self.column is not None and self.column not in catalogue.columns:
            text = f"the catalogue has no nutrient column {self.column}."
            yield "column", text + nearest(self.column, sorted(catalogue.columns))
