"""What a physician has laid down for a person; kept in a file apart from the config.

Papers for the crew say what to avoid, never why.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import Field

from optimenu.errors import nearest
from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.settings import Day, NonNegative, Role, Settings, Text, Unit, Writer

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
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


class PrescriptionFile(Settings):
    """The file of prescriptions."""

    changed_by: ClassVar[Role | None] = "physician"

    role: Writer | None = None
    """Who writes this file; where it extends another, only the physician may change or add anything."""
    people: dict[str, PrescriptionTable]
    """Prescription by person."""


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
    by: str = ""
    date: date | None = None


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
        by=table.by,
        date=table.date,
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
