"""Deals the limits that several components share, so that each can be searched by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import NO_HIGH, NO_LOW
from optimenu.solve.inner import inner, mixed
from optimenu.solve.tilt import wide

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.components import Components

FEW = 4
"""Servings for each component that a limit holds, up to which dealing it whole units costs something."""
CROWDED = 0.1
"""Part of the goal that such limits price, from which searching together is better; from trials."""


def crowded(
    program: Program, parts: Components, use: NDArray[np.float64], multiplier: NDArray[np.float64]
) -> bool:
    """Tell whether limits of single days that hold few servings decide too much to be dealt beforehand.

    Heater places are such: who has which of four places at which dinner is better settled while the
    dishes are chosen. Where such limits cost little, parted searches are as good, and run side by side.

    Parameters
    ----------
    program : Program
    parts : Components
    use : float64 (program.n,)
        Use of each column in the relaxation.
    multiplier : float64 (program.m,)
        Its multipliers, in goal units per unit of each row's last decimal.
    """
    price = 0.0
    for r in parts.shared:
        a, b = program.row_start[r], program.row_start[r + 1]
        cols, coefs = program.row_column[a:b], program.row_coef[a:b]
        if program.row_high[r] == NO_HIGH or cols[-1] >= program.n_menu or (coefs <= 0).any():
            continue
        days = program.day[cols]
        if (days == days[0]).all() and program.row_high[r] <= FEW * parts.count * np.median(coefs):
            price += abs(float(multiplier[r])) * float(program.row_high[r])
    return price > 0 and price >= CROWDED * abs(inner(program.gain.astype(np.float64), use))


def deal(
    program: Program,
    parts: Components,
    use: NDArray[np.float64],
    slack_share: NDArray[np.float64] | None = None,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Limits of every shared row for every component.

    Each gets its use and a part of the slack. The shares are multiples of the row's greatest common
    divisor, settled by largest remainder; of equal remainders the one goes first that came short most
    so far. The highs of a row sum to no more than its high, the lows to no less than its low.

    Parameters
    ----------
    program : Program
    parts : Components
    use : float64 (shared rows, components)
        What each component uses of each row, in units of the row's last decimal.
    slack_share : float64 (components,), optional
        Part of the slack each component gets; equal parts when left out. Sums to 1.

    Returns
    -------
    low, high : int64 (shared rows, components)
        ``NO_LOW`` and ``NO_HIGH`` where the row has none.
    """
    rows, count = parts.shared, parts.count
    if slack_share is None:
        slack_share = np.full(count, 1.0 / max(count, 1))
    low = np.full((len(rows), count), NO_LOW, dtype=np.int64)
    high = np.full((len(rows), count), NO_HIGH, dtype=np.int64)
    short = np.zeros(count)
    for k, r in enumerate(rows):
        coefs = program.row_coef[program.row_start[r] : program.row_start[r + 1]]
        unit = int(np.gcd.reduce(np.abs(coefs))) or 1
        if program.row_high[r] != NO_HIGH:
            total = int(program.row_high[r]) // unit
            high[k] = _whole(use[k] / unit, total, slack_share, short) * unit
        if program.row_low[r] != NO_LOW:
            total = -(-int(program.row_low[r]) // unit)
            low[k] = _whole(use[k] / unit, total, slack_share, short) * unit
    both = (low != NO_LOW) & (high != NO_HIGH)
    # rounding may cross the two by a unit: then the component's low gives way
    low[both] = np.minimum(low[both], high[both])
    return low, high


def _whole(
    use: NDArray[np.float64], total: int, slack_share: NDArray[np.float64], short: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Whole numbers that sum to ``total``, near ``use`` plus the shares of what is left."""
    wish = use + (total - use.sum()) * slack_share
    # never a hair under a whole number that the relaxation reached
    dealt: NDArray[np.int64] = np.floor(wish + 1e-7).astype(np.int64)
    left = total - int(dealt.sum())
    fraction = wish - dealt
    order = np.argsort(-(fraction + 1e-3 * short), kind="stable")
    step = 1 if left > 0 else -1
    if left < 0:
        order = order[::-1]
    for k in range(abs(left)):
        dealt[order[k % len(order)]] += step
    short += np.clip(wish - dealt, -1.0, 1.0)
    return dealt


def shared_use(
    program: Program, parts: Components, x: NDArray[np.float64], extra: NDArray[np.float64]
) -> NDArray[np.float64]:
    """What each component uses of each shared row.

    Parameters
    ----------
    program : Program
    parts : Components
    x : float64 (n_menu,)
        Uses of the serving columns.
    extra : float64 (extra columns, components)
        Value of each extra column caused by each component.

    Returns
    -------
    float64 (shared rows, components), in units of the row's last decimal.
    """
    out = np.zeros((len(parts.shared), parts.count))
    n = program.n_menu
    for k, r in enumerate(parts.shared):
        a, b = program.row_start[r], program.row_start[r + 1]
        cols, coefs = program.row_column[a:b], program.row_coef[a:b].astype(np.float64)
        menu = cols < n
        inside = cols[menu]
        out[k] = np.bincount(parts.of_column[inside], coefs[menu] * x[inside], minlength=parts.count)
        if not menu.all():
            out[k] += mixed(coefs[~menu], extra[cols[~menu] - n])
    return out


def leaning(
    program: Program,
    parts: Components,
    use: NDArray[np.float64],
    multiplier: NDArray[np.float64],
    lean: NDArray[np.float64],
) -> NDArray[np.float64]:
    """What each component should use more of each shared row, so that its people gain what they are to.

    Only wide rows with a price are leaned on, each by its part of what they price together.

    Parameters
    ----------
    use : float64 (program.n,)
    multiplier : float64 (program.m,)
        Goal units per unit of each row's last decimal.
    lean : float64 (people,)
        Goal units to gain, or to give up.

    Returns
    -------
    float64 (shared rows, components), in units of the row's last decimal.
    """
    gain = np.zeros(parts.count)
    first = program.group_start[:-1]
    of_group = parts.of_column[program.group_column[first]]
    for p in range(len(lean)):
        own = of_group[program.group_person == p]
        if len(own):
            gain[own[0]] += lean[p]
    everything = np.ones(program.n, dtype=bool)
    limit = np.where(multiplier > 0, program.row_high, program.row_low).astype(np.float64)
    priced = [
        k
        for k, r in enumerate(parts.shared.tolist())
        if multiplier[r] != 0 and abs(limit[r]) < float(NO_HIGH) and wide(program, r, everything, use)
    ]
    out = np.zeros((len(parts.shared), parts.count))
    rows = parts.shared[priced]
    price = np.abs(multiplier[rows] * limit[rows])
    for k, r, part in zip(priced, rows.tolist(), price / max(float(price.sum()), 1e-300), strict=True):
        out[k] = part * gain / multiplier[r]
    return out


def extra_use(
    program: Program, parts: Components, x: NDArray[np.float64], whole: NDArray[np.float64] | None = None
) -> NDArray[np.float64]:
    """Share of each component in each extra column, float64 (extra columns, components).

    Parameters
    ----------
    program : Program
    parts : Components
    x : float64 (n_menu,)
        Uses of the serving columns.
    whole : float64 (extra columns,), optional
        Values to be shared out in proportion to the sources; 1 each when left out. Extra columns
        without any use are shared out equally among the components they draw on.
    """
    count = len(program.extra_kind)
    source = np.repeat(np.arange(count), np.diff(program.extra_start))
    part = parts.of_column[program.extra_column]
    drawn = np.zeros((count, parts.count))
    np.add.at(drawn, (source, part), program.extra_coef * x[program.extra_column])
    reach = np.zeros((count, parts.count))
    reach[source, part] = 1.0
    empty = drawn.sum(axis=1) <= 0
    drawn[empty] = reach[empty]
    share: NDArray[np.float64] = drawn / np.maximum(drawn.sum(axis=1, keepdims=True), 1e-300)
    return share if whole is None else share * whole[:, None]
