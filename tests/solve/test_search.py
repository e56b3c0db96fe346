"""The search: exact, repeatable, never better than the best, stoppable."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import threading
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from optimenu.program.build import priced
from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import NO_HIGH, Program
from optimenu.solve import search as module
from optimenu.solve.bound import certify, relax
from optimenu.solve.compiled import compiled
from optimenu.solve.components import components, whole
from optimenu.solve.engine import Engine
from optimenu.solve.search import SearchResult, _Search, search
from tests.benchmarks.ours import Clock, read
from tests.benchmarks.registry import INSTANCES
from tests.solve.programs import brute, tiny
from tests.solve.synthetic import Made, made

ROOT = Path(__file__).parents[2]
MOVES = 600_000


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
found = search(p, relax(p), moves=600_000, seed=4, threads=int(sys.argv[1]))
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


ANYWHERE = """
import os, shutil, sys
from pathlib import Path
from optimenu.solve import compiled
from optimenu.solve.chance import seeded, unit
folder = os.environ.get("NUMBA_CACHE_DIR")
assert compiled.kept(unit) is (sys.argv[1] == "lost"), unit.stats.cache_path
assert not compiled.ready(unit)
if sys.argv[1] == "lost":
    shutil.rmtree(folder)
    Path(folder).touch()
