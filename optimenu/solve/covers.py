"""Limits of the kind "whatever is used of a group, so many packs are opened".

Where all columns of a worth group feed extra columns of one class, one use of any of them sets some of
these to 1 or more: an item that somebody eats at all opens a pack in every span of dates in which the plan
day comes round. In the merged relaxation uses are spread so thin that packs seem to be all but free.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.certificate import Cut
from optimenu.solve.rounding import CutRow

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.merge import Merged


def covers(program: Program, merged: Merged) -> list[CutRow]:
    """Return every such limit with the most extra columns that it can claim."""
    group, klass, least = _least_fed(program, merged)
    label = np.unique(program.column_class)[klass]
    # the group's first use stands by itself in the merged model, before the others
    use = np.searchsorted(merged.use_group, group)
    return [
        CutRow(
            cut=Cut(1, 1, cover=(g, k, n)),
            column=np.asarray([c, merged.n_class + u], dtype=np.int64),
            coef=np.asarray([-1, n], dtype=np.int64),
            high=0,
            size=1.0,
        )
        for g, k, n, c, u in zip(*(a.tolist() for a in (group, label, least, klass, use)), strict=True)
    ]


def _least_fed(
    program: Program, merged: Merged
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Groups, classes that every column of the group feeds, and the fewest extra columns it feeds there."""
    column, klass, times = _fed(program, merged)
    first = np.searchsorted(column, program.group_column)
    count = np.searchsorted(column, program.group_column, side="right") - first
    # every entry of a group beside every class its column feeds
    entry = np.repeat(first - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))
    owner = np.repeat(np.repeat(np.arange(program.n_groups), np.diff(program.group_start)), count)
    pair, back, number = np.unique(
        owner * merged.n_class + klass[entry], return_inverse=True, return_counts=True
    )
    least = np.full(len(pair), np.iinfo(np.int64).max)
    np.minimum.at(least, back, times[entry])
    group, of_class = np.divmod(pair, merged.n_class)
    every = (number == np.diff(program.group_start)[group]) & (np.diff(program.deduct_start)[group] > 0)
    return group[every], of_class[every], least[every]


def _fed(program: Program, merged: Merged) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Columns, rising, the class of extra columns each feeds, and how many of the class."""
    owner = np.repeat(np.arange(len(program.extra_kind)), np.diff(program.extra_start))
    plain = np.ones(len(program.extra_kind), dtype=bool)
    # with a negative part a use need not open anything
    plain[owner[program.extra_coef <= 0]] = False
    keep = plain[owner]
    klass = merged.class_of[program.n_menu + owner[keep]]
    fed, times = np.unique(program.extra_column[keep] * merged.n_class + klass, return_counts=True)
    column, klass = np.divmod(fed, merged.n_class)
    return column, klass, times
