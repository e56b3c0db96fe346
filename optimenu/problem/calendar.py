"""Dates, plan days and their runs."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(frozen=True)
class Course:
    """A course of a meal.

    Attributes
    ----------
    least, most : int
        Servings in the course, for each party.
    weight : Decimal
        What a liked serving counts here; 0 for a course nobody is scored on.
    same : int
        Most servings of one item in the course.
    takes : tuple of str
        Courses of the catalogue that fill it.
    shared_by : tuple of str
        Parties whose members eat one dish here; everybody else has their own.
    """

    name: str
    least: int
    most: int
    weight: Decimal
    same: int = 1
    takes: tuple[str, ...] = ()
    shared_by: tuple[str, ...] = ()


@dataclass(frozen=True)
class Meal:
    """A meal with its clock time (minutes after midnight) and courses."""

    name: str
    at: int
    courses: tuple[Course, ...]


@dataclass(frozen=True)
class PlanDay:
    """One day that is planned: of the cycle, of its own dates, or of the reserve.

    Attributes
    ----------
    number : int
        Place among all plan days, from 0.
    block : str
        ``cycle``; ``dated``, a day that replaces its cycle day on some dates; or ``reserve``.
    label : str
        What a screen shows, for example ``day 3``.
    kind : str
        Day kind; the same at each return.
    dates : tuple of date
        Dates it serves; none for a reserve day.
    share : Decimal
        Part of a day's energy and nutrients it must bring: 1, or less on a day of arrival or departure.
    place : int
        Day of its block, from 1, as menus count; 0: as it comes.
    """

    number: int
    block: str
    label: str
    kind: str
    dates: tuple[date, ...]
    meals: tuple[Meal, ...]
    share: Decimal = Decimal(1)
    place: int = 0

    @property
    def eaten(self) -> bool:
        """True for a day that serves dates, false for one of the reserve."""
        return self.block != "reserve"

    @property
    def weight(self) -> int:
        """How many dates it serves; a reserve day counts once."""
        return len(self.dates) if self.eaten else 1


@dataclass(frozen=True)
class Load:
    """Food brought at one time; it feeds the dates from its arrival until the next load arrives."""

    name: str
    arrives: date


def stay_dates(first: date, last: date) -> tuple[date, ...]:
    """Every date of the stay, both ends included."""
    return tuple(first + timedelta(days=k) for k in range((last - first).days + 1))


def cycle_days(
    dates: Sequence[date],
    length: int,
    kinds: Mapping[int, str],
    meals: Mapping[str, tuple[Meal, ...]],
    ordinary: str,
) -> list[PlanDay]:
    """Plan days of the cycle repeated over the dates; a cycle day that gets no date is left out.

    Parameters
    ----------
    length : int
        Days in one pass of the cycle.
    kinds : mapping of int to str
        Cycle day, from 1, to its kind; ``ordinary`` otherwise.
    meals : mapping of str to tuple of Meal
        Meals by day kind.
    """
    days: list[PlanDay] = []
    for place in range(min(length, len(dates))):
        kind = kinds.get(place + 1, ordinary)
        days.append(
            PlanDay(
                number=len(days),
                block="cycle",
                label=f"day {place + 1}",
                kind=kind,
                dates=tuple(dates[place::length]),
                meals=meals[kind],
                place=place + 1,
            )
        )
    return days


def with_dated(cycle: Sequence[PlanDay], own: Sequence[PlanDay]) -> list[PlanDay]:
    """Days of the cycle without the dates that are planned by themselves, then those days, numbered anew.

    A cycle day left without a date is none.
    """
    taken = {when for day in own for when in day.dates}
    left = [replace(day, dates=tuple(w for w in day.dates if w not in taken)) for day in cycle]
    return [replace(day, number=k) for k, day in enumerate([*(d for d in left if d.dates), *own])]


def runs(
    sequence: Sequence[int], length: int, *, wrap: bool, cycle: Sequence[int | None] | None = None
) -> tuple[tuple[int, ...], ...]:
    """Return the distinct runs of plan days on ``length`` consecutive dates, in order of first sight.

    Parameters
    ----------
    sequence : sequence of int
        Plan day of each date.
    wrap : bool
        Also the runs over the seam from the last plan day of the cycle back to the first, as the next pass
        would bring them, where the calendar itself holds no such run.
    cycle : sequence of int or None, optional
        Plan day of each day of the cycle, None where it has no date; every plan day when left out.

    Notes
    -----
    A stay shorter than ``length`` is one run.
    """
    dates = list(sequence)
    seam: list[int | None] = []
    if wrap and dates and length > 1:
        days: list[int | None] = list(cycle) if cycle is not None else [*sorted(set(dates))]
        seam = days[-(length - 1) :] + days[: length - 1]
    found: dict[tuple[int, ...], None] = {}
    if len(dates) <= length:
        found[tuple(sorted(dates))] = None
    for source in ([*dates], seam):
        for start in range(len(source) - length + 1):
            held = [d for d in source[start : start + length] if d is not None]
            found.setdefault(tuple(sorted(held)), None)
    return tuple(found)


def passes(sequence: Sequence[int], length: int) -> tuple[tuple[int, ...], ...]:
    """Return the plan days on the dates of each distinct pass of the cycle, none part of another."""
    every = [tuple(sorted(sequence[k : k + length])) for k in range(0, len(sequence), length)]
    counts = {days: Counter(days) for days in every}
    return tuple(days for days, own in counts.items() if not any(own < other for other in counts.values()))
