"""A whole menu under every rule at once: the audit from the tables against the Program, to the last digit."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from functools import cache
from importlib import import_module
from random import Random

import numpy as np
import pytest

from optimenu.audit.menu import audit_menu
from optimenu.menu.menu import Line, Menu, from_counts
from optimenu.problem.calendar import Course, Meal
from optimenu.program.build import build, priced
from optimenu.program.origin import Origin
from optimenu.program.page import GOAL_DECIMALS
from optimenu.program.program import HARD
from optimenu.rules.avoid import Avoid
from optimenu.rules.base import Measure
from optimenu.rules.condiments import Condiments
from optimenu.rules.meals import Meals
from optimenu.rules.registry import rule_classes
from optimenu.rules.requests import Requests
from optimenu.solve.liking import Scale
from tests.rules import hand, tiny
from tests.rules.test_contract import by_rows

D = Decimal
SEEDS, MENUS = 12, 10


@cache
def plans():
    """Return problem, rules, scale, priced program and a base menu's counts; every rule speaks in each."""
    found = []
    for seed in range(SEEDS):
        rng = Random(f"whole {seed}")
        dish = True if seed % 3 == 0 else None
        question = tiny.make(seed, reserve=1, people=2 if dish else None, shared=dish)
        start_program = build(question, ())
        start = tiny.random_counts(rng, start_program, question)
        tally = tiny.tally_of(question, start_program, start)
        toml = {}
        for table in rule_classes():
            toml[table], question = import_module(f"tests.rules.test_{table}").near(question, tally, rng)
        rules = [hand.rule(cls, toml[table], question) for table, cls in rule_classes().items()]
        scale = Scale(tuple(D(rng.randint(500_000, 9_000_000)).scaleb(-6) for _ in question.people))
        program = priced(build(question, rules), scale.prices)
        counts = tiny.carried(question, start_program, start, program)
        found.append((question, rules, scale, program, counts, seed))
    return found


def menus():
    """Yield edited menus that use no item more often than its group allows."""
    for question, rules, scale, program, counts, seed in plans():
        rng = Random(f"whole edits {seed}")
        for _ in range(MENUS):
            x = program.complete(tiny.edited(rng, program, question, counts, rng.randint(0, 10)))
            if (program.uses(x) <= np.diff(program.deduct_start)).all():
                yield question, rules, scale, program, x


def test_the_audit_s_value_is_the_program_s():
    seen = dict.fromkeys(("menus", "repeated", "soft", "free", "shared", "reserve"), 0)
    for question, rules, scale, program, x in menus():
        menu = from_counts(question, program, x[: program.n_menu])
        report = audit_menu(question, rules, menu, scale)
        assert report.value == D(program.value(x)).scaleb(-GOAL_DECIMALS)
        seen["menus"] += 1
        seen["repeated"] += bool((program.uses(x) > 1).any())
        seen["soft"] += report.price > 0
        seen["free"] += any(not line.certain for line in menu.lines)
        seen["shared"] += any(line.party == "table" for line in menu.lines)
        seen["reserve"] += any(line.block == "reserve" for line in menu.lines)
    # each part of the value has its say in enough of the menus
    assert seen["menus"] >= 0.8 * SEEDS * MENUS, seen
    assert min(seen.values()) >= 0.1 * seen["menus"], seen


def test_the_audit_finds_what_the_rows_find_and_nothing_else():
    tables_broken = set()
    for question, rules, scale, program, x in menus():
        report = audit_menu(question, rules, from_counts(question, program, x[: program.n_menu]), scale)
        rows = {}
        for rule in rules:
            rows |= by_rows(program, rule.table, x)
        told = {b.origin: (b.amount, True) for b in report.breaches}
        told |= {b.origin: (b.amount, False) for b in report.soft}
        assert len(told) == len(report.breaches) + len(report.soft)
        assert told == rows
        assert report.holds == (len(program.broken(x)) == 0)
        tables_broken |= {o.rule for o in rows}
    assert len(tables_broken) >= 10, tables_broken


def test_an_optional_serving_that_breaks_both_ends_is_paid_for_at_both():
    # Between 5 and 8, price 0.1 a unit: 2 if it is not eaten, 9 if it is: 3 short and 1 over.
    both = Measure(Origin("a", "a.b"), "a", "g", least=D(2), most=D(9), low=D(5), high=D(8), soft=D("0.1"))
    assert (both.short, both.over, both.amount, both.cost) == (3, 1, 3, D("0.4"))
    assert replace(both, soft=None).cost == 0


# ---- what only the audit of a hand-edited menu can meet

STEW, RICE = hand.item("stew"), hand.item("rice", "main side")
SALT = hand.item("salt", "side")
MEALS = "[meals.lunch]\nat = '12:00'\ncourses = {}\n[meals.dinner]\nat = '19:00'\ncourses = {}"
FREE = "[condiments.free.salt]\nitem = 'salt'\na_day = 2\npeople = ['ana']"
GOOD = """
ana 1 lunch main stew 1
ana 1 dinner main rice 1
ana 1 salt 2?
"""


def audited(text, *, more=(), **fields):
    question = hand.problem((STEW, RICE, SALT), days=1, **fields)
    rules = [
        hand.rule(Meals, MEALS, question),
        hand.rule(Avoid, "[avoid]", question),
        hand.rule(Condiments, FREE, question),
        hand.rule(Requests, "[requests]", question),
    ]
    lines = [e.line for e in hand.tally(question, text).entries]
    return audit_menu(question, rules, Menu.of([*lines, *more]), Scale((D(2),) * len(question.people)))


