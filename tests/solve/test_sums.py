"""The compiled sums against plain Python."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest

from optimenu.program.program import Program
from optimenu.solve.sums import column_sizes, column_totals, sums
from tests.solve.programs import tiny


def plain(program: Program, decimals: list[int]) -> list[tuple[int, int, float, float]]:
    total: dict[tuple[int, int], dict[int, int]] = defaultdict(lambda: defaultdict(int))
    classes = program.column_class.tolist()
    for r in range(program.m):
        g = int(program.row_kin[r])
        factor = 10 ** (decimals[g] - int(program.row_decimals[r]))
        for j in range(program.row_start[r], program.row_start[r + 1]):
            c = int(program.row_column[j])
            total[g, classes[c]][c] += factor * int(program.row_coef[j])
    found = []
    for (g, k), by_column in sorted(total.items()):
        every = [by_column.get(c, 0) for c in range(program.n) if classes[c] == k]
        found.append((g, k, float(min(every)), float(max(every))))
    return found


@pytest.mark.parametrize("scramble", [False, True])
def test_sums_are_those_of_plain_python(scramble):
    some = 0
    for seed in range(20):
        program = tiny(seed, scramble=scramble)
        kins = int(program.row_kin.max(initial=-1)) + 1
        decimals = [
            max(
                (int(d) for d, g in zip(program.row_decimals, program.row_kin, strict=True) if g == k),
                default=0,
            )
            for k in range(kins)
        ]
        got = sums(
            program,
            program.column_class.astype(np.int64),
            np.bincount(program.column_class),
            program.row_kin.astype(np.int64),
            np.asarray(decimals, dtype=np.int64),
        )
        rows = zip(got.kin.tolist(), got.klass.tolist(), got.least.tolist(), got.most.tolist(), strict=True)
        assert list(rows) == plain(program, decimals)
        some += len(got.kin)
    assert some > 200


def test_sums_by_column_are_those_of_plain_python():
    for seed in range(10):
        program = tiny(seed, scramble=True)
        rng = np.random.default_rng(seed)
        weight = rng.integers(-5, 6, program.m) * rng.integers(0, 2, program.m)
        matrix = np.zeros((program.m, program.n), dtype=np.int64)
        np.add.at(matrix, (program.row_of_entry, program.row_column), program.row_coef)
        assert column_totals(program, weight).tolist() == (weight @ matrix).tolist()
        plain, weighted = column_sizes(program, weight.astype(np.float64))
        assert plain.tolist() == ((weight != 0) @ np.abs(matrix)).tolist()
        assert weighted.tolist() == (np.abs(weight) @ np.abs(matrix)).tolist()
