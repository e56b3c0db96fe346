"""Settings of the nutrients rule, and how they and the published intakes become single asks."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field

from optimenu.nutrition.covered import YOUNGEST
from optimenu.nutrition.intakes import reference_intakes
from optimenu.settings import Flag, Names, NonNegative, Percent, Positive, Role, Settings, Unit, Word

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping

    from optimenu.crew.people import Person
    from optimenu.nutrition.intakes import Intake
    from optimenu.problem.problem import Problem

Window = Literal["meal", "day", "three_days", "seven_days", "stay"]
Side = Literal["low", "high"]
WINDOW_DATES: Mapping[str, int] = {"meal": 1, "day": 1, "three_days": 3, "seven_days": 7}


class LineTable(Settings):
    """Least and most of one nutrient, for whom and when the table says."""

    low: NonNegative | None = None
    """Least a day (a meal, for the window meal), in the nutrient's unit."""
    high: NonNegative | None = None
    """Most a day (a meal, for the window meal), in the nutrient's unit."""
    price: NonNegative | None = None
    """Makes the limit soft: price in mean liking for each unit outside."""
    who: Role | None = None
    """Who may loosen it; the dietitian unless said."""
    ledger: Literal["all", "food"] | None = None
    """Count food and prescribed supplements, or food only; food and supplements unless said."""


class PersonLineTable(LineTable):
    """The same for one person."""

    on: dict[str, LineTable] = Field(default_factory=dict)
    """For this person on a day kind; only for the windows meal and day."""


class LimitTable(PersonLineTable):
    """The same for everybody; the narrowest table that states a line wins, line by line."""

    for_: Annotated[dict[str, PersonLineTable], Names("person")] = Field(default_factory=dict, alias="for")
    """For one person."""


class EnergyTable(Settings):
    """How close energy keeps to each person's requirement."""

    day_within: Percent = Decimal(10)
    """Most a day may differ from that day's requirement."""
    stay_within: Percent = Decimal(3)
    """Most the mean over the stay may differ from the mean requirement."""
    who: Role = "dietitian"
    """Who may loosen it."""


class ReferenceTable(Settings):
    """Published reference intakes: floors on the mean over the stay, ceilings on the mean of 7 dates."""

    use: Flag = True
    """Ask for them at all."""
    leave_out: tuple[str, ...] = ()
    """Nutrient columns not asked for."""
    ai_price: NonNegative = Decimal("0.0002")
    """Price of each percent below an Adequate Intake (AI), in mean liking; an AI is never hard."""
    soft_ceilings: dict[str, NonNegative] = Field(default_factory=dict)
    """Nutrient column to the price, in mean liking, of each percent over its ceiling; hard otherwise."""


class RatioTable(Settings):
    """Ratio of two nutrients over a window."""

    top: str
    """Nutrient column above the line."""
    bottom: str
    """Nutrient column below the line."""
    low: NonNegative | None = None
    """Least."""
    high: NonNegative | None = None
    """Most."""
    window: Window = "stay"
    """Dates it is judged over."""
    price: NonNegative | None = None
    """Makes it soft: price in mean liking for each unit of the top nutrient that is missing or too much."""
    who: Role = "dietitian"
    """Who may loosen it."""


class ShareTable(Settings):
    """Share of energy from a nutrient."""

    low: Percent | None = None
    """Least, % of energy."""
    high: Percent | None = None
    """Most, % of energy."""
    kcal_per_g: Annotated[Positive, Unit("kcal/g")]
    """Energy of one gram: 4 protein, 9 fat, 4 carbohydrate (FAO Food and Nutrition Paper 77, 2003)."""
    window: Window = "day"
    """Dates it is judged over."""
    on: dict[str, LineTable] = Field(default_factory=dict)
    """Other limits on a day kind; only for the windows meal and day."""
    price: NonNegative | None = None
    """Makes it soft: price in mean liking for each kcal outside."""
    who: Role = "dietitian"
    """Who may loosen it."""


