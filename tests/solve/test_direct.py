from __future__ import annotations

import threading
from dataclasses import replace

import numpy as np
import pulp
import pytest

from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import HARD, IMPLIED, Program
from optimenu.program.to_pulp import to_pulp
from optimenu.solve import direct as module
from optimenu.solve.direct import direct
from tests.solve.programs import brute, tiny

WHERE = Origin("rule", "rule.key")


def market_split(*, soft: bool) -> Program:
    """Four equations over 34 random weights below 100: no branch and bound ends this soon.

    The construction is that of Cornuejols and Dawande, A class of hard small 0-1 programs, 1998
    (from memory).
    """
    rng = np.random.default_rng(0)
    b = Builder(0)
    columns = [b.column() for _ in range(34)]
    for _ in range(4):
        weights = rng.integers(0, 100, 34)
        half = int(weights.sum()) // 2
        b.row(WHERE, columns, weights, low=half, high=half, price=1 if soft else HARD)
    return b.freeze()


def one_row(**row: object) -> Program:
    b = Builder(0)
    cols = [b.column(gain=3), b.column(gain=2)]
    b.row(WHERE, cols, [2, 3], **row)
    return b.freeze()


@pytest.mark.parametrize("solver", ["HiGHS", "CBC"])
def test_a_solve_cut_short_is_never_called_optimal(solver):
    got = direct(market_split(soft=True), solver, seconds=0.3)
    assert got.status == "menu"
    assert got.value < 0
    assert got.bound is None or got.bound > got.value
    assert direct(market_split(soft=False), solver, seconds=0.3).status == "undecided"


@pytest.mark.parametrize("solver", ["HiGHS", "CBC"])
def test_a_free_serving_that_no_row_speaks_of_is_still_served(solver):
    b = Builder(0)
    b.column(low=2, high=2, certain=False)
    b.row(WHERE, [b.column(gain=3)], [1], high=1)
    got = direct(b.freeze(), solver)
    assert (got.status, got.value) == ("optimal", 3)
    assert got.x.tolist() == [2, 1]


def test_a_solve_that_is_stopped_ends():
    stop = threading.Event()
    stop.set()
    assert direct(market_split(soft=False), stop=stop).status == "undecided"


@pytest.mark.parametrize("solver", ["HiGHS", "CBC"])
def test_optimum_and_impossibility(solver):
    got = direct(one_row(high=4), solver)
    assert (got.status, got.x.tolist(), got.value, got.objective) == ("optimal", [1, 0], 3, pytest.approx(3))
    assert direct(one_row(low=6), solver).status == "impossible"


def test_impossible_is_looked_at_again_without_presolve(monkeypatch):
    seen = []

    def answer(*_args: object, presolve: bool) -> module._Answer:
        seen.append(presolve)
        return module._Answer("impossible", None, None)

    monkeypatch.setattr(module, "_highs", answer)
    assert direct(one_row()).status == "impossible"
    assert seen == [True, False]


def test_values_within_tolerance_only_are_no_menu(monkeypatch):
    loose = module._Answer("optimal", np.asarray([1.0, 1.0]), 5.0)
    monkeypatch.setattr(module, "_highs", lambda *_, **__: loose)
    monkeypatch.setattr(module.pulp, "value", lambda _: 5.0)
    got = direct(one_row(high=4))
    assert (got.status, got.x, got.value) == ("undecided", None, None)


def test_a_gap_that_is_left_open_is_a_menu(monkeypatch):
    wide = module._Answer("optimal", np.asarray([1.0, 0.0]), 3.5)
    monkeypatch.setattr(module, "_highs", lambda *_, **__: wide)
    monkeypatch.setattr(module.pulp, "value", lambda _: 3.0)
    assert direct(one_row(high=4)).status == "menu"


def test_a_solver_that_dies_decides_nothing(monkeypatch):
    def die(*_: object) -> None:
        raise pulp.PulpSolverError

    monkeypatch.setattr(pulp.LpProblem, "solve", die)
    assert direct(one_row(), "CBC").status == "undecided"


