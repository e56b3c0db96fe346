"""Whole tiny plans against trying every menu: rules, program, bound, both solvers and the breaches."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import replace
from decimal import Decimal
from itertools import product
from random import Random

import numpy as np
import pytest

from optimenu.menu.menu import from_counts
from optimenu.menu.tally import Tally
from optimenu.problem.calendar import Course, Meal, cycle_days
from optimenu.problem.problem import Party
from optimenu.program.build import build, priced
from optimenu.program.page import GOAL_DECIMALS
from optimenu.program.program import HARD
from optimenu.rules.registry import rule_classes
from optimenu.solve.bound import certify, relax
from optimenu.solve.direct import direct
from optimenu.solve.search import search
from tests.rules import test_nutrients, test_stock, test_stowage, test_variety, test_water, tiny
from tests.rules.hand import rule
from tests.solve.programs import brute

D = Decimal
CASES, BY_BREACHES = 200, 40
MOST_COLUMNS = 14


def plan(seed):
    """Return a tiny problem, its rules, people's prices and the program in mean liking.

    One or two people, two or three days, one meal; two to four rules with limits near a random menu's
    totals, tightened for some seeds until nothing may be left.
    """
    rng = Random(f"plan {seed}")
    question = tiny.make(seed, people=rng.choice((1, 1, 2)), reserve=0, shared=False, unknown=0.05)
    people = len(question.people)
    length = 2 if people == 2 else 3
    fixed = rng.random() < 0.6
    course = Course("main", 1, 1, D(1), 1, ("main",)) if fixed else Course("main", 1, 2, D(1), 1, ("main",))
    meals = (Meal("early", 480, (course,)),)
    dates = question.dates[: length + rng.randint(0, 2)]
    kinds = {1: "rest"} if rng.random() < 0.3 else {}
    days = cycle_days(dates, length, kinds, {"work": meals, "rest": meals}, "work")
    mains = [i for i in question.catalogue.items if "main" in i.courses and "early" in i.meals]
    items = tuple(rng.sample(mains, min(3 if people == 2 else 4, len(mains))))
    question = replace(
        question,
        days=tuple(days),
        dates=dates,
        sequence=tuple(k % length for k in range(len(dates))),
        cycle_length=length,
        catalogue=replace(question.catalogue, items=items),
        people=tuple(replace(p, prescription=type(p.prescription)()) for p in question.people),
        parties=tuple(Party(p.id, (k,)) for k, p in enumerate(question.people)),
    )
    open_program = build(question, ())
    tally = tiny.tally_of(question, open_program, tiny.random_counts(rng, open_program, question))
    toml = {"meals": "[meals.early]\nat = '08:00'\ncourses = {}"}
    toml["repeats"] = rng.choice(
        (
            "[repeats.x]\nof = 'item'\nmost_a_day = 1\nmost_a_cycle = 2",
            "[repeats.x]\nof = 'item'\ngap_days = 2\nmost_a_day = 1",
            "[repeats.x]\nof = 'texture'\ngap_days = 2\nwrap = false",
            "[repeats.x]\nof = 'main_ingredient'\nmost_a_cycle = 2",
        )
    )
    if rng.random() < 0.4:
        toml["pairings"] = (
            f"[pairings.apart.x]\nthese = {{ items = ['{items[0].id}'] }}\nwithin = 'day'\n"
            f"those = {{ items = ['{items[-1].id}'] }}"
        )
    if rng.random() < 0.5:
        toml["avoid"] = "[avoid]\nestimated_share = 40\ntasted_courses = []"
    makers = {
        "nutrients": test_nutrients.near,
        "stock": test_stock.near,
        "stowage": test_stowage.near,
        "variety": test_variety.near,
        "water": test_water.near,
    }
    for name in rng.sample(sorted(makers), rng.randint(1, 2)):
        toml[name], question = makers[name](question, tally, rng)
    if rng.random() < 0.5:
        line = rng.choice(("at_least = 1", "exactly = 1", "at_most = 1", "at_least = 3"))
        toml["requests"] = f"[requests.x]\nitems = ['{rng.choice(items).id}']\n{line}"
    rules = [rule(rule_classes()[name], text, question) for name, text in toml.items()]
    prices = tuple(D(rng.randint(50_000_000_000, 400_000_000_000)).scaleb(-12) for _ in question.people)
    return question, rules, prices, priced(build(question, rules), prices)


@pytest.fixture(scope="module")
def plans():
    return [plan(seed) for seed in range(CASES)]


@pytest.fixture(scope="module")
def optima(plans):
    return [brute(program) for *_, program in plans]


def test_the_plans_are_what_they_should_be(plans, optima):
    sizes = [program.n_menu for *_, program in plans]
    assert max(sizes) <= MOST_COLUMNS
    used = Counter(r.table for _, rules, _, _ in plans for r in rules)
    assert min(used.values()) >= 20
    assert len(used) >= 9
    feasible = sum(best is not None for best in optima)
    assert 40 <= feasible <= CASES - 30
    assert sum((program.row_price != HARD).any() for *_, program in plans) >= 20
    assert sum(program.n > program.n_menu for *_, program in plans) >= 40


def test_the_direct_model_finds_the_best_menu_or_that_there_is_none(plans, optima):
    for (_, _, _, program), best in zip(plans, optima, strict=True):
        got = direct(program)
        if best is None:
            assert got.status == "impossible"
        else:
            assert (got.status, got.value) == ("optimal", best[0])


def test_no_menu_is_worth_more_than_the_bound(plans, optima):
    proved = 0
    for (_, _, _, program), best in zip(plans, optima, strict=True):
        relaxation = relax(program)
        if best is not None:
            assert relaxation.status == "solved"
            assert certify(program, relaxation).bound >= best[0]
        elif relaxation.status == "impossible":
            proved += 1
    assert proved >= 5


def test_the_search_finds_menus_that_hold_and_are_worth_no_more_than_the_best(plans, optima):
    found = wanted = best_found = 0
    for (_, _, _, program), best in zip(plans, optima, strict=True):
        relaxation = relax(program)
        if relaxation.status != "solved":
            continue
        got = search(program, relaxation, moves=4000, seed=1, threads=1)
        if best is None:
            assert got.counts is None
            continue
        wanted += 1
        if got.counts is not None:
            found += 1
            x = program.complete(got.counts)
            assert program.feasible(x)
            assert program.value(x) == got.value
            assert got.value <= best[0]
            best_found += got.value == best[0]
    assert found == wanted
    assert best_found >= 0.9 * wanted


def worth_by_hand(question, rules, prices, tally):
    """Return mean liking less the price of soft breaches, from the tables alone."""
    total = D(0)
    for p, person in enumerate(question.people):
        uses = defaultdict(int)
        worth = D(0)
        for e in tally.by_person.get(p, ()):
            liked = question.acceptance[person.id, e.item.id].value - person.floor
            part = liked * e.course.weight * e.day.weight / len(question.dates)
            worth += e.count * part.quantize(D("0.000001"))
            uses[e.item.id] += e.count
        for name, n in uses.items():
            values = [
                (question.acceptance[person.id, name].value - person.floor) * d.weight / len(question.dates)
                for d in question.cycle
            ]
            smallest = min((v.quantize(D("0.000001")) for v in values if v > 0), default=D(0))
            worth -= sum(((1 - D("0.8") ** k) * smallest).quantize(D("0.000001")) for k in range(n))
        total += worth * prices[p]
    for r in rules:
        total -= sum((m.cost for m in r.measures(tally)), D(0))
    return total


def test_breaches_alone_lead_to_the_same_best_menu(plans, optima):
    compared = 0
    for (question, rules, prices, program), best in list(zip(plans, optima, strict=True))[:BY_BREACHES]:
        slots = [cols for _, cols in tiny.slots(program, question)]
        places = sum(1 for party in question.parties for _ in question.places(party))
        if sum(len(c) for c in slots) != program.n_menu or len(slots) < places:
            assert best is None
            continue
        top = None
        course = question.days[0].meals[0].courses[0]
        picks = [
            [pick for pick in product((0, 1), repeat=len(cols)) if course.least <= sum(pick) <= course.most]
            for cols in slots
        ]
        if np.prod([len(p) for p in picks]) > 300:
            continue
        for choice in product(*picks):
            counts = np.zeros(program.n_menu, dtype=np.int64)
            for cols, pick in zip(slots, choice, strict=True):
                counts[cols] = pick
            tally = Tally.of(question, from_counts(question, program, counts))
            if all(b.soft for r in rules for b in r.breaches(tally)):
                value = worth_by_hand(question, rules, prices, tally)
                top = value if top is None else max(top, value)
        assert top == (None if best is None else D(best[0]).scaleb(-GOAL_DECIMALS))
        compared += 1
    assert compared >= 20
