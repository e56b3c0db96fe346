"""Tables of the config that describe a person."""

from __future__ import annotations

from collections.abc import Mapping  # at run time: settings' own hints are read where a key is unknown
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import Field

from optimenu.crew.prescriptions import Prescription, PrescriptionTable
from optimenu.nutrition import energy
from optimenu.nutrition.activities import activities
from optimenu.nutrition.requirement import basal_source
from optimenu.settings import (
    ChangedBy,
    ClockSpan,
    Colour,
    Letter,
    Number,
    Positive,
    Settings,
    Span,
    Text,
    Unit,
    Whole,
)  # fmt: skip

if TYPE_CHECKING:
    from collections.abc import Iterable

KCAL = Decimal(1)


class EnergyTable(Settings):
    """Energy requirement: given, or from a published activity level, or from hours of activity."""

    kcal: Annotated[Positive, Unit("kcal a day")] | None = None
    """Requirement as given, for example by a physician."""
    edition: Literal["2005", "2023"] | None = None
    """Edition of the published estimated energy requirement."""
    activity: Text | None = None
    """Activity level, in that edition's words."""
    hours: dict[str, Number] | None = None
    """Hours of each named activity; they add up to 24."""

    def ways(self) -> int:
        """Return how many of the three ways are used; one is right."""
        return sum((self.kcal is not None, self.edition is not None, self.hours is not None))


class PersonTable(Settings):
    """One person of the crew."""

    elsewhere: ClassVar[Mapping[str, str]] = dict.fromkeys(
        PrescriptionTable.model_fields,
        "goes into the prescriptions file, the one that [prescriptions] names, under [people.NAME] there",
    )

    name: Annotated[Text, ChangedBy("planner")]
    """Name on menus and labels."""
    sex: Literal["female", "male"]
    """As the reference tables use it."""
    age: Annotated[Whole, Unit("years")]
    """On the first day; the tables cover 19 to 110, and nobody else can be planned for."""
    mass_kg: Annotated[Positive, Unit("kg")]
    """Body mass."""
    height_m: Annotated[Positive, Span(above=0, most=3), Unit("m")]
    """Height."""
    state: Text | None = None
    """Pregnant, lactating or any other: refused, the tables in use do not cover it."""
    energy: EnergyTable
    """Requirement on every day without one of its own."""
    energy_on: dict[str, EnergyTable] = Field(default_factory=dict)
    """Requirement by day kind."""
    floor: Annotated[Number, Span(least=1, most=9)] = Decimal(5)
    """Lowest acceptance score this person is given, on the nine-point scale."""
    floor_reason: Text | None = None
    """Why the floor is under 5."""
    sleep: tuple[ClockSpan, ...] = ()
    """Hours of sleep, as pairs of times; those of the person's watch when left out."""
    mark: Annotated[Letter | None, ChangedBy("planner")] = None
    """Letter on screens and papers; the first free letter of the name when absent."""
    colour: Annotated[Colour | None, ChangedBy("planner")] = None
    """Colour on screens, as #RRGGBB; never the only way to tell people apart."""


def activity_sources(people: Iterable[PersonTable]) -> tuple[str, ...]:
    """Say where the figures behind these people's hours come from, a line a source; none without hours."""
    found: dict[str, list[str]] = {}
    for table in people:
        for source in (table.energy, *table.energy_on.values()):
            for name in source.hours or {}:
                activity = activities()[name]
                sure = "" if activity.read == "no source" else f"; {activity.read}"
                names = found.setdefault(f"{activity.source}{sure}", [])
                names += [name] if name not in names else []
                if activity.unit == "times_basal":
                    found[basal_source("mifflin")] = ["basal metabolism"]
    return tuple(f"{', '.join(names)}: {source}" for source, names in found.items())


@dataclass(frozen=True)
class Person:
    """A person as the plan sees them.

    Attributes
    ----------
    kcal : mapping of str to Decimal
        Requirement by day kind; the empty string is every other day.
    steps : tuple of str
        How the requirement was reached, line by line with sources; those of activities are in
        `activity_sources`.
    """

    id: str
    name: str
    sex: str
    age: int
    mass_kg: Decimal
    height_m: Decimal
    floor: Decimal
    kcal: Mapping[str, Decimal]
    prescription: Prescription = field(default_factory=Prescription)
    mark: str = ""
    colour: str = ""
    steps: tuple[str, ...] = ()

    def kcal_on(self, kind: str) -> Decimal:
        """Requirement on a day of this kind, kcal."""
        return self.kcal.get(kind, self.kcal[""])


def requirement(table: PersonTable, source: EnergyTable) -> tuple[Decimal, tuple[str, ...]]:
    """Return kcal a day and the steps that lead there.

    Raises
    ------
    ValueError
        When the published table does not cover the person, or the hours are wrong; the text says why.
    """
    if source.kcal is not None:
        return source.kcal, (f"{source.kcal} kcal a day, as given",)
    if source.hours is not None:
        total = energy.from_hours(
            table.sex, table.age, table.mass_kg, table.height_m, source.hours, state=table.state or ""
        )
        parts = "; ".join(f"{part.activity} {part.working} = {part.kcal} kcal" for part in total.parts)
        return total.total, (f"{total.total} kcal a day, the sum of: {parts}",)
    value = energy.estimated_requirement(
        source.edition or "",
        table.sex,
        table.age,
        table.mass_kg,
        table.height_m,
        source.activity or "",
        table.state or "",
    )
    return value, (
        f"{value} kcal a day: estimated energy requirement, {source.edition} edition, {source.activity}",
    )
