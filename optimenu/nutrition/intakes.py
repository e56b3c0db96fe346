"""Reference intakes of adults: what to reach, what not to exceed, and in which form.

Numbers are kept as printed in ``data/reference_intakes.csv``, with their source; what a number
means for a catalogue column (unit, form an upper level names, stand-ins) is in
``data/intake_columns.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Literal, cast

from optimenu.nutrition.covered import check_person
from optimenu.nutrition.tables import in_band, number, rows

Kind = Literal["RDA", "AI", "none"]
UpperKind = Literal["UL", "CDRR", ""]
Form = Literal["total", "preformed", "added", "supplement", ""]


@dataclass(frozen=True)
class Intake:
    """One row of the reference intakes for one person, per day.

    Attributes
    ----------
    column : str
        Catalogue column of the floor, such as ``FE_mg``. A catalogue may lack it: the nutrient
        is then "not assessed", never "met".
    name : str
        Name a dietitian reads.
    amount : Decimal or None
        What to reach, in the column's unit; None if the table has none.
    kind : {"RDA", "AI", "none"}
        What `amount` is.
    per_kg_body_mass : Decimal or None
        The same need per kg of the person (protein only); it goes before `amount`.
    upper : Decimal or None
        What not to exceed, in the unit of `column`; None if no level could be set.
    upper_kind : {"UL", "CDRR", ""}
        CDRR: chronic disease risk reduction intake (sodium), which is no UL.
    upper_form : {"total", "preformed", "added", "supplement", ""}
        The form the ceiling counts.
    upper_column : str
        Catalogue column of that form; empty when only supplements count or there is no ceiling.
    floor_stand_in : str
        Column that gives a safe lower estimate of `column` where a catalogue lacks it, or empty.
    source, upper_source, note : str
        Published source of the two numbers, and what to know before using them.
    """

    column: str
    name: str
    amount: Decimal | None
    kind: Kind
    per_kg_body_mass: Decimal | None
    upper: Decimal | None
    upper_kind: UpperKind
    upper_form: Form
    upper_column: str
    floor_stand_in: str
    source: str
    upper_source: str
    note: str


@dataclass(frozen=True)
class EnergyShare:
    """Acceptable range of a nutrient's share of the day's energy (AMDR), adults.

    Attributes
    ----------
    column, name : str
        Catalogue column and name.
    low, high : Decimal
        Percent of energy.
    kcal_per_g : Decimal
        General factor that turns grams into energy.
    source, kcal_source, note : str
        Published source of the range and of the factor, and what to know.
    """

    column: str
    name: str
    low: Decimal
    high: Decimal
    kcal_per_g: Decimal
    source: str
    kcal_source: str
    note: str


def reference_intakes(sex: str, age: int, state: str = "") -> tuple[Intake, ...]:
    """Reference intakes of one adult, in the units of the catalogue columns.

    Sodium has two rows: its AI, and its CDRR as a ceiling.

    Parameters
    ----------
    sex : str
        "male" or "female".
    age : int
        Whole years, from 19.
    state : str
        Empty; "pregnant", "lactating" and anything else is refused.

    Returns
    -------
    tuple of Intake
        In the order of the tables; never empty.

    Raises
    ------
    NotCovered
        For an age, sex or state outside the tables.

    Notes
    -----
    Source: National Academies, Dietary Reference Intakes, summary tables; each row names its own.
    """
    check_person(sex, age, state)
    return _intakes(sex, age)


@cache
def _intakes(sex: str, age: int) -> tuple[Intake, ...]:
    meaning = {row["column"]: row for row in rows("intake_columns.csv")}
    found = []
    for row in rows("reference_intakes.csv"):
        if not in_band(row, sex, age):
            continue
        column = meaning[row["column"]]
        factor = Decimal(column["column_units_per_printed_unit"])
        amount, upper = number(row["amount"]), number(row["upper"])
        has_upper = upper is not None
        found.append(
            Intake(
                column=row["column"],
                name=row["name"],
                amount=None if amount is None else amount * factor,
                kind=cast("Kind", row["kind"]),
                per_kg_body_mass=number(row["amount_per_kg_body_mass"]),
                upper=None if upper is None else upper * factor,
                upper_kind=cast("UpperKind", row["upper_kind"]),
                upper_form=cast("Form", column["upper_form"] if has_upper else ""),
                upper_column=column["upper_column"] if has_upper else "",
                floor_stand_in=column["floor_stand_in"],
                source=row["source"],
                upper_source=row["upper_source"],
                note=" ".join(filter(None, (column["note"], row["note"]))),
            )
        )
    return tuple(found)


@cache
def energy_shares() -> tuple[EnergyShare, ...]:
    """Acceptable macronutrient distribution ranges of adults, percent of energy.

    Returns
    -------
    tuple of EnergyShare
        Protein, fat, carbohydrate, 18:2, 18:3.

    Notes
    -----
    Source: National Academies, Dietary Reference Intakes (AMDR); FAO Paper 77 (kcal per g).
    """
    return tuple(
        EnergyShare(
            column=row["column"],
            name=row["name"],
            low=Decimal(row["low_percent"]),
            high=Decimal(row["high_percent"]),
            kcal_per_g=Decimal(row["kcal_per_g"]),
            source=row["source"],
            kcal_source=row["kcal_source"],
            note=row["note"],
        )
        for row in rows("energy_shares.csv")
    )
