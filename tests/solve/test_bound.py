from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimenu.audit.bound import check_bound
from optimenu.program.builder import Builder
from optimenu.program.certificate import Certificate
from optimenu.program.origin import Origin
from optimenu.program.program import HARD, NO_HIGH, NO_LOW, Program
from optimenu.solve import dual as module
from optimenu.solve.bound import Relaxation, certify, relax
from tests.solve.programs import brute, tiny

WHERE = Origin("rule", "rule.key")


def shared_dish() -> Program:
    """A dish for two that one likes much (9) and one little (1), against a cost of both their caps."""
    b = Builder(0, ((0,), (1,), (0, 1)))
    both = b.column(labels=(2, 0, 0, 0, 0))
    own = [b.column(labels=(p, 0, 0, 0, 1)) for p in range(2)]
    b.group([(both, 9), (own[0], 4)], [0, 3])
    b.group([(both, 1), (own[1], 6)], [0, 5])
    b.row(WHERE, [both, *own], [3, 2, 2], high=4)
    return b.freeze()


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 10**6), st.booleans(), st.sampled_from([1.0, 0.3]))
def test_no_choice_beats_the_bound_and_the_proof_loses_little(seed, scramble, tight):
    program = tiny(seed, scramble=scramble, tight=tight)
    relaxation = relax(program)
    best = brute(program)
    if relaxation.status != "solved":
        assert relaxation.status == "impossible"
        assert best is None
        return
    certificate = certify(program, relaxation)
    assert check_bound(program, certificate).proved == certificate.bound
    linear = relaxation.value * 10**program.goal_decimals
    # rounding up to a whole goal unit is the only loss of size
    assert certificate.bound <= linear + 1 + 1e-7 * abs(linear)
    if best is not None:
        assert certificate.bound >= best[0]


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10**6), st.booleans())
def test_multipliers_have_clean_signs_and_uses_lie_within_bounds(seed, scramble):
    program = tiny(seed, scramble=scramble)
    r = relax(program)
    assert not np.any((r.multiplier > 0) & (program.row_high == NO_HIGH))
    assert not np.any((r.multiplier < 0) & (program.row_low == NO_LOW))
    soft = program.row_price != HARD
    assert np.all(np.abs(r.multiplier[soft]) <= program.row_price[soft])
    if r.status == "solved":
        assert np.all((r.x >= program.low) & (r.x <= program.high))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.data())
def test_any_multipliers_prove_a_true_bound(seed, data):
    program = tiny(seed)
    best = brute(program)
    numbers = st.floats(-50, 50, width=32)
    y = np.asarray(data.draw(st.lists(numbers, min_size=program.m, max_size=program.m)))
    g = program.n_groups
    worth = np.asarray(data.draw(st.lists(numbers, min_size=g, max_size=g)), dtype=float)
    certificate = certify(program, Relaxation("solved", 0.0, np.zeros(program.n), y, worth))
    assert check_bound(program, certificate).proved == certificate.bound
    if best is not None:
        assert certificate.bound >= best[0]


def test_a_shared_dish_is_proved_through_its_links():
    program = shared_dish()
    relaxation = relax(program)
    certificate = certify(program, relaxation)
    # by hand: the dish (9 + 1), and with the room left half of either second use at a profit of 1
    assert relaxation.value == pytest.approx(10.5)
    assert certificate.bound == 11
    assert len(certificate.groups) == 2
    without = certify(program, replace(relaxation, use_worth=np.zeros(2)))
    assert without.bound > certificate.bound >= brute(program)[0] == 10
    assert Certificate.from_json(certificate.to_json()).to_json() == certificate.to_json()


def test_columns_that_must_be_used_and_columns_used_often():
    b = Builder(1)
    forced = b.column(low=1, high=3)
    free = b.column(high=4)
    alone = b.column(low=2, high=5, gain=-3)
    b.group([(forced, 2), (free, 7)], [0, 1, 4, 6])
    program = b.freeze()
    certificate = certify(program, relax(program))
    # forced 2, free 7 three times, less 0 + 1 + 4 + 6, and two of the unwanted at -3
    assert certificate.bound == 2 + 21 - 11 - 6
    assert brute(program)[0] == certificate.bound
    assert alone == 2


def test_python_and_machine_integers_agree(monkeypatch):
    for seed in range(30):
        program = tiny(seed)
        r = relax(program)
        y, _, _ = module.whole_multipliers(program, r.multiplier, r.use_worth)
        fast = module.column_costs(program, y)
        monkeypatch.setattr(module, "_WORD", 0.0)
        assert module.column_costs(program, y) == fast
        monkeypatch.undo()


def test_gains_near_the_end_of_64_bits_keep_their_proof():
    program = tiny(4)
    best = brute(program)
    assert best is not None
    factor = 10**15
    large = replace(
        program,
        goal_decimals=program.goal_decimals + 15,
        gain=program.gain * factor,
        group_gain=program.group_gain * factor,
        deduction=program.deduction * factor,
        row_price=np.where(program.row_price == HARD, HARD, program.row_price * factor),
    )
    small, big = relax(program), relax(large)
    assert big.value == pytest.approx(small.value)
    certificate = certify(large, big)
    assert certificate.bound == pytest.approx(big.value * 10**large.goal_decimals, rel=1e-7)
    assert certificate.bound >= best[0] * factor
    assert check_bound(large, certificate).proved == certificate.bound


def test_a_bound_on_continuous_amounts():
    b = Builder(2)
    x = b.column(high=10, gain=300, continuous=True)
    b.row(WHERE, [x], [7], high=30)
    program = b.freeze()
    # 30/7 servings at 3.00
    assert relax(program).value == pytest.approx(90 / 7)
    assert certify(program, relax(program)).bound == 1286


def test_programs_without_rows_or_columns_have_a_bound():
    assert certify(Builder(0).freeze(), relax(Builder(0).freeze())).bound == 0
    b = Builder(0)
    b.column(gain=4, high=3)
    assert certify(b.freeze(), relax(b.freeze())).bound == 12
    b.row(WHERE, [], [], low=1)
    assert relax(b.freeze()).status == "impossible"


def test_an_unsolved_relaxation_proves_nothing():
    b = Builder(0)
    b.row(WHERE, [b.column()], [1], low=2)
    program = b.freeze()
    with pytest.raises(ValueError, match="a bound needs a solved relaxation, this one is impossible"):
        certify(program, relax(program))
