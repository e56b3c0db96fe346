"""The plain model of a few serving columns, the others as a menu has them: arrays for HiGHS."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import highspy
import numpy as np

from optimenu.program.compressed import ranges
from optimenu.program.program import HARD, IMPLIED, NO_HIGH, NO_LOW
from optimenu.program.to_pulp import goal_unit
from optimenu.solve.linear import EXACT, INTERRUPTS, LinearModel, loaded, look_at, ready

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.halt import Stop

OPTIONS = {"mip_rel_gap": 0.0, "mip_abs_gap": 0.0, **EXACT}


@dataclass(frozen=True, eq=False)
class Part:
    """A plain model of a part of a Program.

    Attributes
    ----------
    model : LinearModel
        Its columns: the free columns, then uses of their worth groups, then slacks of soft rows. Goal in
        units of ``goal_unit`` whole goal units.
    columns : int64 (k,)
        Columns of the Program that are free, extra ones after the servings, rising.
    """

    model: LinearModel
    columns: NDArray[np.int64]


class Plain:
    """Makes parts of one Program.

    Parameters
    ----------
    program : Program
        Without continuous columns.
    """

    def __init__(self, program: Program) -> None:
        self.program = program
        self.unit = float(goal_unit(program))
        self._said = program.row_kind != IMPLIED
        self._of_source = np.repeat(np.arange(len(program.extra_kind)), np.diff(program.extra_start))
        self._of_group = np.repeat(np.arange(program.n_groups), np.diff(program.group_start))

    def part(self, counts: NDArray[np.int64], free: NDArray[np.bool_], more: NDArray[np.float64]) -> Part:
        """Return the model of some servings, the others as in a menu.

        Parameters
        ----------
        counts : int64 (n_menu,)
            The menu.
        free : bool (n_menu,)
            Servings to choose anew.
        more : float64 (n_menu,)
            What a serving of each column earns more, in units of ``goal_unit``.
        """
        p = self.program
        drawn = np.zeros(p.n, dtype=bool)
        drawn[: p.n_menu] = free
        fed = np.unique(self._of_source[drawn[p.extra_column]])
        drawn[p.n_menu + fed] = True
        columns = np.flatnonzero(drawn).astype(np.int64)
        number = np.full(p.n, -1, dtype=np.int64)
        number[columns] = np.arange(len(columns))
        kept = p.complete(counts)
        kept[columns] = 0

        entry = drawn[p.row_column] & self._said[p.row_of_entry]
        rows = np.unique(p.row_of_entry[entry])
        place = np.zeros(p.m, dtype=np.int64)
        place[rows] = np.arange(len(rows))
        one = 10.0 ** -p.row_decimals[rows].astype(np.float64)
        others = p.activity(kept)[rows]
        low = np.where(p.row_low[rows] == NO_LOW, -np.inf, (p.row_low[rows] - others) * one)
        high = np.where(p.row_high[rows] == NO_HIGH, np.inf, (p.row_high[rows] - others) * one)
        at = [place[p.row_of_entry[entry]]]
        index = [number[p.row_column[entry]]]
        value = [p.row_coef[entry] * one[at[0]]]

        group, uses = self._uses(drawn)
        first = len(columns)
        link = len(rows) + np.arange(len(group))
        own = np.flatnonzero(drawn[p.group_column])
        pair, times = np.unique(
            np.stack([np.searchsorted(group, self._of_group[own]), number[p.group_column[own]]]),
            axis=1,
            return_counts=True,
        )
        at += [link[pair[0]], np.repeat(link, np.diff(p.deduct_start)[group])]
        index += [pair[1], first + np.arange(len(uses))]
        value += [times.astype(np.float64), -np.ones(len(uses))]
        linked = -p.uses(kept)[group].astype(np.float64)

        soft = p.row_price[rows] != HARD
        over, under = np.flatnonzero(soft & np.isfinite(high)), np.flatnonzero(soft & np.isfinite(low))
        first += len(uses)
        slack = first + np.arange(len(over) + len(under))
        at.append(np.concatenate([over, under]))
        index.append(slack)
        value.append(np.concatenate([-np.ones(len(over)), np.ones(len(under))]))
        price = (p.row_price[rows] / one)[at[-1]]

        start, order = _rows_of(np.concatenate(at), len(rows) + len(group))
        gain = p.gain[columns] / self.unit
        gain[columns < p.n_menu] += more[free]
        model = LinearModel(
            cost=np.concatenate([gain, -p.deduction[uses] / self.unit, -price / self.unit]),
            low=np.concatenate([p.low[columns], np.zeros(len(uses) + len(slack))]).astype(np.float64),
            high=np.concatenate([p.high[columns], np.ones(len(uses)), np.full(len(slack), np.inf)]).astype(
                np.float64
            ),
            row_low=np.concatenate([low, linked]),
            row_high=np.concatenate([high, linked]),
            start=start,
            index=np.concatenate(index)[order].astype(np.int32),
            value=np.concatenate(value)[order],
        )
        return Part(model, columns)

    def _uses(self, drawn: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Worth groups that free columns count in, rising, and the places of their uses."""
        p = self.program
        group = np.unique(self._of_group[drawn[p.group_column]]).astype(np.int64)
        return group, ranges(p.deduct_start[group], np.diff(p.deduct_start)[group])


def _rows_of(at: NDArray[np.int64], m: int) -> tuple[NDArray[np.int32], NDArray[np.intp]]:
    start = np.zeros(m + 1, dtype=np.int32)
    np.cumsum(np.bincount(at, minlength=m), out=start[1:])
    return start, np.argsort(at, kind="stable")


def improve(
    part: Part, menu: NDArray[np.int64], nodes: int, stop: Stop | None = None
) -> tuple[NDArray[np.int64], bool]:
    """Let HiGHS look for better values of the free columns; one thread, the same every time.

    Parameters
    ----------
    menu : int64 (k,)
        Values of the free columns to begin with.
    nodes : int
        Most nodes of its tree.
    stop : Stop, optional
        Ends it within milliseconds when set.

    Returns
    -------
    values : int64 (k,)
        Rounded; the solver's own finding, to be checked.
    closed : bool
        True when it says, in its own floating point, that nothing is better.
    """
    ready()
    k = len(part.columns)
    whole = np.zeros(len(part.model.cost), dtype=np.int32)
    whole[:k] = int(highspy.HighsVarType.kInteger)
    solver = loaded(part.model, {**OPTIONS, "mip_max_nodes": nodes}, whole)
    solver.setSolution(k, np.arange(k, dtype=np.int32), menu.astype(np.float64))
    solver.setCallback(look_at(stop), None)
    for kind in INTERRUPTS:
        solver.startCallback(kind)
    solver.run()
    found = solver.getInfo().primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    closed = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    if not found:
        return menu, False
    values = np.asarray(solver.getSolution().col_value, dtype=np.float64)[:k]
    return np.rint(values).astype(np.int64), closed
