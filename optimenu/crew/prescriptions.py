"""What a physician has laid down for a person; kept in a file apart from the config.

Papers for the crew say what to avoid, never why.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import Field

from optimenu.catalogue.columns import ALLERGENS
from optimenu.crew.fasts import Fast, FastTable, fast_of, fast_slips
from optimenu.crew.foods import Foods
from optimenu.errors import nearest
from optimenu.nutrition.nutrients import BY_COLUMN
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
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import date

    from optimenu.catalogue.item import Catalogue

Severity = Literal["severe", "avoid"]
Window = Literal["meal", "day", "three_days", "seven_days", "stay"]
WINDOWS: tuple[Window, ...] = ("meal", "day", "three_days", "seven_days", "stay")
Hours = Annotated[Number, Span(least=0, most=24), Unit("h")]
Apart = Annotated[Number, Span(above=0, most=24), Unit("h")]
Key = str | int


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


def impossible(table: PrescriptionTable) -> Iterator[tuple[tuple[Key, ...], str]]:
    """Keys inside the prescription, and what cannot be, whatever the catalogue holds."""
    yield from _limit_slips(table)
    for name, supplement in table.supplements.items():
        for column in supplement.amounts:
            if column not in BY_COLUMN:
                text = f'no nutrient column "{column}".{nearest(column, sorted(BY_COLUMN))}'
                yield ("supplements", name, "amounts", column), text
    yield from fast_slips(table.fasts)
    for allergen in table.intolerances:
        if allergen not in ALLERGENS:
            yield ("intolerances", allergen), f'no allergen "{allergen}".{nearest(allergen, ALLERGENS)}'
        elif allergen in table.allergies:
            text = f"{allergen} is under allergies already, which exclude it; keep one of the two"
            yield ("intolerances", allergen), text
    for texture in sorted({*table.only_textures} & {*table.never_textures}):
        yield ("never_textures",), f'"{texture}" is in only_textures too; keep one of the two'
    yield from _clock_slips(table)


def _limit_slips(table: PrescriptionTable) -> Iterator[tuple[tuple[Key, ...], str]]:
    for column, limits in table.limits.items():
        if not limits.bands() and limits.step is None:
            yield ("limits", column), f"says nothing; set one of {', '.join(WINDOWS)} or step"
        for window, band in limits.bands().items():
            if band.low is None and band.high is None:
                yield ("limits", column, window), "set low or high"
            if band.low is not None and band.high is not None and band.low > band.high:
                yield ("limits", column, window, "low"), f"low {band.low} is over high {band.high}"


def _clock_slips(table: PrescriptionTable) -> Iterator[tuple[tuple[Key, ...], str]]:
    for name, medicine in table.medicines.items():
        if not medicine.at:
            yield ("medicines", name, "at"), 'a medicine needs the times of its doses, such as ["07:00"]'
        if not medicine.apart:
            text = "says nothing: name in apart what is kept away from it"
            yield ("medicines", name), text
        for k, foods in enumerate(medicine.apart):
            keys: tuple[Key, ...] = ("medicines", name, "apart", k)
            yield from ((_inside(keys, key), text) for key, text in foods.slips())
            if not foods.hours_before and not foods.hours_after:
                yield keys, "set hours_before or hours_after"
    for name, pair in table.apart.items():
        for side in ("these", "those"):
            for key, text in getattr(pair, side).slips():
                yield _inside(("apart", name, side), key), text


def absent(table: PrescriptionTable, catalogue: Catalogue) -> Iterator[tuple[tuple[Key, ...], str]]:
    """Keys inside the prescription that name what the catalogue lacks: it could not be kept, so refused."""
    textures = sorted({i.texture for i in catalogue.items if i.texture})
    known = {
        "never_items": sorted(catalogue.by_id),
        "never_tags": sorted({t for i in catalogue.items for t in i.tags}),
        "only_textures": textures,
        "never_textures": textures,
    }
    owners: list[tuple[tuple[Key, ...], Settings]] = [((), table)]
    owners += [(("fasts", name), fast) for name, fast in table.fasts.items()]
    for keys, owner in owners:
        for key, names in known.items():
            for name in getattr(owner, key, ()):
                if name not in names:
                    word = key.split("_")[1].removesuffix("s")
                    yield (*keys, key), f'no {word} "{name}" in the catalogue.{nearest(name, names)}'
    for column in table.limits:
        if column not in catalogue.columns:
            text = f"the catalogue has no nutrient column {column}, so the limit cannot be kept."
            yield ("limits", column), text + nearest(column, sorted(catalogue.columns))
    for name, medicine in table.medicines.items():
        for k, foods in enumerate(medicine.apart):
            for key, text in foods.absent(catalogue):
                yield ("medicines", name, "apart", k, key), text
    for name, pair in table.apart.items():
        for side in ("these", "those"):
            for key, text in getattr(pair, side).absent(catalogue):
                yield ("apart", name, side, key), text


def _inside(keys: tuple[Key, ...], key: str) -> tuple[Key, ...]:
    return (*keys, key) if key else keys
