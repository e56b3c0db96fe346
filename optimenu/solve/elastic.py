"""Why no menu exists: the least shortfall that would let the merged model have an answer.

Every hard row may be missed, at its size relative to the limit; column bounds and the rows that define
extra columns stay. The same multipliers also prove, in whole numbers, that nothing keeps all limits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import LINK
from optimenu.solve.bound import row_multipliers
from optimenu.solve.dual import dual_value, whole_multipliers
from optimenu.solve.linear import LinearModel, LinearResult, maximise
from optimenu.solve.merge import merge

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from optimenu.program.origin import Origin
    from optimenu.program.program import Program
    from optimenu.solve.merge import Merged
    from optimenu.solve.outcome import Outcome

_SEEN = 1e-7
"""Relative shortfalls below this are the solver's rounding."""
_FINE = 2.0**40
"""Goal units of one whole relative shortfall when the impossibility is proved."""


@dataclass(frozen=True)
class Shortfall:
    """One kind of limit that cannot be kept together with the others.

    Attributes
    ----------
    origin : Origin or None
        Of the first row of the kin; None for a worth group, whose limit is its number of uses.
    amount : float
        By how much the limit is missed, mean over the kin's rows, in the row's unit (uses for a group).
    relative : float
        The amount as a part of the limit (of the largest coefficient where the limit is 0).
    low_side : bool
        True when the low limit is missed, False when the high one is.
    rows : tuple of int
        Rows of the kin.
    group : int
        Number of the worth group, -1 for rows.
    """

    origin: Origin | None
    amount: float
    relative: float
    low_side: bool
    rows: tuple[int, ...] = ()
    group: int = -1


@dataclass(frozen=True, eq=False)
class Elastic:
    """Outcome of the elastic linear program.

    Attributes
    ----------
    total : float
        Sum of the relative shortfalls; NaN when even this program had no answer.
    shortfalls : tuple of Shortfall
        Largest relative first.
    proved : bool
        True when whole-number arithmetic confirms that no choice keeps every limit.
    """

    total: float
    shortfalls: tuple[Shortfall, ...]
    proved: bool


@dataclass(frozen=True, eq=False)
class Slack:
    """Slack columns of an elastic program.

    Attributes
    ----------
    row : int64 (s,)
        Merged row of each.
    kin, group : int64 (s,)
        Its kin, or its worth group; -1 for none.
    low_side : bool (s,)
    size : float64 (s,)
        What counts as one: a unit of slack costs ``1 / size``.
    """

    row: NDArray[np.int64]
    kin: NDArray[np.int64]
    group: NDArray[np.int64]
    low_side: NDArray[np.bool_]
    size: NDArray[np.float64]


def elastic(program: Program, merged: Merged | None = None) -> Elastic:
    """Find the least sum of relative shortfalls, and whether the program is provably impossible.

    Raises
    ------
    ValueError
        When a column may be negative.
    """
    merged = merge(program) if merged is None else merged
    for links in (False, True):
        # definitions of extra columns give way only when nothing else suffices
        slack = slacks(program, merged, links=links)
        result = maximise(with_slack(merged, slack))
        if result.status == "solved":
            break
    else:
        return Elastic(float("nan"), (), False)
    taken = result.x[len(merged.model.cost) :]
    y, worth, shift = proof_of(program, merged, result)
    crowded = np.any(program.uses(program.low) > np.diff(program.deduct_start))
    proved = bool(crowded) or dual_value(_worthless(program), y, worth, shift) < 0
    return Elastic(float(-result.objective), _shortfalls(program, merged, slack, taken), proved)


def proof_of(
    program: Program, merged: Merged, result: LinearResult
) -> tuple[dict[int, int], dict[int, int], int]:
    """Whole multipliers of rows and of group links, and their shift, from an elastic answer.

    Where ``dual_value`` of a program of the same rows, worth nothing, is negative with them, no choice
    keeps every limit.
    """
    scaled = replace(merged, goal_unit=_FINE)
    return whole_multipliers(
        _worthless(program), row_multipliers(program, scaled, result), result.dual[merged.link_row] * _FINE
    )


def _worthless(program: Program) -> Program:
    return replace(
        program,
        gain=np.zeros_like(program.gain),
        group_gain=np.zeros_like(program.group_gain),
        deduction=np.zeros_like(program.deduction),
    )


