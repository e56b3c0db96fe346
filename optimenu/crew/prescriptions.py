"""What a physician has laid down for a person; kept in a file apart from the config.

Papers for the crew say what to avoid, never why.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from optimenu.errors import nearest
from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.settings import Clock, Day, NonNegative, Settings, Text, Unit, minutes

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import date

Severity = Literal["severe", "avoid"]


class Band(Settings):
    """Least and most of a nutrient over one window."""

    low: NonNegative | None = None
    """Least, in the nutrient's unit."""
    high: NonNegative | None = None
    """Most, in the nutrient's unit."""


class SupplementTable(Settings):
    """A prescribed supplement; never chosen by the plan to repair a menu."""

    name: Text
    """As on its label."""
    per_day: Annotated[NonNegative, Unit("pieces")] = Decimal(1)
    """Pieces a day."""
    amounts: dict[str, NonNegative]
    """Nutrient column (``VITD_ug``) to amount in one piece."""


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


class PrescriptionTable(Settings):
    """What one person must have or must not have."""

    by: Text
    """Who prescribed it."""
    date: Day
    """When."""
    allergies: dict[str, Severity] = Field(default_factory=dict)
    """Allergen to severity. Severe: contains, may contain and unknown are all excluded.
    Avoid: contains and unknown are excluded."""
    diets: tuple[str, ...] = ()
    """Diet flags the items must carry as ``yes``."""
    never_items: tuple[str, ...] = ()
    """Items this person must not be given."""
    never_tags: tuple[str, ...] = ()
    """Tags of items this person must not be given."""
    limits: dict[str, dict[Literal["meal", "day", "three_days", "seven_days", "stay"], Band]] = Field(
        default_factory=dict
    )
    """Nutrient column to window to limits; only a physician may loosen them."""
    supplements: dict[str, SupplementTable] = Field(default_factory=dict)
    """Supplements as prescribed, by a short name."""
    fasts: dict[str, FastTable] = Field(default_factory=dict)
    """Fasts, by a short name."""


class PrescriptionFile(Settings):
    """The file of prescriptions."""

    people: dict[str, PrescriptionTable]
    """Prescription by person."""


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
        return start <= minute < end if start < end else minute >= start or minute < end


@dataclass(frozen=True)
class Prescription:
    """Resolved prescription; an empty one for a person without."""

    allergies: Mapping[str, str] = field(default_factory=dict)
    diets: tuple[str, ...] = ()
    never_items: frozenset[str] = frozenset()
    never_tags: frozenset[str] = frozenset()
    limits: Mapping[str, Mapping[str, tuple[Decimal | None, Decimal | None]]] = field(default_factory=dict)
    supplements: Mapping[str, Decimal] = field(default_factory=dict)
    """Nutrient column to amount a day, all supplements together."""
    fasts: tuple[Fast, ...] = ()
    by: str = ""
    date: date | None = None

    @property
    def severe(self) -> bool:
        """True with any severe allergy: no pack kept open is shared with others."""
        return "severe" in self.allergies.values()

    def fasts_on(self, dates: Iterable[datetime.date]) -> list[Fast]:
        """Fasts kept on any of these dates."""
        wanted = set(dates)
        return [f for f in self.fasts if not wanted.isdisjoint(f.dates)]


def resolve(table: PrescriptionTable) -> Prescription:
    """Return the prescription with supplements summed per day."""
    total: dict[str, Decimal] = {}
    for supplement in table.supplements.values():
        for column, amount in supplement.amounts.items():
            total[column] = total.get(column, Decimal(0)) + amount * supplement.per_day
    return Prescription(
        allergies=dict(table.allergies),
        diets=table.diets,
        never_items=frozenset(table.never_items),
        never_tags=frozenset(table.never_tags),
        limits={
            column: {window: (band.low, band.high) for window, band in windows.items()}
            for column, windows in table.limits.items()
        },
        supplements=total,
        fasts=tuple(_fast(name, fast) for name, fast in table.fasts.items()),
        by=table.by,
        date=table.date,
    )


def _fast(name: str, table: FastTable) -> Fast:
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


def impossible(table: PrescriptionTable) -> Iterator[tuple[tuple[str, ...], str]]:
    """Keys inside the prescription, and what cannot be: limits upside down, supplements of no nutrient."""
    for column, windows in table.limits.items():
        for window, band in windows.items():
            if band.low is not None and band.high is not None and band.low > band.high:
                yield ("limits", column, window, "low"), f"low {band.low} is over high {band.high}"
    for name, supplement in table.supplements.items():
        for column in supplement.amounts:
            if column not in BY_COLUMN:
                text = f'no nutrient column "{column}".{nearest(column, sorted(BY_COLUMN))}'
                yield ("supplements", name, "amounts", column), text
    for name, fast in table.fasts.items():
        if (fast.from_ is None) != (fast.to is None):
            yield ("fasts", name), "from and to go together; set both or neither"
        elif fast.from_ is not None and fast.from_ == fast.to:
            yield ("fasts", name, "to"), "a fast of a whole day leaves no meal; ask the physician"
        elif fast.from_ is None and not (fast.diets or fast.never_items or fast.never_tags):
            yield ("fasts", name), "set from and to, or diets, never_items or never_tags"
