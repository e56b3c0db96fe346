"""A menu set against the Problem's tables, ready for exact sums; never sees the Program."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING

from optimenu.menu.menu import Line, day_numbers
from optimenu.problem.problem import ALLOWANCE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from optimenu.catalogue.item import Item
    from optimenu.menu.menu import Menu
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party, Problem

ZERO = Decimal(0)


@dataclass(frozen=True)
class Entry:
    """A menu line with what it names: party, plan day, meal, course and item."""

    line: Line
    party: Party
    day: PlanDay
    meal: Meal | None
    course: Course | None
    item: Item

    @property
    def count(self) -> int:
        """Servings for each member."""
        return self.line.count

    @property
    def certain(self) -> bool:
        """False for an allowance."""
        return self.line.certain


@dataclass(frozen=True)
class Span:
    """A sum with its ends: every optional serving at whichever end, none or all, is less or more."""

    least: Decimal
    most: Decimal


@dataclass(frozen=True)
class Tally:
    """Entries of a menu; ``strange`` are lines that name something the Problem does not have."""

    problem: Problem
    entries: tuple[Entry, ...]
    strange: tuple[tuple[Line, str], ...]

    @classmethod
    def of(cls, problem: Problem, menu: Menu) -> Tally:
        """Look up every line of the menu."""
        numbers = day_numbers(problem)
        entries, strange = [], []
        for line in menu.lines:
            party = problem.party_by_id.get(line.party)
            number = numbers.get((line.block, line.day))
            item = problem.catalogue.by_id.get(line.item)
            if party is None or number is None or item is None:
                wrong = "party" if party is None else "day" if number is None else "item"
                strange.append((line, f"the plan has no such {wrong}"))
                continue
            day = problem.days[number]
            meal = next((m for m in day.meals if m.name == line.meal), None)
            course = next((c for c in meal.courses if c.name == line.course), None) if meal else None
            free = not line.meal and line.course == ALLOWANCE and not line.certain
            if course is None and not free:
                strange.append((line, "that day has no such meal or course"))
                continue
            if course is not None and not line.certain:
                strange.append((line, "only what is free in the day, at no meal, may be left uneaten"))
                continue
            if meal and course and not problem.serves(party, day, meal, course):
                strange.append((line, "that party has no dish of its own there"))
                continue
            if line.count < 1:
                strange.append((line, "a line needs one serving or more"))
                continue
            entries.append(Entry(line, party, day, meal, course, item))
        return cls(problem, tuple(entries), tuple(strange))

    @cached_property
    def by_person(self) -> Mapping[int, tuple[Entry, ...]]:
        """Entries that feed a person."""
        found: dict[int, list[Entry]] = defaultdict(list)
        for e in self.entries:
            for p in e.party.members:
                found[p].append(e)
        return {p: tuple(es) for p, es in found.items()}

    @cached_property
    def by_person_day(self) -> Mapping[tuple[int, int], tuple[Entry, ...]]:
        """Entries that feed a person on a plan day."""
        found: dict[tuple[int, int], list[Entry]] = defaultdict(list)
        for p, es in self.by_person.items():
            for e in es:
                found[p, e.day.number].append(e)
        return {key: tuple(es) for key, es in found.items()}

    def on(self, person: int, day: int, meal: str | None = None) -> tuple[Entry, ...]:
        """Entries of a person on a plan day, of one meal if named."""
        found = self.by_person_day.get((person, day), ())
        return found if meal is None else tuple(e for e in found if e.meal and e.meal.name == meal)


def span(entries: Iterable[Entry], value: Callable[[Entry], Decimal | int]) -> Span:
    """Sum of count x value over entries, optional ones at their worse end for either side."""
    least = most = ZERO
    for e in entries:
        amount = e.count * Decimal(value(e))
        if e.certain:
            least += amount
            most += amount
        elif amount > 0:
            most += amount
        else:
            least += amount
    return Span(least, most)