print(unit(seeded(1, 2)))
assert compiled.ready(unit)
"""


@pytest.mark.parametrize("case", ["never", "lost"])
def test_the_loops_run_where_nothing_can_be_kept(tmp_path: Path, case: str) -> None:
    """Not beside the source, not with the user, not where told: under a file nobody can make a folder."""
    wall = tmp_path / "file"
    wall.touch()
    shutil.copytree(ROOT / "optimenu", tmp_path / "optimenu", ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "optimenu" / "solve" / "__pycache__").touch()
    folder = tmp_path / "kept" if case == "lost" else wall / "kept"
    env = {**os.environ, "PYTHONPATH": str(tmp_path), "NUMBA_CACHE_DIR": str(folder), "HOME": str(wall),
           "XDG_CACHE_HOME": str(wall), "PYTHONDONTWRITEBYTECODE": "1"}  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", ANYWHERE, case],
        capture_output=True, text=True, check=False, env=env, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert 0 <= float(done.stdout) < 1


def test_more_moves_are_no_worse(crew: Made, found: SearchResult) -> None:
    longer = search(crew.program, relax(crew.program), moves=5 * MOVES, seed=4, start=found.counts)
    assert longer.value is not None and found.value is not None
    assert longer.value >= found.value


def test_a_menu_to_start_from_is_never_lost(crew: Made) -> None:
    program = crew.program
    start = program.value(program.complete(crew.hidden))
    short = search(program, relax(program), moves=1000, seed=1, start=crew.hidden)
    assert short.value is not None and short.value >= start


def loosened(program: Program, by: float) -> Program:
    """Return the program with a little more mass allowed: its row that most columns stand in."""
    wide = int(np.argmax(np.diff(program.row_start) * (program.row_high < NO_HIGH)))
    high = program.row_high.copy()
    high[wide] += int(abs(int(high[wide])) * by)
    return replace(program, row_high=high)


def test_little_changes_beside_the_menu_started_from(crew: Made, found: SearchResult) -> None:
    """Days of one class are alike, so a search that is not held leaves its dishes on any of them."""
    assert found.counts is not None and found.value is not None
    program = loosened(crew.program, 0.02)
    before = found.counts
    near = search(program, relax(program), moves=MOVES, seed=9, start=before, hold=before)
    anew = search(program, relax(program), moves=MOVES, seed=9)
    assert near.counts is not None and anew.counts is not None and near.value is not None
    assert near.value > found.value
    stayed, by_chance = (np.minimum(before, c).sum() / before.sum() for c in (near.counts, anew.counts))
    assert stayed > 0.75 > 0.5 > by_chance
    # nearly all that is still eaten stands where it stood
    klass = program.column_class[: program.n_menu]
    eaten, eaten_now = (np.bincount(klass, c) for c in (found.counts, near.counts))
    assert stayed > 0.95 * np.minimum(eaten, eaten_now).sum() / found.counts.sum()
    assert near.moves <= MOVES


def test_one_component_is_searched_twice_side_by_side_and_the_better_kept(monkeypatch) -> None:
    """Two people at one table: nothing to part. Both starts share the moves, on one thread or two."""
    program = made(2, 3, 60, seed=5, mass_cap=1.1, shared_dish=True).program
    assert components(program).count == 1
    relaxation = relax(program)
    moves = 800_000
    monkeypatch.setattr(module, "TWO_FROM", moves // 2)
    two, same = (search(program, relaxation, moves=moves, seed=2, threads=k) for k in (2, 1))
    assert two.counts is not None and same.counts is not None and two.value is not None
    assert two.counts.tobytes() == same.counts.tobytes()
    assert two.moves == same.moves <= moves
    ends: dict[int, float | None] = {}
    join = _Search.join

    def watched(hunt: _Search, engines: list[Engine]) -> np.ndarray:
        ends.update({id(e): e.best_value for e in engines})
        return join(hunt, engines)

    monkeypatch.setattr(_Search, "join", watched)
    again = search(program, relaxation, moves=moves, seed=2)
    assert again.value == two.value
    values = [v for v in ends.values() if v is not None]
    assert len(ends) == 2 and two.value == pytest.approx(max(values), rel=1e-12)
    # with fewer moves there is one start
    ends.clear()
    assert search(program, relaxation, moves=moves - 1, seed=2).moves <= moves - 1
    assert len(ends) == 1


def alike(each: int = 10**15) -> Program:
    """One person, four days alike, four dishes, one a day and each once; all are worth the same."""
    b = Builder(18)
    at = [[b.column(labels=(0, d, 0, 0, i), merge=i) for i in range(4)] for d in range(4)]
    for d in range(4):
        b.row(Origin("meals", "course", day=d), at[d], 1, low=1, high=1, merge="course")
    for i in range(4):
        b.group([(at[d][i], each) for d in range(4)], [0])
    return b.freeze()


def test_dishes_of_equal_value_go_back_to_their_days() -> None:
    """One person, four days alike, four dishes each worth the same everywhere and wanted once."""
    program = alike()
    start = np.eye(4, dtype=np.int64)
    turned = np.roll(start, 1, axis=0)
    own = start.ravel()
    hunt = _Search(program, relax(program), 20_000, 1, 1, None, None, own, own, None, None, None, False)
    parts = whole(program)
    engines = hunt.prepare(parts)
    assert hunt.best.offer(turned.ravel())
    hunt.go_back(engines)
    assert hunt.best.counts is not None and (hunt.best.counts == own).all()
    assert hunt.best.value == program.value(program.complete(turned.ravel()))


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


def test_a_third_of_the_way_there_is_a_decent_menu(tmp_path: Path) -> None:
    """Moves are counted, not seconds: the quick first menu is behind, the long cooling far from its end."""
    _, worth = read(INSTANCES["S-slack"], tmp_path, Clock())
    program = priced(worth, [Decimal(1)] * 2)
    relaxation = relax(program)
    bound = certify(program, relaxation).bound
    first = third = menus = 0.0
    for seed in range(1, 5):
        stop = threading.Event()
        seen: list[float] = []

        def watch(
            _: str,
            part: float,
            value: float | None,
            seen: list[float] = seen,
            stop: threading.Event = stop,
        ) -> None:
            if value is not None:
                seen.append(value)
            if part > 1 / 3:
                stop.set()

        found = search(program, relaxation, moves=3_000_000, seed=seed, threads=1, stop=stop, progress=watch)
        assert found.ended == "stopped" and found.moves < 1_500_000
        if found.value is not None:
            menus += 1
            assert program.feasible(program.complete(found.counts))
            first, third = first + bound - seen[0], third + bound - found.value
    assert menus >= 3 and third < 0.6 * first


def test_good_enough_ends_it_at_the_same_point_whatever_the_threads(crew: Made) -> None:
    relaxation = relax(crew.program)
    bound = certify(crew.program, relaxation).bound

    def enough(value: int) -> bool:
        return bound - value <= 0.04 * bound

    one, two = (
        search(crew.program, relaxation, moves=3_000_000, seed=4, threads=n, enough=enough) for n in (1, 2)
    )
    assert one.ended == two.ended == "gap"
    assert one.moves == two.moves < 3_000_000
    assert one.counts is not None and two.counts is not None and one.value is not None
    assert one.counts.tobytes() == two.counts.tobytes()
    assert enough(one.value)


def test_what_ends_by_itself_spent_its_moves(found: SearchResult) -> None:
    assert found.ended == "moves"


def test_a_start_that_breaks_a_limit_is_mended_or_not_taken(crew: Made) -> None:
    program = crew.program
    broken = crew.hidden.copy()
    broken[: len(broken) // 2] = 0
    got = search(program, relax(program), moves=MOVES, seed=3, start=broken)
    if got.counts is not None:
        assert program.feasible(program.complete(got.counts))
    assert got.moves <= MOVES


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
