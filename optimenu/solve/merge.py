"""The merged model: one column for a class of columns, one row for a kin of rows.

Days of one class are interchangeable, so a best answer of the relaxation may be taken the same on
each of them. Summing their columns and rows leaves a small linear program whose optimum is no lower
than the Program's. Where a sum is not the same for all columns of a class, the least coefficient
stands on the high side and the greatest on the low side, which is still no lower because uses are
never negative.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import HARD, NO_HIGH, NO_LOW
from optimenu.solve.blocks import NO_PART
from optimenu.solve.linear import LinearModel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program


@dataclass(frozen=True, eq=False)
class Merged:
    """The merged linear program and the way back.

    Its columns: one per class, then the uses of the worth groups, then the slacks of soft rows.

    Attributes
    ----------
    model : LinearModel
        Rows in units (not last decimals); goal in units of ``goal_unit`` whole goal units.
    goal_unit : float
    class_of : int64 (n,)
        Class of every column of the Program, numbered from 0.
    class_label, kin_label : int32
        What the Program calls each class and each kin.
    n_class : int
    kin_of : int64 (m,)
        Kin of every row of the Program, numbered from 0.
    kin_decimals : int64 (K,)
        Decimals in which the kin was summed.
    kin_price : float64 (K,)
        Least price of the kin per unit of ``kin_decimals``; infinite where all its rows are hard.
    kin_limit : float64 (K, 2)
        Summed low and high limit, in units.
    high_row, low_row : int64 (K,)
        The merged row that bears the kin's high and low side, -1 for none; both the same where the
        sum is constant over every class.
    link_row : int64 (G,)
        The row that ties a worth group's columns to its uses.
    use_group : int64 (u,)
        Worth group of each use column. A group's first use has one to itself, for limits that speak of
        it alone; equal deductions after it share one.
    use_place, use_length : int64 (u,)
        Place of its first use in the Program's ``deduction``, and how many uses it is.
    exact : bool (K,)
        Whether the kin's sum is the same for all columns of every class, and its rows have the same
        decimals.
    """

    model: LinearModel
    goal_unit: float
    class_of: NDArray[np.int64]
    class_label: NDArray[np.int32]
    n_class: int
    kin_of: NDArray[np.int64]
    kin_label: NDArray[np.int32]
    kin_decimals: NDArray[np.int64]
    kin_price: NDArray[np.float64]
    kin_limit: NDArray[np.float64]
    high_row: NDArray[np.int64]
    low_row: NDArray[np.int64]
    link_row: NDArray[np.int64]
    use_group: NDArray[np.int64]
    use_place: NDArray[np.int64]
    use_length: NDArray[np.int64]
    exact: NDArray[np.bool_]

    def places(self, use: int) -> range:
        """Places in the Program's ``deduction`` of a use column."""
        first = int(self.use_place[use])
        return range(first, first + int(self.use_length[use]))


@dataclass(frozen=True, eq=False)
class _Parts:
    """Growing triples of the merged matrix."""

    row: list[NDArray[np.int64]]
    column: list[NDArray[np.int64]]
    value: list[NDArray[np.float64]]

    def add(self, row: NDArray[np.int64], column: NDArray[np.int64], value: NDArray[np.float64]) -> None:
        keep = value != 0
        self.row.append(row[keep])
        self.column.append(column[keep])
        self.value.append(value[keep])


