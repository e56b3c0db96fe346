"""Optional servings at their worst, and worth that nothing optional adds to."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from importlib import import_module
from random import Random

import pytest

from optimenu.menu.menu import Line, Menu
from optimenu.menu.tally import Tally
from optimenu.problem.calendar import Course, Meal
from optimenu.program.build import build
from optimenu.rules.registry import rule_classes
from optimenu.solve.liking import Scale
from tests.rules import hand, tiny
from tests.rules.hand import item, problem
from tests.rules.test_whole_menu import audit_menu

D = Decimal
SUMS = ("nutrients", "meals", "water", "stowage", "stock", "condiments", "reserve")
"""Tables whose promises are sums in which what is free in the day counts."""


def eaten(tally, counts):
    """Return the tally in which of each optional line a stated number is eaten, and so certain."""
    entries = []
    for e in tally.entries:
        if e.certain:
            entries.append(e)
        elif n := counts[e.line]:
            entries.append(replace(e, line=replace(e.line, count=n, certain=True)))
    return Tally(tally.problem, tuple(entries), ())


@pytest.mark.parametrize("table", SUMS)
def test_no_part_of_the_optional_servings_is_worse_than_what_was_counted(table):
    cls, compared, open_ = rule_classes()[table], 0, 0
    for seed in range(25):
        rng = Random(f"optional {table} {seed}")
        question = tiny.make(seed, reserve=1 if table == "reserve" else None)
        extras = tiny.Extras(question, rng)
        program = build(question, [extras])
        tally = tiny.tally_of(question, program, tiny.random_counts(rng, program, question))
        toml, question = import_module(f"tests.rules.test_{table}").near(question, tally, rng)
        rule = hand.rule(cls, toml, question)
        tally = Tally(question, tally.entries, ())
        counted = {m.origin: m.amount for m in rule.measures(tally)}
        lines = [e.line for e in tally.entries if not e.certain]
        subsets = [{line: rng.randint(0, line.count) for line in lines} for _ in range(6)]
        # each row's worst lies among none, all, and every single line
        subsets += [dict.fromkeys(lines, 0), {line: line.count for line in lines}]
        subsets += [{line: line.count * (line == one) for line in lines} for one in lines[:6]]
        for counts in subsets:
            for m in rule.measures(eaten(tally, counts)):
                assert m.amount <= counted.get(m.origin, D(0)), (m.label, counts)
                compared += 1
            open_ += len(lines)
    assert compared > 100
    assert open_ > 100


def test_a_liked_drink_beside_the_meal_adds_nothing_to_the_goal():
    question = problem(
        (item("stew"), item("cocoa", "drink", meals="lunch")),
        meals=(
            Meal(
                "lunch",
                720,
                (Course("main", 1, 1, D(1), 1, ("main",)), Course("drink", 0, 2, D(0), 2, ("drink",))),
            ),
        ),
        liked={("ana", "cocoa"): "9"},
    )
    plain = (Line("ana", "cycle", 1, "lunch", "main", "stew", 1, True),)
    plain += (Line("ana", "cycle", 2, "lunch", "main", "stew", 1, True),)
    scale = Scale((D(4),))
    without = audit_menu(question, (), Menu.of(plain), scale)
    more = Line("ana", "cycle", 1, "lunch", "drink", "cocoa", 2, True)
    assert audit_menu(question, (), Menu.of((*plain, more)), scale).value <= without.value
    assert without.value > 0
