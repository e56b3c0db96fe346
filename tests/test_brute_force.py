"""Whole tiny plans against trying every menu: rules, program, bound, search, plain model and audit."""

from __future__ import annotations

from collections import Counter, defaultdict
from decimal import Decimal
from random import Random

import numpy as np
import pytest

from optimenu.audit.menu import audit_menu
from optimenu.menu.menu import from_counts
from optimenu.menu.tally import Tally
from optimenu.program.build import refusal
from optimenu.program.page import GOAL_DECIMALS
from optimenu.program.program import HARD, ORDINARY
from optimenu.rules.registry import rule_classes
from optimenu.solve.bound import relax
from optimenu.solve.liking import NothingLiked, PersonImpossible, scale_of
from optimenu.solve.solve import solve
from tests import tiny_plans

D = Decimal
CASES, AUDITED, MENUS = 330, 70, 24
MOVES = 4000


@pytest.fixture(scope="module")
def plans():
    return [tiny_plans.plan(seed) for seed in range(CASES)]


@pytest.fixture(scope="module")
def searched(plans):
    return [solve(p.program, moves=MOVES, seed=1, threads=1) for p in plans]


@pytest.fixture(scope="module")
def direct(plans):
    return [solve(p.program, method="direct") for p in plans]


def test_every_rule_speaks_and_alone_cuts_off_menus_that_the_others_allow(plans):
    speaks, cuts = Counter(), Counter()
    for p in plans:
        speaks.update({p.program.origins[r].rule for r in np.flatnonzero(p.program.row_kind == ORDINARY)})
        cuts.update(t for t in rule_classes() if (p.judged.keeps(but=t) & p.judged.breaks(t)).any())
    for table in rule_classes():
        assert speaks[table] >= CASES / 10, (table, speaks)
        assert cuts[table] >= 5, (table, cuts)


def test_the_plans_are_what_they_should_be(plans):
    assert max(len(p.menus) for p in plans) <= tiny_plans.MOST_MENUS
    assert sum(len(p.menus) > 100 for p in plans) >= 0.5 * CASES
    possible = sum(p.judged.best is not None for p in plans)
    assert 0.5 * CASES <= possible <= 0.85 * CASES
    everything = [p for p in plans if len(p.rules) == len(rule_classes())]
    assert sum(p.judged.best is not None for p in everything) >= 20
    kinds = {
        "soft": lambda p: (p.program.row_price != HARD).any(),
        "packs": lambda p: p.program.n > p.program.n_menu,
        "free": lambda p: not p.program.certain.all(),
        "shared": lambda p: any(len(p.question.parties[a].members) > 1 for a in p.program.party if a >= 0),
        "reserve": lambda p: any(not p.question.days[d].eaten for d in p.program.day if d >= 0),
        "dated": lambda p: any(d.block == "dated" for d in p.question.days),
        "loads": lambda p: len(p.question.loads) > 1,
        "losses": lambda p: any(
            p.question.changes(a.top) for r in p.rules if r.table == "nutrients" for a in r.asks
        ),
    }
    seen = {k: sum(of(p) and p.judged.best is not None for p in plans) for k, of in kinds.items()}
    assert min(seen.values()) >= 20, seen


def test_bound_then_best_then_menu(plans, searched):
    wanted = found = best = 0
    for p, got in zip(plans, searched, strict=True):
        if p.judged.best is None:
            continue
        wanted += 1
        assert got.bound >= p.judged.best
        if got.end == "menu":
            x = p.program.complete(got.counts)
            assert p.program.feasible(x)
            assert p.judged.best >= got.value == p.program.value(x)
            assert p.judged.holds[(p.menus == got.counts).all(axis=1)].all()
            found += 1
            best += got.value == p.judged.best
    assert found >= 0.97 * wanted
    assert best >= 0.9 * wanted


