"""Basal metabolism and the published estimates of a day's energy requirement."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from optimenu.errors import nearest
from optimenu.nutrition.covered import check_body, check_person
from optimenu.nutrition.tables import equations

CM_PER_M = 100


def whole_kcal(value: Decimal) -> Decimal:
    """Round once to whole kcal, halves away from zero."""
    return value.quantize(Decimal(1), ROUND_HALF_UP)


def _pick(group: Any, name: str, what: str) -> Any:
    if name not in group:
        raise ValueError(f'No {what} "{name}"; there is {_words(group)}.{nearest(name, list(group))}')
    return group[name]


def _words(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def basal_unrounded(equation: str, sex: str, age: int, mass_kg: Decimal, height_m: Decimal) -> Decimal:
    """Basal metabolism as `basal` gives it, before its rounding; for sums that go on from it."""
    bands = _pick(equations()["basal"], equation, "basal equation")[sex]
    row = next(band for band in reversed(bands) if age >= band["from_age"])
    total: Decimal = (
        row["mass"] * mass_kg + row["height"] * height_m * CM_PER_M + row["age"] * age + row["constant"]
    )
    return total


def basal_source(equation: str) -> str:
    """Published source of a basal equation."""
    return str(_pick(equations()["basal"], equation, "basal equation")["source"])


def basal(equation: str, sex: str, age: int, mass_kg: Decimal, height_m: Decimal, state: str = "") -> Decimal:
    """Energy a person spends at rest, whole kcal per day.

    Parameters
    ----------
    equation : {"mifflin", "schofield"}
        "mifflin": the simplified equation of Mifflin et al. 1990 (people of 19 to 78 years were
        measured). "schofield": FAO/WHO/UNU 2001, Table 5.2, which leaves height out.
    sex : str
        "male" or "female".
    age : int
        Whole years, from 19. The age that ends a band of "schofield" begins the next (30, 60).
    mass_kg, height_m : Decimal
        Body mass in kg, height in m.
    state : str
        Empty; any other word is refused.

    Returns
    -------
    Decimal
        kcal per day, rounded once, halves up.

    Raises
    ------
    NotCovered
        For a person outside the tables or an unlikely mass or height.
    ValueError
        For an equation that is not there.
    """
    check_person(sex, age, state)
    check_body(mass_kg, height_m)
    return whole_kcal(basal_unrounded(equation, sex, age, mass_kg, height_m))


def estimated_requirement(
    edition: str,
    sex: str,
    age: int,
    mass_kg: Decimal,
    height_m: Decimal,
    activity: str,
    state: str = "",
) -> Decimal:
    """Estimated energy requirement of an adult, whole kcal per day.

    Parameters
    ----------
    edition : {"2005", "2023"}
        2005: Institute of Medicine; made from people with a body mass index of 18.5 to 25.
        2023: National Academies, Table S-1.
    sex : str
        "male" or "female".
    age : int
        Whole years, from 19.
    mass_kg, height_m : Decimal
        Body mass in kg, height in m.
    activity : str
        2005: "sedentary", "low_active", "active", "very_active" (physical activity level 1.0, 1.4,
        1.6, 1.9 and above). 2023: "inactive", "low_active", "active", "very_active" (1.0, 1.53,
        1.68, 1.85 and above). The same word is not the same level in both.
    state : str
        Empty; any other word is refused.

    Returns
    -------
    Decimal
        kcal per day, rounded once, halves up. The need of a single person differs; watch body mass.

    Raises
    ------
    NotCovered
        For a person outside the tables or an unlikely mass or height.
    ValueError
        For an edition or activity word that is not there.
    """
    check_person(sex, age, state)
    check_body(mass_kg, height_m)
    table = _pick(equations()["estimated_requirement"], edition, "edition")[sex]
    what = f"activity level of the {edition} edition"
    if edition == "2005":
        factor = _pick(table["activity"], activity, what)
        body = table["mass"] * mass_kg + table["height"] * height_m
        return whole_kcal(table["constant"] + table["age"] * age + factor * body)
    row = _pick(table, activity, what)
    body = row["mass"] * mass_kg + row["height"] * height_m * CM_PER_M
    return whole_kcal(row["constant"] + row["age"] * age + body)
