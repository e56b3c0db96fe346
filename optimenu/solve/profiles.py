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
    pairs = []
    for b in range(len(block_row) - 1):
        r = rows[block_row[b]]
        cols = number[program.row_column[program.row_start[r] : program.row_start[r + 1]]]
        cols = cols[(cols >= 0) & (cols < len(movable))]
        cols = cols[movable[cols]]
        unit = day_of if by_day[block_row[b]] else sitting_of
        touched = np.zeros(int(unit.max()) + 1, dtype=bool)
        touched[unit[cols]] = True
        cells = np.unique(cell_of[touched[unit]])
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
            out,
        )
        keys = _hashes(out, place[c0 : c1 + 1] - place[c0])
        fresh, first, back = np.unique(keys, return_index=True, return_inverse=True)
        starts = np.zeros(len(fresh), dtype=np.int64)
        for k, (key, c) in enumerate(zip(fresh.tolist(), first, strict=True)):
            if key not in known:
                vector = out[place[c0 + c] - place[c0] : place[c0 + c + 1] - place[c0]]
                known[key] = total
                parts.append(vector.copy())
                total += len(vector)
            starts[k] = known[key]
        offset[c0:c1] = starts[back]
        c0 = c1
    return Profiles(cell_start, cell_block, offset, np.concatenate(parts))


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
    out: NDArray[np.float64],
) -> None:
    for b in range(len(block_row) - 1):
        for k in range(block_row[b], block_row[b + 1]):
            last = np.int64(-1)
            at = np.int64(0)
            for j in range(row_start[rows[k]], row_start[rows[k] + 1]):
                c = number[row_column[j]]
                if c < c0 or c >= c1 or not movable[c]:
                    continue
                if cell_of[c] != last:
                    last = np.int64(cell_of[c])
                    for q in range(cell_start[last], cell_start[last + 1]):
                        if cell_block[q] == b:
                            at = block_offset[q] + k - block_row[b]
                out[place[c] - place[c0] + at] = np.float64(row_coef[j])


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
