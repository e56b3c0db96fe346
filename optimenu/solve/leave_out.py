"""Which servings no better menu has: shown by the bound's own multipliers, in whole numbers.

The bound is a sum of best choices, one for each worth group and each other column. With a column forced
into use its groups do worse by an exact amount; where the bound less that amount is no more than a menu
in hand is worth, every menu that uses the column is worth no more either (reduced-cost fixing).
"""

from __future__ import annotations

from bisect import bisect_left
from itertools import accumulate
from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.bound import prices
from optimenu.solve.dual import dual_value, reduced_gains, shares

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.bound import Prices, Relaxation


def useful(program: Program, relaxation: Relaxation, value: int) -> NDArray[np.bool_]:
    """Tell which serving columns a menu worth more than ``value`` may use, bool (n_menu,).

    Parameters
    ----------
    relaxation : Relaxation
        Solved; any multipliers leave out no column wrongly, good ones leave out many.
    value : int
        Worth of a menu in hand, whole goal units.
    """
    given = prices(program, relaxation)
    room = dual_value(program, given.y, given.worth, given.shift, given.effect) - (value << given.shift)
    less = _losses(program, given)
    may = [low > 0 or loss < room for low, loss in zip(program.low.tolist(), less, strict=True)]
    return np.asarray(may[: program.n_menu], dtype=bool)


def _losses(program: Program, given: Prices) -> list[int]:
    """By how much at least the bound falls for menus that use a column, in ``2**-shift`` goal units."""
    reduced = reduced_gains(program, given.y, given.shift, given.effect)
    share = shares(program, reduced, given.worth)
    grouped = np.zeros(program.n, dtype=bool)
    grouped[program.group_column] = True
    out = [0 if g else max(0, -r) for g, r in zip(grouped.tolist(), reduced, strict=True)]
    columns, low, high = program.group_column.tolist(), program.low.tolist(), program.high.tolist()
    starts, d_starts = program.group_start.tolist(), program.deduct_start.tolist()
    deduct = [
        (d << given.shift) + given.effect.use.get(k, 0) for k, d in enumerate(program.deduction.tolist())
    ]
    for g in range(program.n_groups):
        own = range(starts[g], starts[g + 1])
        if any(low[columns[k]] for k in own):
            # with some uses forced anyway nothing is claimed
            continue
        most = d_starts[g + 1] - d_starts[g]
        uses = sorted((share[k] for k in own for _ in range(min(high[columns[k]], most))), reverse=True)
        lost = _lost(uses, deduct[d_starts[g] : d_starts[g + 1]])
        # a column that counts twice in a group loses at least the greater: the two may overlap
        most_lost: dict[int, int] = {}
        for k in own:
            most_lost[columns[k]] = max(most_lost.get(columns[k], 0), lost.get(share[k], 0))
        for c, loss in most_lost.items():
            out[c] += loss
    return out


def _lost(uses: Sequence[int], deduct: Sequence[int]) -> dict[int, int]:
    """What a group's best loses when a use that earns so much is among its uses.

    Parameters
    ----------
    uses : sequence of int
        What each possible use earns, falling.
    deduct : sequence of int
        Deduction of the first, second ... use; those beyond are not allowed.
    """
    n = min(len(uses), len(deduct))
    gained = [0, *accumulate(u - d for u, d in zip(uses, deduct, strict=False))]
    best = max(gained)
    # with k uses, the given one in place of the k-th dearest
    others = [gained[k - 1] - deduct[k - 1] for k in range(1, n + 1)]
    upto = list(accumulate(others, max))
    beyond = list(accumulate(reversed(gained), max))[::-1]
    fallen = [-u for u in uses]
    out = {}
    for earn in set(uses):
        # the dearest use that earns as much
        at = bisect_left(fallen, -earn)
        ways = [upto[min(at, n) - 1] + earn] if min(at, n) else []
        if at < n:
            ways.append(beyond[at + 1])
        if ways:
            out[earn] = best - max(ways)
    return out
