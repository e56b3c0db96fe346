"""Which items of a menu hold which allergens, and by which ways they come near whom.

Unknown is unsafe: what a catalogue does not state free is followed like what it states.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimenu.catalogue.columns import ALLERGENS
from optimenu.problem.opening import drawers, kept_apart, open_dates

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.problem import Problem

OWN, POT, JAR, TABLE = "own serving", "shared pot", "shared jar", "same table"
WAYS = (OWN, POT, JAR, TABLE)
"""Ways an item can come to a person: their own serving, a dish they share, a pack others draw from, and
somebody who eats it beside them."""
SERVED = (OWN, POT, JAR)
FREE = "free"
ANY_TIME = "any time"


@dataclass(frozen=True)
class Reach:
    """How one item stands to one person who must avoid an allergen it may hold.

    Attributes
    ----------
    item, name : str
    allergens : tuple of (str, str)
        Allergens of the person's prescription that the item is not known to be free of, with the state.
    ways : tuple of str
        Of ``WAYS``, in that order.
    at : tuple of (str, str)
        Plan day and meal at which it comes near the person; meal ``any time`` for what is free in the day.
    kept_away : bool
        True when no serving, pot or jar of it reaches the person.
    """

    item: str
    name: str
    allergens: tuple[tuple[str, str], ...]
    ways: tuple[str, ...]
    at: tuple[tuple[str, str], ...]
    kept_away: bool


@dataclass(frozen=True)
class Watched:
    """A person with an allergy: what is prescribed, and every item of the menu that bears on it."""

    id: str
    name: str
    allergies: tuple[tuple[str, str], ...]
    reach: tuple[Reach, ...]
    own_packs: tuple[str, ...] = ()
    """Items of which others share an open pack and this person has packs apart."""


@dataclass(frozen=True)
class Row:
    """An item of the menu with its state for each allergen of the matrix."""

    item: str
    name: str
    states: tuple[str, ...]


@dataclass(frozen=True)
class Matrix:
    """Items of the menu, sorted by name, against allergens; then who is to be watched."""

    allergens: tuple[str, ...]
    rows: tuple[Row, ...]
    people: tuple[Watched, ...]


def matrix(problem: Problem, tally: Tally, *, every: bool = False) -> Matrix:
    """Set the items of a menu against the allergens that somebody must avoid.

    Parameters
    ----------
    every : bool
        Every allergen a catalogue can state, not only those of prescriptions.
    """
    named = {a for p in problem.people for a in p.prescription.watched}
    columns = tuple(a for a in ALLERGENS if every or a in named)
    items = sorted({e.item.id: e.item for e in tally.entries}.values(), key=lambda i: (i.name, i.id))
    rows = tuple(Row(i.id, i.name, tuple(map(i.allergen, columns))) for i in items)
    entries: dict[str, list[Entry]] = defaultdict(list)
    for e in tally.entries:
        entries[e.item.id].append(e)
    people = tuple(
        Watched(
            who.id,
            who.name,
            tuple(sorted(who.prescription.watched.items())),
            tuple(_reaches(problem, p, items, entries)),
            tuple(
                sorted(
                    {e.item.name for e in tally.by_person.get(p, ()) if kept_apart(problem, e.party, e.item)}
                )
            ),
        )
        for p, who in enumerate(problem.people)
        if who.prescription.watched
    )
    return Matrix(columns, rows, people)


def _reaches(
    problem: Problem, person: int, items: list[Item], entries: Mapping[str, list[Entry]]
) -> Iterator[Reach]:
    avoided = sorted(problem.people[person].prescription.watched)
    for item in items:
        held = tuple((a, item.allergen(a)) for a in avoided if item.allergen(a) != FREE)
        if not held:
            continue
        found = {(way, spot) for e in entries[item.id] for way, spot in _ways(problem, person, e)}
        ways = tuple(w for w in WAYS if any(way == w for way, _ in found))
        spots = sorted({spot for _, spot in found})
        yield Reach(
            item.id,
            item.name,
            held,
            ways,
            tuple((problem.days[day].label, meal) for day, _, meal in spots),
            kept_away=not any(w in SERVED for w in ways),
        )


def _ways(problem: Problem, person: int, e: Entry) -> Iterator[tuple[str, tuple[int, int, str]]]:
    """Ways by which one line of the menu comes to a person, each with plan day, time and meal."""
    meal = e.meal.name if e.meal else ANY_TIME
    at = problem.time_of(person, e.meal) if e.meal else -1
    spot = (e.day.number, at, meal)
    if person in e.party.members:
        yield (POT if len(e.party.members) > 1 else OWN), spot
        if open_dates(e.item) and len(drawers(problem, e.party, e.item)) > 1:
            yield JAR, spot
    if any(_beside(problem, person, other, e) for other in e.party.members if other != person):
        yield TABLE, spot


def _beside(problem: Problem, person: int, other: int, e: Entry) -> bool:
    """Whether somebody eats a line of the menu at one table with a person."""
    meals = (e.meal,) if e.meal else e.day.meals
    # what is free in the day may be eaten at any meal
    return any(
        person in people and other in people for meal in meals for _, people in problem.sittings(e.day, meal)
    )