def merge(program: Program) -> Merged:
    """Return the merged model of a program.

    Raises
    ------
    ValueError
        When a column may be negative: the sums below need uses that are not.
    """
    # the compiler's package takes a part of a second to load; who only reads a run need not wait for it
    from optimenu.solve.components import parts_of_classes
    from optimenu.solve.sums import sums

    if np.any(program.low < 0):
        msg = f"column {int(np.argmax(program.low < 0))} may be negative; uses are counted from 0"
        raise ValueError(msg)
    class_label, class_of, sizes = _renumber(program.column_class)
    kin_label, kin_of, _ = _renumber(program.row_kin)
    n_class, n_kin = len(sizes), int(kin_of.max(initial=-1)) + 1
    decimals = np.zeros(n_kin, dtype=np.int64)
    np.maximum.at(decimals, kin_of, program.row_decimals.astype(np.int64))

    kin, klass, least, most = sums(program, class_of, sizes, kin_of, decimals)
    constant = np.ones(n_kin, dtype=bool)
    constant[kin[least != most]] = False
    alike = np.ones(n_kin, dtype=bool)
    alike[kin_of[program.row_decimals != decimals[kin_of]]] = False
    unit = 10.0 ** -decimals.astype(np.float64)
    low, high, price = limits(program, kin_of, decimals)

    # rows: the kin's high side (with the low side where one row can bear both), low sides, links
    has_high, has_low = np.isfinite(high), np.isfinite(low)
    high_row = np.where(has_high, np.cumsum(has_high) - 1, -1)
    alone = has_low & ~(has_high & constant)
    low_row = np.where(has_high & constant & has_low, high_row, -1)
    n_high, n_alone = int(has_high.sum()), int(alone.sum())
    low_row[alone] = n_high + np.arange(n_alone)
    link_row = n_high + n_alone + np.arange(program.n_groups)
    row_low = np.concatenate([np.where(constant, low, -np.inf)[has_high], low[alone]])
    row_high = np.concatenate([high[has_high], np.full(n_alone, np.inf)])

    parts = _Parts([], [], [])
    on_high = has_high[kin]
    parts.add(high_row[kin[on_high]], klass[on_high], least[on_high] * unit[kin[on_high]])
    on_low = alone[kin]
    parts.add(low_row[kin[on_low]], klass[on_low], most[on_low] * unit[kin[on_low]])

    goal = gains(program, class_of, n_class)
    use_group, use_place, use_length = _uses(program)
    use_cost = program.deduction[use_place].astype(np.float64)
    n_use = len(use_group)
    link_low, link_high = _links(program, parts, class_of, sizes, link_row)
    parts.add(link_row[use_group], n_class + np.arange(n_use), np.full(n_use, -1.0))

    soft_high = np.flatnonzero(has_high & np.isfinite(price))
    soft_low = np.flatnonzero(has_low & np.isfinite(price))
    first = n_class + n_use
    parts.add(high_row[soft_high], first + np.arange(len(soft_high)), np.full(len(soft_high), -1.0))
    first += len(soft_high)
    parts.add(low_row[soft_low], first + np.arange(len(soft_low)), np.ones(len(soft_low)))
    slack_cost = (price / unit)[np.concatenate([soft_high, soft_low])]

    goal_unit = _goal_unit(goal, use_cost, slack_cost)
    col_low, col_high = ends(program, class_of, n_class)
    n_slack = len(slack_cost)
    start, index, value = _compress(parts, len(row_low) + program.n_groups)
    of_class, of_group = parts_of_classes(program, class_of, n_class)
    model = LinearModel(
        cost=np.concatenate([goal, -use_cost, -slack_cost]) / goal_unit,
        low=np.concatenate([col_low, np.zeros(n_use + n_slack)]),
        high=np.concatenate([col_high, use_length.astype(np.float64), np.full(n_slack, np.inf)]),
        row_low=np.concatenate([row_low, link_low]),
        row_high=np.concatenate([row_high, link_high]),
        start=start,
        index=index,
        value=value,
        part=np.concatenate([of_class, of_group[use_group], np.full(n_slack, NO_PART, dtype=np.int32)]),
    )
    return Merged(
        model=model,
        goal_unit=goal_unit,
        class_of=class_of,
        class_label=class_label,
        n_class=n_class,
        kin_of=kin_of,
        kin_label=kin_label,
        kin_decimals=decimals,
        kin_price=price,
        kin_limit=np.stack([low, high], axis=1),
        high_row=high_row,
        low_row=low_row,
        link_row=link_row,
        use_group=use_group,
        use_place=use_place,
        use_length=use_length,
        exact=constant & alike,
    )


def _renumber(
    labels: NDArray[np.int32],
) -> tuple[NDArray[np.int32], NDArray[np.int64], NDArray[np.int64]]:
    """Distinct labels, the number of each label among them, and how often each occurs."""
    names, number, counts = np.unique(labels, return_inverse=True, return_counts=True)
    return names, number.astype(np.int64), counts.astype(np.int64)


