"""Whom the tables cover. Whoever they do not is refused, never given the nearest row."""

from __future__ import annotations

from decimal import Decimal

SEXES = ("male", "female")
YOUNGEST = 19
OLDEST = 110
MASS_KG = (Decimal(30), Decimal(250))
HEIGHT_M = (Decimal("1.20"), Decimal("2.30"))
"""Plausible adult body mass and height: common practice, no source. They catch slips of unit."""


class NotCovered(ValueError):
    """The tables do not speak of this person; the message says why and what to do."""


def check_person(sex: str, age: int, state: str = "") -> None:
    """Refuse whoever the adult tables do not cover.

    Parameters
    ----------
    sex : str
        "male" or "female"; the tables have no other row.
    age : int
        Whole years, 19 to 110.
    state : str
        Empty; any other word, such as "pregnant" or "lactating", is refused.

    Raises
    ------
    NotCovered
        With one sentence per reason.
    """
    reasons = []
    if sex not in SEXES:
        reasons.append(
            f'The tables are by sex and have "male" and "female", found "{sex}"; '
            "ask the dietitian which row applies and give that."
        )
    if age < YOUNGEST:
        reasons.append(
            f"The tables cover adults from {YOUNGEST} years, found {age}; "
            "give limits and energy set by a dietitian instead."
        )
    if age > OLDEST:
        reasons.append(f"An age of {age} years looks like a slip; give whole years up to {OLDEST}.")
    if state in ("pregnant", "lactating"):
        reasons.append(
            f"The tables here do not cover a person who is {state}; "
            "give limits and energy set by a physician or dietitian instead."
        )
    elif state:
        reasons.append(
            f'The tables here do not cover the state "{state}"; '
            "give limits and energy set by a physician or dietitian instead."
        )
    if reasons:
        raise NotCovered(" ".join(reasons))


def check_body(mass_kg: Decimal, height_m: Decimal) -> None:
    """Refuse a body mass (kg) or height (m) that no adult is likely to have.

    Raises
    ------
    NotCovered
        With one sentence per reason.
    """
    reasons = []
    for what, value, unit, (low, high) in (
        ("Body mass", mass_kg, "kg", MASS_KG),
        ("Height", height_m, "m", HEIGHT_M),
    ):
        # A NaN cannot be ordered, so finiteness comes first.
        if not value.is_finite() or not low <= value <= high:
            reasons.append(f"{what} needs a number from {low} to {high} {unit}, found {value}.")
    if reasons:
        raise NotCovered(" ".join(reasons))
