"""Conflicts of tiny plans against trying every menu, and what is told of them."""

from __future__ import annotations

from collections import Counter

import pytest

from optimenu.explain import desk
from optimenu.explain.board import Grain, grain_of
from optimenu.explain.conflict import _Finding, conflict
from optimenu.program.build import limits
from optimenu.rules.registry import rule_classes
from optimenu.solve.whole import Found
from tests import tiny_plans
from tests.explain.impossible_plans import impossible, menus_of

PLANS, SEEDS = 300, range(80)


@pytest.fixture(scope="module")
def cases():
    found = []
    for question, rules in impossible(SEEDS):
        found.append((question, rules, conflict(question, rules)))
        if len(found) == PLANS:
            break
    assert len(found) == PLANS
    return found


def grain(limit):
    return Grain(limit.rule, limit.key, limit.person, limit.what)


def is_pattern(grain):
    return grain.rule == "meals" and ".energy_share." not in grain.key


def test_no_menu_keeps_the_set_and_some_menu_keeps_it_less_any_one(cases):
    for question, rules, got in cases:
        assert got.status == "conflict"
        every = menus_of(question, rules)
        patterns = {g for g in every.breaks if is_pattern(g)}
        members = {grain(m.limit) for m in got.members}
        assert not members & patterns
        if not every.count:
            # nothing offered fills a course: the pattern alone is the conflict
            assert (got.members, len(got.patterns)) == ((), 1)
            continue
        assert len(members) == len(got.members) >= 1
        assert not every.keep(patterns | members)
        for one in members:
            assert every.keep((patterns | members) - {one})
        assert got.irreducible
        assert not got.refusals_given


def test_the_conflicts_are_of_every_sort(cases):
    kinds, rules, sizes = Counter(), Counter(), Counter()
    for *_, got in cases:
        rows = [bool(m.limit.origins) for m in got.members]
        kinds[got.proof] += 1
        kinds["rows alone"] += all(rows)
        kinds["refusals alone"] += not any(rows)
        kinds["both"] += any(rows) and not all(rows)
        kinds["one person"] += got.person != ""
        kinds["patterns"] += bool(got.patterns)
        sizes[len(got.members)] += 1
        rules.update({m.limit.rule for m in got.members})
    sorts = ("exact", "solver", "rows alone", "both", "refusals alone", "one person", "patterns")
    assert min(kinds[k] for k in sorts) >= 15, kinds
    assert set(rules) >= set(rule_classes()) - {"variety", "requests"}, rules
    assert sum(n for size, n in sizes.items() if size >= 3) >= 40, sizes


def test_a_plan_with_a_menu_has_no_conflict():
    seen = 0
    for seed in range(30):
        plan = tiny_plans.plan(seed)
        if plan.judged.best is not None:
            got = conflict(plan.question, plan.rules)
            assert (got.status, got.members) == ("none", ())
            assert plan.judged.holds[(plan.menus == got.menu).all(axis=1)].all()
            seen += 1
    assert seen >= 15


def test_a_large_board_is_searched_and_claims_no_more_than_it_found(cases, monkeypatch):
    monkeypatch.setattr(desk, "SMALL", -1)
    monkeypatch.setattr(desk, "MOVES", (3000,))
    seen = Counter()
    for question, rules, small in cases[:80]:
        program = limits(question, rules)
        near = program.low[: program.n_menu]
        got = conflict(question, rules, near=near)
        seen[got.status] += 1
        if small.proof == "exact" or got.status == "conflict":
            # whole servings may do with less than the relaxation
            assert got.proof == "exact"
            every = menus_of(question, rules)
            patterns = {g for g in every.breaks if is_pattern(g)}
            members = {grain(m.limit) for m in got.members}
            assert not every.keep(patterns | members)
            for m in got.members:
                seen[m.without] += 1
                assert m.without != "menu" or every.keep((patterns | members) - {grain(m.limit)})
        else:
            assert (got.status, got.members) == ("undecided", ())
            broken = {grain_of(program.origins[r]) for r in program.broken(program.complete(near))}
            assert {grain(limit) for limit in got.hints} == broken
    assert min(seen[k] for k in ("conflict", "undecided", "menu", "relaxation")) >= 8, seen


def test_where_refusals_are_not_told_apart_they_are_taken_as_given(cases, monkeypatch):
    monkeypatch.setattr(_Finding, "_least", lambda *_: None)
    seen = 0
    for question, rules, _ in cases[:40]:
        got = conflict(question, rules)
        assert (got.status, got.refusals_given) == ("conflict", True)
        every = menus_of(question, rules, refused=False)
        patterns = {g for g in every.breaks if is_pattern(g)}
        members = {grain(m.limit) for m in got.members}
        assert not every.count or not every.keep(patterns | members)
        seen += bool(members) and every.count > 0
    assert seen >= 15


def test_what_presolve_alone_finds_impossible_is_not_claimed(cases, monkeypatch):
    whole = desk.any_menu

    def doubtful(program, *, presolve=True):
        return whole(program) if presolve else Found("undecided")

    monkeypatch.setattr(desk, "any_menu", doubtful)
    some = [(q, r) for q, r, got in cases if got.proof == "solver"][:5]
    assert [conflict(*case).status for case in some] == ["undecided"] * 5
