"""Whom the tables cover. Whoever they do not is refused, never given the nearest row."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

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
    _refuse(_of_person(sex, age, state))


def check_body(mass_kg: Decimal, height_m: Decimal) -> None:
    """Refuse a body mass (kg) or height (m) that no adult is likely to have.

    Raises
    ------
    NotCovered
        With one sentence per reason.
    """
    _refuse(_of_body(mass_kg, height_m))


def uncovered(sex: str, age: int, mass_kg: Decimal, height_m: Decimal, state: str = "") -> Mapping[str, str]:
    """Return why the tables do not speak of a person, by the setting to look at; empty where they do."""
    return dict([*_of_person(sex, age, state), *_of_body(mass_kg, height_m)])


def _refuse(reasons: Iterable[tuple[str, str]]) -> None:
    texts = [text for _, text in reasons]
    if texts:
        raise NotCovered(" ".join(texts))


def _of_person(sex: str, age: int, state: str) -> Iterator[tuple[str, str]]:
    if sex not in SEXES:
        yield (
            "sex",
            f'The tables are by sex and have "male" and "female", found "{sex}"; '
            "ask the dietitian which row applies and give that.",
        )
    if age < YOUNGEST:
        yield (
            "age",
            f"The tables cover adults from {YOUNGEST} years, found {age}; "
            "leave this person out and ask a dietitian for their food.",
        )
    if age > OLDEST:
        yield "age", f"An age of {age} years looks like a slip; give whole years up to {OLDEST}."
    if state:
        whom = f"a person who is {state}" if state in ("pregnant", "lactating") else f'the state "{state}"'
        yield (
            "state",
            f"The tables here do not cover {whom}; "
            "leave this person out and ask a physician or dietitian for their food.",
        )


def _of_body(mass_kg: Decimal, height_m: Decimal) -> Iterator[tuple[str, str]]:
    for key, what, value, unit, (low, high) in (
        ("mass_kg", "Body mass", mass_kg, "kg", MASS_KG),
        ("height_m", "Height", height_m, "m", HEIGHT_M),
    ):
        # A NaN cannot be ordered, so finiteness comes first.
        if not value.is_finite() or not low <= value <= high:
            yield key, f"{what} needs a number from {low} to {high} {unit}, found {value}."