class DensityTable(Settings):
    """Amount per 1000 kcal."""

    low: NonNegative | None = None
    """Least, in the nutrient's unit per 1000 kcal."""
    high: NonNegative | None = None
    """Most, in the nutrient's unit per 1000 kcal."""
    window: Window = "stay"
    """Dates it is judged over."""
    price: NonNegative | None = None
    """Makes it soft: price in mean liking for each unit outside."""
    who: Role = "dietitian"
    """Who may loosen it."""


class FluidTable(Settings):
    """Fluid a person-day by the day's work: food, water added to it and plain drinking water."""

    ml_per_kcal: Annotated[Positive, Unit("mL/kcal")]
    """Least for each kcal of that day's energy requirement: 1.0, and up to 1.5 at high activity and in
    heat (National Research Council, Recommended Dietary Allowances, 10th edition, 1989; from memory)."""
    extra_ml: dict[str, Annotated[NonNegative, Unit("mL")]] = Field(default_factory=dict)
    """More of it, in mL a day, on a day kind, for climate or sweat."""
    price: NonNegative | None = None
    """Makes it soft: price in mean liking for each mL missing."""
    who: Role = "dietitian"
    """Who may loosen it."""


class NutrientsSettings(Settings):
    """Nutrient ranges."""

    energy: EnergyTable = EnergyTable()
    """Energy against requirement."""
    reference: ReferenceTable = ReferenceTable()
    """Published reference intakes."""
    limits: dict[str, dict[Window, LimitTable]] = Field(default_factory=dict)
    """Nutrient column (``NA_mg``) to window to limits."""
    shares: dict[str, ShareTable] = Field(default_factory=dict)
    """Nutrient column to its share of energy."""
    per_1000_kcal: dict[str, DensityTable] = Field(default_factory=dict)
    """Nutrient column to its amount per 1000 kcal."""
    ratios: dict[Word, RatioTable] = Field(default_factory=dict)
    """Ratios of two nutrients, by a name of yours."""
    fluid: FluidTable | None = None
    """Fluid by the day's work."""


@dataclass(frozen=True)
class Line:
    """One side of one limit for one person on one day kind, after the narrowest has won."""

    value: Decimal
    key: str
    price: Decimal | None
    who: str
    food_only: bool


def column_of(intake: Intake, columns: Collection[str]) -> str:
    """Return the column a floor is asked of: the stand-in where the catalogue lacks the nutrient's own."""
    if intake.column not in columns and intake.floor_stand_in in columns:
        return intake.floor_stand_in
    return intake.column


def lines(
    settings: NutrientsSettings, person: Person, kind: str, columns: Collection[str]
) -> dict[tuple[str, str, str], Line]:
    """Limits of a person on a day kind by (column, window, side); ``kind`` empty: windows over many days.

    From wide to narrow: published, everybody, day kind, person, person on a day kind, prescription.
    """
    found: dict[tuple[str, str, str], Line] = {}
    for key, line in _published(settings.reference, person, columns):
        found[key] = line
    for column, windows in settings.limits.items():
        for window, table in windows.items():
            base = f"nutrients.limits.{column}.{window}"
            layers: list[tuple[str, LineTable]] = [(base, table)]
            if kind in table.on and window in ("meal", "day"):
                layers.append((f"{base}.on.{kind}", table.on[kind]))
            own = table.for_.get(person.id)
            if own is not None:
                layers.append((f"{base}.for.{person.id}", own))
                if kind in own.on and window in ("meal", "day"):
                    layers.append((f"{base}.for.{person.id}.on.{kind}", own.on[kind]))
            for key, line in _layered(column, window, layers):
                found[key] = line
    for column, bands in person.prescription.limits.items():
        for span, (low, high) in bands.items():
            for side, value in (("low", low), ("high", high)):
                if value is not None:
                    key_text = f"prescriptions.people.{person.id}.limits.{column}.{span}.{side}"
                    found[column, span, side] = Line(value, key_text, None, "physician", food_only=False)
    return found


def _layered(
    column: str, window: str, layers: list[tuple[str, LineTable]]
) -> Iterator[tuple[tuple[str, str, str], Line]]:
    for side in ("low", "high"):
        value = None
        key, price, who, ledger = "", None, "dietitian", "all"
        for base, table in layers:
            stated = getattr(table, side)
            if stated is not None:
                value, key, price = stated, f"{base}.{side}", table.price
            who = table.who or who
            ledger = table.ledger or ledger
        if value is not None:
            yield (column, window, side), Line(value, key, price, who, ledger == "food")


