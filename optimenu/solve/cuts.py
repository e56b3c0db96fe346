"""Makes the merged relaxation tighter by cuts from its own optimal bases.

A basic variable that ought to be whole and is not has an equation in the tableau; rounding it gives a
limit that every menu keeps and the relaxation's answer breaks (Gomory 1960, as mixed-integer rounding).
Floating point only chooses the rows and their multipliers; what a cut says is worked out from them in
whole numbers (``rounding``), and the audit does so again by itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.certificate import HIGH, LOW
from optimenu.solve.covers import covers, laters
from optimenu.solve.linear import OpenModel
from optimenu.solve.rounding import CutRow, WholeRows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.halt import Stop
    from optimenu.solve.linear import LinearResult
    from optimenu.solve.merge import Merged
    from optimenu.solve.rounding import Entries

ROUNDS = 6
MOST_COLUMNS, MOST_ROWS = 300, 50
"""Equations looked at in a round, of columns and of rows' slacks; cuts from slacks seldom bear a price."""
MOST_ADDED = 100
"""Cuts kept in a round; as the numbers above, from trials."""
MOST_NONZEROS = 800
LARGEST = 1e6
"""Coefficient of a cut above which it does the linear program no good; useful ones stay under 1000."""
WHOLE = 0.01
"""Distance from a whole number below which rounding gains nothing that lasts."""
SEEN = 1e-4
"""Least distance from the answer to the cut, in the space of the columns."""
ALIKE = 0.95
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
class _Equation:
    """Rows that add up to the equation of a basic variable; multipliers per last decimal."""

    rows: NDArray[np.int64]
    multiplier: NDArray[np.float64]
    side: NDArray[np.int64]
    limit: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Sum:
    """An equation added up: its nonzeros, coefficients by column, and what is left of the limits.

    Columns that are ``turned`` are counted from their high end; ``end`` is where each is counted from.
    """

    equation: _Equation
    held: Entries
    coef: NDArray[np.float64]
    sums: NDArray[np.float64]
    turned: NDArray[np.bool_]
    end: NDArray[np.float64]
    total: float


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


def tighten(
    program: Program,
    merged: Merged,
    rounds: int = ROUNDS,
    stop: Stop | None = None,
    opened: OpenModel | None = None,
) -> Tightened:
    """Solve the merged model and add cuts for some rounds.

    There are none where it has no answer, nor in a program with continuous columns: rounding needs
    whole numbers.

    Parameters
    ----------
    opened : OpenModel, optional
        The merged model where it is open already; the cuts stay in it as its last rows.
    """
    opened = OpenModel(merged.model) if opened is None else opened
    result = opened.solve()
    if result.status != "solved" or rounds <= 0 or program.continuous.any():
        return Tightened(result, [], np.zeros(0))
    rows = WholeRows(program, merged)
    waiting = (covers(program, merged), laters(program, merged))
    for _ in range(rounds):
        if stop is not None and stop.is_set():
            break
        # those of earlier rounds are rows by now, so they are not broken again
        made = [cut for w in waiting for cut in w.broken(result.x, SEEN)] + _made(opened, rows, result)
        if not made:
            break
        _add(opened, rows, made)
        better = opened.solve()
        if better.status != "solved":
            # whole numbers may be impossible where fractions are not; that is for others to say
            del rows.cuts[-len(made) :]
            break
        fall = result.objective - better.objective
        result = better
        if fall < LITTLE * abs(result.objective):
            break
    m = len(merged.model.row_low)
    size = np.asarray([c.size for c in rows.cuts], dtype=np.float64)
    return Tightened(result, rows.cuts, np.maximum(result.dual[m : m + len(size)], 0.0) / size)


def _made(opened: OpenModel, rows: WholeRows, result: LinearResult) -> list[CutRow]:
    found = _unlike(_separate(opened, rows, result), rows.n)
    made = (rows.round(f.rows, f.multiplier, f.side, f.turned) for f in found)
    return [cut for cut in made if cut is not None]


def _add(opened: OpenModel, rows: WholeRows, made: list[CutRow]) -> None:
    rows.add(made)
    values = [cut.coef / cut.size for cut in made]
    keep = [np.abs(v) > _TINY for v in values]
    opened.add(
        np.append(0, np.cumsum([int(k.sum()) for k in keep])).astype(np.int32),
        np.concatenate([c.column[k] for c, k in zip(made, keep, strict=True)]).astype(np.int32),
        np.concatenate([v[k] for v, k in zip(values, keep, strict=True)]),
        np.asarray([c.high / c.size for c in made]),
    )


