"""Turns (part of) a Program into the arrays the search loop runs on.

Nothing here knows what a row means; only where its entries lie. A *cell* is what one party eats of one
course at one meal of one day. Three kinds of rows are told apart:

* counts: coefficient 1 on every column of one cell; the moves themselves keep them;
* dense rows: many entries among the columns of the days (or meals) they touch; rows that touch the
  same days form a *block*, stored contiguously, and a column carries one *profile*, the vector of its
  coefficients in all blocks of its cell (equal vectors are stored once);
* sparse rows: all others, and every row that holds an extra column.

Activities are kept in units of each row's last decimal: whole numbers below 2**53, so floating-point
sums of them are exact and a limit holds or it does not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from optimenu.program.compressed import starts
from optimenu.program.program import CEIL, HARD, NO_HIGH, NO_LOW
from optimenu.solve.layout_parts import (
    BIG,
    MOST_SLOTS,
    as_float,
    bounded_extras,
    count_limits,
    extras_of,
    groups_of,
    kinds_of,
    members_of,
    numbered,
    sizes_of,
    sources_of,
)
from optimenu.solve.profiles import build_profiles
from optimenu.solve.scan import collect_sparse, reach, scan_rows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program

DENSE = 0.2
LEAST_DENSE = 6
FEWEST_LIKELY = 6
"""Likely columns of a cell, under which all of it is drawn from."""


class Fixed(NamedTuple):
    """What never changes while a layout is searched; read by the compiled loop.

    Columns, cells, rows, extra columns and groups are numbered anew from 0.
    """

    gain: NDArray[np.float64]
    high: NDArray[np.int64]
    cell_of: NDArray[np.int32]
    profile: NDArray[np.int64]
    vectors: NDArray[np.float64]
    cell_start: NDArray[np.int64]
    cell_column: NDArray[np.int32]
    likely_start: NDArray[np.int64]
    likely_column: NDArray[np.int32]
    count_low: NDArray[np.int64]
    count_high: NDArray[np.int64]
    slot_start: NDArray[np.int64]
    cell_block_start: NDArray[np.int64]
    cell_block: NDArray[np.int32]
    block_row: NDArray[np.int64]
    sparse_start: NDArray[np.int64]
    sparse_row: NDArray[np.int32]
    sparse_coef: NDArray[np.float64]
    source_start: NDArray[np.int64]
    source_extra: NDArray[np.int32]
    source_coef: NDArray[np.int64]
    extra_divisor: NDArray[np.int64]
    extra_row_start: NDArray[np.int64]
    extra_row: NDArray[np.int32]
    extra_row_coef: NDArray[np.float64]
    group_start: NDArray[np.int64]
    group_id: NDArray[np.int32]
    deduct_start: NDArray[np.int64]
    deducted: NDArray[np.float64]
    kind_of: NDArray[np.int32]
    kind_start: NDArray[np.int64]
    kind_cell: NDArray[np.int32]
    sister_start: NDArray[np.int64]
    sister: NDArray[np.int32]
    place: NDArray[np.int32]
    active: NDArray[np.int32]
    day_start: NDArray[np.int64]
    day_cell: NDArray[np.int32]
    day_of: NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Layout:
    """A searchable form of some columns and rows of a Program.

    Attributes
    ----------
    fixed : Fixed
    columns : int64 (n,)
        Serving columns of the Program, rising.
    least : int64 (n,)
        Lower bounds of the columns.
    extras : int64
        Extra columns (numbered from 0 in the Program) with a source among the columns.
    rows : int64 (m,)
        Row of the Program behind each row here, -1 for an upper bound of an extra column.
    low, high, hard, price, scale : float64 (m,)
        Limits (``+-BIG`` for none), 1 for hard rows, price of soft rows, natural size of the activity.
    extra_high_of : int64
        For rows from ``-1``: the extra column's number here, else -1.
    tilt : int64
        Which rows are tilts.
    """

    fixed: Fixed
    columns: NDArray[np.int64]
    least: NDArray[np.int64]
    extras: NDArray[np.int64]
    rows: NDArray[np.int64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    hard: NDArray[np.float64]
    price: NDArray[np.float64]
    scale: NDArray[np.float64]
    extra_high_of: NDArray[np.int64]
    tilt: NDArray[np.int64]


def lay_out(
    program: Program,
    columns: NDArray[np.int64],
    rows: NDArray[np.int64],
    low: NDArray[np.int64],
    high: NDArray[np.int64],
    use: NDArray[np.float64],
    multiplier: NDArray[np.float64],
    tilts: int = 0,
    likely: NDArray[np.bool_] | None = None,
) -> Layout:
    """Arrange the columns and rows for the search.

    Parameters
    ----------
    program : Program
    columns : int64 (n,)
        Serving columns, rising. Others count as not there.
    rows : int64 (k,)
        Ordinary rows to keep.
    low, high : int64 (k,)
        Their limits here.
    use : float64 (program.n,)
        The relaxation's use of each column; sets the natural size of each row.
    multiplier : float64 (program.m,)
        The relaxation's row multipliers; rows that bite are looked at first.
    tilts : int
        How many of the last rows are tilts: a second copy of a row, priced or not as the engine says.
    likely : bool (program.n,), optional
        Columns worth trying most of the time; all when left out.
    """
    n = len(columns)
    tilt = np.arange(len(rows)) >= len(rows) - tilts
    least, most = program.low[columns], program.high[columns]
    movable = most > least
    number = np.full(program.n, -1, dtype=np.int32)
    number[columns] = np.arange(n, dtype=np.int32)
    extras = extras_of(program, number)
    number[program.n_menu + extras] = n + np.arange(len(extras), dtype=np.int32)
    labels = np.stack(
        [
            program.party[columns],
            program.day[columns],
            program.meal[columns],
            program.course[columns],
            program.certain[columns].astype(np.int32),
        ],
        axis=1,
    ).reshape(n, 5)
    cells, cell_of = numbered(labels)
    _, sitting_of = numbered(labels[:, :3])
    _, day_of = numbered(labels[:, :2])
    cell_start, cell_column = members_of(cell_of, len(cells), movable)
    tried = movable if likely is None else movable & likely[columns]
    few = np.bincount(cell_of[tried], minlength=len(cells)) < FEWEST_LIKELY
    tried = tried | (movable & few[cell_of])
    likely_start, likely_column = members_of(cell_of, len(cells), tried)
    bounds = np.zeros((program.n, 2), dtype=np.int64)
    bounds[columns, 0], bounds[columns, 1] = least, most
    bounds[program.n_menu + extras, 1] = program.high[program.n_menu + extras]
    seen = scan_rows(program, rows, number, bounds, use, movable, cell_of, sitting_of, day_of)
    units = np.bincount(cell_of, (most - least).astype(np.float64), minlength=len(cells)).astype(np.int64)
    hard = (program.row_price[rows] == HARD) & ~tilt
    counts = hard & (seen.extra == 0) & (seen.cell >= 0) & (seen.menu > 0)
    counts &= seen.menu == np.diff(cell_start)[np.maximum(seen.cell, 0)]
    count_low, count_high, counts = count_limits(counts, seen.cell, seen.constant, low, high, units)
    # a row that no choice of the columns can break says nothing
    keep = ~counts & ~_idle(low, high, seen.least, seen.most)
    # nor does one that no choice can break while the moves keep every cell's count
    plain = np.flatnonzero(keep & (seen.extra == 0))
    ends = reach(program, rows[plain], number, bounds, movable, cell_of, count_low, count_high)
    keep[plain] = ~_idle(low[plain], high[plain], *ends)
    keep |= tilt
    day_dense = (seen.extra == 0) & (seen.menu >= LEAST_DENSE) & (seen.menu >= DENSE * seen.day_size)
    sitting_dense = (seen.extra == 0) & (seen.menu >= LEAST_DENSE) & (seen.menu >= DENSE * seen.sitting_size)
    sitting_dense &= ~day_dense
    key = np.where(day_dense, seen.day_key, np.where(sitting_dense, seen.sitting_key, 0))
    dense = keep & (day_dense | sitting_dense)
    names, block_of = np.unique(key[dense], return_inverse=True)
    # blocks that bite first: a move they forbid is dropped before the others are looked at
    bite = np.abs(multiplier[rows]) * seen.size / np.maximum(seen.day_size, 1)
    rank = np.argsort(np.argsort(-np.bincount(block_of, bite[dense], minlength=len(names)), kind="stable"))
    block_of = rank[block_of]
    order = np.argsort(block_of, kind="stable")
    dense_rows = np.flatnonzero(dense)[order]
    block_of = block_of[order]
    sparse_rows = np.flatnonzero(keep & ~dense)
    block_row = np.searchsorted(block_of, np.arange(len(names) + 1)).astype(np.int64)
    profiles = build_profiles(
        program,
        rows[dense_rows],
        block_row,
        day_dense[dense_rows],
        number,
        movable,
        cell_of,
        sitting_of,
        day_of,
    )
    bounded = bounded_extras(program, extras, bounds)
    local = np.concatenate([dense_rows, sparse_rows]).astype(np.int64)
    sparse = collect_sparse(
        program, rows[sparse_rows], number, movable, n, len(extras), len(dense_rows), bounded
    )
    sources = sources_of(program, extras, number, n)
    groups = groups_of(program, number, n)
    kinds = kinds_of(cells, cell_of, program.item[columns], movable)
    day_start, day_cell = members_of(numbered(cells[:, :2])[1], None, np.diff(cell_start) > 0)
    fixed = Fixed(
        gain=program.gain[columns].astype(np.float64),
        high=most.copy(),
        cell_of=cell_of,
        profile=profiles.offset,
        vectors=profiles.vectors,
        cell_start=cell_start,
        cell_column=cell_column,
        likely_start=likely_start,
        likely_column=likely_column,
        count_low=count_low,
        count_high=count_high,
        slot_start=starts(np.minimum(count_high, MOST_SLOTS)),
        cell_block_start=profiles.cell_start,
        cell_block=profiles.cell_block,
        block_row=block_row,
        sparse_start=sparse.start,
        sparse_row=sparse.row,
        sparse_coef=sparse.coef,
        source_start=sources[0],
        source_extra=sources[1],
        source_coef=sources[2],
        # a divisor of 0 marks the other kind: 1 as soon as anything is used
        extra_divisor=np.where(program.extra_kind[extras] == CEIL, program.extra_divisor[extras], 0),
        extra_row_start=sparse.extra_start,
        extra_row=sparse.extra_row,
        extra_row_coef=sparse.extra_coef,
        group_start=groups[0],
        group_id=groups[1],
        deduct_start=groups[2],
        deducted=groups[3],
        kind_of=kinds[0],
        kind_start=kinds[1],
        kind_cell=kinds[2],
        sister_start=kinds[3],
        sister=kinds[4],
        place=kinds[5],
        active=np.flatnonzero((np.diff(cell_start) > 0) & (count_high > 0)).astype(np.int32),
        day_start=day_start,
        day_cell=day_cell,
        day_of=numbered(cells[:, :2])[1],
    )
    more = len(bounded)
    none = np.full(more, -1, dtype=np.int64)
    return Layout(
        fixed=fixed,
        columns=columns,
        least=least,
        extras=extras,
        rows=np.concatenate([rows[local], none]),
        low=np.concatenate([as_float(low[local]), np.full(more, -BIG)]),
        high=np.concatenate([as_float(high[local]), program.high[program.n_menu + extras[bounded]]]).astype(
            np.float64
        ),
        hard=np.concatenate([hard[local], np.ones(more, dtype=bool)]).astype(np.float64),
        price=np.concatenate(
            [np.where(hard[local] | tilt[local], 0, program.row_price[rows[local]]), np.zeros(more)]
        ).astype(np.float64),
        scale=np.concatenate([sizes_of(low[local], high[local], seen.size[local]), np.ones(more)]),
        extra_high_of=np.concatenate([np.full(len(local), -1, dtype=np.int64), bounded]),
        tilt=np.flatnonzero(tilt[local]),
    )


def _idle(
    low: NDArray[np.int64],
    high: NDArray[np.int64],
    least: NDArray[np.float64],
    most: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Whether activities between least and most keep the limits whatever they are."""
    idle: NDArray[np.bool_] = ((low == NO_LOW) | (least >= low)) & ((high == NO_HIGH) | (most <= high))
    return idle
