"""A program's rows and columns by the limit a person would have to change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from optimenu.program.program import LINK
from optimenu.solve.subsets import Owned

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from typing import Any

    from numpy.typing import NDArray

    from optimenu.problem.problem import Problem
    from optimenu.program.origin import Origin
    from optimenu.program.program import Program
    from optimenu.rules.base import Refusal, Rule

NAMED = ("nutrients", "avoid")
"""Rules of which one key speaks of several nutrients, diets, allergens; elsewhere the key names what is
meant, or speaks of many items or stretches of dates alike."""


class Grain(NamedTuple):
    """What makes rows and refusals one limit."""

    rule: str
    key: str
    person: str
    what: str


def grain_of(origin: Origin) -> Grain:
    """Return the limit that a row belongs to."""
    return Grain(origin.rule, origin.key, origin.person, origin.what if origin.rule in NAMED else "")


@dataclass(frozen=True, eq=False)
class Board:
    """A program of hard limits with the limits it is made of.

    Attributes
    ----------
    grains : tuple of Grain
        Limits by number.
    patterns : frozenset of int
        Those that lay down the shape of the meals; taken as given.
    who : dict of int to str
        Who may loosen those that refuse servings.
    """

    owned: Owned
    grains: tuple[Grain, ...]
    patterns: frozenset[int]
    who: Mapping[int, str]

    @property
    def program(self) -> Program:
        """The program asked about."""
        return self.owned.program

    @property
    def limits(self) -> frozenset[int]:
        """Numbers of the limits that may give way."""
        return frozenset(range(len(self.grains))) - self.patterns


@dataclass(frozen=True, eq=False)
class Refused:
    """What refuses the servings of a program.

    Attributes
    ----------
    who : dict of Grain to str
        Limits that refuse some serving, and who may loosen each.
    sets : tuple of frozenset of Grain
        Sets of limits; the first is empty.
    column_set : int64 (n_menu,)
        Set of limits that refuse each serving.
    """

    who: Mapping[Grain, str]
    sets: tuple[frozenset[Grain], ...]
    column_set: NDArray[np.int64]


def board(
    problem: Problem, rules: Sequence[Rule[Any]], program: Program, refused: Refused | None = None
) -> Board:
    """Sort the rows of a program of hard limits, and its columns where they may be refused.

    Parameters
    ----------
    refused : Refused, optional
        What refuses the program's servings; None where it has none that are refused.
    """
    numbers: dict[Grain, int] = {}
    by_table = {rule.table: rule for rule in rules}
    owner = np.full(program.m, -1, dtype=np.int64)
    patterns = set()
    for r in np.flatnonzero(program.row_kind != LINK).tolist():
        origin = program.origins[r]
        owner[r] = k = numbers.setdefault(grain_of(origin), len(numbers))
        if origin.rule in by_table and by_table[origin.rule].shapes(origin):
            patterns.add(k)
    column_set = np.zeros(program.n, dtype=np.int64)
    closing: tuple[frozenset[int], ...] = (frozenset(),)
    who: dict[int, str] = {}
    if refused is not None:
        who = {numbers.setdefault(g, len(numbers)): w for g, w in refused.who.items()}
        closing = tuple(frozenset(numbers[g] for g in some) for some in refused.sets)
        column_set[: program.n_menu] = refused.column_set
    owned = Owned(program, owner, closing, column_set)
    return Board(owned, tuple(numbers), frozenset(patterns), who)


def refused_in(problem: Problem, rules: Sequence[Rule[Any]], program: Program) -> Refused:
    """Find the limits that refuse each serving; answers alike are asked for once, as in ``build``."""
    steady = [r for r in rules if not r.by_date]
    dated = [r for r in rules if r.by_date]
    known: dict[object, frozenset[Grain]] = {}
    who: dict[Grain, str] = {}
    sets: dict[frozenset[Grain], int] = {frozenset(): 0}
    column_set = np.zeros(program.n_menu, dtype=np.int64)
    meals: dict[object, int] = {}
    alike = [
        [meals.setdefault((problem.day_class[d.number], m), len(meals)) for m in d.meals]
        for d in problem.days
    ]
    labels = np.stack([getattr(program, f) for f in ("party", "day", "meal", "course", "item")], axis=1)
    for c, (a, d, m, k, i) in enumerate(labels[: program.n_menu].tolist()):
        if m < 0:
            # what is free in the day is never given where a rule refuses it
            continue
        place = problem.parties[a], problem.days[d], problem.days[d].meals[m]
        course, item = place[2].courses[k], problem.catalogue.items[i]
        found: frozenset[Grain] = frozenset()
        for some, key in (
            (steady, (a, alike[d][m], k, i)),
            (dated, ("dated", a, d, m, k, i)),
        ):
            if key not in known:
                whys = [(rule, why) for rule in some for why in rule.refusals(*place, course, item)]
                who.update((refusal_grain(rule, why), why.who) for rule, why in whys)
                known[key] = frozenset(refusal_grain(rule, why) for rule, why in whys)
            found |= known[key]
        column_set[c] = sets.setdefault(found, len(sets))
    return Refused(who, tuple(sets), column_set)


def refusal_grain(rule: Rule[Any], why: Refusal) -> Grain:
    """Return the limit that a refusal belongs to."""
    return Grain(rule.table, why.key, why.person, why.what if rule.table in NAMED else "")


def person_part(problem: Problem, program: Program, person: int) -> Program:
    """Return what a program of hard limits asks of one person alone.

    Rows of others are left out even if they lie on a shared dish alone. Rows without a column are kept
    where they are the person's: a course that nothing may fill is one.
    """
    parties = [k for k, p in enumerate(problem.parties) if person in p.members]
    mine = np.zeros(program.n, dtype=bool)
    mine[: program.n_menu] = np.isin(program.party[: program.n_menu], parties)
    source = np.repeat(np.arange(len(program.extra_kind)), np.diff(program.extra_start))
    whole = np.ones(len(program.extra_kind), dtype=bool)
    whole[source[~mask_of(mine, program.extra_column)]] = False
    mine[program.n_menu :] = whole
    names = {problem.people[person].id, *(problem.parties[k].id for k in parties)}
    rows = np.ones(program.m, dtype=bool)
    rows[program.row_of_entry[~mine[program.row_column]]] = False
    for r in np.flatnonzero(rows & (program.row_kind != LINK)).tolist():
        whose = program.origins[r].person
        rows[r] = whose in names or (not whose and program.row_start[r] < program.row_start[r + 1])
    return program.part(mine, rows)


def mask_of(mask: NDArray[np.bool_], numbers: NDArray[np.int32]) -> NDArray[np.bool_]:
    """Whether each of some columns is in a mask."""
    found: NDArray[np.bool_] = mask[numbers]
    return found
