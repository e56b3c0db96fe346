"""Tiny plans without a menu: limits of tiny plans drawn in until nothing is left."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from importlib import import_module
from random import Random
from typing import TYPE_CHECKING, Any

import numpy as np

from optimenu.catalogue.columns import ALLERGENS
from optimenu.explain.board import grain_of, refusal_grain
from optimenu.program.build import limits
from optimenu.program.program import NO_HIGH, NO_LOW, ORDINARY
from optimenu.rules.registry import rule_classes
from tests import tiny_plans
from tests.rules import tiny
from tests.rules.hand import rule
from tests.solve.programs import completed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.explain.board import Grain
    from optimenu.problem.problem import Problem
    from optimenu.program.program import Program
    from optimenu.rules.base import Rule

MOST = 6
"""Plans made of one."""


@dataclass(frozen=True, eq=False)
class Menus:
    """Every menu that fills each course as its pattern asks, refused servings included.

    Attributes
    ----------
    breaks : dict of Grain to bool (N,)
        Where a menu breaks a row of the limit, or has a serving that it refuses.
    """

    count: int
    breaks: dict[Grain, np.ndarray]

    def keep(self, grains: Any) -> bool:
        """Tell whether some menu keeps all of these limits."""
        bad = np.zeros(self.count, dtype=bool)
        for g in grains:
            bad |= self.breaks.get(g, False)
        return not bad.all()


def menus_of(question: Problem, rules: list[Rule[Any]], *, refused: bool = True) -> Menus:
    """Try every menu; written apart from what is under test, save for the columns and rows themselves."""
    program = limits(question, rules, refused=refused)
    menus = tiny_plans.menus_of(question, program)
    breaks = rows_broken(program, completed(program, menus))
    for c in np.flatnonzero(program.certain[: program.n_menu]).tolist():
        day = question.days[program.day[c]]
        meal = day.meals[program.meal[c]]
        place = question.parties[program.party[c]], day, meal, meal.courses[program.course[c]]
        item = question.catalogue.items[program.item[c]]
        for r in rules:
            found = list(r.refusals(*place, item))
            assert (r.allow(*place, item) is None) == (not found)
            for why in found:
                key = refusal_grain(r, why)
                breaks[key] = breaks.get(key, False) | (menus[:, c] > 0)
    return Menus(len(menus), breaks)


def rows_broken(program: Program, x: np.ndarray) -> dict[Grain, np.ndarray]:
    """Where choices (N, n) break a row of a limit, by limit; patterns are among them."""
    breaks: dict[Grain, np.ndarray] = {}
    for r in np.flatnonzero(program.row_kind == ORDINARY).tolist():
        a, z = program.row_start[r], program.row_start[r + 1]
        activity = x[:, program.row_column[a:z]] @ program.row_coef[a:z]
        bad = np.zeros(len(x), dtype=bool)
        if program.row_high[r] != NO_HIGH:
            bad |= activity > program.row_high[r]
        if program.row_low[r] != NO_LOW:
            bad |= activity < program.row_low[r]
        key = grain_of(program.origins[r])
        breaks[key] = breaks.get(key, False) | bad
    return breaks


def impossible(seeds: range) -> Iterator[tuple[Problem, list[Rule[Any]]]]:
    """Yield questions and rules that leave no menu, up to six made from each tiny plan."""
    for seed in seeds:
        plan = tiny_plans.plan(seed)
        rng = Random(f"impossible {seed}")
        made = 0
        for _ in range(3 * MOST):
            question, rules = drawn_in(plan, rng)
            closed = menus_of(question, rules, refused=False)
            if closed.count and closed.keep(closed.breaks):
                continue
            yield question, rules
            made += 1
            if made == MOST:
                break


def drawn_in(plan: tiny_plans.Plan, rng: Random) -> tuple[Problem, list[Rule[Any]]]:
    """Change a few people or a few limits of a plan at random, mostly to less."""
    question = plan.question
    texts: dict[str, str] = {}
    tables = sorted({r.table for r in plan.rules} - {"meals"}) if len(plan.menus) else []
    for table in rng.sample(tables, min(len(tables), rng.randint(0, 2))):
        tally = tiny.tally_of(question, plan.program, plan.menus[rng.randrange(len(plan.menus))].astype(int))
        supply = import_module(f"tests.rules.test_{table}").near
        text, other = supply(question, replace(tally, problem=question), rng)
        if not list(rule(rule_classes()[table], text, other).faults()):
            question, texts[table] = other, text
    if not texts or rng.random() < 0.6:
        people = [stricter(p, rng) if rng.random() < 0.6 else p for p in question.people]
        question = replace(question, people=tuple(people))
    rules = []
    for r in plan.rules:
        cls = type(r)
        fresh = cls(r.settings, question)
        rules.append(rule(cls, texts[r.table], question) if r.table in texts else fresh)
    return question, rules


def stricter(person: Any, rng: Random) -> Any:
    """Return a person who is given less, or needs more."""
    script = person.prescription
    match rng.randrange(5):
        case 0:
            return replace(person, floor=Decimal(rng.choice(("5.5", "6", "7"))))
        case 1:
            more = {rng.choice(ALLERGENS): rng.choice(("severe", "avoid")) for _ in range(rng.randint(1, 2))}
            script = replace(script, allergies={**script.allergies, **more})
        case 2:
            tag = rng.choice(("bread", "heavy", "spread"))
            script = replace(script, never_tags=script.never_tags | {tag})
        case 3:
            script = replace(script, only_textures=frozenset({rng.choice(("soft", "crisp"))}))
        case _:
            times = Decimal(rng.choice(("0.7", "0.85", "1.2", "1.5")))
            return replace(person, kcal={k: v * times for k, v in person.kcal.items()})
    return replace(person, prescription=script)
