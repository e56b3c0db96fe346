"""Which limits cannot hold together: the smallest set that shows it, each with its place in the config."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from optimenu.config.roles import RANK
from optimenu.explain.board import board, grain_of, person_part
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
    refusals stand and rows are left out; then, with the rows that are needed, the refusals. A row that is
    needed while all refusals stand is needed while fewer do, so nothing more can be left out of the two.
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
        """A board of the needed rows alone, with every serving that some rule refuses."""
        rules = {r.table: r for r in self.rules}
        needed = frozenset(self.rows)

        def wanted(origin: Origin) -> bool:
            return grain_of(origin) in needed or rules[origin.rule].shapes(origin)

        speak = {g.rule for g in needed} | {
            self.first.board.grains[k].rule for k in self.first.board.patterns
        }
        program = limits(
            self.problem,
            self.rules,
            refused=True,
            writing=[r for r in self.rules if r.table in speak],
            wanted=wanted,
        )
        if self.person is not None and not self.first.small:
            part = person_part(self.problem, program, self.person)
            # a limit of the crew may have spoken of this person alone only for want of others' servings
            if needed <= {grain_of(o) for o in part.origins}:
                program = part
        return Desk(board(self.problem, self.rules, program, refused=True))

    def conflict(self) -> Conflict:
        desk, board = self.desk, self.desk.board
        number = {g: k for k, g in enumerate(board.grains)}
        rows = [number[g] for g in self.rows]
        refusals = sorted(board.limits - set(rows))
        found = self._refusals([*board.patterns, *rows], refusals)
        if found is None:
            return self._given()
        members = [*rows, *found]
        without: dict[int, Without] = {}
        if desk.small:
            members, without = self._in_whole_numbers(members)
        else:
            without = self._looked_for(desk, members, len(rows))
        return self._told(desk, members, without)

    def _refusals(self, fixed: list[int], refusals: list[int]) -> list[int] | None:
        """Least refusals that leave no menu with the fixed limits; None where that was not shown again."""
        desk = self.desk
        if self.proof == "exact":
            # a conflict is of most use where it names what can be loosened
            found = least_by_proof(desk.ask, fixed, refusals, {k: RANK[w] for k, w in desk.board.who.items()})
            if found is not None:
                return found
        if not desk.small or not desk.impossible([*fixed, *refusals]):
            return None
        self.proof = "solver"
        return least_by_trial(desk.impossible, fixed, refusals)

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
        if not any(self._has_rows(k) for k in members):
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

    def _has_rows(self, k: int) -> bool:
        return bool(np.any(self.desk.board.owned.row_owner == k))

    def _given(self) -> Conflict:
        """Tell of the rows alone: which refusals take part was not found out."""
        desk = self.first
        self.desk = desk
        members = [k for k, g in enumerate(desk.board.grains) if g in set(self.rows)]
        without = self._looked_for(desk, members, len(members))
        return replace(self._told(desk, members, without), refusals_given=True)
