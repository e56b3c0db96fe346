"""Rows that cannot be broken while every cell keeps its count are left out; tilts and likely columns."""

from __future__ import annotations

from itertools import product

import numpy as np

from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import ORDINARY, Program
from optimenu.solve.bound import relax
from optimenu.solve.layout import Layout, lay_out
from optimenu.solve.likely import likely
from optimenu.solve.scan import reach
from optimenu.solve.tilt import tilted
from tests.solve.synthetic import made

HERE = Origin("rule", "rule.key")


def program(seed: int) -> tuple[Program, list[list[int]]]:
    """Three cells of two or three columns and one fixed serving; four rows over some of them."""
    rng = np.random.default_rng(seed)
    b = Builder(0)
    cells = [
        [b.column(labels=(0, 0, m, 0, i), high=int(rng.integers(1, 3))) for i in range(rng.integers(2, 4))]
        for m in range(3)
    ]
    b.column(labels=(0, 0, -1, -1, 9), low=1, high=1, certain=False)
    for _ in range(4):
        cols = np.flatnonzero(rng.random(b.n_menu) < 0.7)
        b.row(HERE, cols, rng.integers(-4, 9, len(cols)), low=-3, high=11)
    return b.freeze(), cells


def test_reach_is_what_enumeration_finds():
    tight = 0
    for seed in range(60):
        p, cells = program(seed)
        low, high = np.asarray([1, 0, 1]), np.asarray([1, 1, 2])
        fits = [
            x
            for x in product(*(range(int(a), int(z) + 1) for a, z in zip(p.low, p.high, strict=True)))
            if all(low[k] <= sum(x[c] for c in cols) <= high[k] for k, cols in enumerate(cells))
        ]
        activity = np.asarray([p.activity(np.asarray(x)) for x in fits])
        cell_of = np.full(p.n, 3, dtype=np.int32)
        for k, cols in enumerate(cells):
            cell_of[cols] = k
        least, most = reach(
            p,
            np.arange(p.m),
            np.arange(p.n, dtype=np.int32),
            np.stack([p.low, p.high], axis=1),
            p.high > p.low,
            cell_of,
            np.append(low, 0),
            np.append(high, 0),
        )
        assert (least <= activity.min(axis=0)).all()
        assert (most >= activity.max(axis=0)).all()
        tight += int((least == activity.min(axis=0)).sum() + (most == activity.max(axis=0)).sum())
    assert tight > 240


def laid_out(p: Program) -> Layout:
    rows = np.arange(p.m)
    return lay_out(p, np.arange(p.n_menu), rows, p.row_low, p.row_high, np.zeros(p.n), np.zeros(p.m))


def test_a_row_that_only_more_servings_could_break_is_left_out():
    for most, kept in ((7, [1]), (6, [1, 2])):
        b = Builder(0)
        cols = [b.column(labels=(0, 0, 0, 0, i)) for i in range(3)]
        other = [b.column(labels=(0, 0, 1, 0, i)) for i in range(2)]
        b.row(HERE, cols, 1, low=1, high=1)
        # nothing holds the servings of the other cell, so all of them may come at once
        b.row(HERE, other, 2, high=3)
        # one of the first three, and both others
        b.row(HERE, [*cols, *other], [1, 2, 5, 1, 1], high=most)
        assert sorted(laid_out(b.freeze()).rows.tolist()) == kept


def test_tilts_stand_beside_the_rows_they_copy_and_limit_nothing() -> None:
    p = made(2, 6, 40, seed=1, mass_cap=1.03).program
    relaxation = relax(p)
    own = np.flatnonzero(p.row_kind == ORDINARY)
    columns = np.arange(p.n_menu)
    rows, low, high, tilts = tilted(
        p, columns, own, p.row_low[own], p.row_high[own], relaxation.x, relaxation.multiplier
    )
    assert tilts > 0 and len(rows) == len(own) + tilts
    copied = rows[len(own) :]
    for r in copied:
        days = p.day[p.row_column[p.row_start[r] : p.row_start[r + 1]]]
        assert relaxation.multiplier[r] != 0 and len(np.unique(days[days >= 0])) > 1
    lay = lay_out(p, columns, rows, low, high, relaxation.x, relaxation.multiplier, tilts)
    assert sorted(lay.rows[lay.tilt]) == sorted(copied)
    assert (lay.hard[lay.tilt] == 0).all() and (lay.price[lay.tilt] == 0).all()


def test_what_earns_too_little_is_tried_rarely_but_never_left_out() -> None:
    b = Builder(0)
    cols = [b.column(labels=(0, 0, 0, 0, k), gain=100 - 60 * (k > 7)) for k in range(10)]
    b.row(HERE, cols, np.where(np.arange(10) > 7, 90, 10), high=200)
    b.row(HERE, cols, np.ones(10, dtype=np.int64), low=1, high=2)
    p = b.freeze()
    use, price = np.where(np.arange(10) < 2, 1.0, 0.0), np.asarray([1.0, 0.0])
    # 100 - 10 stays, 40 - 90 does not
    worth_trying = likely(p, use, price)
    assert worth_trying.tolist() == [True] * 8 + [False] * 2
    rows = np.arange(p.m)
    lay = lay_out(p, np.arange(10), rows, p.row_low, p.row_high, use, price, likely=worth_trying)
    assert lay.fixed.likely_column.tolist() == list(range(8))
    assert lay.fixed.cell_column.tolist() == list(range(10))
    few = lay_out(p, np.arange(10), rows, p.row_low, p.row_high, use, price, likely=np.arange(10) < 3)
    assert few.fixed.likely_column.tolist() == list(range(10))
