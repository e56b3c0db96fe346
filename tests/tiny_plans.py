"""Plans of so few menus that every one can be tried, under whichever rules there are.

The settings come from ``near`` of each rule's own test module, so their limits lie near what a menu has.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from importlib import import_module
from itertools import product
from random import Random
from typing import TYPE_CHECKING, Any

import numpy as np

from optimenu.program.build import build, priced
from optimenu.rules.base import Rule
from optimenu.rules.registry import rule_classes
from optimenu.solve.liking import Scale
from tests.rules import tiny
from tests.rules.hand import rule
from tests.solve.programs import Judged, judge

if TYPE_CHECKING:
    from optimenu.problem.problem import Problem
    from optimenu.program.program import Program

D = Decimal
MOST_MENUS = 1 << 13
ITEMS = 8
TRIES = 4
PATTERN = "[meals.early]\nat = '08:00'\ncourses = {}\n[meals.late]\nat = '19:00'\ncourses = {}"


@dataclass(frozen=True, eq=False)
class Plan:
    """A tiny plan and all of its menus.

    Attributes
    ----------
    unpriced, program : Program
        In worth, and in mean liking at the scale's prices.
    menus : int8 (N, n_menu)
        Every choice of servings that fills each course as its pattern asks.
    judged : Judged
        What becomes of them.
    """

    question: Problem
    rules: list[Rule[Any]]
    scale: Scale
    unpriced: Program
    program: Program
    menus: np.ndarray
    judged: Judged


@cache
def fillings(n: int, high: int, least: int, most: int) -> tuple[tuple[int, ...], ...]:
    """Counts of n items, each at most ``high``, whose sum lies between least and most."""
    return tuple(p for p in product(range(high + 1), repeat=n) if least <= sum(p) <= most)


def menus_of(question: Problem, program: Program) -> np.ndarray:
    """Every menu that fills each course as its pattern asks, int64 (N, n_menu); the rules may refuse it."""
    slots: dict[tuple[int, int, int, int], list[int]] = {}
    for c in np.flatnonzero(program.certain[: program.n_menu]).tolist():
        key = (int(program.party[c]), int(program.day[c]), int(program.meal[c]), int(program.course[c]))
        slots.setdefault(key, []).append(c)
    menus = program.low[None, : program.n_menu].copy()
    for a, party in enumerate(question.parties):
        for day, m, _, k, course in question.places(party):
            cols = slots.get((a, day.number, m, k), [])
            ways = fillings(len(cols), min(course.same, course.most), course.least, course.most)
            menus = np.repeat(menus, len(ways), axis=0)
            if cols and ways:
                menus[:, cols] = np.tile(np.asarray(ways), (len(menus) // len(ways), 1))
    return menus


def pared(question: Problem, rng: Random) -> Problem:
    """Keep few items, and take them off courses and meals until few menus are left.

    A course that must be filled keeps two items to choose from where that can be, and one at least.
    """
    items = list(question.catalogue.items[:ITEMS])
    places = Counter(
        (day.eaten, meal.name, course)
        for party in question.parties
        for day, _, meal, _, course in question.places(party)
    )

    def offered(eaten: bool, meal: str, course: Any) -> int:
        takes = set(course.takes)
        return sum(bool(takes & set(i.courses)) and (meal in i.meals or not eaten) for i in items)

    def ways(place: tuple[bool, str, Any]) -> int:
        course = place[2]
        return len(fillings(offered(*place), min(course.same, course.most), course.least, course.most))

    fields = ("courses", "meals")
    offers = [(k, f, word) for k, i in enumerate(items) for f in fields for word in getattr(i, f)]
    for fewest in (2, 1):
        rng.shuffle(offers)
        for k, f, word in offers:
            if np.prod([float(ways(p)) ** n for p, n in places.items()]) <= MOST_MENUS:
                break
            before = items[k]
            least = {p: min(fewest, offered(*p)) for p in places if p[2].least}
            items[k] = replace(before, **{f: tuple(w for w in getattr(before, f) if w != word)})
            if any(offered(*p) < n for p, n in least.items()):
                items[k] = before
    return replace(question, catalogue=replace(question.catalogue, items=tuple(items)))


class _Making:
    """A plan in the making: the question so far, the settings by table, and the menus that keep them."""

    def __init__(self, question: Problem, rng: Random) -> None:
        self.rng = rng
        self.toml = {"meals": PATTERN}
        self.take(question, self.toml)

    def take(self, question: Problem, toml: dict[str, str]) -> None:
        self.question, self.toml = question, toml
        self.rules = [rule(c, toml[t], question) for t, c in rule_classes().items() if t in toml]
        self.program = build(question, self.rules)
        self.menus = menus_of(question, self.program)
        self.judged = judge(self.program, self.menus)

    def menu(self, *, whatever: bool = False) -> Any:
        """A random menu that keeps all so far, or any where none does or it matters not, as a tally."""
        good = np.flatnonzero(self.judged.holds)
        at = self.rng.choice(range(len(self.menus)) if whatever or not len(good) else good)
        return tiny.tally_of(self.question, self.program, self.menus[at])

    def near(self, table: str, tally: Any) -> tuple[Problem, dict[str, str]]:
        """Settings of one more rule near a menu, without a fault, and the question they belong to."""
        cls, supply = rule_classes()[table], import_module(f"tests.rules.test_{table}").near
        tally = replace(tally, problem=self.question)
        while True:
            text, question = supply(self.question, tally, self.rng)
            if not list(rule(cls, text, question).faults()):
                return question, {**self.toml, table: text}

    def keep(self, table: str) -> None:
        """Take a rule if it can be so that a menu is left, else do without it."""
        before = vars(self).copy()
        for _ in range(TRIES):
            self.take(*self.near(table, self.menu()))
            if self.judged.holds.any():
                return
            vars(self).update(before)

    def sharpen(self, table: str, tally: Any) -> None:
        """Take the last rule, if it can be so that it alone cuts off some menus and leaves others."""
        before = self.question, self.toml
        for _ in range(TRIES):
            self.question, self.toml = before
            self.take(*self.near(table, tally))
            others, cut = self.judged.keeps(but=table), self.judged.breaks(table)
            if not others.any() or ((others & cut).any() and (others & ~cut).any()):
                break


def _shapes(cls: type[Rule[Any]]) -> bool:
    return cls.refusals is not Rule.refusals or cls.allowances is not Rule.allowances


def plan(seed: int) -> Plan:
    """Return a tiny plan: one or two people, two to four plan days of two meals, a reserve day.

    A few of the rules or all of them speak, each in its turn as the last and sharpest. For some seeds the
    limits lie near different menus, so that nothing may be left.
    """
    rng = Random(f"plan {seed}")
    people = rng.choice((1, 1, 2, 2))
    shared = people == 2 and rng.random() < 0.6
    length = 2 if people == 2 else rng.choice((2, 3))
    question = tiny.make(seed, people=people, length=length, reserve=1, shared=shared, unknown=0.05)
    making = _Making(pared(question, rng), rng)
    tables = list(rule_classes())
    last = tables[seed % len(tables)]
    chosen = sorted({*rng.sample(tables, rng.choice((4, 6, 9, len(tables))))} - {last})
    # what refuses servings or gives free ones comes first, so that the other limits lie near what is left
    first = [t for t in chosen if _shapes(rule_classes()[t])]
    for table in first:
        making.keep(table)
    tally = making.menu()
    mixed = rng.random() < 0.5
    for table in chosen:
        if table not in first:
            near = making.menu(whatever=True) if mixed and rng.random() < 0.5 else tally
            making.question, making.toml = making.near(table, near)
    making.sharpen(last, tally)
    scale = Scale(tuple(D(rng.randint(5_000_000, 20_000_000)).scaleb(-6) for _ in range(people)))
    program = priced(making.program, scale.prices)
    return Plan(
        making.question,
        making.rules,
        scale,
        making.program,
        program,
        making.menus.astype(np.int8),
        judge(program, making.menus),
    )
