"""Parts of a linear program are found, and solving them first changes no answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimenu.solve import blocks as module
from optimenu.solve import linear
from optimenu.solve.blocks import blocks
from optimenu.solve.linear import LinearModel, maximise


@pytest.fixture(autouse=True)
def small_ones_too(monkeypatch):
    monkeypatch.setattr(module, "FEW_ROWS", 0)


def model(matrix: np.ndarray, part: list[int], *, seed: int = 0, room: float = 0.6) -> LinearModel:
    """Columns between 0 and 1, rows at most a share of the sum of their coefficients."""
    rng = np.random.default_rng(seed)
    m, n = matrix.shape
    return LinearModel(
        cost=rng.uniform(1, 2, n),
        low=np.zeros(n),
        high=np.ones(n),
        row_low=np.full(m, -np.inf),
        row_high=room * matrix.sum(axis=1),
        start=np.concatenate([[0], np.cumsum((matrix != 0).sum(axis=1))]).astype(np.int32),
        index=np.nonzero(matrix)[1].astype(np.int32),
        value=matrix[matrix != 0],
        part=np.asarray(part, dtype=np.int32),
    )


def test_parts_take_their_rows_and_what_stands_nowhere_else():
    # columns 0, 1 | 2, 3 | 4 slack of a row of the second | 5 stands in rows of both
    matrix = np.asarray(
        [
            [1.0, 2, 0, 0, 0, 0],
            [0, 0, 3, 1, -1, 0],
            [1, 0, 1, 0, 0, 0],
            [0, 1, 0, 0, 0, 1],
            [0, 0, 0, 1, 0, 1],
            [0, 0, 0, 4, 0, 0],
        ]
    )
    first, second = blocks(model(matrix, [0, 0, 1, 1, -1, -1]))
    assert (first.columns.tolist(), first.rows.tolist()) == ([0, 1], [0])
    assert (second.columns.tolist(), second.rows.tolist()) == ([2, 3, 4], [1, 5])
    assert second.model.start.tolist() == [0, 3, 4]
    assert second.model.index.tolist() == [0, 1, 2, 1]
    assert second.model.value.tolist() == [3, 1, -1, 4]


def test_one_part_alone_is_none():
    assert list(blocks(model(np.ones((1, 2)), [0, -1]))) == []
    assert list(blocks(replace(model(np.ones((1, 2)), [0, 1]), part=None))) == []


def test_small_ones_and_huge_ones_are_solved_at_once(monkeypatch):
    monkeypatch.setattr(module, "FEW_ROWS", 21)
    assert list(blocks(tied(0))) == []
    monkeypatch.setattr(module, "FEW_ROWS", 20)
    assert len(list(blocks(tied(0)))) == 3
    monkeypatch.setattr(module, "MANY_ENTRIES", len(tied(0).value) - 1)
    assert list(blocks(tied(0))) == []


def tied(seed: int) -> LinearModel:
    """Three parts of 8 columns and 6 rows, and two rows that tie them."""
    rng = np.random.default_rng(seed)
    matrix = np.zeros((20, 24))
    for k in range(3):
        matrix[6 * k : 6 * k + 6, 8 * k : 8 * k + 8] = rng.integers(0, 5, (6, 8))
    matrix[18:] = rng.integers(0, 3, (2, 24))
    return model(matrix, np.repeat(np.arange(3), 8).tolist(), seed=seed)


@pytest.mark.parametrize("seed", range(8))
def test_the_optimum_is_the_same_with_parts_and_without(seed, monkeypatch):
    seen = []
    plain = linear._solved
    monkeypatch.setattr(linear, "_solved", lambda part: seen.append(part) or plain(part))
    whole = tied(seed)
    got, want = maximise(whole), maximise(replace(whole, part=None))
    assert got.objective == pytest.approx(want.objective, rel=1e-9)
    assert got.x == pytest.approx(want.x, abs=1e-7)
    assert len(seen) == 3


@pytest.mark.parametrize("row", [2, 19])
def test_what_cannot_be_is_still_told(row):
    # a part by itself, and only all together
    whole = tied(1)
    low = whole.row_low.copy()
    high = whole.row_high.copy()
    low[row] = high[row] = 10_000.0
    assert maximise(replace(whole, row_low=low, row_high=high)).status == "impossible"