def ends(
    program: Program, class_of: NDArray[np.int64], n_class: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Fewest and most uses of each class (n_class,)."""
    low = np.bincount(class_of, weights=program.low, minlength=n_class).astype(np.float64)
    return low, np.bincount(class_of, weights=program.high, minlength=n_class).astype(np.float64)


def gains(program: Program, class_of: NDArray[np.int64], n_class: int) -> NDArray[np.float64]:
    """What a use of each class earns, in whole goal units (n_class,): the most of its columns."""
    goal = np.full(n_class, -np.inf)
    np.maximum.at(goal, class_of, program.gain.astype(np.float64))
    return goal


def _goal_unit(*costs: NDArray[np.float64]) -> float:
    # a largest gain of about 10 makes the solver's absolute tolerances small against the goal
    for cost in costs:
        largest = float(np.abs(cost).max(initial=0.0))
        if largest > 0:
            return largest / 10
    return 1.0


def limits(
    program: Program, kin_of: NDArray[np.int64], decimals: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Summed limits of kins in units, and the least price per last decimal; infinite where hard or absent."""
    n_kin = len(decimals)
    own = 10.0 ** -program.row_decimals.astype(np.float64)
    lows: NDArray[np.float64] = np.where(program.row_low == NO_LOW, -np.inf, program.row_low * own)
    highs: NDArray[np.float64] = np.where(program.row_high == NO_HIGH, np.inf, program.row_high * own)
    # prices of rows with fewer decimals, per the kin's last decimal
    ratio = 10.0 ** (program.row_decimals - decimals[kin_of])
    each: NDArray[np.float64] = np.where(program.row_price == HARD, np.inf, program.row_price * ratio)
    price = np.full(n_kin, np.inf)
    np.minimum.at(price, kin_of, each)
    # a sum without one of its limits has none: infinity stays infinity
    low: NDArray[np.float64] = np.bincount(kin_of, weights=lows, minlength=n_kin).astype(np.float64)
    high: NDArray[np.float64] = np.bincount(kin_of, weights=highs, minlength=n_kin).astype(np.float64)
    return low, high, price


def _uses(program: Program) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Group, first place and number of the uses of every use column."""
    owner = np.repeat(np.arange(program.n_groups), np.diff(program.deduct_start))
    if not len(owner):
        none = np.zeros(0, dtype=np.int64)
        return none, none, none
    new = np.concatenate(
        [[True], (owner[1:] != owner[:-1]) | (program.deduction[1:] != program.deduction[:-1])]
    )
    second = program.deduct_start[:-1] + 1
    new[second[second < program.deduct_start[1:]]] = True
    starts = np.flatnonzero(new)
    return owner[starts], starts, np.diff(np.append(starts, len(owner)))


def _links(
    program: Program,
    parts: _Parts,
    class_of: NDArray[np.int64],
    sizes: NDArray[np.int64],
    link_row: NDArray[np.int64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Add the columns of every group to its link row; return the rows' limits."""
    owner = np.repeat(np.arange(program.n_groups), np.diff(program.group_start))
    n_class = len(sizes)
    key, count = np.unique(owner * n_class + class_of[program.group_column], return_counts=True)
    group, klass = np.divmod(key, max(n_class, 1))
    named, column = np.divmod(np.unique(owner * program.n + program.group_column), max(program.n, 1))
    _, columns = np.unique(named * n_class + class_of[column], return_counts=True)
    whole = (columns == sizes[klass]) & (count == columns)
    # a class that lies only partly in the group, or has a column there that counts twice: its least
    # coefficient there may be 0, uses may then be more
    parts.add(link_row[group[whole]], klass[whole], np.ones(int(whole.sum())))
    low = np.zeros(program.n_groups)
    low[group[~whole]] = -np.inf
    return low, np.zeros(program.n_groups)


def _compress(parts: _Parts, n_rows: int) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.float64]]:
    row = np.concatenate(parts.row)
    order = np.argsort(row, kind="stable")
    start = np.zeros(n_rows + 1, dtype=np.int32)
    np.cumsum(np.bincount(row, minlength=n_rows), out=start[1:])
    return start, np.concatenate(parts.column)[order].astype(np.int32), np.concatenate(parts.value)[order]
