from __future__ import annotations

import numpy as np
import pytest

from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import CEIL
from optimenu.solve import elastic as module
from optimenu.solve.bound import relax
from optimenu.solve.elastic import elastic
from optimenu.solve.linear import LinearResult
from tests.solve.programs import brute, tiny


def test_amounts_are_told_per_row_in_the_units_of_the_limit():
    # two days alike, at most 2 servings of 12.5 g a day, 30 g asked: 5 g short a day, a sixth
    b = Builder(0)
    for day in range(2):
        x = b.column(high=2, merge="x")
        b.row(Origin("protein", "protein.low", "p1", day), [x], [125], low=300, decimals=1, merge="protein")
    got = elastic(b.freeze())
    assert got.proved
    assert got.total == pytest.approx(1 / 6)
    (short,) = got.shortfalls
    assert short.origin == Origin("protein", "protein.low", "p1", 0)
    assert (short.amount, short.relative) == (pytest.approx(5), pytest.approx(1 / 6))
    assert (short.low_side, short.rows, short.group) == (True, (0, 1), -1)


def test_the_limit_that_gives_way_cheapest_is_named_and_the_largest_comes_first():
    b = Builder(0)
    x = b.column(high=100)
    b.row(Origin("a", "a"), [x], [1], low=50)
    b.row(Origin("b", "b"), [x], [1], high=10)
    b.row(Origin("c", "c"), [x], [1], low=20)
    # 40 of 50 (0.8) and 10 of 20 (0.5) beat 40 of 10 (4)
    names = [(s.origin.rule, s.low_side) for s in elastic(b.freeze()).shortfalls]
    assert names == [("a", True), ("c", True)]


def test_a_limit_of_nothing_is_measured_by_a_serving():
    b = Builder(0)
    x = b.column(low=1, high=1)
    b.row(Origin("alcohol", "high"), [x], [12], high=0)
    (short,) = elastic(b.freeze()).shortfalls
    assert (short.amount, short.relative, short.low_side) == (pytest.approx(12), pytest.approx(1), False)


def test_the_length_of_a_worth_group_can_be_the_cause():
    b = Builder(0)
    cols = [b.column(merge="x") for _ in range(4)]
    b.group([(c, 3) for c in cols], [0, 1])
    b.row(Origin("servings", "low"), cols, 10, low=30, decimals=1)
    got = elastic(b.freeze())
    assert got.proved
    # one serving short of 3 is less than one over 2
    assert [(s.group, s.amount) for s in got.shortfalls] == [(-1, pytest.approx(1))]
    forced = Builder(0)
    cols = [forced.column(low=1) for _ in range(3)]
    forced.group([(c, 3) for c in cols], [0])
    got = elastic(forced.freeze())
    assert got.proved
    (short,) = got.shortfalls
    assert (short.origin, short.group, short.amount, short.rows) == (None, 0, pytest.approx(2), ())


def test_definitions_give_way_only_when_nothing_else_can():
    b = Builder(0)
    cols = [b.column(low=1) for _ in range(4)]
    packs = b.extra(CEIL, cols, 1, origin=Origin("packs", "size"), divisor=2, high=1)
    b.row(Origin("stock", "packs"), [packs], [1], high=1)
    got = elastic(b.freeze())
    assert got.proved
    assert {s.origin.rule for s in got.shortfalls} == {"packs"}


def test_a_definition_is_not_bent_to_spare_a_limit():
    b = Builder(0)
    x = b.column(low=20, high=20)
    packs = b.extra(CEIL, [x], [1], origin=Origin("packs", "size"), divisor=10, high=5)
    b.row(Origin("volume", "high"), [packs], [2], high=1)
    # two packs need 4 where 1 is allowed; half a pack for 20 servings would look cheaper
    (short,) = elastic(b.freeze()).shortfalls
    assert (short.origin.rule, short.amount) == ("volume", pytest.approx(3))


def test_soft_rows_are_never_the_cause():
    b = Builder(0)
    x = b.column()
    b.row(Origin("soft", "low"), [x], [1], low=5, price=1)
    got = elastic(b.freeze())
    assert (got.total, got.shortfalls, got.proved) == (0, (), False)


@pytest.mark.parametrize("scramble", [False, True])
def test_what_the_merged_model_excludes_is_proved_exactly_and_rightly(scramble):
    proved = 0
    for seed in range(120):
        program = tiny(seed, scramble=scramble, tight=0.1)
        got = elastic(program)
        if relax(program).status == "impossible":
            assert got.proved
            assert got.shortfalls
        if got.proved:
            proved += 1
            assert brute(program) is None
    assert proved >= 4


def test_no_answer_even_then_is_told_as_such(monkeypatch):
    dead = LinearResult("undecided", float("nan"), np.zeros(0), np.zeros(0))
    monkeypatch.setattr(module, "maximise", lambda _: dead)
    got = elastic(tiny(0))
    assert np.isnan(got.total)
    assert (got.shortfalls, got.proved) == ((), False)