def test_the_plain_model_finds_the_best_menu(plans, direct):
    for p, got in zip(plans, direct, strict=True):
        if p.judged.best is not None:
            assert (got.end, got.value, got.closed) == ("menu", p.judged.best, True)
            assert got.bound >= got.value


def test_impossible_is_said_of_nothing_that_has_a_menu_and_only_with_a_proof(plans, searched, direct):
    seen = Counter()
    for p, by_search, by_solver in zip(plans, searched, direct, strict=True):
        proved = relax(p.program).status == "impossible"
        for got in (by_search, by_solver):
            assert (got.counts is not None) == (got.end == "menu")
            assert bool(got.proof) == (got.end == "impossible")
            assert (got.proof == "exact") == proved
        if p.judged.best is not None:
            assert not proved
            assert by_search.end in ("menu", "undecided")
            continue
        assert by_solver.end == "impossible"
        assert by_search.end == ("impossible" if proved else "undecided")
        seen[by_solver.proof] += 1
    # whole servings alone make some impossible, which the merged program cannot see
    assert min(seen["exact"], seen["solver"]) >= 8, seen


def test_a_person_is_called_impossible_only_where_there_is_no_menu(plans):
    impossible = 0
    for p in plans:
        try:
            scale_of(p.question, p.unpriced)
        except PersonImpossible:
            impossible += 1
            assert p.judged.best is None
        except NothingLiked:
            pass
    assert impossible >= 0.1 * CASES


def test_rows_that_only_serve_the_bound_cut_off_no_menu(plans):
    for p in plans:
        assert not (p.judged.keeps() & ~p.judged.holds).any()


def worth_by_hand(plan, tally):
    """Return mean liking less the price of soft breaches, from the tables alone."""
    question = plan.question
    dates = len(question.dates)
    total = D(0)
    for p, person in enumerate(question.people):
        uses = defaultdict(int)
        worth = D(0)
        for e in tally.by_person.get(p, ()):
            if e.certain and e.day.eaten:
                liked = question.acceptance[person.id, e.item.id].value - person.floor
                part = liked * e.course.weight * e.day.weight / dates
                worth += e.count * part.quantize(D("0.000001"))
                uses[e.item.id] += e.count
        for name, n in uses.items():
            item = question.catalogue.by_id[name]
            liked = question.acceptance[person.id, name].value - person.floor
            values = [
                (liked * course.weight * day.weight / dates).quantize(D("0.000001"))
                for party in question.parties
                if p in party.members
                for day, _, meal, _, course in question.places(party)
                if day.eaten and refusal(plan.rules, party, day, meal, course, item) is None
            ]
            smallest = min((v for v in values if v > 0), default=D(0))
            worth -= sum(((1 - D("0.8") ** k) * smallest).quantize(D("0.000001")) for k in range(n))
        total += worth * plan.scale.prices[p]
    return total - sum((m.cost for r in plan.rules for m in r.measures(tally)), D(0))


def test_the_tables_alone_tell_which_menus_hold_and_what_they_are_worth(plans):
    held = broke = 0
    for p in plans[:AUDITED]:
        rng = Random(p.question.name)
        good = np.flatnonzero(p.judged.holds).tolist()
        some = {*rng.sample(good, min(len(good), MENUS // 2))}
        some |= {*rng.sample(range(len(p.menus)), min(len(p.menus), MENUS))}
        for at in sorted(some):
            menu = from_counts(p.question, p.program, p.menus[at])
            report = audit_menu(p.question, p.rules, menu, p.scale)
            assert {b.origin.rule for b in report.breaches} == {
                r.table for r in p.rules if p.judged.breaks(r.table)[at]
            }
            assert report.holds == p.judged.holds[at]
            held, broke = held + report.holds, broke + (not report.holds)
            if report.holds:
                value = D(int(p.judged.value[at])).scaleb(-GOAL_DECIMALS)
                assert worth_by_hand(p, Tally.of(p.question, menu)) == report.value == value
    assert min(held, broke) >= 150, (held, broke)
