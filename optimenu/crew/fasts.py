"""Fasts: dates on which a person leaves out some food, some hours, or both. Nobody may loosen one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from optimenu.settings import Clock, Day, Settings, minutes

if TYPE_CHECKING:
    from datetime import date


class FastTable(Settings):
    """A fast on some dates: hours without food, things not eaten, or both. Nobody may loosen it."""

    dates: Annotated[tuple[Day, ...], Field(min_length=1)]
    """Dates it is kept."""
    from_: Clock | None = Field(default=None, alias="from")
    """Nothing is eaten from this time of day ..."""
    to: Clock | None = None
    """... until this one; a meal at this time breaks the fast."""
    diets: tuple[str, ...] = ()
    """Diet flags the items must carry as ``yes`` on these dates."""
    never_items: tuple[str, ...] = ()
    """Items not given on these dates."""
    never_tags: tuple[str, ...] = ()
    """Tags of items not given on these dates."""


@dataclass(frozen=True)
class Fast:
    """A fast as the plan sees it; hours are minutes after midnight, from the first to before the last."""

    name: str
    dates: frozenset[date]
    hours: tuple[int, int] | None = None
    diets: tuple[str, ...] = ()
    never_items: frozenset[str] = frozenset()
    never_tags: frozenset[str] = frozenset()

    def keeps(self, minute: int) -> bool:
        """Tell whether nothing is eaten at a time of day, in minutes after midnight."""
        if self.hours is None:
            return False
        start, end = self.hours
        return start <= minute < end


def fast_of(name: str, table: FastTable) -> Fast:
    """Return a fast as the plan sees it."""
    hours = None
    if table.from_ is not None and table.to is not None:
        hours = (minutes(table.from_), minutes(table.to))
    return Fast(
        name,
        frozenset(table.dates),
        hours,
        table.diets,
        frozenset(table.never_items),
        frozenset(table.never_tags),
    )