def without_menu(program: Program, merged: Merged, ended: Callable[..., Outcome]) -> Outcome:
    """Return the end of a solve whose relaxation has no answer: impossible if that is proved, else undecided.

    Parameters
    ----------
    ended : callable
        Makes an Outcome of its end and what else is known.
    """
    missing = elastic(program, merged)
    # the solver's word alone is rounded arithmetic; without the exact proof nothing is claimed
    if missing.proved:
        return ended("impossible", shortfalls=missing.shortfalls, proof="exact")
    return ended("undecided", shortfalls=missing.shortfalls)


def slacks(program: Program, merged: Merged, *, links: bool) -> Slack:
    """Return a slack for each side of each hard kin and for each worth group.

    Parameters
    ----------
    links : bool
        Whether the definitions of extra columns get one too.
    """
    hard = ~np.isfinite(merged.kin_price)
    if not links:
        hard[merged.kin_of[program.row_kind == LINK]] = False
    largest = np.zeros(len(merged.model.row_low))
    row_of = np.repeat(np.arange(len(largest)), np.diff(merged.model.start))
    np.maximum.at(largest, row_of, np.abs(merged.model.value))
    row, kin, low_side, size = [], [], [], []
    for low, rows, limit in (
        (True, merged.low_row, merged.kin_limit[:, 0]),
        (False, merged.high_row, merged.kin_limit[:, 1]),
    ):
        on = np.flatnonzero(hard & (rows >= 0))
        row.append(rows[on])
        kin.append(on)
        low_side.append(np.full(len(on), low))
        scale = np.abs(limit[on])
        size.append(np.where(scale > 0, scale, np.where(largest[rows[on]] > 0, largest[rows[on]], 1.0)))
    length = np.diff(program.deduct_start).astype(np.float64)
    n_kins = sum(len(k) for k in kin)
    return Slack(
        row=np.concatenate([*row, merged.link_row]),
        kin=np.concatenate([*kin, np.full(program.n_groups, -1)]),
        group=np.concatenate([np.full(n_kins, -1), np.arange(program.n_groups)]),
        low_side=np.concatenate([*low_side, np.zeros(program.n_groups, dtype=bool)]),
        size=np.concatenate([*size, np.maximum(length, 1)]),
    )


def with_slack(merged: Merged, slack: Slack) -> LinearModel:
    """Return the merged model without its goal, with the slack columns appended."""
    base = merged.model
    n, s = len(base.cost), len(slack.row)
    row = np.concatenate([np.repeat(np.arange(len(base.row_low)), np.diff(base.start)), slack.row])
    order = np.argsort(row, kind="stable")
    start = np.zeros(len(base.row_low) + 1, dtype=np.int32)
    np.cumsum(np.bincount(row, minlength=len(base.row_low)), out=start[1:])
    sign = np.where(slack.low_side, 1.0, -1.0)
    return LinearModel(
        cost=np.concatenate([np.zeros(n), -1.0 / slack.size]),
        low=np.concatenate([base.low, np.zeros(s)]),
        high=np.concatenate([base.high, np.full(s, np.inf)]),
        row_low=base.row_low,
        row_high=base.row_high,
        start=start,
        index=np.concatenate([base.index, n + np.arange(s, dtype=np.int32)])[order].astype(np.int32),
        value=np.concatenate([base.value, sign])[order],
    )


def _shortfalls(
    program: Program, merged: Merged, slack: Slack, taken: NDArray[np.float64]
) -> tuple[Shortfall, ...]:
    out = []
    for k in np.flatnonzero(taken / slack.size > _SEEN).tolist():
        relative = float(taken[k] / slack.size[k])
        group = int(slack.group[k])
        if group >= 0:
            out.append(Shortfall(None, float(taken[k]), relative, low_side=False, group=group))
            continue
        rows = tuple(np.flatnonzero(merged.kin_of == slack.kin[k]).tolist())
        amount = float(taken[k]) / len(rows)
        out.append(Shortfall(program.origins[rows[0]], amount, relative, bool(slack.low_side[k]), rows))
    return tuple(sorted(out, key=lambda s: (-s.relative, s.rows, s.group)))
