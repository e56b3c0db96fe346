"""The ends of a curve: how little of a quantity a menu can take, found and proved.

The quantity's own limit is made soft, with a target nothing reaches, and is all that counts: the same search
and the same proof then speak of the quantity.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.audit.bound import check_bound
from optimenu.solve.bound import proved_bound, relax
from optimenu.solve.cuts import ROUNDS
from optimenu.solve.solve import solve

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from optimenu.program.certificate import Certificate
    from optimenu.program.program import Program
    from optimenu.solve.halt import Halt
    from optimenu.solve.outcome import Progress
    from optimenu.studies.axes import Axis

_WHOLE = 10**18
_BEYOND = 1 << 300
"""More than any bound, in whole goal units."""


def limited(program: Program, axes: Mapping[str, Axis], limits: Mapping[str, Decimal]) -> Program:
    """Return a program, in which no axis is limited yet, with some limits set."""
    low, high = program.row_low.copy(), program.row_high.copy()
    for name, limit in limits.items():
        axis = axes[name]
        for r in axis.rows(program).tolist():
            moved = (limit - axis.unlimited) * axis.per_unit(program, r)
            side = high if axis.less else low
            side[r] += int(moved.to_integral_value())
    return replace(program, row_low=low, row_high=high)


def alone(program: Program, axis: Axis, rows: NDArray[np.intp], use: int) -> tuple[Program, int, int]:
    """Return a program in which only these rows count, softly; the price of their last decimal; the target.

    Parameters
    ----------
    use : int
        About as much as a menu takes, in the rows' last decimals; the goal is then about one unit.
    """
    price = max(1, _WHOLE // max(1, use * len(rows)))
    prices, low, high = program.row_price.copy(), program.row_low.copy(), program.row_high.copy()
    prices[rows] = price
    target = 0
    if axis.less:
        high[rows] = 0
    else:
        target = int(max(np.diff(program.row_start)[rows]))
        low[rows] = target
    nothing = np.zeros_like
    only = replace(
        program, row_price=prices, row_low=low, row_high=high, gain=nothing(program.gain),
        group_gain=nothing(program.group_gain), deduction=nothing(program.deduction),
    )  # fmt: skip
    return only, price, target


def proved_end(program: Program, axis: Axis, use: Decimal, stop: Halt) -> Decimal | None:
    """Return an amount of an axis that no menu betters; exact, None when nothing is proved.

    Parameters
    ----------
    program : Program
        One in which the axis is not limited.
    use : Decimal
        What some menu takes of it.
    """
    rows = axis.rows(program)
    found = []
    for r in rows.tolist():
        # several rows are of several people: no menu has all of them beyond what the worst can reach alone
        others = replace(program, row_low=np.where(np.isin(np.arange(program.m), rows), 0, program.row_low))
        each = int(use * axis.per_unit(program, r))
        only, price, target = alone(others if len(rows) > 1 else program, axis, np.asarray([r]), each)
        relaxation = relax(only, rounds=ROUNDS if len(rows) == 1 else 0, stop=stop)
        if relaxation.status != "solved":
            return None
        missed = max(0, -(proved_bound(only, relaxation) // price))
        units = missed if axis.less else target - missed
        found.append(axis.limit_at(program, r, Decimal(units), axis.unlimited))
    return max(found) if axis.less else min(found)


def found_end(
    program: Program,
    axis: Axis,
    use: Decimal,
    *,
    moves: int,
    seed: int,
    threads: int,
    stop: Halt,
    progress: Callable[[Progress], None],
) -> NDArray[np.int64] | None:
    """Search for the menu that takes least of an axis; servings, int64 (n_menu,), None where none is found.

    Parameters
    ----------
    program, use
        See ``proved_end``.
    """
    rows = axis.rows(program)
    only, _, _ = alone(program, axis, rows, int(use * axis.per_unit(program, int(rows[0]))))
    return solve(only, moves=moves, seed=seed, threads=threads, stop=stop, progress=progress).counts


def least_proved(
    program: Program, certificate: Certificate, axis: Axis, limit: Decimal, floor: int
) -> Decimal | None:
    """Return a limit at which no menu is worth ``floor``, proved by the multipliers of another limit.

    Multipliers prove something of any limit: what they prove is worked out again at a tighter one.

    Parameters
    ----------
    program : Program
        With the axis limited to ``limit``.
    floor : int
        Whole goal units.

    Returns
    -------
    Decimal or None
        The loosest limit tried of which it is proved; None where the multipliers do not price the axis.
    """
    rows = axis.rows(program)
    price = dict(zip(certificate.rows.tolist(), certificate.multiplier, strict=True))
    worth = sum(abs(price.get(r, 0)) * axis.per_unit(program, r) for r in rows.tolist())
    worth /= Decimal(1 << certificate.shift)
    if not worth:
        return None
    spare, tight = certificate.bound - floor, limit
    for _ in range(6):
        step = max(Decimal(spare) / worth, axis.step)
        tight = axis.toward(tight - step if axis.less else tight + step, loose=False)
        moved = _moved(program, axis, rows, tight - limit)
        asked = replace(certificate, digest=moved.digest, bound=_BEYOND)
        spare = check_bound(moved, asked).proved - floor
        if spare < 0:
            return tight
    return None


def _moved(program: Program, axis: Axis, rows: NDArray[np.intp], by: Decimal) -> Program:
    low, high = program.row_low.copy(), program.row_high.copy()
    for r in rows.tolist():
        side = high if axis.less else low
        side[r] += int((by * axis.per_unit(program, r)).to_integral_value())
    return replace(program, row_low=low, row_high=high)
