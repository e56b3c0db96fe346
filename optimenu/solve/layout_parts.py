"""Pieces a layout is put together from: cells, kinds of cells, extra columns, worth groups, limits."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.compressed import starts
from optimenu.program.program import CEIL, NO_HIGH, NO_LOW

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program

BIG = 1e30
MOST_SLOTS = 1 << 20


def as_float(limit: NDArray[np.int64]) -> NDArray[np.float64]:
    """Limits as floats, ``+-BIG`` for none."""
    out = limit.astype(np.float64)
    out[limit == NO_LOW] = -BIG
    out[limit == NO_HIGH] = BIG
    return out


def sizes_of(
    low: NDArray[np.int64], high: NDArray[np.int64], size: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Natural size of each row: its larger limit, else what the relaxation makes of it; 1 at least."""
    ends = np.maximum(
        np.where(low == NO_LOW, 0, np.abs(low)), np.where(high == NO_HIGH, 0, np.abs(high))
    ).astype(np.float64)
    return np.maximum(np.where(ends > 0, ends, size), 1.0)


def numbered(labels: NDArray[np.int32]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Return the distinct lines of ``labels`` in order, and the number of each line."""
    if not len(labels):
        return labels, np.zeros(0, dtype=np.int32)
    # one whole number a line, in the order of the lines: sorted many times faster than lines are
    least = labels.min(axis=0).astype(np.int64)
    spans = (labels.max(axis=0) - least + 1).tolist()
    if math.prod(spans) >= 1 << 62:
        lines, number = np.unique(labels, axis=0, return_inverse=True)
        return lines, number.reshape(-1).astype(np.int32)
    key = np.zeros(len(labels), dtype=np.int64)
    for k, span in enumerate(spans):
        key = key * span + (labels[:, k] - least[k])
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    return labels[first], number.reshape(-1).astype(np.int32)


def members_of(
    owner: NDArray[np.int32], count: int | None, wanted: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """Compressed lists of the wanted numbers per owner."""
    if count is None:
        count = int(owner.max()) + 1 if len(owner) else 0
    chosen = np.flatnonzero(wanted)
    order = chosen[np.argsort(owner[chosen], kind="stable")]
    return starts(np.bincount(owner[chosen], minlength=count)), order.astype(np.int32)


def extras_of(program: Program, number: NDArray[np.int32]) -> NDArray[np.int64]:
    """Extra columns with a source among the columns, rising."""
    owner = np.repeat(np.arange(len(program.extra_kind)), np.diff(program.extra_start))
    return np.unique(owner[number[program.extra_column] >= 0]).astype(np.int64)


def count_limits(
    counts: NDArray[np.bool_],
    cell: NDArray[np.int64],
    constant: NDArray[np.int64],
    low: NDArray[np.int64],
    high: NDArray[np.int64],
    units: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Most and least servings of each cell, and which rows they make superfluous."""
    count_low, count_high = np.zeros_like(units), units.copy()
    at = np.flatnonzero(counts)
    has_low, has_high = at[low[at] != NO_LOW], at[high[at] != NO_HIGH]
    np.maximum.at(count_low, cell[has_low], low[has_low] - constant[has_low])
    np.minimum.at(count_high, cell[has_high], high[has_high] - constant[has_high])
    clash = count_low > count_high
    # counts that cannot be kept stay rows, so that the fault shows in the near miss
    count_low[clash], count_high[clash] = 0, units[clash]
    counts = counts & ~clash[np.maximum(cell, 0)]
    return count_low, np.minimum(count_high, MOST_SLOTS), counts


def bounded_extras(
    program: Program, extras: NDArray[np.int64], bounds: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Extra columns (numbered here) whose value may pass their upper bound."""
    out = []
    for k, e in enumerate(extras):
        a, b = program.extra_start[e], program.extra_start[e + 1]
        total = int(program.extra_coef[a:b] @ bounds[program.extra_column[a:b], 1])
        top = -(-total // int(program.extra_divisor[e])) if program.extra_kind[e] == CEIL else min(total, 1)
        if top > program.high[program.n_menu + e]:
            out.append(k)
    return np.asarray(out, dtype=np.int64)


def sources_of(
    program: Program, extras: NDArray[np.int64], number: NDArray[np.int32], n: int
) -> tuple[NDArray[np.int64], NDArray[np.int32], NDArray[np.int64]]:
    """Extra columns that each column feeds: start, extra, coefficient."""
    owner = np.repeat(np.arange(len(program.extra_kind)), np.diff(program.extra_start))
    place = np.full(len(program.extra_kind), -1, dtype=np.int32)
    place[extras] = np.arange(len(extras), dtype=np.int32)
    column = number[program.extra_column]
    inside = np.flatnonzero(column >= 0)
    order = inside[np.argsort(column[inside], kind="stable")]
    start = starts(np.bincount(column[order], minlength=n))
    return start, place[owner[order]], program.extra_coef[order]


def groups_of(
    program: Program, number: NDArray[np.int32], n: int
) -> tuple[NDArray[np.int64], NDArray[np.int32], NDArray[np.int64], NDArray[np.float64]]:
    """Worth groups each column counts in, and what each number of uses deducts in all."""
    owner = np.repeat(np.arange(program.n_groups), np.diff(program.group_start))
    column = number[program.group_column]
    inside = np.flatnonzero(column >= 0)
    order = inside[np.argsort(column[inside], kind="stable")]
    start = starts(np.bincount(column[order], minlength=n))
    kept, local = np.unique(owner[order], return_inverse=True)
    sums = [np.zeros(1)]
    lengths = [0]
    for g in kept:
        ds = program.deduction[program.deduct_start[g] : program.deduct_start[g + 1]].astype(np.float64)
        sums.append(np.concatenate([np.zeros(1), np.cumsum(ds)]))
        lengths.append(len(ds) + 1)
    deduct_start = starts(np.asarray(lengths[1:], dtype=np.int64))
    deducted = np.concatenate(sums[1:]) if len(kept) else np.zeros(0)
    return start, local.astype(np.int32), deduct_start, deducted


def kinds_of(
    cells: NDArray[np.int32], cell_of: NDArray[np.int32], item: NDArray[np.int32], movable: NDArray[np.bool_]
) -> tuple[
    NDArray[np.int32],
    NDArray[np.int64],
    NDArray[np.int32],
    NDArray[np.int64],
    NDArray[np.int32],
    NDArray[np.int32],
]:
    """Cells that differ only in day and meal, and each item's column in each of them.

    Returns kind of each cell; cells per kind (start, cell); start of each cell in ``sister``;
    ``sister[start[cell] + place]``, a column or -1; place of each column.
    """
    names, kind_of = numbered(cells[:, [0, 3, 4]])
    kind_start, kind_cell = members_of(
        kind_of, len(names), np.bincount(cell_of[movable], minlength=len(cells)) > 0
    )
    kind = kind_of[cell_of]
    pairs, pair = numbered(np.stack([kind, item], axis=1).reshape(-1, 2))
    first = (
        np.searchsorted(pairs[:, 0], np.arange(len(names) + 1)) if len(pairs) else np.zeros(1, dtype=np.int64)
    )
    place = (pair - first[kind]).astype(np.int32)
    width = np.diff(first)[kind_of] if len(cells) else np.zeros(0, dtype=np.int64)
    start = starts(width)
    sister = np.full(int(start[-1]), -1, dtype=np.int32)
    at = np.flatnonzero(movable)
    sister[start[cell_of[at]] + place[at]] = at
    return kind_of, kind_start, kind_cell, start, sister, place