def _published(
    reference: ReferenceTable, person: Person, columns: Collection[str]
) -> Iterator[tuple[tuple[str, str, str], Line]]:
    if not reference.use:
        return
    for intake in reference_intakes(person.sex, person.age):
        column = column_of(intake, columns)
        amount = floor_of(intake, person)
        if amount is not None and column not in reference.leave_out:
            price = None
            if intake.kind == "AI":
                price = reference.ai_price / amount * 100
            yield (
                (column, "stay", "low"),
                Line(amount, f"nutrients.reference.{intake.kind}", price, "dietitian", food_only=False),
            )
        top = intake.upper_column
        if intake.upper is not None and top and top not in reference.leave_out:
            percent = reference.soft_ceilings.get(top)
            price = None
            if percent is not None:
                price = percent / intake.upper * 100
            yield (
                (top, "seven_days", "high"),
                Line(
                    intake.upper,
                    f"nutrients.reference.{intake.upper_kind}",
                    price,
                    "physician",
                    food_only=False,
                ),
            )


def floor_of(intake: Intake, person: Person) -> Decimal | None:
    """Recommended or adequate intake of a person in the column's unit a day, None when there is none."""
    if intake.kind not in ("RDA", "AI"):
        return None
    if intake.per_kg_body_mass is not None:
        return intake.per_kg_body_mass * person.mass_kg
    return intake.amount


@cache
def _published_columns() -> tuple[frozenset[str], frozenset[str]]:
    """Columns with a published floor, stand-ins among them, and columns with a published ceiling."""
    # every adult has the same rows; only the amounts differ
    every = [i for sex in ("female", "male") for i in reference_intakes(sex, YOUNGEST)]
    floors = {c for i in every if i.kind in ("RDA", "AI") for c in (i.column, i.floor_stand_in) if c}
    return frozenset(floors), frozenset(i.upper_column for i in every if i.upper_column)


def replaced_intake(keys: tuple[str, ...], old: Any, new: Any, below: Mapping[str, Any]) -> Role | None:
    """Return who may lift the published intake that a setting of this table lifts or takes the place of.

    A published ceiling is the physician's, a floor the dietitian's. A limit of the same nutrient over
    the same window takes an intake's place, for everybody or for one person.
    """
    floors, ceilings = _published_columns()
    if keys[:1] == ("reference",):
        if keys[1:2] == ("leave_out",):
            lists = [set(map(str, v)) if isinstance(v, list) else set() for v in (old, new)]
            return "physician" if (lists[0] ^ lists[1]) & ceilings else "dietitian"
        return "physician" if keys[1:2] in (("use",), ("soft_ceilings",)) else "dietitian"
    if keys[:1] != ("limits",) or len(keys) < 4:
        return None
    column, window, side = keys[1], keys[2], keys[-1]
    reference = below.get("reference")
    reference = reference if isinstance(reference, dict) else {}
    out = reference.get("leave_out")
    if reference.get("use") is False or (isinstance(out, list) and column in out):
        return None
    table: Any = below.get("limits")
    for key in (column, window):
        table = table.get(key) if isinstance(table, dict) else None
    if isinstance(table, dict) and side in table:
        return None  # the intake gave way in a file below
    if (window, side) == ("seven_days", "high") and column in ceilings:
        return "physician"
    return "dietitian" if (window, side) == ("stay", "low") and column in floors else None


def not_assessed(settings: NutrientsSettings, problem: Problem) -> tuple[str, ...]:
    """Published nutrients without a catalogue column, or left out by the config: not assessed, never met."""
    if not settings.reference.use:
        return ()
    missing: dict[str, None] = {}
    for person in problem.people:
        for intake in reference_intakes(person.sex, person.age):
            column = column_of(intake, problem.catalogue.columns)
            if (floor_of(intake, person) is not None or intake.upper is not None) and (
                column not in problem.catalogue.columns or column in settings.reference.leave_out
            ):
                missing[column] = None
    return tuple(missing)
