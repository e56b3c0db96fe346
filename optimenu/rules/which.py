"""Naming items, people, courses and meals in a rule's settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimenu.catalogue.named import LISTS, Named
from optimenu.errors import nearest
from optimenu.rules.base import SettingFault

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from optimenu.catalogue.item import Catalogue
    from optimenu.problem.problem import Problem


class Which(Named):
    """Items meant: every item named by any of the lists."""

    def mask(self, catalogue: Catalogue) -> NDArray[np.bool_]:
        """Items meant, bool (number of items,)."""
        return np.asarray([self.matches(i) for i in catalogue.items], dtype=bool)

    def faults(self, catalogue: Catalogue, keys: tuple[str, ...]) -> Iterator[SettingFault]:
        """Names that no item bears."""
        for field, text in self.absent(catalogue):
            yield SettingFault((*keys, field), text)
        if not any(getattr(self, field) for field in LISTS):
            yield SettingFault(keys, f"name at least one of {', '.join(LISTS)}")


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