def test_unknown_or_missing_solvers_are_refused(monkeypatch):
    with pytest.raises(ValueError, match="no such solver: GLPK; HiGHS and CBC are known"):
        direct(one_row(), "GLPK")
    monkeypatch.setattr(pulp.COIN_CMD, "available", lambda _: False)
    with pytest.raises(RuntimeError, match="the CBC of this PuLP cannot run here; use HiGHS"):
        direct(one_row(), "CBC")


def test_tiny_gains_are_not_lost_in_tolerances():
    for seed in range(40):
        small = tiny(seed)
        best = brute(small)
        if best is None:
            continue
        factor = 10**12
        program = replace(
            small,
            goal_decimals=18,
            gain=small.gain * factor,
            group_gain=small.group_gain * factor,
            deduction=small.deduction * factor,
            row_price=np.where(small.row_price == HARD, HARD, small.row_price * factor),
        )
        assert direct(program).value == best[0] * factor


def test_continuous_amounts_stay_continuous():
    b = Builder(1)
    x = b.column(high=5, gain=20, continuous=True)
    y = b.column(high=5, gain=10)
    b.row(WHERE, [x, y], [2, 2], high=9)
    got = direct(b.freeze())
    assert (got.status, got.x, got.value) == ("optimal", None, None)
    assert got.amounts.tolist() == pytest.approx([4.5, 0])
    assert got.objective == pytest.approx(9)


def test_continuous_amounts_that_break_a_limit_are_refused(monkeypatch):
    b = Builder(0)
    x = b.column(high=5, gain=2, continuous=True)
    b.row(WHERE, [x], [2], high=9)
    wrong = module._Answer("optimal", np.asarray([4.6]), 9.2)
    monkeypatch.setattr(module, "_highs", lambda *_, **__: wrong)
    monkeypatch.setattr(module.pulp, "value", lambda _: 9.2)
    assert direct(b.freeze()).status == "undecided"
    wrong.values[0] = 6
    assert direct(b.freeze()).status == "undecided"


def test_names_are_made_for_machines_and_no_variable_repeats():
    b = Builder(3)
    x, y = b.column(), b.column(high=2)
    b.group([(x, 4000), (y, 4000)], [0, 1000])
    b.row(WHERE, [x, y], [15, 25], low=10, high=60, decimals=1)
    b.row(WHERE, [x, y], [1, 1], low=1, high=2, price=300)
    b.row(WHERE, [x, x], [1, 1], high=2)
    b.row(WHERE, [x], [1], high=1, kind=IMPLIED)
    b.row(WHERE, [y], [1], low=1, high=1)
    model = to_pulp(b.freeze())
    assert [v.name for v in model.columns] == ["c0", "c1"]
    rows = {c.name: str(c) for c in model.problem.constraints()}
    assert sorted(rows) == ["g0", "r0", "r0_low", "r1", "r1_low", "r2", "r4"]
    assert rows["r0"] == "1.5*c0 + 2.5*c1 <= 6.0"
    assert rows["r0_low"] == "1.5*c0 + 2.5*c1 >= 1.0"
    assert rows["r1"] == "c0 + c1 - s1_over <= 2.0"
    assert rows["r1_low"] == "c0 + c1 + s1_under >= 1.0"
    assert rows["r2"] == "2.0*c0 <= 2.0"
    assert rows["r4"] == "c1 = 1.0"
    assert rows["g0"] in ("c0 + c1 - g0_0 - g0_1 = 0", "c0 + c1 - g0_0 - g0_1 = -0.0")
    # gains of 4.000 reach 40 when told in hundredths
    assert model.goal_unit == 100
    assert str(model.problem.objective) == "40.0*c0 + 40.0*c1 - 10.0*g0_1 - 3.0*s1_over - 3.0*s1_under"


def test_the_goal_is_scaled_by_prices_when_nothing_else_is_worth_anything():
    b = Builder(6)
    x = b.column()
    b.row(WHERE, [x], [1], low=2, price=5000)
    program = b.freeze()
    assert to_pulp(program).goal_unit == 100
    got = direct(program)
    assert (got.status, got.x.tolist(), got.value) == ("optimal", [1], -5000)
    bare = Builder(6)
    bare.column()
    assert to_pulp(bare.freeze()).goal_unit == 1
