"""What a drill says, as plain objects."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from optimenu.catalogue.item import Item
    from optimenu.stowage.drill_board import Held
    from optimenu.stowage.drill_question import Horizon, Question

LOW = Decimal("0.70")
"""Part of the requirement under which a day is flagged; common practice, no source."""


@dataclass(frozen=True)
class Store:
    """Energy one person has on board, kcal.

    Attributes
    ----------
    menu, reserve : Decimal
        Planned servings of the dates to be fed from what is on board, and reserve days.
    lost : Decimal
        Part of both that cannot be eaten.
    need : Decimal
        Requirement of the dates to cover.
    dates : int
        Dates to cover, until the next load comes or to the end.
    """

    person: int
    menu: Decimal
    reserve: Decimal
    lost: Decimal
    need: Decimal
    dates: int

    def days(self, kcal: Decimal) -> Fraction:
        """Person-days: energy as a part of the mean requirement of the dates to cover."""
        return Fraction(kcal) * self.dates / Fraction(self.need) if self.need else Fraction(0)

    @property
    def left(self) -> Decimal:
        """Energy that can still be eaten."""
        return self.menu + self.reserve - self.lost


@dataclass(frozen=True)
class Gone:
    """An item that cannot be eaten any more.

    Attributes
    ----------
    packs, servings : mapping of party to int
        On board at the start, not opened packs and servings planned.
    kcal : Decimal
        Energy of the certain servings, for the crew.
    """

    item: Item
    why: str
    packs: Mapping[str, int]
    servings: Mapping[str, int]
    kcal: Decimal


@dataclass(frozen=True)
class Dish:
    """Servings of one item that a person eats on a date in the ration.

    Attributes
    ----------
    owner : int
        Person whose food it was in the plan.
    planned : date or None
        Date it was planned for; None in the reserve.
    """

    when: date
    person: int
    meal: str
    item: Item
    count: int
    source: str
    owner: int
    planned: date | None
    how: str


@dataclass(frozen=True)
class PersonDate:
    """Energy (kcal) and water for food (mL) of one person on one date.

    Attributes
    ----------
    planned : Decimal
        As the menu has it; 0 beyond the stay.
    left : Decimal
        Own menu of the date that has come and can be eaten.
    ration : Decimal
        In the ration.
    water_planned, water_left, water_ration : Decimal
        The same for water added, plain water left out.
    """

    person: int
    when: date
    need: Decimal
    planned: Decimal
    left: Decimal
    ration: Decimal
    water_planned: Decimal
    water_left: Decimal
    water_ration: Decimal

    @property
    def level(self) -> Fraction:
        """Energy of the ration as a part of the requirement."""
        return Fraction(self.ration) / Fraction(self.need)

    @property
    def low(self) -> bool:
        """True under 70 % of the requirement, unless the plan itself has no more for that date."""
        as_planned = self.planned > 0 and self.ration >= self.planned
        return self.level < Fraction(LOW) and not as_planned


@dataclass(frozen=True)
class Answer:
    """Everything that is said.

    Attributes
    ----------
    held : tuple of Held
        On board at the start.
    gone : tuple of Gone
        Lost of it.
    later : tuple of str
        Items that are lost too when they come with a later load.
    apart : mapping of person to tuple of Item
        On board in others' packs, still to be eaten, and never to be given to this person.
    bound : Fraction
        Level that no ration gives every counted person-day more than, as a part of the requirement.
    plain_ml : mapping of date to Decimal
        Plain water of the whole crew, mL.
    left_over : mapping of (person, source) to Decimal
        Energy that nobody eats in the ration, kcal, by whose it was.
    stranded : int
        Servings left in opened packs that are to be discarded.
    unknown_energy, no_use_by, fridge : tuple of Item
    melted : bool
        True where every drop of water is melted with fuel.
    """

    question: Question
    horizon: Horizon
    held: tuple[Held, ...]
    stores: tuple[Store, ...]
    gone: tuple[Gone, ...]
    later: tuple[Item, ...]
    apart: Mapping[int, tuple[Item, ...]]
    days: tuple[PersonDate, ...]
    dishes: tuple[Dish, ...]
    bound: Fraction
    plain_ml: Mapping[date, Decimal]
    left_over: Mapping[tuple[int, str], Decimal]
    stranded: int
    unknown_energy: tuple[Item, ...]
    no_use_by: tuple[Item, ...]
    fridge: tuple[Item, ...]
    melted: bool = False

    @property
    def worst(self) -> PersonDate | None:
        """Person-day with the lowest part of its requirement, of those the bound counts."""
        return min(
            (d for d in self.days if counted(d)), key=lambda d: (d.level, d.when, d.person), default=None
        )


def counted(day: PersonDate) -> bool:
    """Tell whether the bound counts a person-day: not one the plan itself leaves under 70 %."""
    return not day.planned or day.planned >= LOW * day.need
