"""How likely a usual intake covers a person's own requirement."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from statistics import NormalDist

from optimenu.nutrition.covered import NotCovered, check_person
from optimenu.nutrition.tables import in_band, number, rows


@dataclass(frozen=True)
class AverageRequirement:
    """Estimated average requirement (EAR) of one nutrient for one person, per day.

    Attributes
    ----------
    column, name : str
        Catalogue column and name.
    amount : Decimal
        EAR in the column's unit, or per kg of body mass.
    per_kg_body_mass : bool
        Whether `amount` is per kg of body mass (protein).
    cv_percent : Decimal or None
        Coefficient of variation of the requirement in percent; None if none is published.
    source, cv_source : str
        Published sources.
    """

    column: str
    name: str
    amount: Decimal
    per_kg_body_mass: bool
    cv_percent: Decimal | None
    source: str
    cv_source: str


def average_requirement(sex: str, age: int, column: str, state: str = "") -> AverageRequirement | None:
    """Estimated average requirement of one nutrient.

    Parameters
    ----------
    sex : str
        "male" or "female".
    age : int
        Whole years, from 19.
    column : str
        Catalogue column, such as ``MG_mg``.
    state : str
        Empty; any other word is refused.

    Returns
    -------
    AverageRequirement or None
        None if the nutrient has none (those with an AI, for example): adequacy is not assessed.

    Raises
    ------
    NotCovered
        For an age, sex or state outside the tables.

    Notes
    -----
    Source: National Academies, Dietary Reference Intakes, summary table of EARs.
    """
    check_person(sex, age, state)
    return _requirements(sex, age).get(column)


@cache
def _requirements(sex: str, age: int) -> dict[str, AverageRequirement]:
    factor = {
        row["column"]: Decimal(row["column_units_per_printed_unit"]) for row in rows("intake_columns.csv")
    }
    return {
        row["column"]: AverageRequirement(
            column=row["column"],
            name=row["name"],
            amount=Decimal(row["average_requirement"]) * factor[row["column"]],
            per_kg_body_mass=row["per"] == "kg body mass",
            cv_percent=number(row["requirement_cv_percent"]),
            source=row["source"],
            cv_source=row["cv_source"],
        )
        for row in rows("average_requirements.csv")
        if in_band(row, sex, age)
    }


def probability_adequate(
    need: AverageRequirement, usual_intake: Decimal, mass_kg: Decimal | None = None
) -> Decimal:
    """Probability that a usual intake covers a person's own requirement.

    Parameters
    ----------
    need : AverageRequirement
        From `average_requirement`.
    usual_intake : Decimal
        Mean intake over a long stay, in the unit of ``need.column``, per day.
    mass_kg : Decimal or None
        Body mass in kg, for a requirement per kg.

    Returns
    -------
    Decimal
        Phi((intake - EAR) / (CV x EAR)), 0 to 1, three decimals.

    Raises
    ------
    NotCovered
        Where no CV of the requirement is published, or body mass is needed and not given.

    Notes
    -----
    Source: Institute of Medicine, Dietary Reference Intakes: Applications in Dietary Assessment,
    2000. For one person's usual intake; not a share of a crew, for which two to twelve are too few.
    """
    if need.cv_percent is None:
        raise NotCovered(
            f"No CV of the requirement is published for {need.name}; "
            "the probability of adequacy is not assessed."
        )
    amount = need.amount
    if need.per_kg_body_mass:
        if mass_kg is None:
            raise NotCovered(f"The requirement of {need.name} is per kg; give body mass in kg.")
        amount *= mass_kg
    spread = float(amount * need.cv_percent / 100)
    return Decimal(f"{NormalDist(float(amount), spread).cdf(float(usual_intake)):.3f}")
