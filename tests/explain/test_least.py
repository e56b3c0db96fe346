from __future__ import annotations

from itertools import combinations
from random import Random

import numpy as np
import pytest

from optimenu.explain.least import least_by_proof, least_by_trial
from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import HARD, IMPLIED, LINK
from optimenu.solve.subsets import Answer, Owned, Subsets
from optimenu.solve.whole import any_menu
from tests.solve.programs import brute, completed, tiny
from tests.solve.programs import choices as every_choice

SIZE = 9


def conflicts(seed):
    """Return a few sets of numbers that are impossible, as is whatever holds one of them."""
    rng = Random(seed)
    return [frozenset(rng.sample(range(SIZE), rng.randint(1, 4))) for _ in range(rng.randint(1, 4))]


def smallest(bad, kept):
    return any(b <= kept for b in bad) and not any(b <= kept - {k} for k in kept for b in bad)


@pytest.mark.parametrize("seed", range(40))
def test_what_is_left_is_impossible_and_less_is_not(seed):
    bad = conflicts(seed)
    asked = []

    def impossible(some):
        asked.append(frozenset(some))
        return any(b <= set(some) for b in bad)

    def ask(some):
        held = [b for b in bad if b <= set(some)]
        weight = {k: 1.0 + k for k in (held[0] if held else ())}
        return Answer(bool(held), {}, weight, np.zeros(0, dtype=bool))

    assert smallest(bad, set(least_by_trial(impossible, (), range(SIZE))))
    assert len(asked) < 40
    found = least_by_proof(ask, (), range(SIZE))
    assert smallest(bad, set(found))
    assert found == sorted(found, reverse=True)


def test_what_is_fixed_is_not_told_and_what_is_unwanted_goes_first():
    def ask(some):
        held = 0 in some and (1 in some or 2 in some)
        weight = {k: float(k) for k in some} if held else {}
        return Answer(held, {}, weight, np.zeros(0, dtype=bool))

    assert least_by_proof(ask, {0}, [1, 2]) == [2]
    assert least_by_proof(ask, {0}, [1, 2], {2: 1}) == [1]
    assert least_by_proof(ask, (), [1, 2]) is None
    assert least_by_trial(lambda some: 0 in some, {0}, [1, 2]) == []


@pytest.mark.parametrize("seed", range(60))
def test_part_and_menu_against_every_choice(seed):
    program = tiny(seed, tight=0.4)
    rng = np.random.default_rng(seed)
    rows = (program.row_kind == LINK) | (rng.random(program.m) < 0.6)
    rows &= program.row_price == HARD
    # an implied row stands after the one it follows from
    implied = np.flatnonzero(program.row_kind == IMPLIED)
    rows[implied] &= rows[implied - 1]
    columns = np.ones(program.n, dtype=bool)
    columns[: program.n_menu] = (rng.random(program.n_menu) < 0.8) | (program.low[: program.n_menu] > 0)
    part = program.part(columns, rows)
    every = every_choice(part)
    inside = np.zeros((len(every), program.n_menu), dtype=np.int64)
    inside[:, columns[: program.n_menu]] = every
    whole, small = completed(program, inside), completed(part, every)
    assert (whole[:, columns] == small).all()
    kept = [(whole[k], small[k]) for k in range(0, len(every), 7)]
    for big, little in kept:
        assert (program.activity(big)[rows] == part.activity(little)).all()
    found = any_menu(part)
    assert found.status == ("impossible" if brute(part) is None else "menu")
    if found.counts is not None:
        assert part.feasible(part.complete(found.counts))


def test_a_column_is_closed_while_any_of_its_limits_is_asked_for():
    b = Builder(0)
    x, z = b.column(merge="a"), b.column(merge="a")
    b.row(Origin("need", "low"), [x, z], [1, 1], low=1)
    owned = Owned(
        b.freeze(), np.asarray([0]), (frozenset(), frozenset({1, 2}), frozenset({3})), np.asarray([1, 2])
    )
    subsets = Subsets(owned)
    for n in range(4):
        for asked in combinations(range(4), n):
            shut = {0, 3} <= set(asked) and bool({1, 2} & set(asked))
            got = subsets.ask(asked)
            assert got.impossible == shut
            assert set(got.weight) == (set(asked) if shut else set())
            assert got.leaning.tolist() == [shut, shut]
    assert owned.closed({3}).tolist() == [False, True]
    assert any_menu(owned.part({0, 2})[0]).counts.tolist() == [1]