def told(report):
    return [(b.origin.key, str(b.amount), b.unit, b.text) for b in report.breaches]


def test_a_menu_as_planned_holds_and_its_worth_is_by_hand():
    # acceptance 7, floor 5: stew at lunch 2 x 1, rice at dinner 2 x 2 = 6 in all, half of a best of 12;
    # one person, so mean liking 6 x (1 / 12) with the price rounded to twelve decimals
    report = audited(GOOD)
    assert report.holds and report.breaches == ()
    (ana,) = report.liked
    assert (ana.worth, ana.acceptance, ana.liking) == (6, 7, 3)
    assert report.value == 3
    # the same dish twice: (1 - 0.8) x the smallest worth, 2, is taken off
    again = audited(GOOD.replace("rice", "stew"))
    assert again.liked[0].worth == 6 - D("0.4")


def test_a_serving_without_a_column_is_a_breach_with_every_reason():
    script = hand.person("ana", never_items=frozenset({"stew"}))
    report = audited(GOOD, people=(script,))
    assert told(report) == [
        ("avoid", "1", "servings", "ana, day 1, lunch: Stew: ana: excluded by prescription")
    ]
    # not offered as a main, and excluded besides
    script = hand.person("ana", never_items=frozenset({"salt"}))
    report = audited(GOOD.replace("main stew", "main salt").replace("ana 1 salt 2?", ""), people=(script,))
    assert told(report) == [
        ("meals", "1", "servings", "ana, day 1, lunch: Salt: not offered as main"),
        ("avoid", "1", "servings", "ana, day 1, lunch: Salt: ana: excluded by prescription"),
    ]


def test_what_is_free_is_refused_where_it_is_unsafe():
    script = hand.person("ana", never_items=frozenset({"salt"}))
    assert told(audited(GOOD, people=(script,))) == [
        ("avoid", "2", "servings", "ana, day 1, any time: Salt: ana: excluded by prescription"),
        ("condiments.free.salt.a_day", "2", "servings", "ana, day 1: 2 free servings of salt too many"),
    ]
    assert audited(GOOD.replace("ana 1 salt 2?", ""), people=(script,)).holds


@pytest.mark.parametrize(
    ("line", "key", "text"),
    [
        ("", "condiments.free.salt.a_day", "ana, day 1: 2 free servings of salt missing"),
        ("ana 1 salt 1?", "condiments.free.salt.a_day", "ana, day 1: 1 free serving of salt missing"),
        ("ana 1 salt 5?", "condiments.free.salt.a_day", "ana, day 1: 3 free servings of salt too many"),
        (
            "ana 1 salt 2?\nana 1 rice 1?",
            "condiments.free",
            "ana, day 1: 1 free serving of rice too many",
        ),
    ],
)
def test_what_is_free_stands_in_the_menu_as_the_config_gives_it(line, key, text):
    ((got_key, _, unit, got_text),) = told(audited(GOOD.replace("ana 1 salt 2?", line)))
    assert (got_key, unit, got_text) == (key, "servings", text)


def test_more_of_one_item_than_a_course_may_hold():
    # the pattern lets two mains be one too many; the same item twice is one too many of that item besides
    two = audited(GOOD.replace("main stew 1", "main stew 2"))
    assert [t[3] for t in told(two)] == [
        "ana, day 1, lunch, main: 2 servings of Stew; at most 1 of one item",
        "ana, day 1, lunch: main: 2 servings; at least 1 and at most 1 serving",
    ]
    # two lines of one item are counted together
    twice = [Line("ana", "cycle", 1, "lunch", "side", "rice", 2, True)] * 2
    assert told(audited(GOOD, more=twice))[0] == (
        "meals.lunch.courses.side.same", "2", "servings",
        "ana, day 1, lunch, side: 4 servings of Rice; at most 2 of one item",
    )  # fmt: skip


def test_a_course_of_two_may_hold_one_of_each_item():
    courses = (Course("main", 1, 1, D(1), 1, ("main",)), Course("side", 0, 2, D(0), 1, ("side",)))
    meals = (Meal("lunch", 720, courses), Meal("dinner", 1140, courses[:1]))
    assert audited(GOOD + "ana 1 lunch side rice 1\nana 1 lunch side salt 1", meals=meals).holds
    assert told(audited(GOOD + "ana 1 lunch side rice 2", meals=meals)) == [
        (
            "meals.lunch.courses.side.same", "1", "servings",
            "ana, day 1, lunch, side: 2 servings of Rice; at most 1 of one item",
        )
    ]  # fmt: skip


def test_a_line_that_names_nothing_of_the_plan_is_a_breach():
    report = audited(GOOD, more=[Line("ana", "cycle", 7, "lunch", "side", "rice", 1, True)])
    assert told(report) == [("menu", "1", "lines", "rice: the plan has no such day")]


def test_a_planned_serving_cannot_be_made_optional():
    # an allowance in a meal would fill its course without being eaten
    moved = Line("ana", "cycle", 1, "lunch", "side", "salt", 2, False)
    report = audited(GOOD.replace("ana 1 salt 2?", ""), more=[moved])
    assert [t[3] for t in told(report)] == [
        "salt: only what is free in the day, at no meal, may be left uneaten",
        "ana, day 1: 2 free servings of salt missing",
    ]


def test_soft_rows_are_in_the_priced_programs():
    assert sum((program.row_price != HARD).any() for _, _, _, program, _, _ in plans()) >= SEEDS // 3
