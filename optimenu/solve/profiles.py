"""Vectors of coefficients in dense rows, one per distinct vector."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from optimenu.solve.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program

CHUNK = 4_000_000


class Profiles(NamedTuple):
    """Blocks of each cell (compressed), start of each column's vector, and all vectors in one array.

    The first vector is all zeros and as long as the longest: "no column".
    """

    cell_start: NDArray[np.int64]
    cell_block: NDArray[np.int32]
    offset: NDArray[np.int64]
    vectors: NDArray[np.float64]


def build_profiles(
    program: Program,
    rows: NDArray[np.int64],
    block_row: NDArray[np.int64],
    by_day: NDArray[np.bool_],
    number: NDArray[np.int32],
    movable: NDArray[np.bool_],
    cell_of: NDArray[np.int32],
    sitting_of: NDArray[np.int32],
    day_of: NDArray[np.int32],
) -> Profiles:
    """Collect the vectors.

    Parameters
    ----------
    program : Program
    rows : int64 (k,)
        Dense rows in the order of their blocks.
    block_row : int64 (blocks + 1,)
        First row of each block.
    by_day : bool (k,)
        Whether the row's block is a set of days, else a set of sittings.
    number, movable, cell_of, sitting_of, day_of
        As in ``scan_rows``.
    """
    n_cells = int(cell_of.max()) + 1 if len(cell_of) else 0
    # a cell lies in one sitting of one day
    cell_day, cell_sitting = np.zeros(n_cells, dtype=np.int64), np.zeros(n_cells, dtype=np.int64)
    cell_day[cell_of], cell_sitting[cell_of] = day_of, sitting_of
    pairs = []
    for b in range(len(block_row) - 1):
        r = rows[block_row[b]]
        cols = number[program.row_column[program.row_start[r] : program.row_start[r + 1]]]
        cols = cols[(cols >= 0) & (cols < len(movable))]
        cols = cols[movable[cols]]
        own = by_day[block_row[b]]
        unit, cell_unit = (day_of, cell_day) if own else (sitting_of, cell_sitting)
        touched = np.zeros(int(cell_unit.max()) + 1, dtype=bool)
        touched[unit[cols]] = True
        cells = np.flatnonzero(touched[cell_unit]).astype(cell_of.dtype)
        pairs.append(np.stack([cells, np.full(len(cells), b, dtype=cells.dtype)], axis=1))
    both = np.concatenate(pairs) if pairs else np.zeros((0, 2), dtype=np.int32)
    both = both[np.argsort(both[:, 0], kind="stable")]
    cell_start = np.searchsorted(both[:, 0], np.arange(n_cells + 1)).astype(np.int64)
    cell_block = both[:, 1].astype(np.int32)
    width = np.diff(block_row)
    ends = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(width[cell_block])])
    block_offset = ends[:-1] - np.repeat(ends[cell_start[:-1]], np.diff(cell_start))
    length = ends[cell_start[1:]] - ends[cell_start[:-1]]
    zeros = np.zeros(int(length.max()) if len(length) else 0)
    parts: list[NDArray[np.float64]] = [zeros]
    total = len(zeros)
    known: dict[int, int] = {}
    offset = np.zeros(len(movable), dtype=np.int64)
    each = np.where(movable, length[cell_of], 0) if len(cell_of) else np.zeros(0, dtype=np.int64)
    place = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(each)])
    rising = np.ones(len(rows), dtype=bool)
    _rising(program.row_start, program.row_column, rows, number, rising)
    # how far each row was read: where its columns rise, the next piece goes on from there
    reached = program.row_start[rows].copy()
    c0 = 0
    while c0 < len(movable):
        c1 = max(c0 + 1, int(np.searchsorted(place, place[c0] + CHUNK)) - 1)
        out = np.zeros(int(place[c1] - place[c0]))
        _fill(
            program.row_start,
            program.row_column,
            program.row_coef,
            rows,
            block_row,
            number,
            movable,
            cell_of,
            c0,
            c1,
            cell_start,
            cell_block,
            block_offset,
            place,
            rising,
            reached,
            out,
        )
        start = place[c0 : c1 + 1] - place[c0]
        keys, first, back = np.unique(_hashes(out, start), return_index=True, return_inverse=True)
        names = keys.tolist()
        fresh = first[np.asarray([key not in known for key in names], dtype=bool)]
        at = np.zeros(len(fresh) + 1, dtype=np.int64)
        np.cumsum(start[fresh + 1] - start[fresh], out=at[1:])
        part = np.zeros(int(at[-1]))
        _copy(out, start, fresh, at, part)
        parts.append(part)
        known.update(zip((names[k] for k in back[fresh].tolist()), (total + at[:-1]).tolist(), strict=True))
        total += len(part)
        offset[c0:c1] = np.asarray([known[key] for key in names], dtype=np.int64)[back]
        c0 = c1
    return Profiles(cell_start, cell_block, offset, np.concatenate(parts))


@compiled
def _copy(
    out: NDArray[np.float64],
    start: NDArray[np.int64],
    chosen: NDArray[np.int64],
    at: NDArray[np.int64],
    part: NDArray[np.float64],
) -> None:
    for k in range(len(chosen)):
        first = start[chosen[k]]
        for j in range(at[k + 1] - at[k]):
            part[at[k] + j] = out[first + j]


@compiled
def _fill(
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    row_coef: NDArray[np.int64],
    rows: NDArray[np.int64],
    block_row: NDArray[np.int64],
    number: NDArray[np.int32],
    movable: NDArray[np.bool_],
    cell_of: NDArray[np.int32],
    c0: int,
    c1: int,
    cell_start: NDArray[np.int64],
    cell_block: NDArray[np.int32],
    block_offset: NDArray[np.int64],
    place: NDArray[np.int64],
    rising: NDArray[np.bool_],
    reached: NDArray[np.int64],
    out: NDArray[np.float64],
) -> None:
    for b in range(len(block_row) - 1):
        for k in range(block_row[b], block_row[b + 1]):
            last = np.int64(-1)
            at = np.int64(0)
            j = reached[k]
            while j < row_start[rows[k] + 1]:
                c = number[row_column[j]]
                if c >= c1 and rising[k]:
                    break
                if c >= c0 and c < c1 and movable[c]:
                    if cell_of[c] != last:
                        last = np.int64(cell_of[c])
                        for q in range(cell_start[last], cell_start[last + 1]):
                            if cell_block[q] == b:
                                at = block_offset[q] + k - block_row[b]
                    out[place[c] - place[c0] + at] = np.float64(row_coef[j])
                j += 1
            if rising[k]:
                reached[k] = j


@compiled
def _rising(
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    rows: NDArray[np.int64],
    number: NDArray[np.int32],
    out: NDArray[np.bool_],
) -> None:
    """Tell of every row whether its columns of the search rise."""
    for k in range(len(rows)):
        before = np.int64(-1)
        for j in range(row_start[rows[k]], row_start[rows[k] + 1]):
            c = np.int64(number[row_column[j]])
            if c >= 0 and c < before:
                out[k] = False
                break
            before = max(before, c)


@compiled
def _hashes(values: NDArray[np.float64], start: NDArray[np.int64]) -> NDArray[np.uint64]:
    """Return one 64-bit number per slice; the slices hold whole numbers."""
    out = np.zeros(len(start) - 1, dtype=np.uint64)
    for k in range(len(start) - 1):
        h = np.uint64(14695981039346656037) ^ np.uint64(start[k + 1] - start[k])
        for j in range(start[k], start[k + 1]):
            h ^= np.uint64(np.int64(values[j]))
            h *= np.uint64(1099511628211)
            h ^= h >> np.uint64(29)
            h *= np.uint64(0xBF58476D1CE4E5B9)
            h ^= h >> np.uint64(32)
        out[k] = h
    return out
