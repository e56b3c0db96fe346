"""What no menu can beat: the merged model's optimum, and an exact proof from its multipliers."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from optimenu.program.certificate import Certificate, Cut
from optimenu.program.program import HARD, NO_HIGH, NO_LOW
from optimenu.solve.cuts import tighten
from optimenu.solve.dual import Effect, dual_value, whole_multipliers
from optimenu.solve.merge import merge

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.halt import Stop
    from optimenu.solve.linear import LinearResult
    from optimenu.solve.merge import Merged
    from optimenu.solve.rounding import CutRow


@dataclass(frozen=True, eq=False)
class Relaxation:
    """Optimum of the merged linear program, told in the Program's own columns and rows.

    Attributes
    ----------
    status : str
        ``solved``, ``impossible`` (as the solver says, in floating point), ``undecided``.
    value : float
        Units of the goal (whole goal units / ``10**goal_decimals``); NaN unless solved.
    x : float64 (n,)
        Uses of every column, a class's total spread evenly over its columns.
    multiplier : float64 (m,)
        Whole goal units per unit of the row's last decimal; positive prices the high side, negative
        the low side; no larger than a soft row's price.
    use_worth : float64 (G,)
        Multiplier of each worth group's link: what a use must earn there, in whole goal units.
    cuts : tuple of CutRow
        Further limits that whole numbers keep, found while it was solved.
    cut_price : float64 (cuts,)
        Whole goal units per unit of a cut's coefficients, not negative.
    merged : Merged or None
        The model whose columns the cuts speak of.
    """

    status: Literal["solved", "impossible", "undecided"]
    value: float
    x: NDArray[np.float64]
    multiplier: NDArray[np.float64]
    use_worth: NDArray[np.float64]
    cuts: tuple[CutRow, ...] = ()
    cut_price: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    merged: Merged | None = None


def relax(
    program: Program, merged: Merged | None = None, *, rounds: int = 0, stop: Stop | None = None
) -> Relaxation:
    """Solve the merged model of a program.

    Parameters
    ----------
    rounds : int
        Rounds of cuts, at most.
    stop : Stop, optional
        No further round is begun once it is set.

    Raises
    ------
    ValueError
        When a column may be negative.
    """
    merged = merge(program) if merged is None else merged
    tight = tighten(program, merged, rounds, stop)
    told = relaxation_of(program, merged, tight.result)
    if told.status != "solved":
        return told
    return replace(told, cuts=tuple(tight.cuts), cut_price=tight.price * merged.goal_unit)


def relaxation_of(program: Program, merged: Merged, result: LinearResult) -> Relaxation:
    """Tell an answer of the merged model in the Program's own columns and rows, cuts left out."""
    if result.status != "solved":
        return Relaxation(
            "impossible" if result.status == "impossible" else "undecided",
            float("nan"),
            np.zeros(program.n),
            np.zeros(program.m),
            np.zeros(program.n_groups),
        )
    return Relaxation(
        "solved",
        result.objective * merged.goal_unit / 10.0**program.goal_decimals,
        spread(program, merged, result),
        row_multipliers(program, merged, result),
        result.dual[merged.link_row] * merged.goal_unit,
        merged=merged,
    )


def spread(program: Program, merged: Merged, result: LinearResult) -> NDArray[np.float64]:
    """Uses per column (n,) from a solution of the merged model, even over each class."""
    room = (program.high - program.low).astype(np.float64)
    n = merged.n_class
    total = result.x[:n] - np.bincount(merged.class_of, weights=program.low, minlength=n)
    most = np.bincount(merged.class_of, weights=room, minlength=n)
    part = np.clip(total / np.where(most > 0, most, 1), 0, 1)
    return program.low + room * part[merged.class_of]


def row_multipliers(program: Program, merged: Merged, result: LinearResult) -> NDArray[np.float64]:
    """Multipliers of the Program's rows (m,) from those of the merged model, with clean signs."""
    dual = np.append(result.dual, 0.0)
    kin = np.where(merged.high_row >= 0, dual[merged.high_row], 0.0)
    apart = merged.low_row != merged.high_row
    kin = kin + np.where(apart & (merged.low_row >= 0), dual[merged.low_row], 0.0)
    y = kin[merged.kin_of] * merged.goal_unit * 10.0 ** -program.row_decimals.astype(np.float64)
    y[(y > 0) & (program.row_high == NO_HIGH)] = 0
    y[(y < 0) & (program.row_low == NO_LOW)] = 0
    cap = np.where(program.row_price == HARD, np.inf, program.row_price.astype(np.float64))
    return np.clip(y, -cap, cap)


