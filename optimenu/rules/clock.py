"""Foods against the clock, resolved for each person: spells around a moment, pairs of meals too close."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimenu.program.origin import Origin

if TYPE_CHECKING:
    from collections.abc import Iterator
    from decimal import Decimal

    from optimenu.crew.foods import Foods
    from optimenu.problem.calendar import PlanDay
    from optimenu.problem.problem import Problem

DAY = 1440
"""Minutes."""
End = tuple[int, str, int]


@dataclass(frozen=True)
class Spell:
    """Items a person is not given around a moment of every day.

    Attributes
    ----------
    at : int
        The moment, minutes after midnight.
    before, after : Decimal
        Minutes before and after it, ends left out.
    key, who : str
        Config key that asks for it, and who may loosen it.
    """

    items: frozenset[str]
    at: int
    before: Decimal
    after: Decimal
    words: str
    key: str
    who: str

    def covers(self, time: int) -> bool:
        """Tell whether a time lies in the spell, round the clock."""
        return (self.at - time) % DAY < self.before or (time - self.at) % DAY < self.after


@dataclass(frozen=True)
class Pair:
    """Two sets of items that one person does not eat within some minutes of each other."""

    key: str
    person: int
    sides: tuple[frozenset[str], frozenset[str]]
    words: tuple[str, str]
    minutes: Decimal
    both: bool
    who: str


@dataclass(frozen=True)
class Meeting:
    """Two meals of one person that are too close for a pair: one side in the one, the other in the other.

    Attributes
    ----------
    ends : pair of (plan day, meal, side of the pair)
    gap : int
        Minutes from the one meal to the other.
    """

    origin: Origin
    pair: Pair
    ends: tuple[End, End]
    gap: int


def named(problem: Problem, foods: Foods) -> frozenset[str]:
    """Ids of the items that foods stand for."""
    return frozenset(i.id for i in problem.catalogue.items if foods.matches(i))


def meetings(problem: Problem, pair: Pair) -> Iterator[Meeting]:
    """Every two meals of a person that are too close for a pair, a meal with itself included.

    Meals of one plan day, of any two dates in a row, and of reserve days one after the other in their
    order. Hours run from the start of one meal to the start of the other.
    """
    for day in problem.days:
        yield from _of(problem, pair, day, day, 0)
    for a, b in _nights(problem):
        yield from _of(problem, pair, problem.days[a], problem.days[b], DAY)


def _nights(problem: Problem) -> tuple[tuple[int, int], ...]:
    """Plan days of two dates in a row, each pair once; then reserve days in their order."""
    reserve = [d.number for d in problem.reserve]
    dates = zip(problem.sequence, problem.sequence[1:], strict=False)
    return tuple(dict.fromkeys((*dates, *zip(reserve, reserve[1:], strict=False))))


def _of(problem: Problem, pair: Pair, one: PlanDay, two: PlanDay, later: int) -> Iterator[Meeting]:
    p = pair.person
    who = problem.people[p].id
    for first in one.meals:
        for second in two.meals:
            if not problem.attends(p, one, first) or not problem.attends(p, two, second):
                continue
            gap = problem.time_of(p, second) - problem.time_of(p, first) + later
            if not 0 <= gap < pair.minutes:
                continue
            # with no time between them the other way round is the same promise, met from the other meal
            for way in (0, 1) if pair.both and gap else (0,):
                what = f"{second.name}, the other way round" if way else second.name
                if later:
                    what = f"{first.name} to {what}"
                    origin = Origin(
                        "hours", pair.key, who, what=what, run=(one.number, two.number), who=pair.who
                    )
                else:
                    origin = Origin("hours", pair.key, who, one.number, first.name, what, who=pair.who)
                ends = (one.number, first.name, way), (two.number, second.name, 1 - way)
                yield Meeting(origin, pair, ends, gap)
