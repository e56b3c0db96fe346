"""The menu as a crew member reads it: when, what and how to serve it, in plain words.

No amounts, scores or reasons: a card hangs where everybody reads it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimenu.problem.opening import kept_apart
from optimenu.settings import clock_words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.calendar import PlanDay
    from optimenu.problem.problem import Problem

ASK = "Ask before swapping: this menu is made for you."
RESERVE = "Reserve: open only when you are told to."
AS_IT_IS = "as it is"
_SMALL = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")


@dataclass(frozen=True)
class Dish:
    """A dish on a card.

    Attributes
    ----------
    name : str
    servings : str
        In words, ``two servings``; empty for one.
    shared_with : tuple of str
        Names of the others who eat from the same dish.
    serve : str
        ``hot water``, ``cold water``, ``heat``, more than one of them, or ``as it is``.
    """

    name: str
    servings: str
    shared_with: tuple[str, ...]
    serve: str


@dataclass(frozen=True)
class CardMeal:
    """A meal: clock time as 07:30, its name, dishes in order of courses."""

    at: str
    name: str
    dishes: tuple[Dish, ...]


@dataclass(frozen=True)
class CardDay:
    """A plan day with every date it serves.

    Attributes
    ----------
    title : str
        ``day 3``, ``reserve 1``; empty for a day of its own dates.
    any_time : tuple of (str, str)
        What may be had at any time: name, and the most of it in words.
    """

    title: str
    dates: tuple[date, ...]
    meals: tuple[CardMeal, ...]
    any_time: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Card:
    """The card of one person."""

    id: str
    name: str
    first: date
    last: date
    days: tuple[CardDay, ...]
    reserve: tuple[CardDay, ...]
    ask: str = ASK


def card(problem: Problem, tally: Tally, person: int) -> Card:
    """Return the card of a person: plan days in order of their first date, then the reserve."""
    who = problem.people[person]
    days = sorted(problem.cycle, key=lambda d: d.dates)
    return Card(
        who.id,
        who.name,
        problem.dates[0],
        problem.dates[-1],
        tuple(_day(problem, tally, person, d) for d in days),
        tuple(_day(problem, tally, person, d) for d in problem.reserve),
    )


def _day(problem: Problem, tally: Tally, person: int, day: PlanDay) -> CardDay:
    meals = []
    for meal in sorted(day.meals, key=lambda m: problem.time_of(person, m)):
        here = tally.on(person, day.number, meal.name)
        place = {c.name: k for k, c in enumerate(meal.courses)}
        here = tuple(sorted(here, key=lambda e: (place[e.line.course], e.item.name, e.item.id)))
        if here:
            at = problem.time_of(person, meal)
            dishes = tuple(_dish(problem, person, e) for e in here)
            meals.append(CardMeal(clock_words(at), meal.name.replace("_", " "), dishes))
    free = sorted(
        (e for e in tally.on(person, day.number) if not e.certain), key=lambda e: (e.item.name, e.item.id)
    )
    # a day of its own is told by its dates alone: its name may say why it is one
    title = "" if day.block == "dated" else day.label
    return CardDay(title, day.dates, tuple(meals), tuple((e.item.name, _up_to(e)) for e in free))


def _dish(problem: Problem, person: int, e: Entry) -> Dish:
    others = tuple(problem.people[m].name for m in e.party.members if m != person)
    servings = "" if e.count == 1 else f"{in_words(e.count)} servings"
    name = f"{e.item.name}, your own pack" if kept_apart(problem, e.party, e.item) else e.item.name
    return Dish(name, servings, others, serving_words(e.item, reserve=e.day.block == "reserve"))


def serving_words(item: Item, *, reserve: bool = False) -> str:
    """Say how an item is served, without amounts: what is not known is left to the label on the pack.

    Parameters
    ----------
    reserve : bool
        Also say what to do without heat, where the catalogue knows that it can be done.
    """
    words = []
    if item.water_ml:
        words.append("hot water" if item.water_kind == "hot" else "cold water")
    if item.heat_min is None:
        words.append("see the pack")
    elif item.heat_min:
        words.append("heat")
    warm = item.water_kind == "hot" or item.heat_min != 0
    if reserve and words and warm and item.unheated in ("good", "safe only"):
        if not item.water_ml:
            words.append("without heat: as it is")
        elif item.cold_min is not None:
            words.append("without heat: cold water")
    return ", ".join(words) or AS_IT_IS


def _up_to(e: Entry) -> str:
    """Most of what is free, ``up to one sachet``."""
    pack = e.item.pack_kind if e.item.servings_per_pack == 1 else None
    word = (pack or "serving").strip().lower()
    if any(c.isdigit() for c in word):
        word = "serving"
    if e.count > 1:
        word += "es" if word.endswith(("s", "x", "ch", "sh")) else "s"
    return f"up to {in_words(e.count)} {word}"


def in_words(n: int) -> str:
    """Write a whole number from 0 to 999,999 in words."""
    if n < len(_SMALL):
        return _SMALL[n]
    if n < 100:
        ten, one = divmod(n, 10)
        return _TENS[ten - 2] + (f"-{_SMALL[one]}" if one else "")
    size, word = (100, "hundred") if n < 1000 else (1000, "thousand")
    many, rest = divmod(n, size)
    return f"{in_words(many)} {word}" + (f" and {in_words(rest)}" if rest else "")


def with_words(names: Sequence[str]) -> str:
    """Join names: ``Tomas``, ``Tomas and Ines``, ``Tomas, Ines and Bo``."""
    return " and ".join((", ".join(names[:-1]), names[-1])) if len(names) > 1 else "".join(names)
