"""One pass over the rows of a Program: where their entries lie, how large they can get."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from optimenu.solve.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program


class Seen(NamedTuple):
    """What the pass finds, one entry a row.

    ``menu`` and ``extra`` count the entries on movable serving columns and on extra columns; ``cell`` is
    the one cell with coefficient 1 throughout, or -1; ``*_key`` names the set of days (sittings) touched
    and ``*_size`` counts the movable columns there; ``constant`` is the part of the lower bounds,
    ``least`` and ``most`` what the activity can be, ``size`` the sum of all parts in the relaxation.
    """

    menu: NDArray[np.int64]
    extra: NDArray[np.int64]
    cell: NDArray[np.int64]
    day_key: NDArray[np.uint64]
    day_size: NDArray[np.int64]
    sitting_key: NDArray[np.uint64]
    sitting_size: NDArray[np.int64]
    constant: NDArray[np.int64]
    least: NDArray[np.float64]
    most: NDArray[np.float64]
    size: NDArray[np.float64]


def scan_rows(
    program: Program,
    rows: NDArray[np.int64],
    number: NDArray[np.int32],
    bounds: NDArray[np.int64],
    use: NDArray[np.float64],
    movable: NDArray[np.bool_],
    cell_of: NDArray[np.int32],
    sitting_of: NDArray[np.int32],
    day_of: NDArray[np.int32],
) -> Seen:
    """Look at every entry of the rows once.

    Parameters
    ----------
    program : Program
    rows : int64 (k,)
    number : int32 (program.n,)
        Column numbers of the search, -1 for columns left out; extra columns come last.
    bounds : int64 (program.n, 2)
    use : float64 (program.n,)
    movable, cell_of, sitting_of, day_of : (n,)
        Per serving column of the search.
    """
    k = len(rows)
    whole = [np.zeros(k, dtype=np.int64) for _ in range(6)]
    keys = [np.zeros(k, dtype=np.uint64) for _ in range(2)]
    reals = [np.zeros(k) for _ in range(3)]
    days = int(day_of.max()) + 1 if len(day_of) else 0
    sittings = int(sitting_of.max()) + 1 if len(sitting_of) else 0
    # fixed random names: equal sets of days get equal sums
    names = np.random.default_rng(20011).integers(1, 1 << 63, size=days + sittings, dtype=np.uint64)
    _scan(
        program.row_start,
        program.row_column,
        program.row_coef,
        rows,
        number,
        bounds,
        use,
        movable,
        cell_of,
        sitting_of,
        day_of,
        names[:days],
        names[days:],
        np.bincount(day_of[movable], minlength=days).astype(np.int64),
        np.bincount(sitting_of[movable], minlength=sittings).astype(np.int64),
        whole[0],
        whole[1],
        whole[2],
        keys[0],
        whole[3],
        keys[1],
        whole[4],
        whole[5],
        reals[0],
        reals[1],
        reals[2],
    )
    return Seen(
        whole[0],
        whole[1],
        whole[2],
        keys[0],
        whole[3],
        keys[1],
        whole[4],
        whole[5],
        reals[0],
        reals[1],
        reals[2],
    )


@compiled
def _scan(
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    row_coef: NDArray[np.int64],
    rows: NDArray[np.int64],
    number: NDArray[np.int32],
    bounds: NDArray[np.int64],
    use: NDArray[np.float64],
    movable: NDArray[np.bool_],
    cell_of: NDArray[np.int32],
    sitting_of: NDArray[np.int32],
    day_of: NDArray[np.int32],
    day_name: NDArray[np.uint64],
    sitting_name: NDArray[np.uint64],
    day_columns: NDArray[np.int64],
    sitting_columns: NDArray[np.int64],
    menu: NDArray[np.int64],
    extra: NDArray[np.int64],
    cell: NDArray[np.int64],
    day_key: NDArray[np.uint64],
    day_size: NDArray[np.int64],
    sitting_key: NDArray[np.uint64],
    sitting_size: NDArray[np.int64],
    constant: NDArray[np.int64],
    least: NDArray[np.float64],
    most: NDArray[np.float64],
    size: NDArray[np.float64],
) -> None:
    n = len(movable)
    day_seen = np.full(len(day_name), -1, dtype=np.int64)
    sitting_seen = np.full(len(sitting_name), -1, dtype=np.int64)
    for k in range(len(rows)):
        one_cell = np.int64(-2)
        r = rows[k]
        for j in range(row_start[r], row_start[r + 1]):
            g = row_column[j]
            c = number[g]
            if c < 0:
                continue
            a = row_coef[j]
            lo, hi = bounds[g, 0], bounds[g, 1]
            size[k] += abs(np.float64(a)) * use[g]
            least[k] += np.float64(a) * (lo if a > 0 else hi)
            most[k] += np.float64(a) * (hi if a > 0 else lo)
            constant[k] += a * lo
            if c >= n:
                extra[k] += 1
                continue
            if not movable[c]:
                continue
            menu[k] += 1
            if a != 1 or (one_cell >= 0 and one_cell != cell_of[c]) or one_cell == -1:
                one_cell = np.int64(-1)
            else:
                one_cell = np.int64(cell_of[c])
            d = day_of[c]
            if day_seen[d] != k:
                day_seen[d] = k
                day_key[k] += day_name[d]
                day_size[k] += day_columns[d]
            s = sitting_of[c]
            if sitting_seen[s] != k:
                sitting_seen[s] = k
                sitting_key[k] += sitting_name[s]
                sitting_size[k] += sitting_columns[s]
        cell[k] = one_cell if one_cell >= 0 else -1


def reach(
    program: Program,
    rows: NDArray[np.int64],
    number: NDArray[np.int32],
    bounds: NDArray[np.int64],
    movable: NDArray[np.bool_],
    cell_of: NDArray[np.int32],
    count_low: NDArray[np.int64],
    count_high: NDArray[np.int64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Least and most activity of rows without extra columns while every cell keeps its counts.

    A cell adds at most its count times the largest coefficient in it, which is often far less than all
    its columns at once.

    Parameters
    ----------
    rows, number, bounds, movable, cell_of
        As in ``scan_rows``.
    count_low, count_high : int64 (cells,)
        Servings beyond the lower bounds.
    """
    least, most = np.zeros(len(rows)), np.zeros(len(rows))
    size = np.bincount(cell_of[movable], minlength=len(count_low)).astype(np.int64)
    where = (program.row_start, program.row_column, program.row_coef, rows, number, bounds)
    _reach(*where, movable, cell_of, size, count_low, count_high, least, most)
    return least, most


