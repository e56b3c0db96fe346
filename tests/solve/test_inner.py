"""Sums that come out the same however many threads BLAS has."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np

from optimenu.solve.inner import each, inner, mixed

LONG = """
import numpy as np
from optimenu.solve.inner import each, inner, mixed
rng = np.random.default_rng(0)
rows, weight, x = rng.random((6, 120_007)), rng.random(6), rng.random(120_007)
print(inner(rows[0], x).hex(), mixed(weight, rows).tobytes().hex()[-64:], each(rows, x).tobytes().hex())
"""


def test_by_hand() -> None:
    rows = np.asarray([[1.0, 2.0, 3.0], [0.0, -1.0, 0.5]])
    assert inner(rows[0], np.asarray([2, 0, 1])) == 5.0
    assert mixed(np.asarray([2.0, 4.0]), rows).tolist() == [2.0, 0.0, 8.0]
    assert each(rows, np.asarray([1.0, 1.0, 2.0])).tolist() == [9.0, 0.0]
    assert inner(rows[0, :0], rows[0, :0]) == 0.0


def test_the_last_digit_does_not_depend_on_the_threads_of_blas() -> None:
    told = {
        subprocess.run(
            [sys.executable, "-c", LONG],
            capture_output=True, text=True, check=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": k, "OMP_NUM_THREADS": k},
        ).stdout
        for k in ("1", "2")
    }  # fmt: skip
    assert len(told) == 1
