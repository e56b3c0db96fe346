"""Naming items in a setting: by id, tag or main ingredient."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimenu.errors import nearest
from optimenu.rules.base import SettingFault
from optimenu.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from optimenu.catalogue.item import Catalogue, Item
    from optimenu.problem.problem import Problem


class Which(Settings):
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

    def mask(self, catalogue: Catalogue) -> NDArray[np.bool_]:
        """Items meant, bool (number of items,)."""
        return np.asarray([self.matches(i) for i in catalogue.items], dtype=bool)

    def faults(self, catalogue: Catalogue, keys: tuple[str, ...]) -> Iterator[SettingFault]:
        """Names that no item bears."""
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
                    text = f'no {word} "{name}" in the catalogue.{nearest(name, names)}'
                    yield SettingFault((*keys, field), text)
        if not any(getattr(self, field) for field in known):
            yield SettingFault(keys, f"name at least one of {', '.join(known)}")

    def words(self) -> str:
        """Return the names, for reading."""
        return ", ".join(
            x.replace("_", " ") for x in (*self.items, *self.tags, *self.main_ingredients, *self.cuisines)
        )


def people_faults(problem: Problem, names: tuple[str, ...], keys: tuple[str, ...]) -> Iterator[SettingFault]:
    """Names that are no person of the crew."""
    known = sorted(problem.person_number)
    for name in names:
        if name not in known:
            yield SettingFault(keys, f'no person "{name}".{nearest(name, known)}')


def course_faults(problem: Problem, names: tuple[str, ...], keys: tuple[str, ...]) -> Iterator[SettingFault]:
    """Names that are no course of any meal."""
    known = sorted({c.name for d in problem.days for m in d.meals for c in m.courses})
    for name in names:
        if name not in known:
            yield SettingFault(keys, f'no course "{name}" in any meal.{nearest(name, known)}')


def meal_faults(problem: Problem, names: tuple[str, ...], keys: tuple[str, ...]) -> Iterator[SettingFault]:
    """Names that are no meal of any day."""
    known = sorted({m.name for d in problem.days for m in d.meals})
    for name in names:
        if name not in known:
            yield SettingFault(keys, f'no meal "{name}".{nearest(name, known)}')


def people_of(problem: Problem, names: tuple[str, ...]) -> tuple[int, ...]:
    """Numbers of the people named; everybody when none is named."""
    return tuple(k for k, p in enumerate(problem.people) if not names or p.id in names)
