"""Exact steps after the search: what is left out, what is found, what is claimed."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from optimenu.program.builder import Builder
from optimenu.solve import finish as module
from optimenu.solve.bound import Prices, certify, relax
from optimenu.solve.dual import Effect
from optimenu.solve.finish import finish
from optimenu.solve.leave_out import _losses, useful
from optimenu.solve.plain import Plain, improve
from optimenu.solve.solve import solve
from tests.solve.programs import brute, menus, tiny
from tests.solve.synthetic import Made, made


def solved(seeds: range):
    """Tiny programs that have a menu, with their relaxations."""
    for seed in seeds:
        program = tiny(seed)
        relaxation = relax(program, rounds=2)
        if relaxation.status == "solved" and brute(program) is not None:
            yield seed, program, relaxation


def test_no_better_menu_uses_what_is_left_out():
    left = tried = 0
    for _, program, relaxation in solved(range(120)):
        every, worth = menus(program)
        for value in np.unique(np.quantile(worth, [0.5, 0.9, 1.0], method="nearest")).tolist():
            may = useful(program, relaxation, int(value))
            better = every[worth > value][:, : program.n_menu]
            assert not better[:, ~may].any()
            left += int((~may).sum())
            tried += len(may)
    assert left > 0.1 * tried


def test_a_column_that_counts_twice_in_a_group_is_not_said_to_lose_twice():
    b = Builder(0)
    c = b.column()
    b.group([(c, 1), (c, 1)], [0, 0])
    # a cut makes the first use cost 5: with the column there are two uses, worth 2 - 5, without it none
    given = Prices({}, {}, 0, [], [], Effect(use={0: 5}))
    assert _losses(b.freeze(), given) == [3]


def test_a_program_small_as_a_whole_gets_its_best_menu_and_the_word_of_the_solver():
    found = gained = 0
    for seed, program, relaxation in solved(range(60)):
        every, worth = menus(program)
        worst = int(np.argmin(worth))
        got = finish(
            program, relaxation, every[worst, : program.n_menu], int(worth[worst]), moves=0, seed=seed
        )
        assert (got.value, got.closed, got.steps) == (int(worth.max()), True, 1), seed
        x = program.complete(got.counts)
        assert program.feasible(x) and program.value(x) == got.value
        found += 1
        gained += got.value > worth[worst]
    assert gained > 0.5 * found > 15


def test_parts_agree_with_trying_every_menu_that_differs_there():
    rng = np.random.default_rng(3)
    tried = 0
    for _, program, _ in solved(range(60)):
        every, worth = menus(program)
        at = int(rng.integers(len(every)))
        counts = every[at, : program.n_menu]
        free = rng.random(program.n_menu) < 0.5
        same = (every[:, : program.n_menu] == counts)[:, ~free].all(axis=1)
        part = Plain(program).part(counts, free, np.zeros(program.n_menu))
        values, closed = improve(part, every[at][part.columns], 10_000)
        x = every[at].copy()
        x[part.columns] = values
        assert closed and program.feasible(x)
        assert (program.complete(x[: program.n_menu]) == x).all()
        assert program.value(x) == worth[same].max()
        tried += same.sum() > 1
    assert tried > 15


@pytest.fixture(scope="module")
def pair() -> Made:
    """Two people, four days, forty items."""
    return made(2, 4, 40, seed=3, mass_cap=1.03)


def test_two_days_at_a_time_never_lose_and_repeat_exactly(pair: Made, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(module, "WHOLE", 50)
    program = pair.program
    relaxation = relax(program)
    worth = program.value(program.complete(pair.hidden))
    parts: list[tuple[float, int]] = []
    got, again = (
        finish(
            program, relaxation, pair.hidden, worth, moves=4_000_000, seed=1,
            tell=lambda part, value: parts.append((part, value)),
        )
        for _ in range(2)
    )  # fmt: skip
    assert worth < got.value <= certify(program, relaxation).bound
    assert program.feasible(program.complete(got.counts)) and not got.closed
    assert got.counts.tobytes() == again.counts.tobytes()
    assert got.steps == 4 and [p for p, _ in parts[:4]] == [0, 0.25, 0.5, 0.75]
    # fewer moves than a step is worth, or a stop: the menu as it was
    assert finish(program, relaxation, pair.hidden, worth, moves=999_999, seed=1).steps == 0
    stop = threading.Event()
    stop.set()
    kept = finish(program, relaxation, pair.hidden, worth, moves=4_000_000, seed=1, stop=stop)
    assert (kept.value, kept.steps) == (worth, 0)


def test_a_larger_program_comes_back_as_it_is(pair: Made, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(module, "SMALL", 10)
    program = pair.program
    got = finish(program, relax(program), pair.hidden, 7, moves=10**9, seed=1)
    assert (got.value, got.steps, got.closed) == (7, 0, False)
    assert got.counts is pair.hidden


def test_a_solve_says_what_it_does_and_whose_word_it_is():
    seen = []
    closed = 0
    for seed, program, _ in solved(range(20)):
        got = solve(program, moves=3000, seed=seed, progress=lambda m: seen.append(m.phase))
        if got.end != "menu":
            continue
        assert got.value == brute(program)[0]
        assert got.closed
        assert got.solver_closed == bool(got.steps)
        assert got.steps or got.bound == got.value
        plain = solve(program, moves=3000, seed=seed, exact_steps=False)
        assert (plain.steps, plain.solver_closed) == (0, False)
        closed += got.solver_closed
    assert closed > 3
    assert "exact" in seen
