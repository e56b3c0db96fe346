"""A relaxation solved again after changes agrees with one solved anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimenu.program.program import NO_HIGH, NO_LOW
from optimenu.solve.again import Again
from optimenu.solve.bound import proved_bound, relax
from tests.solve.programs import brute, tiny


def shaken(program, rng):
    """The program with some limits, column ends, gains and deductions changed."""
    low, high = program.row_low.copy(), program.row_high.copy()
    move = rng.integers(0, 12, program.m) * (rng.random(program.m) < 0.4)
    high[high != NO_HIGH] += move[high != NO_HIGH]
    low[low != NO_LOW] -= move[low != NO_LOW]
    gain = program.gain + rng.integers(-2, 3, program.n) * (program.gain != 0)
    top = np.maximum(program.high - (rng.random(program.n) < 0.1), program.low)
    times = int(rng.integers(0, 3))
    return replace(
        program, row_low=low, row_high=high, gain=gain, high=top, deduction=program.deduction * times
    )


def test_solved_again_is_solved_anew():
    solved = impossible = 0
    for seed in range(120):
        program = tiny(seed, scramble=seed % 2 == 0)
        again, rng = Again(program), np.random.default_rng(seed)
        assert again.first.status == relax(program).status
        for _ in range(4):
            other = shaken(program, rng)
            got, anew = again.solve(other), relax(other)
            assert got.status == anew.status
            impossible += got.status == "impossible"
            if got.status == "solved":
                solved += 1
                assert got.value == pytest.approx(anew.value, abs=1e-7)
                best = brute(other)
                assert best is None or proved_bound(other, got) >= best[0]
        back = again.solve(program)
        assert back.status == again.first.status
        if back.status == "solved":
            assert back.value == pytest.approx(again.first.value, abs=1e-7)
    assert solved > 200
    assert impossible > 10


def test_another_program_is_refused():
    with pytest.raises(ValueError, match="columns and .* rows, not"):
        Again(tiny(1)).solve(tiny(2).keep(np.zeros(tiny(2).n_menu, dtype=bool)))


def test_deductions_that_were_alike_and_are_no_longer():
    for seed in range(60):
        program = tiny(seed)
        flat = replace(program, deduction=np.zeros_like(program.deduction))
        again = Again(flat)
        got, anew = again.solve(program), relax(program)
        assert got.status == anew.status
        if got.status == "solved":
            assert got.value == pytest.approx(anew.value, abs=1e-7)
