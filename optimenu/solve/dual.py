"""What multipliers prove about a Program, in whole numbers: weak duality against its own rows."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import HARD, NO_HIGH, NO_LOW

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program

_WORD = 2.0**61
_MOST_PLACES = 52


@dataclass(frozen=True)
class Effect:
    """What priced cuts do to a bound, in ``2**-shift`` whole goal units.

    Attributes
    ----------
    limit : int
        Sum of price times limit.
    column : dict
        Cost of each column that has one.
    use : dict
        Cost of each use that has one, by its place in ``deduction``.
    """

    limit: int = 0
    column: dict[int, int] = field(default_factory=dict)
    use: dict[int, int] = field(default_factory=dict)


def whole_multipliers(
    program: Program, multiplier: NDArray[np.float64], use_worth: NDArray[np.float64]
) -> tuple[dict[int, int], dict[int, int], int]:
    """Round multipliers to whole numbers of ``2**-shift``: rows, links of shared groups, shift.

    A multiplier on a side without a limit is left out, one above a soft row's price cut down to it.
    """
    shift = _places(program, multiplier)
    y = {}
    for r in np.flatnonzero(multiplier):
        v = round(math.ldexp(float(multiplier[r]), shift))
        if (program.row_high[r] == NO_HIGH) if v > 0 else (program.row_low[r] == NO_LOW):
            continue
        price = int(program.row_price[r])
        if price != HARD:
            v = max(-(price << shift), min(price << shift, v))
        if v:
            y[int(r)] = v
    # only columns that count in several groups need the links
    shared = np.bincount(program.group_column, minlength=program.n) > 1
    owner = np.repeat(np.arange(program.n_groups), np.diff(program.group_start))
    worth = {}
    for g in np.unique(owner[shared[program.group_column]]).tolist():
        w = round(math.ldexp(float(use_worth[g]), shift))
        if w:
            worth[g] = w
    return y, worth, shift


def _places(program: Program, multiplier: NDArray[np.float64]) -> int:
    """Binary places: as many as 64-bit sums allow, more if the loss would be felt."""
    from optimenu.solve.sums import column_sizes

    sizes, cost = column_sizes(program, multiplier)
    plain = float(sizes.max(initial=0.0))
    top = float((cost + np.abs(program.gain.astype(np.float64))).max(initial=0.0))
    safe = math.floor(math.log2(max(_WORD - plain, 1.0) / max(top, 1.0)))
    # rounding moves each multiplier by at most half a place; the limits it multiplies tell the loss
    on = multiplier != 0
    limit = np.where(multiplier > 0, program.row_high, program.row_low).astype(np.float64)
    moved = float(np.abs(limit[on]).sum())
    whole = float(np.abs(multiplier[on] * limit[on]).max(initial=1.0))
    needed = math.ceil(math.log2(max(moved / max(whole, 1.0), 1.0) * 1e9))
    return max(0, min(_MOST_PLACES, max(safe, needed)))


def column_costs(program: Program, y: dict[int, int]) -> list[int]:
    """Return the cost of every column at the multipliers, exact: sum over rows of y * coefficient."""
    # loaded late, as in merge
    from optimenu.solve.sums import column_sizes, column_totals

    start = program.row_start
    rows = np.fromiter(y.keys(), dtype=np.int64, count=len(y))
    largest = max((abs(v) for v in y.values()), default=0)
    if largest < 1 << 62:
        whole = np.zeros(program.m, dtype=np.int64)
        whole[rows] = np.fromiter(y.values(), dtype=np.int64, count=len(y))
        _, size = column_sizes(program, whole.astype(np.float64))
        if float(size.max(initial=0.0)) < _WORD:
            cost: list[int] = column_totals(program, whole).tolist()
            return cost
    exact = [0] * program.n
    for r, v in y.items():
        a, b = int(start[r]), int(start[r + 1])
        for c, coef_rc in zip(program.row_column[a:b].tolist(), program.row_coef[a:b].tolist(), strict=True):
            exact[c] += v * coef_rc
    return exact


def dual_value(
    program: Program, y: dict[int, int], worth: dict[int, int], shift: int, effect: Effect | None = None
) -> int:
    """Bound on the goal that multipliers prove, in ``2**-shift`` whole goal units, exact.

    Parameters
    ----------
    y : dict
        Multiplier of each row that has one, with the sign of a side that has a limit.
    worth : dict
        Multiplier of each worth group's link that has one; any numbers give a true bound.
    shift : int
        Binary places of both.
    effect : Effect, optional
        What cuts add.
    """
    effect = effect or Effect()
    total = effect.limit + sum(
        v * int(program.row_high[r] if v > 0 else program.row_low[r]) for r, v in y.items()
    )
    reduced = reduced_gains(program, y, shift, effect)
    grouped = np.zeros(program.n, dtype=bool)
    grouped[program.group_column] = True
    low, high = program.low.tolist(), program.high.tolist()
    for c in np.flatnonzero(~grouped).tolist():
        r = reduced[c]
        total += r * (high[c] if r > 0 else low[c])
    return total + _groups_best(program, shares(program, reduced, worth), low, high, shift, effect.use)


def reduced_gains(program: Program, y: dict[int, int], shift: int, effect: Effect) -> list[int]:
    """Gain of every column less its cost at the multipliers, in ``2**-shift`` whole goal units."""
    costs = column_costs(program, y)
    reduced = [(int(g) << shift) - c for g, c in zip(program.gain.tolist(), costs, strict=True)]
    for c, cost in effect.column.items():
        reduced[c] -= cost
    return reduced


def shares(program: Program, reduced: list[int], worth: dict[int, int]) -> list[int]:
    """What each entry of a group earns; the shares of a column add up to its reduced gain exactly.

    A share is the link's multiplier plus an equal part of what the column earns beyond its links,
    the odd units going to its first entries.
    """
    columns = program.group_column.tolist()
    count = np.bincount(program.group_column, minlength=program.n).tolist()
    share = [reduced[c] for c in columns]
    several: dict[int, list[int]] = {}
    for k, c in enumerate(columns):
        if count[c] > 1:
            several.setdefault(c, []).append(k)
    if several:
        owner = np.repeat(np.arange(program.n_groups), np.diff(program.group_start)).tolist()
        for c, entries in several.items():
            links = [worth.get(owner[k], 0) for k in entries]
            part, odd = divmod(reduced[c] - sum(links), len(entries))
            for i, k in enumerate(entries):
                share[k] = links[i] + part + (1 if i < odd else 0)
    return share


def _groups_best(
    program: Program, share: list[int], low: list[int], high: list[int], shift: int, extra: dict[int, int]
) -> int:
    """Sum over groups of the best uses: forced ones first, then the dearest, as many as pay best.

    ``extra`` is what cuts add to the deductions, by place.
    """
    total = 0
    columns = program.group_column.tolist()
    starts, d_starts = program.group_start.tolist(), program.deduct_start.tolist()
    deduct = [(d << shift) + extra.get(k, 0) for k, d in enumerate(program.deduction.tolist())]
    for g in range(program.n_groups):
        first, end = d_starts[g], d_starts[g + 1]
        least = min(deduct[first:end], default=0)
        used = 0
        free: list[tuple[int, int]] = []
        for k in range(starts[g], starts[g + 1]):
            c = columns[k]
            if low[c]:
                total += share[k] * low[c]
                used += low[c]
            if share[k] > least and high[c] > low[c]:
                free.append((share[k], high[c] - low[c]))
        total -= sum(deduct[first : first + used])
        free.sort(reverse=True)
        at, gained, best = first + used, 0, 0
        for earn, most in free:
            last = min(at + most, end)
            # cuts may make a later use cheaper than one before it, so all are tried
            for k in range(at, last):
                gained += earn - deduct[k]
                best = max(best, gained)
            at = last
            if at >= end:
                break
        total += best
    return total
