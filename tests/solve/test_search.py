"""The search: exact, repeatable, never better than the best, stoppable."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest

from optimenu.solve.bound import certify, relax
from optimenu.solve.compiled import compiled
from optimenu.solve.search import SearchResult, search
from tests.solve.programs import brute, tiny
from tests.solve.synthetic import Made, made

ROOT = Path(__file__).parents[2]
MOVES = 300_000


@pytest.fixture(scope="module")
def crew() -> Made:
    """Three people, six days, sixty items: mass 3 % over the hidden plan's, stock, hot water, packs."""
    return made(3, 6, 60, seed=2, mass_cap=1.03)


@pytest.fixture(scope="module")
def found(crew: Made) -> SearchResult:
    return search(crew.program, relax(crew.program), moves=MOVES, seed=4, threads=2)


def test_the_menu_holds_in_whole_numbers_and_stays_under_the_bound(crew: Made, found: SearchResult) -> None:
    program = crew.program
    assert found.counts is not None and found.value is not None
    x = program.complete(found.counts)
    assert program.feasible(x)
    assert program.value(x) == found.value
    bound = certify(program, relax(program)).bound
    assert 0 <= bound - found.value <= 0.05 * bound


def test_the_number_of_threads_changes_nothing(crew: Made, found: SearchResult) -> None:
    again = search(crew.program, relax(crew.program), moves=MOVES, seed=4, threads=1)
    assert found.counts is not None and again.counts is not None
    assert again.counts.tobytes() == found.counts.tobytes()
    assert again.moves == found.moves <= MOVES


def test_another_seed_gives_another_menu(crew: Made, found: SearchResult) -> None:
    other = search(crew.program, relax(crew.program), moves=MOVES, seed=5)
    assert found.counts is not None and other.counts is not None
    assert other.counts.tobytes() != found.counts.tobytes()


PROGRAM = """
import hashlib, sys
from tests.solve.synthetic import made
from optimenu.solve.bound import relax
from optimenu.solve.search import search
p = made(3, 6, 60, seed=2, mass_cap=1.03).program
found = search(p, relax(p), moves=300_000, seed=4, threads=int(sys.argv[1]))
print(hashlib.sha256(found.counts.tobytes()).hexdigest())
"""


def test_another_process_finds_the_same_bytes(found: SearchResult) -> None:
    assert found.counts is not None
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, "1"], capture_output=True, text=True, check=False, env=env, cwd=ROOT
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == hashlib.sha256(found.counts.tobytes()).hexdigest()


def test_a_cache_folder_that_cannot_be_written_is_no_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def njit(**options: bool) -> object:
        asked.append(options["cache"])
        if options["cache"]:
            raise RuntimeError("cannot cache function: no locator available")
        return lambda function: function

    monkeypatch.setattr("numba.njit", njit)
    assert compiled(len) is len
    assert asked == [True, False]


def test_more_moves_are_no_worse(crew: Made, found: SearchResult) -> None:
    longer = search(crew.program, relax(crew.program), moves=5 * MOVES, seed=4, start=found.counts)
    assert longer.value is not None and found.value is not None
    assert longer.value >= found.value


def test_a_menu_to_start_from_is_never_lost(crew: Made) -> None:
    program = crew.program
    start = program.value(program.complete(crew.hidden))
    short = search(program, relax(program), moves=1000, seed=1, start=crew.hidden)
    assert short.value is not None and short.value >= start


def test_stopping_keeps_the_best_so_far(crew: Made) -> None:
    stop = threading.Event()
    seen: list[tuple[str, float, float | None]] = []

    def watch(phase: str, part: float, value: float | None) -> None:
        seen.append((phase, part, value))
        if part > 0.02:
            stop.set()

    found = search(crew.program, relax(crew.program), moves=200_000_000, seed=1, stop=stop, progress=watch)
    assert found.moves < 200_000_000
    assert seen and all(0 <= part <= 1 for _, part, _ in seen)
    if found.counts is not None:
        assert crew.program.feasible(crew.program.complete(found.counts))


def test_stopped_before_it_began_there_may_be_none() -> None:
    stop = threading.Event()
    stop.set()
    program = made(2, 4, 50, seed=3).program
    found = search(program, relax(program), moves=10_000_000, seed=1, stop=stop)
    assert found.counts is None or program.feasible(program.complete(found.counts))


def test_without_a_menu_the_nearest_is_given_with_what_it_breaks() -> None:
    program = made(2, 4, 50, seed=3, mass_cap=0.4).program
    found = search(program, _blind(program), moves=60_000, seed=1)
    assert found.counts is None and found.value is None
    assert found.near is not None
    assert len(program.broken(program.complete(found.near))) > 0


class _Blind:
    def __init__(self, n: int, m: int) -> None:
        self.x = np.full(n, 0.1)
        self.multiplier = np.zeros(m)


def _blind(program: object) -> _Blind:
    """A guide that knows nothing: the search must do without one."""
    return _Blind(program.n, program.m)  # type: ignore[attr-defined]


def test_tiny_programs_are_never_beaten_and_mostly_solved() -> None:
    solved = feasible = 0
    for seed in range(60):
        program = tiny(seed)
        best = brute(program)
        relaxation = relax(program)
        guide = relaxation if relaxation.status == "solved" else _blind(program)
        found = search(program, guide, moves=4000, seed=seed)
        if best is None:
            assert found.counts is None
            continue
        feasible += 1
        if found.counts is not None and found.value is not None:
            assert program.feasible(program.complete(found.counts))
            assert found.value <= best[0]
            solved += found.value == best[0]
    assert feasible >= 20
    assert solved >= 0.9 * feasible, f"{solved} of {feasible}"
