"""Sums of a Program's entries without a copy of them: by kin and class, and by column."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np

from optimenu.solve.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program

W = TypeVar("W", np.int64, np.float64)


class Sums(NamedTuple):
    """Where a kin and a class meet, by kin and then by class: the least and greatest sum over a column.

    A class with a column outside all rows of the kin counts that column's sum, which is 0.
    """

    kin: NDArray[np.int64]
    klass: NDArray[np.int64]
    least: NDArray[np.float64]
    most: NDArray[np.float64]


def sums(
    program: Program,
    class_of: NDArray[np.int64],
    sizes: NDArray[np.int64],
    kin_of: NDArray[np.int64],
    decimals: NDArray[np.int64],
) -> Sums:
    """Sum every column's coefficients over the rows of each kin.

    Parameters
    ----------
    class_of : int64 (n,)
    sizes : int64 (classes,)
        Columns of each class.
    kin_of : int64 (m,)
    decimals : int64 (kins,)
        Decimals of the sums; no row of the kin has more.
    """
    order = np.argsort(kin_of, kind="stable")
    kin_start = np.searchsorted(kin_of[order], np.arange(len(decimals) + 1))
    ratio = (10.0 ** (decimals[kin_of] - program.row_decimals)).astype(np.float64)
    rows = (order, kin_start, program.row_start, program.row_column)
    met = np.zeros(len(decimals) + 1, dtype=np.int64)
    _count(*rows, class_of, len(sizes), met[1:])
    start = np.cumsum(met)
    total = int(start[-1])
    out = Sums(
        np.repeat(np.arange(len(decimals)), met[1:]),
        np.zeros(total, dtype=np.int64),
        np.zeros(total),
        np.zeros(total),
    )
    _sum(*rows, program.row_coef, ratio, class_of, sizes, start, out.klass, out.least, out.most)
    return out


def column_sizes(
    program: Program, weight: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sum abs(a) and abs(a * weight) in each column over the rows that have a weight, float64 (n,) each."""
    plain, weighted = np.zeros(program.n), np.zeros(program.n)
    _sizes(program.row_start, program.row_column, program.row_coef, weight, plain, weighted)
    return plain, weighted


def column_totals(program: Program, weight: NDArray[W]) -> NDArray[W]:
    """Sum a * weight in each column, (n,) of the weight's kind; the caller knows that it fits."""
    out = np.zeros(program.n, dtype=weight.dtype)
    _totals(program.row_start, program.row_column, program.row_coef, weight, out)
    return out


@compiled
def _sizes(
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    row_coef: NDArray[np.int64],
    weight: NDArray[np.float64],
    plain: NDArray[np.float64],
    weighted: NDArray[np.float64],
) -> None:
    for r in range(len(weight)):
        if weight[r] == 0.0:
            continue
        w = abs(weight[r])
        for j in range(row_start[r], row_start[r + 1]):
            size = abs(np.float64(row_coef[j]))
            plain[row_column[j]] += size
            weighted[row_column[j]] += size * w


@compiled
def _totals(
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    row_coef: NDArray[np.int64],
    weight: NDArray[W],
    out: NDArray[W],
) -> None:
    for r in range(len(weight)):
        if weight[r] == 0:
            continue
        for j in range(row_start[r], row_start[r + 1]):
            out[row_column[j]] += row_coef[j] * weight[r]


@compiled
def _count(
    order: NDArray[np.int64],
    kin_start: NDArray[np.int64],
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    class_of: NDArray[np.int64],
    n_class: int,
    met: NDArray[np.int64],
) -> None:
    seen = np.full(n_class, -1, dtype=np.int64)
    for g in range(len(met)):
        for k in range(kin_start[g], kin_start[g + 1]):
            r = order[k]
            for j in range(row_start[r], row_start[r + 1]):
                c = class_of[row_column[j]]
                if seen[c] != g:
                    seen[c] = g
                    met[g] += 1


@compiled
def _sum(
    order: NDArray[np.int64],
    kin_start: NDArray[np.int64],
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    row_coef: NDArray[np.int64],
    ratio: NDArray[np.float64],
    class_of: NDArray[np.int64],
    sizes: NDArray[np.int64],
    start: NDArray[np.int64],
    klass: NDArray[np.int64],
    least: NDArray[np.float64],
    most: NDArray[np.float64],
) -> None:
    n, n_class = len(class_of), len(sizes)
    seen = np.full(n, -1, dtype=np.int64)
    value = np.zeros(n)
    column = np.zeros(n, dtype=np.int32)
    class_seen = np.full(n_class, -1, dtype=np.int64)
    low, high = np.zeros(n_class), np.zeros(n_class)
    count = np.zeros(n_class, dtype=np.int64)
    for g in range(len(start) - 1):
        columns = 0
        for k in range(kin_start[g], kin_start[g + 1]):
            r = order[k]
            for j in range(row_start[r], row_start[r + 1]):
                c = row_column[j]
                if seen[c] != g:
                    seen[c] = g
                    value[c] = 0.0
                    column[columns] = c
                    columns += 1
                value[c] += np.float64(row_coef[j]) * ratio[r]
        at = start[g]
        for k in range(columns):
            c = column[k]
            q = class_of[c]
            if class_seen[q] != g:
                class_seen[q] = g
                count[q] = 0
                low[q] = high[q] = value[c]
                klass[at] = q
                at += 1
            low[q] = min(low[q], value[c])
            high[q] = max(high[q], value[c])
            count[q] += 1
        klass[start[g] : at].sort()
        for k in range(start[g], at):
            q = klass[k]
            partly = count[q] < sizes[q]
            least[k] = min(low[q], 0.0) if partly else low[q]
            most[k] = max(high[q], 0.0) if partly else high[q]
