from __future__ import annotations

import threading
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from optimenu.audit.bound import check_bound
from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import Program
from optimenu.solve import solve as module
from optimenu.solve.bound import relax
from optimenu.solve.direct import DirectResult
from optimenu.solve.elastic import Elastic
from optimenu.solve.outcome import Outcome, Progress, gap
from optimenu.solve.solve import solve
from tests.solve.programs import brute, tiny

WHERE = Origin("rule", "rule.key")


def possible() -> Program:
    b = Builder(2)
    columns = [b.column(labels=(0, d, 0, 0, i), gain=100 + i, merge=i) for d in range(3) for i in range(4)]
    for d in range(3):
        b.row(WHERE, columns[4 * d : 4 * d + 4], 1, low=1, high=2, merge="day")
    return b.freeze()


def test_gap():
    assert gap(99, 100, 2) == Fraction(1, 100)
    # a bound of 0 or less leaves nothing to divide by: units of the goal
    assert gap(-150, 0, 2) == Fraction(3, 2)
    assert gap(-150, -100, 2) == Fraction(1, 2)
    assert gap(None, 3, 0) is None
    assert gap(3, None, 0) is None


def test_closed_and_reached():
    def outcome(**found: object) -> Outcome:
        return Outcome("menu", "search", seed=0, moves=1, goal_decimals=0, **found)

    assert not outcome().closed
    assert not outcome().reached
    assert not outcome(value=9, bound=10).closed
    assert outcome(value=10, bound=10).closed
    assert outcome(value=9, bound=10, solver_closed=True).closed
    assert outcome(value=99, bound=100, asked=0.02).reached
    assert not outcome(value=98, bound=100, asked=0.01).reached


@pytest.mark.parametrize("method", ["search", "direct"])
def test_a_menu_its_bound_and_the_messages_on_the_way(method):
    program = possible()
    said: list[Progress] = []
    got = solve(program, method=method, moves=20_000, seed=3, progress=said.append)
    # by hand: the two dearest a day, 1.03 and 1.02
    assert (got.end, got.value, got.bound) == ("menu", 615, 615)
    assert got.closed
    assert got.reached
    assert got.gap == 0
    assert program.feasible(program.complete(got.counts))
    assert check_bound(program, got.certificate).proved == 615
    assert (got.method, got.seed, got.moves) == (method, 3, 20_000)
    phases = [m.phase for m in said]
    assert phases[:3] == ["merge", "bound", "bound"]
    assert set(phases) <= {"merge", "bound", "compile", "compile_anew", "search", "polish"}
    assert got.ended == "gap"  # nothing better is left to look for
    assert "search" in phases
    assert said[2].bound == pytest.approx(6.15)
    assert all(m.value is None or m.value <= 6.15 + 1e-9 for m in said)


def test_impossible_is_proved_and_explained():
    b = Builder(0)
    b.row(Origin("protein", "low"), [b.column()], [1], low=2)
    got = solve(b.freeze())
    assert (got.end, got.proof, got.counts) == ("impossible", "exact", None)
    assert [s.origin.rule for s in got.shortfalls] == ["protein"]


def test_a_conflict_of_whole_numbers_rests_on_the_solver():
    b = Builder(0)
    b.row(WHERE, [b.column(), b.column()], [2, 2], low=1, high=1)
    got = solve(b.freeze(), method="direct")
    assert (got.end, got.proof) == ("impossible", "solver")
    got = solve(b.freeze(), method="search", moves=2_000)
    assert (got.end, got.proof) == ("undecided", "")


def test_without_an_exact_proof_nothing_is_called_impossible(monkeypatch):
    b = Builder(0)
    b.row(WHERE, [b.column()], [1], low=2)
    monkeypatch.setattr("optimenu.solve.elastic.elastic", lambda *_: Elastic(0.0, (), False))
    assert solve(b.freeze()).end == "undecided"


def test_a_bound_the_solver_cannot_find_leaves_it_undecided(monkeypatch):
    program = possible()
    lost = replace(relax(program), status="undecided")
    monkeypatch.setattr(module, "relax", lambda *_, **__: lost)
    got = solve(program)
    assert (got.end, got.bound) == ("undecided", None)


@pytest.mark.parametrize("method", ["search", "direct"])
def test_stopped_before_a_menu(method):
    stop = threading.Event()
    stop.set()
    got = solve(possible(), method=method, stop=stop)
    assert got.ended == "stopped"
    assert (got.end, got.counts, got.bound) == ("stopped", None, 615)


def test_compiling_is_told_when_it_must_be_done(monkeypatch):
    for kept, phase in ((True, "compile"), (False, "compile_anew")):
        said: list[Progress] = []
        monkeypatch.setattr("optimenu.solve.compiled.ready", lambda _: False)
        monkeypatch.setattr("optimenu.solve.compiled.kept", lambda _, kept=kept: kept)
        solve(possible(), moves=2_000, progress=said.append)
        phases = [m.phase for m in said]
        assert phases.index("bound") < phases.index(phase) < phases.index("search")


def test_stopped_during_a_direct_solve(monkeypatch):
    stop = threading.Event()

    def cut_short(*_: object, **__: object) -> DirectResult:
        stop.set()
        return DirectResult("undecided")

    monkeypatch.setattr(module, "direct", cut_short)
    assert solve(possible(), method="direct", stop=stop).end == "stopped"


def test_unknown_methods_and_continuous_columns_are_refused():
    with pytest.raises(ValueError, match="no such method: magic; search and direct are known"):
        solve(possible(), method="magic")
    b = Builder(0)
    b.column(continuous=True)
    with pytest.raises(ValueError, match="a menu has whole servings; programs with continuous columns"):
        solve(b.freeze())


def test_search_never_beats_the_best_and_starts_from_a_given_menu():
    menus = 0
    for seed in range(12):
        program = tiny(seed)
        best = brute(program)
        if best is None:
            continue
        start = best[1][: program.n_menu]
        got = solve(program, moves=3_000, start=start)
        menus += 1
        assert got.value == best[0]
        assert np.all(got.counts >= 0)
    assert menus >= 4
