"""Which limits cannot hold together: the smallest set that shows it, each with its place in the config."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from optimenu.config.roles import RANK
from optimenu.explain.board import board, grain_of, person_part, refused_in
from optimenu.explain.desk import Desk
from optimenu.explain.least import least_by_proof, least_by_trial
from optimenu.explain.tell import Teller
from optimenu.program.build import limits

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence
    from typing import Any

    from numpy.typing import NDArray

    from optimenu.config.case import Case
    from optimenu.explain.tell import Limit
    from optimenu.problem.problem import Problem
    from optimenu.program.origin import Origin
    from optimenu.rules.base import Rule

Without = Literal["menu", "relaxation", "undecided"]
"""What is known of the other limits of a conflict, without this one: a menu keeps them all (checked in
whole numbers); their relaxation is possible; or neither was shown."""
Proof = Literal["exact", "solver", ""]
"""What "cannot hold together" rests on: whole-number arithmetic; HiGHS, with presolve and again without;
or nothing."""


@dataclass(frozen=True)
class Member:
    """One limit of a conflict, and what becomes of the others without it."""

    limit: Limit
    without: Without


@dataclass(frozen=True, eq=False)
class Conflict:
    """Limits that cannot hold together.

    Attributes
    ----------
    status : str
        ``conflict``; ``none``: a menu keeps every limit, ``menu`` is it; ``undecided``.
    person : str
        Whose own limits they are; empty when the crew's take part.
    members : tuple of Member
        Limits of rows first, those the proof leans on most before others; then what refuses servings:
        as long as that stands, the rows cannot hold together.
    patterns : tuple of Limit
        Courses that nothing may fill, where that is the conflict. Patterns of courses and what packs
        hold are taken as given otherwise.
    proof : str
    hints : tuple of Limit
        When undecided: what the nearest try breaks.
    refusals_given : bool
        True where it was not found out which refusals take part: then all of them are taken as given.
    menu : int64 (n_menu,) or None
        Servings of ``build(problem, rules)`` that keep every limit.
    """

    status: Literal["conflict", "none", "undecided"]
    person: str = ""
    members: tuple[Member, ...] = ()
    patterns: tuple[Limit, ...] = ()
    proof: Proof = ""
    hints: tuple[Limit, ...] = ()
    refusals_given: bool = False
    menu: NDArray[np.int64] | None = None

    @property
    def irreducible(self) -> bool:
        """True when a menu was found without each of the limits: none can be left out of the set."""
        return all(m.without == "menu" for m in self.members)


def conflict_of(case: Case, near: NDArray[np.int64] | None = None) -> Conflict:
    """Return a conflict of a case; see ``conflict``."""
    return conflict(case.problem, case.rules, case.where, case.written, near)


def conflict(
    problem: Problem,
    rules: Sequence[Rule[Any]],
    where: Callable[[str], str] = str,
    written: Callable[[str], object] = lambda _: None,
    near: NDArray[np.int64] | None = None,
) -> Conflict:
    """Find limits that cannot hold together, none of which can be left out.

    Parameters
    ----------
    where, written : callable
        File and line of a dotted config key, and its value there.
    near : int64 (n_menu,), optional
        The nearest try of a search in the columns of ``build(problem, rules)``, for hints.

    Notes
    -----
    The limits of one person are asked about before the crew's, the linear relaxation (whose answer is
    proved in whole numbers) before whole servings, for which only small programs are tried. First all
    refusals stand and rows are left out; then, with the rows that are needed, the refusals.
    """
    whole = limits(problem, rules)
    alone = range(len(problem.people)) if len(problem.people) > 1 else ()
    scopes = [*((p, person_part(problem, whole, p)) for p in alone), (None, whole)]
    desks = [(p, Desk(board(problem, rules, part))) for p, part in scopes]
    for person, desk in desks:
        rows = least_by_proof(desk.ask, desk.board.patterns, desk.board.limits)
        if rows is not None:
            return _Finding(problem, rules, where, written, person, desk, rows, "exact").conflict()
    for person, desk in desks:
        if desk.small and desk.impossible(range(len(desk.board.grains))):
            order = sorted(desk.board.limits)
            rows = least_by_trial(desk.impossible, desk.board.patterns, order)
            return _Finding(problem, rules, where, written, person, desk, rows, "solver").conflict()
    crew = desks[-1][1]
    menu = crew.menu(range(len(crew.board.grains))) if crew.small else None
    if menu is not None:
        return Conflict("none", menu=menu)
    teller = Teller(problem, rules, crew.board, where, written)
    return Conflict("undecided", hints=() if near is None else teller.broken(near))


class _Finding:
    """The way from rows that cannot hold together to a conflict."""

    def __init__(
        self,
        problem: Problem,
        rules: Sequence[Rule[Any]],
        where: Callable[[str], str],
        written: Callable[[str], object],
        person: int | None,
        desk: Desk,
        rows: list[int],
        proof: Proof,
    ) -> None:
        self.problem, self.rules, self.proof = problem, rules, proof
        self.where, self.written = where, written
        self.person = person
        self.first, self.rows = desk, [desk.board.grains[k] for k in rows]
        self.desk = self._open()

    def _open(self) -> Desk:
        """A board of the needed rows, with every serving that some rule refuses.

        Where what refuses servings has rows too (stock, minutes of the galley), they belong to it.
        """
        problem, rules = self.problem, self.rules
        empty = limits(problem, rules, refused=True, writing=())
        alone = self.person is not None and not self.first.small
        if alone and self.person is not None:
            empty = person_part(problem, empty, self.person)
        refused = refused_in(problem, rules, empty)
        needed = frozenset(self.rows)
        by_table = {r.table: r for r in rules}

        def wanted(origin: Origin) -> bool:
            grain = grain_of(origin)
            return grain in needed or grain in refused.who or by_table[origin.rule].shapes(origin)

        speak = {g.rule for g in (*needed, *refused.who)}
        writing = [r for r in rules if r.table in speak or r.table in self._shaping]
        program = limits(problem, rules, refused=True, writing=writing, wanted=wanted)
        if alone and self.person is not None:
            part = person_part(problem, program, self.person)
            if needed <= {grain_of(o) for o in part.origins}:
                return Desk(board(problem, rules, part, refused))
            # a limit of the crew spoke of this person alone only for want of others' servings
            refused = refused_in(problem, rules, program)
        return Desk(board(problem, rules, program, refused))

    @property
    def _shaping(self) -> set[str]:
        """Rules that lay down the shape of the meals."""
        return {self.first.board.grains[k].rule for k in self.first.board.patterns}

    def conflict(self) -> Conflict:
        desk, board = self.desk, self.desk.board
        number = {g: k for k, g in enumerate(board.grains)}
        rows = [number[g] for g in self.rows]
        found = self._least([*rows, *sorted(board.limits - set(rows))])
        if found is None:
            return self._given()
        rows = [k for k in found if board.grains[k] in self.rows]
        members = [*rows, *(k for k in found if k not in rows)]
        without: dict[int, Without] = {}
        if desk.small:
            members, without = self._in_whole_numbers(members)
        else:
            without = self._looked_for(desk, members, len(rows))
        return self._told(desk, members, without)

    def _least(self, candidates: list[int]) -> list[int] | None:
        """Least of the needed rows and refusals; None where they were not shown impossible again.

        The rows come first. They are left out last, since all that could be was left out before; only rows
        of what refuses servings may take the place of some. Of refusals those go first that the fewest
        people may loosen: a conflict is of most use where it names what can be loosened.
        """
        desk, fixed = self.desk, self.desk.board.patterns
        if self.proof == "exact":
            needed = set(self.rows)
            unwanted = {
                k: 1 + RANK[w] for k, w in desk.board.who.items() if desk.board.grains[k] not in needed
            }
            found = least_by_proof(desk.ask, fixed, candidates, unwanted)
            if found is not None:
                return found
        if not desk.small or not desk.impossible([*fixed, *candidates]):
            return None
        self.proof = "solver"
        return least_by_trial(desk.impossible, fixed, candidates)

    def _in_whole_numbers(self, members: list[int]) -> tuple[list[int], dict[int, Without]]:
        """Leave out what whole servings can do without, and say what was found without each limit."""
        desk = self.desk
        fixed = desk.board.patterns
        without: dict[int, Without] = {}
        while left := [k for k in members if k not in without]:
            k = left[0]
            rest = [m for m in members if m != k]
            if desk.menu({*fixed, *rest}) is not None:
                without[k] = "menu"
            elif desk.impossible({*fixed, *rest}):
                self.proof = "solver"
                members = least_by_trial(desk.impossible, fixed, rest)
                without = {m: w for m, w in without.items() if m in members and w == "menu"}
            else:
                without[k] = self._relaxed(desk, {*fixed, *rest})
        return members, without

    def _looked_for(self, desk: Desk, members: list[int], rows: int) -> dict[int, Without]:
        """Look for a menu without each limit of a large board.

        Refusals that only make limits of rows impossible, which come after those, leave so little room
        without one of them that a search seldom finds it: there the relaxation alone is asked.
        """
        without: dict[int, Without] = {}
        for at, k in enumerate(members):
            rest = {*desk.board.patterns, *members} - {k}
            searched = not 0 < rows <= at
            found = searched and desk.menu(rest) is not None
            without[k] = "menu" if found else self._relaxed(desk, rest)
        return without

    @staticmethod
    def _relaxed(desk: Desk, asked: Collection[int]) -> Without:
        return "relaxation" if desk.possible(asked) else "undecided"

    def _told(self, desk: Desk, members: list[int], without: Mapping[int, Without]) -> Conflict:
        fixed = desk.board.patterns
        if self.proof == "solver" and not desk.impossible({*fixed, *members}, presolve=False):
            # found with presolve, not found again without: nothing is claimed
            return Conflict("undecided")
        patterns: list[int] = []
        if not any(desk.board.grains[k] in self.rows for k in members):
            if self.proof == "exact":
                patterns = least_by_proof(desk.ask, members, fixed) or []
            else:
                patterns = least_by_trial(desk.impossible, members, sorted(fixed))
        answer = desk.ask({*(patterns or fixed), *members}) if self.proof == "exact" else None
        teller = Teller(self.problem, self.rules, desk.board, self.where, self.written)
        told = [Member(teller.limit(k, answer), without[k]) for k in members]
        shapes = tuple(teller.limit(k, answer) for k in patterns)
        owners = {t.limit.person for t in told} or {s.person for s in shapes}
        own = owners.pop() if len(owners) == 1 else ""
        if self.person is not None:
            own = self.problem.people[self.person].id
        return Conflict("conflict", own, tuple(told), shapes, self.proof)

    def _given(self) -> Conflict:
        """Tell of the rows alone: which refusals take part was not found out."""
        desk = self.first
        self.desk = desk
        members = [k for k, g in enumerate(desk.board.grains) if g in set(self.rows)]
        without = self._looked_for(desk, members, len(members))
        return replace(self._told(desk, members, without), refusals_given=True)
