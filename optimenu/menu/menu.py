"""A menu as lines; what is written, read, shown and audited."""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from optimenu.problem.problem import ALLOWANCE

if TYPE_CHECKING:
    from collections.abc import Iterable

    from optimenu.problem.problem import Problem
    from optimenu.program.program import Program


@dataclass(frozen=True, order=True)
class Line:
    """Servings of one item in one place of the plan.

    Attributes
    ----------
    day : int
        Number within the block, from 1.
    meal : str
        Empty for an allowance that is free in the day.
    certain : bool
        False for an allowance: none or all of ``count`` may be eaten.
    """

    party: str
    block: str
    day: int
    meal: str
    course: str
    item: str
    count: int
    certain: bool


COLUMNS: tuple[str, ...] = tuple(f.name for f in fields(Line))


@dataclass(frozen=True)
class Menu:
    """Every line of a plan, in a fixed order."""

    lines: tuple[Line, ...]

    @classmethod
    def of(cls, lines: Iterable[Line]) -> Menu:
        """Sort the lines and return the menu."""
        return cls(tuple(sorted(lines)))

    def rows(self) -> list[tuple[object, ...]]:
        """Lines as tuples in the order of ``COLUMNS``."""
        return [astuple(line) for line in self.lines]


@dataclass(frozen=True)
class Beside:
    """A menu beside an earlier one; a line is the same where party, day, meal, course and item are.

    Attributes
    ----------
    earlier : int
        Lines of the earlier menu.
    stayed, new : int
        Lines of the menu that the earlier one has too, and that it has not.
    """

    earlier: int
    stayed: int
    new: int

    @property
    def gone(self) -> int:
        """Lines of the earlier menu that are no more."""
        return self.earlier - self.stayed


def beside(earlier: Menu, menu: Menu) -> Beside:
    """Tell how much of an earlier menu is left in a menu, whatever the counts."""
    places = [{astuple(line)[:-2] for line in each.lines} for each in (earlier, menu)]
    stayed = len(places[0] & places[1])
    return Beside(len(places[0]), stayed, len(places[1]) - stayed)


def day_numbers(problem: Problem) -> dict[tuple[str, int], int]:
    """Plan-day number by (block, day within the block counted from 1)."""
    seen: dict[str, int] = {}
    out = {}
    for d in problem.days:
        # a cycle day without a date is none, and leaves its place empty
        seen[d.block] = d.place or seen.get(d.block, 0) + 1
        key = d.block, seen[d.block]
        if key in out:
            msg = f"two plan days are day {key[1]} of {key[0]}"
            raise ValueError(msg)
        out[key] = d.number
    return out


def to_counts(problem: Problem, program: Program, menu: Menu) -> tuple[np.ndarray, int]:
    """Counts of a menu's lines, and how many lines the program has no column for.

    Returns
    -------
    counts : int64 (n_menu,)
        No more than a column allows.
    left_out : int
    """
    number = day_numbers(problem)
    column: dict[tuple[int | None, int | None, str, str, str], int] = {}
    for c in range(program.n_menu):
        day = problem.days[int(program.day[c])]
        m, k = int(program.meal[c]), int(program.course[c])
        column[
            int(program.party[c]),
            day.number,
            day.meals[m].name if m >= 0 else "",
            day.meals[m].courses[k].name if m >= 0 else ALLOWANCE,
            problem.catalogue.items[int(program.item[c])].id,
        ] = c
    party = {p.id: k for k, p in enumerate(problem.parties)}
    counts = np.zeros(program.n_menu, dtype=np.int64)
    left_out = 0
    for line in menu.lines:
        place = (party.get(line.party), number.get((line.block, line.day)), line.meal, line.course, line.item)
        found = column.get(place)
        if found is None:
            left_out += 1
        else:
            counts[found] += line.count
    return np.minimum(counts, program.high[: program.n_menu]), left_out


def from_counts(problem: Problem, program: Program, counts: np.ndarray) -> Menu:
    """Menu of chosen counts, int64 (n_menu,)."""
    place = {number: key for key, number in day_numbers(problem).items()}
    lines = []
    for c in np.flatnonzero(counts):
        day = problem.days[int(program.day[c])]
        block, within = place[day.number]
        m, k = int(program.meal[c]), int(program.course[c])
        meal = day.meals[m] if m >= 0 else None
        lines.append(
            Line(
                party=problem.parties[int(program.party[c])].id,
                block=block,
                day=within,
                meal=meal.name if meal else "",
                course=meal.courses[k].name if meal else ALLOWANCE,
                item=problem.catalogue.items[int(program.item[c])].id,
                count=int(counts[c]),
                certain=bool(program.certain[c]),
            )
        )
    return Menu.of(lines)
