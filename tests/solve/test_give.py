"""Least steps of levers: amounts worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.solve.give import Bar, Levers, give
from optimenu.solve.merge import merge


def levers(low: list[int], high: list[int], size: list[float], bars: tuple[Bar, ...] = ()) -> Levers:
    count = max([*low, *high, *(b.lever for b in bars)]) + 1
    return Levers(
        count, np.asarray(low), np.asarray(high), np.asarray(size, dtype=float), np.ones(count), bars
    )


def test_the_cheapest_lever_moves_and_what_has_none_stays():
    b = Builder(0)
    x = b.column(high=100)
    b.row(Origin("a", "a"), [x], [1], low=50)
    b.row(Origin("b", "b"), [x], [1], high=40)
    b.row(Origin("c", "c"), [x], [1], low=20)
    program = b.freeze()
    merged = merge(program)
    # 10 of 50 is a fifth, 10 of 40 a quarter
    both = levers([0, -1, -1], [-1, 1, -1], [50, 40, 20])
    got = give(program, merged, both, np.ones(2, dtype=bool))
    assert got is not None and got.moved == [0]
    assert got.step.tolist() == pytest.approx([0.2, 0])
    assert got.uses.tolist() == pytest.approx([40])
    got = give(program, merged, both, np.asarray([False, True]))
    assert got is not None and got.step.tolist() == pytest.approx([0, 0.25])
    assert give(program, merged, both, np.zeros(2, dtype=bool)) is None
    # a lever on the row that is in nobody's way does not help
    assert give(program, merged, levers([-1, -1, 0], [-1, -1, -1], [50, 40, 20]), np.ones(1, bool)) is None


def test_one_lever_moves_all_its_rows_and_both_sides():
    b = Builder(0)
    x, y = b.column(high=30), b.column(high=30)
    b.row(Origin("a", "a", day=0), [x], [1], low=40)
    b.row(Origin("a", "a", day=1), [y], [1], low=36)
    program = b.freeze()
    got = give(program, merge(program), levers([0, 0], [-1, -1], [40, 36]), np.ones(1, dtype=bool))
    # a quarter for the first; the second would need a sixth
    assert got is not None and got.step.tolist() == pytest.approx([0.25])


def test_refused_servings_are_let_in_by_their_lever():
    b = Builder(0)
    x, y = b.column(high=9), b.column(high=9)
    b.row(Origin("a", "a"), [x, y], [1, 1], low=10)
    program = b.freeze()
    bar = Bar(0, np.asarray([y]), 10.0)
    got = give(program, merge(program), levers([-1], [-1], [10], (bar,)), np.ones(1, dtype=bool))
    assert got is not None and got.step.tolist() == pytest.approx([0.1])
    assert give(program, merge(program), levers([-1], [-1], [10], (bar,)), np.zeros(1, bool)) is None
