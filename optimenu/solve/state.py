"""The state of a search and what is worked out from it: score, best menu so far, extra columns."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from optimenu.solve.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.solve.layout import Fixed

VALUE, PENALTY, BROKEN, BEST = 0, 1, 2, 3
LENGTH, MARK, LOST = 0, 1, 2


class State(NamedTuple):
    """What moves change, and the row weights between two calls.

    ``score`` holds gains less deductions, penalty, number of broken rows, and the best value so far
    without any broken row. ``best`` lags behind: ``journal`` holds the changes since, up to ``log[MARK]``
    those that lead to the best menu; ``log[LOST]`` is 1 when the journal ran over.
    """

    x: NDArray[np.int64]
    slot: NDArray[np.int32]
    filled: NDArray[np.int64]
    activity: NDArray[np.float64]
    drawn: NDArray[np.int64]
    uses: NDArray[np.int64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    weight: NDArray[np.float64]
    charge: NDArray[np.float64]
    hard: NDArray[np.float64]
    block_penalty: NDArray[np.float64]
    block_broken: NDArray[np.float64]
    score: NDArray[np.float64]
    random: NDArray[np.uint64]
    best: NDArray[np.int64]
    journal: NDArray[np.int32]
    log: NDArray[np.int64]


class Work(NamedTuple):
    """Scratch space of the loop: changes worked out, and stamps that say for which move."""

    change: NDArray[np.float64]
    block_stamp: NDArray[np.int64]
    block_place: NDArray[np.int64]
    row_stamp: NDArray[np.int64]
    extra_stamp: NDArray[np.int64]
    extra_change: NDArray[np.int64]
    group_stamp: NDArray[np.int64]
    group_change: NDArray[np.int64]
    touched: NDArray[np.int64]
    new_penalty: NDArray[np.float64]
    new_broken: NDArray[np.float64]
    stamp: NDArray[np.int64]


@compiled
def extra_value(total: int, divisor: int) -> int:
    """Value of an extra column: rounded up packs, or 1 when anything is used (divisor 0)."""
    if divisor == 0:
        return 1 if total > 0 else 0
    return (total + divisor - 1) // divisor


@compiled
def drawn_value(total: int, divisor: int, loose: float) -> float:
    """Value of an extra column of which a part of the rounding up is let off, 0 none, 1 all."""
    whole = float(extra_value(total, divisor))
    if loose == 0.0 or divisor == 0:
        return whole
    return whole + loose * (total / divisor - whole)


@compiled
def deducted_at(
    fixed_start: NDArray[np.int64], sums: NDArray[np.float64], g: int, n: int, over: float
) -> float:
    """Deduction of ``n`` uses in a group; uses past its length cost ``over`` each."""
    a = fixed_start[g]
    length = fixed_start[g + 1] - a - 1
    if n <= length:
        return sums[a + n]  # type: ignore[no-any-return]
    return sums[a + length] + over * (n - length)  # type: ignore[no-any-return]


@compiled
def activities(
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    row_coef: NDArray[np.int64],
    rows: NDArray[np.int64],
    x: NDArray[np.int64],
    out: NDArray[np.float64],
) -> None:
    """Work out the activities of some rows of a Program at ``x`` (n,) into ``out``; a row -1 has none."""
    for k in range(len(rows)):
        total = np.int64(0)
        if rows[k] >= 0:
            for j in range(row_start[rows[k]], row_start[rows[k] + 1]):
                total += row_coef[j] * x[row_column[j]]
        out[k] = np.float64(total)


@compiled
def refresh(f: Fixed, s: State, over: float) -> None:
    """Work out the score and the blocks' sums anew from the activities and the weights."""
    penalty, broken, value = 0.0, 0.0, 0.0
    n_dense = f.block_row[-1]
    for b in range(len(f.block_row) - 1):
        p, h = 0.0, 0.0
        for r in range(f.block_row[b], f.block_row[b + 1]):
            v = max(0.0, max(s.activity[r] - s.high[r], s.low[r] - s.activity[r]))
            u = min(v, 1.0)
            p += s.weight[r] * (v + s.charge[r] * u)
            h += s.hard[r] * u
        s.block_penalty[b] = p
        s.block_broken[b] = h
        penalty += p
        broken += h
    for r in range(n_dense, len(s.activity)):
        v = max(0.0, max(s.activity[r] - s.high[r], s.low[r] - s.activity[r]))
        u = min(v, 1.0)
        penalty += s.weight[r] * (v + s.charge[r] * u)
        broken += s.hard[r] * u
    for c in range(len(s.x)):
        value += f.gain[c] * s.x[c]
    for g in range(len(s.uses)):
        length = f.deduct_start[g + 1] - f.deduct_start[g] - 1
        value -= deducted_at(f.deduct_start, f.deducted, g, s.uses[g], over)
        broken += max(0, s.uses[g] - length)
    s.score[VALUE] = value
    s.score[PENALTY] = penalty
    s.score[BROKEN] = broken


@compiled
def keep_best(s: State) -> None:
    """Bring ``best`` up to the mark in the journal."""
    mark, length = s.log[MARK], s.log[LENGTH]
    for k in range(mark):
        c = s.journal[k]
        if c >= 0:
            s.best[c] += 1
        else:
            s.best[-1 - c] -= 1
    for k in range(mark, length):
        s.journal[k - mark] = s.journal[k]
    s.log[LENGTH] = length - mark
    s.log[MARK] = 0


@compiled
def note_best(s: State) -> None:
    """Remember the state as the best menu so far if it is one."""
    total = s.score[VALUE] - s.score[PENALTY]
    if s.score[BROKEN] < 0.5 and total > s.score[BEST]:
        s.score[BEST] = total
        if s.log[LOST] == 1:
            s.best[:] = s.x
            s.log[:] = 0
        else:
            s.log[MARK] = s.log[LENGTH]
