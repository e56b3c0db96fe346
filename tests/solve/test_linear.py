from __future__ import annotations

import subprocess
import sys

import highspy
import numpy as np
import pytest

from optimenu.solve import linear
from optimenu.solve.linear import LinearModel, LinearResult, OpenModel, maximise


def model(
    cost: list[float],
    rows: list[list[float]],
    low: list[float],
    high: list[float],
    most: float = np.inf,
) -> LinearModel:
    n, m = len(cost), len(rows)
    return LinearModel(
        cost=np.asarray(cost, dtype=float),
        low=np.zeros(n),
        high=np.full(n, most),
        row_low=np.asarray(low, dtype=float),
        row_high=np.asarray(high, dtype=float),
        start=np.arange(0, n * m + 1, n, dtype=np.int32),
        index=np.tile(np.arange(n, dtype=np.int32), m),
        value=np.asarray(rows, dtype=float).ravel(),
    )


def test_dual_is_the_growth_of_the_maximum_with_the_limit():
    # max 5a + 4b, a + b <= 5, 10a + 6b <= 45: a = 3.75, b = 1.25, 23.75; duals 2.5 and 0.25 by hand
    def solved(first: float, second: float) -> LinearResult:
        return maximise(model([5, 4], [[1, 1], [10, 6]], [-np.inf] * 2, [first, second]))

    at = solved(5, 45)
    assert at.status == "solved"
    assert at.objective == pytest.approx(23.75)
    assert at.x == pytest.approx([3.75, 1.25])
    assert at.dual == pytest.approx([2.5, 0.25])
    assert solved(5.1, 45).objective - at.objective == pytest.approx(0.25)
    assert solved(5, 45.1).objective - at.objective == pytest.approx(0.025)


def test_an_open_model_tells_its_basis_and_takes_rows():
    # the same: both columns basic, inverse of [[1, 1], [10, 6]] is [[-1.5, 0.25], [2.5, -0.25]] by hand
    opened = OpenModel(model([5, 4], [[1, 1], [10, 6]], [-np.inf] * 2, [5, 45]))
    assert opened.solve().x == pytest.approx([3.75, 1.25])
    assert sorted(opened.basic().tolist()) == [0, 1]
    rows = {int(c): opened.inverse_row(place) for place, c in enumerate(opened.basic())}
    assert rows[0] == pytest.approx([-1.5, 0.25])
    assert rows[1] == pytest.approx([2.5, -0.25])
    assert opened.row_values() == pytest.approx([5, 45])
    # a <= 3 leaves b = 2: 23, and the new row's dual is what a earns above b
    i, f = np.int32, np.float64
    opened.add(np.asarray([0, 1], i), np.asarray([0], i), np.asarray([1], f), np.asarray([3], f))
    got = opened.solve()
    assert (got.objective, opened.m) == (pytest.approx(23), 3)
    assert got.dual == pytest.approx([4, 0, 1])
    # the second row is slack, so it is basic
    assert -2 in opened.basic().tolist()


def test_an_open_model_says_what_it_cannot_do(monkeypatch):
    opened = OpenModel(model([5, 4], [[1, 1]], [-np.inf], [5]))
    opened.solve()
    i, f = np.int32, np.float64
    with pytest.raises(RuntimeError, match="HiGHS refuses the arrays of further rows"):
        opened.add(np.asarray([0, 1], i), np.asarray([7], i), np.asarray([1], f), np.asarray([3], f))
    # a place outside the basis is refused; nothing is known of it
    assert opened.inverse_row(9).tolist() == [0.0]

    class Dumb:
        def getBasicVariables(self):  # noqa: N802 - the name is HiGHS's
            return highspy.HighsStatus.kError, np.asarray([4])

    opened._solver = Dumb()
    assert opened.basic().tolist() == []


def test_dual_of_a_binding_low_side_is_negative():
    got = maximise(model([-3.0], [[1.0]], [2.0], [np.inf]))
    assert (got.objective, got.dual[0]) == (pytest.approx(-6), pytest.approx(-3))


def test_impossible_and_unbounded_are_told_apart():
    impossible = maximise(model([1.0], [[1.0], [1.0]], [3.0, -np.inf], [np.inf, 2.0]))
    assert impossible.status == "impossible"
    assert np.isnan(impossible.objective)
    assert maximise(model([1.0], [[1.0]], [0.0], [np.inf])).status == "unbounded"


def test_impossible_is_looked_at_again_without_presolve(monkeypatch):
    seen = []
    real = linear._run

    def run(solver):
        seen.append(solver.getOptionValue("presolve")[1])
        return real(solver)

    linear.ready()
    maximise(model([1.0], [[1.0]], [0.0], [1.0]))
    monkeypatch.setattr(linear, "_run", run)
    maximise(model([1.0], [[1.0], [1.0]], [3.0, -np.inf], [np.inf, 2.0]))
    assert seen == ["choose", "off"]


def test_a_solver_that_gives_up_decides_nothing(monkeypatch):
    maximise(model([1.0], [[1.0]], [0.0], [1.0]))
    monkeypatch.setattr(linear, "_run", lambda _: highspy.HighsModelStatus.kSolveError)
    assert maximise(model([1.0], [[1.0]], [0.0], [1.0])).status == "undecided"


def test_a_failed_run_is_read_as_an_error():
    class Dead:
        def run(self):
            return highspy.HighsStatus.kError

    assert linear._run(Dead()) == highspy.HighsModelStatus.kSolveError


def test_a_solver_with_wrong_answers_is_refused(monkeypatch):
    linear._self_test.cache_clear()
    wrong = LinearResult("solved", 1.0, np.zeros(2), np.zeros(2))
    monkeypatch.setattr(linear, "_maximise", lambda _: wrong)
    with pytest.raises(RuntimeError, match="fails a linear program with a known answer"):
        maximise(model([1.0], [[1.0]], [0.0], [1.0]))


def test_broken_arrays_and_options_are_refused():
    bad = model([1.0, 1.0], [[1.0, 1.0]], [0.0], [1.0])
    bad.index[1] = 7
    with pytest.raises(RuntimeError, match="refuses the arrays"):
        maximise(bad)
    with pytest.raises(RuntimeError, match="refuses its option no_such_option"):
        linear._option(highspy.Highs(), "no_such_option", 1)


def test_nothing_is_printed():
    code = """
from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.solve.bound import relax
from optimenu.solve.direct import direct
b = Builder(0)
b.row(Origin("a", "a"), [b.column(gain=2), b.column(gain=3)], [1, 1], high=1)
p = b.freeze()
assert relax(p).value == 3 and direct(p).value == 3 and direct(p, "CBC").value == 3
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
    assert done.stdout == b""
    assert done.stderr == b""
