"""What somebody may change of a case, as levers on its rows and on the servings it refuses."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import numpy as np

from optimenu.config.roles import RANK
from optimenu.program.build import limits
from optimenu.program.origin import Origin
from optimenu.program.program import HARD, LINK, NO_HIGH, NO_LOW
from optimenu.rules.edits import Wanted
from optimenu.rules.nutrient_edits import TOXIC
from optimenu.solve.give import Bar
from optimenu.solve.give import Levers as Moved

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from optimenu.catalogue.item import Item
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party, Problem
    from optimenu.program.page import Page
    from optimenu.program.program import Program
    from optimenu.rules.base import Allowance, Refusal, Rule

_SERVINGS = 10
"""Servings that count as one step where a limit is nothing at all; only orders what is offered."""
_SHAPE = 10.0
"""Times as much that a step counts which changes the courses of a meal."""
_TRY = Decimal("0.001")
"""Part of a limit by which a lever must be able to move."""


@dataclass(eq=False)
class Lever:
    """One setting, or one entry that refuses servings, that may be changed.

    Attributes
    ----------
    low : bool
        Whether floors give way, or ceilings.
    rows : list of int
        Rows of the program whose limits it moves.
    columns : list of int
        Serving columns that it alone, or it too, refuses.
    """

    number: int
    rule: Rule[Any]
    key: str
    who: str
    low: bool = False
    rows: list[int] = field(default_factory=list)
    refusal: Refusal | None = None
    columns: list[int] = field(default_factory=list)


def may(who: str, role: str) -> bool:
    """Tell whether a role may loosen what belongs to somebody."""
    return who != "nobody" and RANK[who] <= RANK[role]


def stays(key: str) -> bool:
    """Tell whether a limit is never offered for loosening, whoever asks.

    Of what a physician lays down only the limits of nutrients are; a tolerable upper intake never is.
    """
    # prescriptions.people.PERSON.limits. ...: a person, too, may be called "limits"
    parts = key.split(".")
    return key == TOXIC or (parts[0] == "prescriptions" and parts[3:4] != ["limits"])


class _Lenient:
    """A rule that lets pass what could be let in by changes of its settings."""

    def __init__(self, rule: Rule[Any], role: str) -> None:
        self.rule, self.role = rule, role
        self.by_date = rule.by_date
        self._asked: dict[tuple[object, ...], bool] = {}

    def allow(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> str | None:
        """Return the first reason that stays."""
        for refusal in self.rule.refusals(party, day, meal, course, item):
            if stays(refusal.key) or not may(refusal.who, self.role) or meal is None or course is None:
                return refusal.text
            key = (refusal.key, refusal.person, day.kind, meal.name, course.name, item.id)
            if key not in self._asked:
                wanted = Wanted(refusal.person, *key[2:])
                self._asked[key] = next(iter(self.rule.admit(refusal, (wanted,))), None) is not None
            if not self._asked[key]:
                return refusal.text
        return None

    def allowances(self) -> Iterator[Allowance]:
        """As the rule has them."""
        yield from self.rule.allowances()

    def write(self, page: Page) -> None:
        """As the rule does."""
        self.rule.write(page)


class Board:
    """All levers of a case for one role.

    Attributes
    ----------
    program : Program
        With the servings that could be let in.
    """

    def __init__(self, problem: Problem, rules: Sequence[Rule[Any]], role: str) -> None:
        self.problem, self.rules, self.role = problem, rules, role
        self.levers: list[Lever] = []
        self._found: dict[tuple[str, str], Lever | None] = {}
        self.program: Program = limits(problem, [_Lenient(r, role) for r in rules])
        self.size = _sizes(self.program)
        self._by_table = {r.table: r for r in rules}
        self._rows()
        self._refused()

    def moved(self) -> Moved:
        """Return the levers as the linear program takes them."""
        m = self.program.m
        low, high = np.full(m, -1, dtype=np.int64), np.full(m, -1, dtype=np.int64)
        for lever in self.levers:
            for r in lever.rows:
                if self._side(lever, r):
                    low[r] = lever.number
                else:
                    high[r] = lever.number
        bars = [
            Bar(lever.number, np.asarray(lever.columns, dtype=np.int64), _SERVINGS)
            for lever in self.levers
            if lever.columns and not lever.rows
        ]
        return Moved(len(self.levers), low, high, self.size, self.cost, bars)

    @property
    def cost(self) -> NDArray[np.float64]:
        """What a step of each lever counts: the shape of the meals is the last to give way."""
        return np.asarray([_SHAPE if self.shapes(lever) else 1.0 for lever in self.levers])

    def shapes(self, lever: Lever) -> bool:
        """Tell whether a lever changes the courses of a meal."""
        return bool(lever.rows) and lever.rule.shapes(self.program.origins[lever.rows[0]])

    def _side(self, lever: Lever, row: int) -> bool:
        """Tell whether it is the low side of a row that a lever moves; both sides are never one lever."""
        if self.program.row_low[row] == NO_LOW:
            return False
        return self.program.row_high[row] == NO_HIGH or lever.low

    def _rows(self) -> None:
        program = self.program
        plain = (program.row_price == HARD) & (program.row_kind != LINK)
        for r in np.flatnonzero(plain).tolist():
            origin = program.origins[r]
            if stays(origin.key) or not may(origin.who, self.role):
                continue
            for low, none in ((True, program.row_low[r] == NO_LOW), (False, program.row_high[r] == NO_HIGH)):
                if none:
                    continue
                rule = self._by_table[origin.rule]
                name = (origin.rule, rule.lever(origin, low=low))
                if name not in self._found:
                    self._found[name] = self._new(rule, origin, low, r)
                lever = self._found[name]
                if lever is not None:
                    lever.rows.append(r)

    def _new(self, rule: Rule[Any], origin: Origin, low: bool, row: int) -> Lever | None:
        amount = Decimal(str(self.size[row])) * _TRY
        if next(iter(rule.further(origin, amount, low=low)), None) is None:
            return None
        lever = Lever(len(self.levers), rule, origin.key, origin.who, low)
        self.levers.append(lever)
        return lever

    def _refused(self) -> None:
        """Find which servings were let in, and by which changes."""
        known = self._known()
        program = self.program
        for c in range(program.n_menu):
            if not known[c]:
                continue
            for rule, refusal in self._reasons(c, self.rules):
                origin = Origin(rule.table, refusal.key, refusal.person, what=refusal.what, who=refusal.who)
                name = (rule.table, rule.lever(origin))
                lever = self._found.get(name)
                if lever is None:
                    lever = Lever(len(self.levers), rule, refusal.key, refusal.who, refusal=refusal)
                    self.levers.append(lever)
                    self._found[name] = lever
                lever.columns.append(c)

    def _known(self) -> NDArray[np.bool_]:
        """Which columns the rules as they are refuse."""
        steady = [r for r in self.rules if not r.by_date]
        dated = [r for r in self.rules if r.by_date]
        alike: dict[int, bool] = {}
        out = np.zeros(self.program.n_menu, dtype=bool)
        for c in np.flatnonzero(self.program.meal[: self.program.n_menu] >= 0).tolist():
            kind = int(self.program.column_class[c])
            if kind not in alike:
                alike[kind] = next(self._reasons(c, steady), None) is not None
            out[c] = alike[kind] or next(self._reasons(c, dated), None) is not None
        return out

    def _reasons(self, column: int, rules: Sequence[Rule[Any]]) -> Iterator[tuple[Rule[Any], Refusal]]:
        p, problem = self.program, self.problem
        day = problem.days[int(p.day[column])]
        meal = day.meals[int(p.meal[column])]
        course = meal.courses[int(p.course[column])]
        party = problem.parties[int(p.party[column])]
        item = problem.catalogue.items[int(p.item[column])]
        for rule in rules:
            for refusal in rule.refusals(party, day, meal, course, item):
                yield rule, refusal

    def wanted(self, lever: Lever, uses: NDArray[np.float64]) -> list[Wanted]:
        """Servings that a lever lets in and an answer uses."""
        p, problem = self.program, self.problem
        person = lever.refusal.person if lever.refusal is not None else ""
        out = []
        for c in lever.columns:
            if uses[c] > 1e-6:
                day = problem.days[int(p.day[c])]
                meal = day.meals[int(p.meal[c])]
                course = meal.courses[int(p.course[c])].name
                item = problem.catalogue.items[int(p.item[c])].id
                out.append(Wanted(person, day.kind, meal.name, course, item))
        return list(dict.fromkeys(out))


def _sizes(program: Program) -> NDArray[np.float64]:
    """What counts as the whole of each row's limit, in units: the limit, or some servings where it is 0."""
    low = np.where(program.row_low == NO_LOW, 0, np.abs(program.row_low))
    high = np.where(program.row_high == NO_HIGH, 0, np.abs(program.row_high))
    size = np.maximum(low, high).astype(np.float64)
    largest = np.zeros(program.m)
    np.maximum.at(largest, program.row_of_entry, np.abs(program.row_coef).astype(np.float64))
    size = np.where(size > 0, size, np.where(largest > 0, largest * _SERVINGS, 1.0))
    out: NDArray[np.float64] = size * 10.0 ** -program.row_decimals.astype(np.float64)
    return out
