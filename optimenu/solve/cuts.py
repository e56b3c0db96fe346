"""Makes the merged relaxation tighter by cuts from its own optimal bases.

A basic variable that ought to be whole and is not has an equation in the tableau; rounding it gives a
limit that every menu keeps and the relaxation's answer breaks (Gomory 1960, as mixed-integer rounding).
Floating point only chooses the rows and their multipliers; what a cut says is worked out from them in
whole numbers (``rounding``), and the audit does so again by itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.certificate import HIGH, LOW
from optimenu.solve.linear import OpenModel
from optimenu.solve.rounding import CutRow, WholeRows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.halt import Stop
    from optimenu.solve.linear import LinearResult
    from optimenu.solve.merge import Merged

ROUNDS = 6
MOST_TRIED, MOST_ADDED = 400, 100
"""Equations looked at, and cuts kept, in a round; from trials."""
MOST_NONZEROS = 800
WHOLE = 0.01
"""Distance from a whole number below which rounding gains nothing that lasts."""
SEEN = 1e-4
"""Least distance from the answer to the cut, in the space of the columns."""
ALIKE = 0.9
"""Cosine above which of two cuts the weaker is left out."""
LITTLE = 2e-5
"""Relative fall of the bound in a round, under which no further one is made."""
_TINY = 1e-9


@dataclass(frozen=True, eq=False)
class Tightened:
    """Answer of the merged model with cuts.

    Attributes
    ----------
    result : LinearResult
        Its duals are those of the merged model's own rows.
    cuts : list of CutRow
    price : float64 (cuts,)
        Multiplier of each cut in the merged model's goal per unit of its coefficients, not negative.
    """

    result: LinearResult
    cuts: list[CutRow]
    price: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Found:
    """A cut in floating point: how deep it cuts, and what it is made of."""

    depth: float
    column: NDArray[np.int64]
    value: NDArray[np.float64]
    rows: NDArray[np.int64]
    multiplier: NDArray[np.float64]
    side: NDArray[np.int64]
    turned: NDArray[np.int64]


def tighten(program: Program, merged: Merged, rounds: int = ROUNDS, stop: Stop | None = None) -> Tightened:
    """Solve the merged model and add cuts for some rounds; none where it has no answer."""
    opened = OpenModel(merged.model)
    result = opened.solve()
    if result.status != "solved" or rounds <= 0:
        return Tightened(result, [], np.zeros(0))
    rows = WholeRows(program, merged)
    for _ in range(rounds):
        if stop is not None and stop.is_set():
            break
        found = _separate(opened, rows, result)
        made = [c for c in (rows.round(f.rows, f.multiplier, f.side, f.turned) for f in found) if c is not None]
        if not made:
            break
        _add(opened, rows, made)
        better = opened.solve()
        if better.status != "solved":
            # whole numbers may be impossible where fractions are not; that is for others to say
            opened.m -= len(made)
            del rows.cuts[-len(made) :]
            break
        fall = result.objective - better.objective
        result = better
        if fall < LITTLE * abs(result.objective):
            break
    m = len(merged.model.row_low)
    size = np.asarray([c.size for c in rows.cuts])
    price = np.maximum(result.dual[m : m + len(rows.cuts)], 0.0) / np.maximum(size, 1e-300)
    return Tightened(result, rows.cuts, price)


def _add(opened: OpenModel, rows: WholeRows, made: list[CutRow]) -> None:
    rows.add(made)
    start = np.zeros(len(made) + 1, dtype=np.int32)
    columns, values = [], []
    for k, cut in enumerate(made):
        value = cut.coef / cut.size
        keep = np.abs(value) > _TINY
        columns.append(cut.column[keep])
        values.append(value[keep])
        start[k + 1] = start[k] + int(keep.sum())
    opened.add(
        start,
        np.concatenate(columns).astype(np.int32),
        np.concatenate(values),
        np.asarray([c.high / c.size for c in made]),
    )


def _separate(opened: OpenModel, rows: WholeRows, result: LinearResult) -> list[_Found]:
    """Return the deepest cuts of the present basis that do not resemble each other."""
    x = result.x[: rows.n]
    activity = opened.row_values() * rows.unit
    high = np.isfinite(rows.high) & (
        opened.at_high() | ~np.isfinite(rows.low) | (rows.high - activity <= activity - rows.low)
    )
    side = np.where(high, HIGH, LOW)
    limit = np.where(high, rows.high, rows.low)
    found = []
    for place in _fractional(opened.basic(), x, activity, rows):
        u = opened.inverse_row(place)
        if len(u) != len(rows.unit):
            continue
        nz = np.flatnonzero(np.abs(u) > _TINY)
        if not rows.usable[nz].all():
            continue
        multiplier = u[nz] / rows.unit[nz]
        for sign in (1.0, -1.0):
            cut = _round(rows, x, nz, sign * multiplier, side[nz], limit[nz])
            if cut is not None:
                found.append(cut)
    found.sort(key=lambda f: -f.depth)
    return _unlike(found, rows.n)


def _fractional(
    basic: NDArray[np.int64], x: NDArray[np.float64], activity: NDArray[np.float64], rows: WholeRows
) -> list[int]:
    """Places in the basis of what should be whole and is farthest from it."""
    n = rows.n
    column = (basic >= 0) & (basic < n)
    row = basic < 0
    number = np.where(row, -1 - basic, 0)
    # slacks of rows with decimals are hardly ever whole and cut little
    row &= rows.usable[number] & (rows.unit[number] == 1)
    value = np.where(column, x[np.where(column, basic, 0)], np.where(row, activity[number], 0.0))
    part = value - np.floor(value)
    want = np.flatnonzero((column | row) & (part > WHOLE) & (part < 1 - WHOLE))
    order = np.argsort(np.abs(part[want] - 0.5), kind="stable")
    return want[order][:MOST_TRIED].tolist()  # type: ignore[no-any-return]


def _round(
    rows: WholeRows,
    x: NDArray[np.float64],
    nz: NDArray[np.int64],
    multiplier: NDArray[np.float64],
    side: NDArray[np.int64],
    limit: NDArray[np.float64],
) -> _Found | None:
    """Round an equation in floating point; None where the answer is not cut off deep enough."""
    entry, length = rows.entries(nz)
    index, coef = rows.index[entry], rows.coef[entry].astype(np.float64)
    sums = np.bincount(index, coef * np.repeat(multiplier, length), minlength=rows.n)
    columns = np.flatnonzero(np.abs(sums) > _TINY)
    a, low, high, at = sums[columns], rows.least[columns], rows.most[columns], x[columns]
    turned = high - at < at - low
    total = float(multiplier @ limit) - float(a @ np.where(turned, high, low))
    part = total - np.floor(total)
    if not WHOLE < part < 1 - WHOLE:
        return None
    out = np.where(turned, -_rounded(-a, part), _rounded(a, part))
    bound = (1 - part) * np.floor(total) + float(out @ np.where(turned, high, low))
    sign = np.where(side == HIGH, 1.0, -1.0)
    slack = sign * _rounded(sign * multiplier, part)
    bound -= float(slack @ limit)
    whole = np.bincount(index, coef * np.repeat(-slack, length), minlength=rows.n)
    whole[columns] += out
    column = np.flatnonzero(np.abs(whole) > _TINY)
    if not len(column) or len(column) > MOST_NONZEROS:
        return None
    value = whole[column]
    depth = (float(value @ x[column]) - bound) / float(np.linalg.norm(value))
    if depth < SEEN:
        return None
    return _Found(depth, column, value, nz, multiplier, side, columns[turned])


def _rounded(a: NDArray[np.float64], part: float) -> NDArray[np.float64]:
    floor = np.floor(a)
    out: NDArray[np.float64] = (1 - part) * floor + np.maximum(0.0, a - floor - part)
    return out


def _unlike(found: list[_Found], n: int) -> list[_Found]:
    """Return the first that do not resemble one before them."""
    kept: list[_Found] = []
    directions: list[NDArray[np.float64]] = []
    for f in found:
        if len(kept) == MOST_ADDED:
            break
        own = f.value / np.linalg.norm(f.value)
        if directions and any(abs(float(d[f.column] @ own)) > ALIKE for d in directions):
            continue
        kept.append(f)
        direction = np.zeros(n)
        direction[f.column] = own
        directions.append(direction)
    return kept