@compiled
def _reach(
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    row_coef: NDArray[np.int64],
    rows: NDArray[np.int64],
    number: NDArray[np.int32],
    bounds: NDArray[np.int64],
    movable: NDArray[np.bool_],
    cell_of: NDArray[np.int32],
    size: NDArray[np.int64],
    count_low: NDArray[np.int64],
    count_high: NDArray[np.int64],
    least: NDArray[np.float64],
    most: NDArray[np.float64],
) -> None:
    n_cells = len(size)
    seen = np.full(n_cells, -1, dtype=np.int64)
    met = np.zeros(n_cells, dtype=np.int64)
    top, bottom = np.zeros(n_cells), np.zeros(n_cells)
    cells = np.zeros(n_cells, dtype=np.int64)
    for k in range(len(rows)):
        count = 0
        for j in range(row_start[rows[k]], row_start[rows[k] + 1]):
            g = row_column[j]
            c = number[g]
            if c < 0:
                continue
            a = np.float64(row_coef[j])
            least[k] += a * bounds[g, 0]
            most[k] += a * bounds[g, 0]
            if not movable[c]:
                continue
            q = cell_of[c]
            if seen[q] != k:
                seen[q] = k
                met[q] = 0
                top[q] = bottom[q] = a
                cells[count] = q
                count += 1
            met[q] += 1
            top[q] = max(top[q], a)
            bottom[q] = min(bottom[q], a)
        for i in range(count):
            q = cells[i]
            up = top[q] if met[q] == size[q] else max(top[q], 0.0)
            down = bottom[q] if met[q] == size[q] else min(bottom[q], 0.0)
            most[k] += up * (count_high[q] if up > 0 else count_low[q])
            least[k] += down * (count_high[q] if down < 0 else count_low[q])


class Sparse(NamedTuple):
    """Entries of sparse rows by serving column and by extra column."""

    start: NDArray[np.int64]
    row: NDArray[np.int32]
    coef: NDArray[np.float64]
    extra_start: NDArray[np.int64]
    extra_row: NDArray[np.int32]
    extra_coef: NDArray[np.float64]


def collect_sparse(
    program: Program,
    rows: NDArray[np.int64],
    number: NDArray[np.int32],
    movable: NDArray[np.bool_],
    n: int,
    n_extra: int,
    first: int,
    bounded: NDArray[np.int64],
) -> Sparse:
    """Turn rows into columns.

    Parameters
    ----------
    program : Program
    rows : int64 (k,)
    number, movable
        As in ``scan_rows``.
    n, n_extra : int
        Serving and extra columns of the search.
    first : int
        Number of the first of these rows in the search.
    bounded : int64
        Extra columns that get a row of their own, after these.
    """
    lengths = np.zeros(n + n_extra + 1, dtype=np.int64)
    where = (program.row_start, program.row_column, program.row_coef, rows, number, movable)
    _count(program.row_start, program.row_column, rows, number, movable, lengths)
    lengths[n + bounded + 1] += 1
    start = np.cumsum(lengths)
    row = np.zeros(int(start[-1]), dtype=np.int32)
    coef = np.zeros(int(start[-1]))
    at = start[:-1].copy()
    _fill(*where, first, at, row, coef)
    row[at[n + bounded]] = first + len(rows) + np.arange(len(bounded))
    coef[at[n + bounded]] = 1.0
    cut = int(start[n])
    return Sparse(
        start=start[: n + 1],
        row=row[:cut],
        coef=coef[:cut],
        extra_start=start[n:] - cut,
        extra_row=row[cut:],
        extra_coef=coef[cut:],
    )


@compiled
def _count(
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    rows: NDArray[np.int64],
    number: NDArray[np.int32],
    movable: NDArray[np.bool_],
    lengths: NDArray[np.int64],
) -> None:
    n = len(movable)
    for k in range(len(rows)):
        for j in range(row_start[rows[k]], row_start[rows[k] + 1]):
            c = number[row_column[j]]
            if c >= n or (c >= 0 and movable[c]):
                lengths[c + 1] += 1


@compiled
def _fill(
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    row_coef: NDArray[np.int64],
    rows: NDArray[np.int64],
    number: NDArray[np.int32],
    movable: NDArray[np.bool_],
    first: int,
    at: NDArray[np.int64],
    row: NDArray[np.int32],
    coef: NDArray[np.float64],
) -> None:
    n = len(movable)
    for k in range(len(rows)):
        for j in range(row_start[rows[k]], row_start[rows[k] + 1]):
            c = number[row_column[j]]
            if c >= n or (c >= 0 and movable[c]):
                row[at[c]] = first + k
                coef[at[c]] = np.float64(row_coef[j])
                at[c] += 1
