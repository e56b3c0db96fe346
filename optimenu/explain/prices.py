"""What a case's relaxation says, kept at hand: its program, bound, multipliers and words for them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from optimenu.crew.acceptance import Acceptance
from optimenu.errors import Undecided
from optimenu.explain.reading import Readings
from optimenu.problem.problem import WORTH_DECIMALS
from optimenu.program.build import PRICE_DECIMALS, build, priced
from optimenu.program.builder import scaled
from optimenu.solve.again import Again
from optimenu.solve.bound import proved_bound
from optimenu.solve.liking import scale_of

if TYPE_CHECKING:
    from decimal import Decimal
    from typing import Any

    from numpy.typing import NDArray

    from optimenu.config.case import Case
    from optimenu.menu.menu import Menu
    from optimenu.problem.problem import Problem
    from optimenu.program.program import Program
    from optimenu.rules.base import Rule
    from optimenu.solve.bound import Relaxation
    from optimenu.solve.liking import Scale


@dataclass(frozen=True, eq=False)
class Prices:
    """A case, its relaxation open for further solves, and the menu spoken of.

    Attributes
    ----------
    again : Again
        Of the case's own program, in mean liking.
    menu : Menu or None
        None: only the relaxation can be spoken of.
    """

    case: Case
    scale: Scale
    again: Again
    menu: Menu | None = None

    @property
    def program(self) -> Program:
        """The case's own program."""
        return self.again.program

    @property
    def relaxation(self) -> Relaxation:
        """Its relaxation, without cuts."""
        return self.again.first

    @cached_property
    def bound(self) -> int:
        """What its multipliers prove, whole goal units."""
        return proved_bound(self.program, self.relaxation)

    @cached_property
    def readings(self) -> Readings:
        """Words and units of its limits."""
        return Readings(self.case, self.menu)


def prices_of(
    case: Case,
    *,
    scale: Scale | None = None,
    program: Program | None = None,
    menu: Menu | None = None,
    threads: int = 1,
) -> Prices:
    """Solve the relaxation of a case.

    Parameters
    ----------
    scale, program : optional
        Where they are known: the scale of the case, and its program in mean liking.

    Raises
    ------
    Undecided
        When the relaxation has no answer, so that there is nothing to tell.
    """
    if program is None or scale is None:
        unpriced = build(case.problem, case.rules)
        scale = scale or scale_of(case.problem, unpriced, threads)
        program = priced(unpriced, scale.prices)
    again = Again(program)
    if again.first.status != "solved":
        raise Undecided("the relaxation of these limits has no answer, so no limit has a price")
    return Prices(case, scale, again, menu)


# ---- the same question with one score changed


def rescored(problem: Problem, person: int, item: str, score: Decimal) -> Problem:
    """The problem with one person's acceptance of one item set, as if tasted."""
    key = (problem.people[person].id, item)
    return replace(problem, acceptance={**problem.acceptance, key: Acceptance(score, estimated=False)})


def rules_for(case: Case, problem: Problem) -> tuple[Rule[Any], ...]:
    """The case's rules, speaking in another problem."""
    return tuple(type(rule)(rule.settings, problem) for rule in case.rules)


def group_of(program: Program, person: int, item: int) -> int | None:
    """Worth group of a person and an item; None where the person has no place for it."""
    first = program.group_column[program.group_start[:-1]]
    found = np.flatnonzero((program.group_person == person) & (program.item[first] == item))
    return int(found[0]) if len(found) else None


def columns_of(program: Program, group: int) -> NDArray[np.int32]:
    """Columns of a worth group."""
    columns: NDArray[np.int32] = program.group_column[
        program.group_start[group] : program.group_start[group + 1]
    ]
    return columns


def closed(program: Program, group: int) -> Program:
    """The program with every column of a worth group at its least: none of the item for that person."""
    high = program.high.copy()
    columns = columns_of(program, group)
    high[columns] = program.low[columns]
    return replace(program, high=high)


def scored(program: Program, problem: Problem, scale: Scale, group: int, score: Decimal) -> Program:
    """The program in which a group's person scores its item so; its columns stay as they are.

    The same gains and deductions as a program built anew with that score has.
    """
    person = int(program.group_person[group])
    columns = columns_of(program, group)
    item = problem.catalogue.items[int(program.item[columns[0]])]
    other = rescored(problem, person, item.id, score)
    price = scaled(scale.prices[person], PRICE_DECIMALS)
    worth = []
    for c in columns.tolist():
        day = other.days[int(program.day[c])]
        course = day.meals[int(program.meal[c])].courses[int(program.course[c])]
        worth.append(other.worth(person, item, course, day))
    first, end = int(program.deduct_start[group]), int(program.deduct_start[group + 1])
    least = min((w for w in worth if w > 0), default=0 * score)
    group_gain, gain, deduction = program.group_gain.copy(), program.gain.copy(), program.deduction.copy()
    at = slice(int(program.group_start[group]), int(program.group_start[group + 1]))
    new = np.asarray([scaled(w, WORTH_DECIMALS) * price for w in worth], dtype=np.int64)
    np.add.at(gain, columns, new - group_gain[at])
    group_gain[at] = new
    deduction[first:end] = [scaled(d, WORTH_DECIMALS) * price for d in other.deductions(least, end - first)]
    return replace(program, gain=gain, group_gain=group_gain, deduction=deduction)
