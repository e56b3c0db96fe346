"""Naming items in a setting: by id, tag, main ingredient or cuisine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.catalogue.item import Catalogue, Item

LISTS = ("items", "tags", "main_ingredients", "cuisines")


class Named(Settings):
    """Items meant: every item named by any of the lists."""

    items: tuple[str, ...] = ()
    """Item ids."""
    tags: tuple[str, ...] = ()
    """Tags."""
    main_ingredients: tuple[str, ...] = ()
    """Main ingredients."""
    cuisines: tuple[str, ...] = ()
    """Cuisines."""

    def matches(self, item: Item) -> bool:
        """Tell whether an item is meant."""
        return (
            item.id in self.items
            or not item.tags.isdisjoint(self.tags)
            or item.main_ingredient in self.main_ingredients
            or item.cuisine in self.cuisines
        )

    def absent(self, catalogue: Catalogue) -> Iterator[tuple[str, str]]:
        """Names that no item of the catalogue bears, by list: a misspelt one would mean nothing."""
        known = {
            "items": sorted(catalogue.by_id),
            "tags": sorted({t for i in catalogue.items for t in i.tags}),
            "main_ingredients": sorted({i.main_ingredient for i in catalogue.items if i.main_ingredient}),
            "cuisines": sorted({i.cuisine for i in catalogue.items if i.cuisine}),
        }
        for field, names in known.items():
            for name in getattr(self, field):
                if name not in names:
                    word = field.removesuffix("s").replace("_", " ")
                    yield field, catalogue.absent(word, name, names)

    def words(self) -> str:
        """Return the names, for reading."""
        return ", ".join(name.replace("_", " ") for field in LISTS for name in getattr(self, field))
