"""What a physician has laid down for a person; kept in a file apart from the config.

Papers for the crew say what to avoid, never why.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import Field

from optimenu.crew.fasts import Fast, FastTable, fast_of
from optimenu.crew.foods import Foods
from optimenu.settings import (
    Clock,
    Day,
    Flag,
    NonNegative,
    Number,
    Role,
    Settings,
    Span,
    Text,
    Unit,
    Whole,
    Word,
    Writer,
)

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable, Mapping
    from datetime import date

Severity = Literal["severe", "avoid"]
SEVERITY_WORDS = {"severe": "severe", "avoid": "avoid: what only may contain it is given"}
Window = Literal["meal", "day", "three_days", "seven_days", "stay"]
WINDOWS: tuple[Window, ...] = ("meal", "day", "three_days", "seven_days", "stay")
Hours = Annotated[Number, Span(least=0, most=24), Unit("h")]
Apart = Annotated[Number, Span(above=0, most=24), Unit("h")]


class Band(Settings):
    """Least and most of a nutrient over one window."""

    low: NonNegative | None = None
    """Least, in the nutrient's unit."""
    high: NonNegative | None = None
    """Most, in the nutrient's unit."""


class LimitsTable(Settings):
    """Limits of one nutrient."""

    meal: Band | None = None
    """At each meal; "at once" is a meal."""
    day: Band | None = None
    """On each day."""
    three_days: Band | None = None
    """Daily mean of any 3 dates in a row."""
    seven_days: Band | None = None
    """Daily mean of any 7 dates in a row."""
    stay: Band | None = None
    """Daily mean of the stay."""
    step: NonNegative | None = None
    """Largest change from one date to the next, in the nutrient's unit; days of arrival and departure
    that bring only a part of a day are left out."""

    def bands(self) -> dict[str, Band]:
        """Return limits by window."""
        return {w: band for w in WINDOWS if (band := getattr(self, w)) is not None}


class IntoleranceTable(Settings):
    """What a person bears of an allergen."""

    servings_a_day: Annotated[Whole, Span(least=1)]
    """Most servings a day of items that contain it, may contain it or are not known to be free of it."""


class MedicineApartTable(Foods):
    """Foods kept away from a medicine."""

    hours_before: Hours = Decimal(0)
    """Not eaten in so many hours before a dose."""
    hours_after: Hours = Decimal(0)
    """Not eaten in so many hours after a dose."""


class MedicineTable(Settings):
    """A medicine that does not go with some foods."""

    at: tuple[Clock, ...]
    """Clock times of the doses."""
    apart: tuple[MedicineApartTable, ...] = ()
    """Foods kept away from every dose."""


class ApartTable(Settings):
    """Two kinds of food kept apart by hours."""

    these: Foods
    """What is eaten first."""
    those: Foods
    """What is not eaten in the hours after it, nor in the same meal."""
    hours: Apart
    """Hours from the one meal's start to the other's; meals exactly so far apart are far enough."""
    both: Flag = False
    """The other way round too."""


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
    intolerances: dict[str, IntoleranceTable] = Field(default_factory=dict)
    """Allergen to what is borne of it a day; an allergen excluded altogether is under allergies."""
    only_textures: tuple[str, ...] = ()
    """Textures this person may be given; an item without a stated texture is left out."""
    never_textures: tuple[str, ...] = ()
    """Textures this person must not be given; an item without a stated texture is left out."""
    limits: dict[str, LimitsTable] = Field(default_factory=dict)
    """Nutrient column to limits by window, and the step; only a physician may loosen them."""
    medicines: dict[Word, MedicineTable] = Field(default_factory=dict)
    """Medicines and what is kept away from them, by a short name."""
    apart: dict[Word, ApartTable] = Field(default_factory=dict)
    """Foods kept apart by hours, by a short name."""
    supplements: dict[str, SupplementTable] = Field(default_factory=dict)
    """Supplements as prescribed, by a short name."""
    fasts: dict[str, FastTable] = Field(default_factory=dict)
    """Fasts, by a short name."""


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
    fasts: tuple[Fast, ...] = ()
    intolerances: Mapping[str, int] = field(default_factory=dict)
    """Allergen to most servings a day."""
    steps: Mapping[str, Decimal] = field(default_factory=dict)
    """Nutrient column to the largest change from one date to the next."""
    only_textures: frozenset[str] = frozenset()
    never_textures: frozenset[str] = frozenset()
    medicines: Mapping[str, MedicineTable] = field(default_factory=dict)
    apart: Mapping[str, ApartTable] = field(default_factory=dict)
    by: str = ""
    date: date | None = None

    def allergy_words(self) -> list[str]:
        """Allergies in words: what a severity lets pass is said."""
        return [
            f"{a.replace('_', ' ')} ({SEVERITY_WORDS[severity]})" for a, severity in self.allergies.items()
        ]

    @property
    def watched(self) -> dict[str, str]:
        """Allergens looked out for on papers, with what is laid down of each."""
        doses = {a: f"at most {n} a day" for a, n in self.intolerances.items()}
        return {**self.allergies, **doses}

    @property
    def named(self) -> tuple[str, ...]:
        """Allergens whose state in an item matters to this person."""
        found = dict.fromkeys((*self.allergies, *self.intolerances))
        for medicine in self.medicines.values():
            for foods in medicine.apart:
                found.update(dict.fromkeys(foods.contains))
        for pair in self.apart.values():
            found.update(dict.fromkeys((*pair.these.contains, *pair.those.contains)))
        return tuple(found)

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
            column: {window: (band.low, band.high) for window, band in bands.items()}
            for column, t in table.limits.items()
            if (bands := t.bands())
        },
        supplements=total,
        fasts=tuple(fast_of(name, fast) for name, fast in table.fasts.items()),
        intolerances={a: t.servings_a_day for a, t in table.intolerances.items()},
        steps={column: t.step for column, t in table.limits.items() if t.step is not None},
        only_textures=frozenset(table.only_textures),
        never_textures=frozenset(table.never_textures),
        medicines=dict(table.medicines),
        apart=dict(table.apart),
        by=table.by,
        date=table.date,
    )