def _separate(opened: OpenModel, rows: WholeRows, result: LinearResult) -> list[_Found]:
    """Return the cuts of the present basis, the deepest first."""
    x = result.x[: rows.n]
    activity = opened.row_values() * rows.unit
    # each row leans on the side it lies at; a link, whose sides are the same, on its high one
    high = np.isfinite(rows.high) & ((rows.high - activity <= activity - rows.low) | (rows.low == rows.high))
    side = np.where(high, HIGH, LOW)
    limit = np.where(high, rows.high, rows.low)
    found = []
    for place in _fractional(opened.basic(), x, activity, rows):
        u = opened.inverse_row(place)
        nz = np.flatnonzero(np.abs(u) > _TINY)
        if rows.usable[nz].all():
            multiplier = u[nz] / rows.unit[nz]
            total = _sum_up(rows, x, _Equation(nz, multiplier, side[nz], limit[nz]))
            found += [f for f in (_round(total, x, sign) for sign in (1.0, -1.0)) if f is not None]
    found.sort(key=lambda f: -f.depth)
    return found


def _fractional(
    basic: NDArray[np.int64], x: NDArray[np.float64], activity: NDArray[np.float64], rows: WholeRows
) -> list[int]:
    """Places in the basis of what should be whole and is farthest from it, columns first."""
    column = (basic >= 0) & (basic < rows.n)
    row = basic < 0
    number = np.where(row, -1 - basic, 0)
    # slacks of rows with decimals are hardly ever whole and cut little
    row &= rows.usable[number] & (rows.unit[number] == 1)
    value = np.append(x, activity)[np.where(column, basic, rows.n + number)]
    part = value - np.floor(value)
    between = (part > WHOLE) & (part < 1 - WHOLE)
    by_part = np.argsort(np.abs(part - 0.5), kind="stable")
    places = [by_part[(kind & between)[by_part]] for kind in (column, row)]
    return [*places[0][:MOST_COLUMNS].tolist(), *places[1][:MOST_ROWS].tolist()]


def _sum_up(rows: WholeRows, x: NDArray[np.float64], equation: _Equation) -> _Sum:
    held = rows.entries(equation.rows)
    coef = held.coef.astype(np.float64)
    weights = coef * equation.multiplier[held.owner]
    sums = np.bincount(held.place, weights, minlength=len(held.column)).astype(np.float64)
    sums[np.abs(sums) <= _TINY] = 0.0
    low, high, at = rows.least[held.column], rows.most[held.column], x[held.column]
    turned = (sums != 0) & (high - at < at - low)
    end = np.where(turned, high, low).astype(np.float64)
    total = _product(equation.multiplier, equation.limit) - _product(sums, end)
    return _Sum(equation, held, coef, sums, turned, end, total)


def _round(s: _Sum, x: NDArray[np.float64], sign: float) -> _Found | None:
    """Round an equation, or its negative; None where that does not cut off the answer deep enough."""
    floor = math.floor(sign * s.total)
    part = sign * s.total - floor
    if not WHOLE < part < 1 - WHOLE:
        return None
    multiplier = sign * s.equation.multiplier
    flip = np.where(s.equation.side == HIGH, 1.0, -1.0)
    mirror = np.where(s.turned, -1.0, 1.0)
    out = mirror * _rounded(mirror * sign * s.sums, part)
    slack = flip * _rounded(flip * multiplier, part)
    bound = (1 - part) * floor + _product(out, s.end) - _product(slack, s.equation.limit)
    out -= np.bincount(s.held.place, weights=s.coef * slack[s.held.owner], minlength=len(out))
    keep = np.abs(out) > _TINY
    column, value = s.held.column[keep], out[keep]
    if not 0 < len(column) <= MOST_NONZEROS or np.abs(value).max() > LARGEST:
        return None
    depth = (_product(value, x[column]) - bound) / math.sqrt(_product(value, value))
    if depth < SEEN:
        return None
    turned = s.held.column[s.turned]
    return _Found(depth, column, value, s.equation.rows, multiplier, s.equation.side, turned)


def _rounded(a: NDArray[np.float64], part: float) -> NDArray[np.float64]:
    floor = np.floor(a)
    out: NDArray[np.float64] = (1 - part) * floor + np.maximum(0.0, a - floor - part)
    return out


def _product(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    # numpy's own sum: that of a linear algebra library may depend on its number of threads
    return float((a * b).sum())


def _unlike(found: list[_Found], n: int) -> list[_Found]:
    """Return the first that do not resemble one before them."""
    kept: list[_Found] = []
    directions = np.zeros((n, MOST_ADDED))
    for f in found:
        if len(kept) == MOST_ADDED:
            break
        own = f.value / math.sqrt(_product(f.value, f.value))
        cosine = (own[:, None] * directions[f.column, : len(kept)]).sum(axis=0)
        if np.abs(cosine).max(initial=0.0) <= ALIKE:
            directions[f.column, len(kept)] = own
            kept.append(f)
    return kept
