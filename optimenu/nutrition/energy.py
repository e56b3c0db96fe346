"""Energy a person needs: a day's sum from hours of activity; the published estimates are beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from optimenu.errors import nearest
from optimenu.nutrition.activities import Activity, Unit, activities
from optimenu.nutrition.covered import check_body, check_person
from optimenu.nutrition.requirement import (
    basal,
    basal_source,
    basal_unrounded,
    estimated_requirement,
    whole_kcal,
)

__all__ = [
    "EnergyPart",
    "EnergySum",
    "HoursFault",
    "basal",
    "estimated_requirement",
    "from_hours",
]

KJ_PER_KCAL = Decimal("4.184")
"""Thermochemical calorie: FAO Food and Nutrition Paper 77, 2003."""
HOURS_PER_DAY = 24
MINUTES_PER_HOUR = 60


class HoursFault(ValueError):
    """A day's hours do not hold together; `messages` has every reason found."""

    def __init__(self, messages: tuple[str, ...]) -> None:
        self.messages = messages
        super().__init__("\n".join(messages))


@dataclass(frozen=True)
class EnergyPart:
    """One activity of a day.

    Attributes
    ----------
    activity, name : str
        Id in the activity table and the activity as its source names it.
    hours : Decimal
        Hours a day.
    unit : {"met", "times_basal", "kj_per_min"}
        Unit of `value`; it decides the formula.
    value : Decimal
        Cost of the activity.
    kcal : Decimal
        Energy of this part, rounded once to whole kcal.
    working : str
        The calculation in words and numbers.
    source, read, note : str
        Where `value` comes from, how sure it is, what to know.
    """

    activity: str
    name: str
    hours: Decimal
    unit: Unit
    value: Decimal
    kcal: Decimal
    working: str
    source: str
    read: str
    note: str

    def __str__(self) -> str:
        sure = "" if self.read == "no source" else f"; {self.read}"
        return f"{self.activity}: {self.working} = {self.kcal} kcal ({self.source}{sure})"


@dataclass(frozen=True)
class EnergySum:
    """A day's energy as a sum that can be printed.

    Attributes
    ----------
    parts : tuple of EnergyPart
        In the order the hours were given.
    basal : Decimal
        Basal metabolism, whole kcal per day.
    equation, equation_source : str
        The basal equation and its published source.
    """

    parts: tuple[EnergyPart, ...]
    basal: Decimal
    equation: str
    equation_source: str

    @property
    def total(self) -> Decimal:
        """Kcal per day: the sum of the parts as printed, so that it can be added up by hand."""
        return sum((part.kcal for part in self.parts), Decimal(0))


def from_hours(
    sex: str,
    age: int,
    mass_kg: Decimal,
    height_m: Decimal,
    hours: Mapping[str, Decimal],
    equation: str = "mifflin",
    state: str = "",
) -> EnergySum:
    """Energy of a day from hours of named activities.

    Parameters
    ----------
    sex : str
        "male" or "female".
    age : int
        Whole years, from 19.
    mass_kg, height_m : Decimal
        Body mass in kg, height in m.
    hours : mapping of str to Decimal
        Activity id to hours; they add up to 24 exactly.
    equation : {"mifflin", "schofield"}
        Basal equation, used by activities counted in multiples of the basal rate.
    state : str
        Empty; any other word is refused.

    Returns
    -------
    EnergySum
        Parts with formula and source, and their total.

    Raises
    ------
    HoursFault
        For unknown activities, hours that are no amount of time, or that do not add up to 24.
    NotCovered
        For a person outside the tables or an unlikely mass or height.
    ValueError
        For an equation that is not there.

    Notes
    -----
    ``met``: value x 1 kcal/kg/h x mass x hours. ``times_basal``: value x basal / 24 x hours.
    ``kj_per_min``: value x 60 x hours / 4.184, whatever the person weighs.
    """
    check_person(sex, age, state)
    check_body(mass_kg, height_m)
    _check_hours(hours)
    rest = basal_unrounded(equation, sex, age, mass_kg, height_m)
    parts = tuple(_part(activities()[name], mass_kg, spent, rest) for name, spent in hours.items())
    return EnergySum(parts, whole_kcal(rest), equation, basal_source(equation))


def _check_hours(hours: Mapping[str, Decimal]) -> None:
    known = activities()
    messages = [
        f'No activity "{name}" in the table.{nearest(name, list(known))}'
        for name in hours
        if name not in known
    ]
    bad = {name: spent for name, spent in hours.items() if not spent.is_finite() or spent < 0}
    messages += [f"{name}: needs hours from 0 to 24, found {spent}." for name, spent in bad.items()]
    total = sum(hours.values(), Decimal(0))
    if not bad and total != HOURS_PER_DAY:
        messages.append(f"The hours of a day add up to {HOURS_PER_DAY}, found {total:f}.")
    if messages:
        raise HoursFault(tuple(messages))


def _part(activity: Activity, mass_kg: Decimal, hours: Decimal, rest: Decimal) -> EnergyPart:
    value = activity.value
    match activity.unit:
        case "met":
            exact = value * mass_kg * hours
            working = f"{hours:f} h x {value} kcal/kg/h x {mass_kg:f} kg"
        case "times_basal":
            exact = value * rest * hours / HOURS_PER_DAY
            working = f"{hours:f} h x {value} x {whole_kcal(rest)} kcal / {HOURS_PER_DAY} h"
        case "kj_per_min":
            exact = value * MINUTES_PER_HOUR * hours / KJ_PER_KCAL
            working = f"{hours:f} h x {MINUTES_PER_HOUR} min x {value} kJ/min / {KJ_PER_KCAL} kJ/kcal"
    return EnergyPart(
        activity=activity.id,
        name=activity.name,
        hours=hours,
        unit=activity.unit,
        value=value,
        kcal=whole_kcal(exact),
        working=working,
        source=activity.source,
        read=activity.read,
        note=activity.note,
    )