def certify(program: Program, relaxation: Relaxation) -> Certificate:
    """Return the bound that the relaxation's multipliers prove against the Program's own rows.

    Weak duality in whole numbers: for any multipliers y with the right signs no choice is worth more
    than sum(y * limit) plus the best that each worth group and each other column can do at its gain
    less the cost of its entries. So rounding y costs accuracy, never truth.

    Raises
    ------
    ValueError
        When the relaxation has no multipliers because it was not solved, or a column may be negative.
    """
    proof = _prove(program, relaxation)
    rows = np.asarray(sorted(proof.y), dtype=np.int64)
    groups = np.asarray(sorted(proof.worth), dtype=np.int64)
    return Certificate(
        digest=program.digest,
        shift=proof.shift,
        rows=rows,
        multiplier=tuple(proof.y[int(r)] for r in rows),
        bound=proof.bound,
        groups=groups,
        use_worth=tuple(proof.worth[int(g)] for g in groups),
        cuts=tuple(_renumbered(relaxation.cuts[k].cut, proof.cuts) for k in proof.cuts),
        cut_price=tuple(proof.price),
    )


def proved_bound(program: Program, relaxation: Relaxation) -> int:
    """Return the bound that ``certify`` states, whole goal units, without the certificate.

    Raises
    ------
    ValueError
        As ``certify`` does.
    """
    return _prove(program, relaxation).bound


class _Proof(NamedTuple):
    """Whole multipliers in ``2**-shift``: rows, links, priced cuts and those they need; the bound proved."""

    y: dict[int, int]
    worth: dict[int, int]
    shift: int
    cuts: list[int]
    price: list[int]
    bound: int


def _prove(program: Program, relaxation: Relaxation) -> _Proof:
    if relaxation.status != "solved":
        msg = f"a bound needs a solved relaxation, this one is {relaxation.status}"
        raise ValueError(msg)
    given = prices(program, relaxation)
    total = dual_value(program, given.y, given.worth, given.shift, given.effect)
    return _Proof(given.y, given.worth, given.shift, given.cuts, given.price, -(-total >> given.shift))


class Prices(NamedTuple):
    """Whole multipliers in ``2**-shift``: rows, links, priced cuts and those they need; what the cuts do."""

    y: dict[int, int]
    worth: dict[int, int]
    shift: int
    cuts: list[int]
    price: list[int]
    effect: Effect


def prices(program: Program, relaxation: Relaxation) -> Prices:
    """Return a solved relaxation's multipliers as whole numbers."""
    y, worth, shift = whole_multipliers(program, relaxation.multiplier, relaxation.use_worth)
    cuts, price = _needed(relaxation, shift)
    return Prices(y, worth, shift, cuts, price, _effect(program, relaxation, cuts, price))


def _needed(relaxation: Relaxation, shift: int) -> tuple[list[int], list[int]]:
    """Numbers of the cuts that bear a price or lead to one that does, rising, and their whole prices."""
    price = [round(math.ldexp(float(p), shift)) for p in relaxation.cut_price]
    wanted = {k for k, p in enumerate(price) if p > 0}
    for k in range(len(price) - 1, -1, -1):
        if k in wanted:
            wanted.update(number for number, _ in relaxation.cuts[k].cut.cuts)
    numbers = sorted(wanted)
    return numbers, [price[k] for k in numbers]


def _renumbered(cut: Cut, kept: list[int]) -> Cut:
    place = {number: k for k, number in enumerate(kept)}
    return replace(cut, cuts=tuple((place[number], multiplier) for number, multiplier in cut.cuts))


def _effect(program: Program, relaxation: Relaxation, cuts: list[int], price: list[int]) -> Effect:
    """Add up what priced cuts do; the columns of a class cost alike, and so do the uses of a use column."""
    merged = relaxation.merged
    if merged is None or not cuts:
        return Effect()
    of_merged: dict[int, int] = {}
    limit = 0
    for k, p in zip(cuts, price, strict=True):
        cut = relaxation.cuts[k]
        limit += p * cut.high
        for c, coef in zip(cut.column.tolist(), cut.coef.tolist(), strict=True):
            of_merged[c] = of_merged.get(c, 0) + p * coef
    order = np.argsort(merged.class_of, kind="stable")
    start = np.searchsorted(merged.class_of[order], np.arange(merged.n_class + 1))
    column: dict[int, int] = {}
    use: dict[int, int] = {}
    for c, cost in of_merged.items():
        if c < merged.n_class:
            column.update(dict.fromkeys(order[start[c] : start[c + 1]].tolist(), cost))
        else:
            use.update(dict.fromkeys(merged.places(c - merged.n_class), cost))
    return Effect(limit, column, use)
