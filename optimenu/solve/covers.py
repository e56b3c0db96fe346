"""Limits of the kind "whatever is used of a group, so many packs are opened".

Where all columns of a worth group feed extra columns of one class, one use of any of them sets some of
these to 1 or more: an item that somebody eats at all opens a pack in every span of dates in which the plan
day comes round. In the merged relaxation uses are spread so thin that packs seem to be all but free.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.certificate import Cut
from optimenu.solve.rounding import EXACT, CutRow

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.merge import Merged


@dataclass(frozen=True, eq=False)
class Covers:
    """Limits ``least[k] * x[use[k]] - x[klass[k]] <= 0`` on the merged model's columns.

    Attributes
    ----------
    group, label : int64 (k,)
        Worth group and class as the Program numbers them.
    least : int64 (k,)
        The fewest extra columns of the class that a column of the group feeds.
    klass, use : int64 (k,)
        The merged columns of the class and of the group's first use.
    """

    group: NDArray[np.int64]
    label: NDArray[np.int64]
    least: NDArray[np.int64]
    klass: NDArray[np.int64]
    use: NDArray[np.int64]

    def broken(self, x: NDArray[np.float64], by: float) -> list[CutRow]:
        """Return those that an answer of the merged model breaks by more than so much."""
        over = np.flatnonzero(self.least * x[self.use] - x[self.klass] > by)
        return [self._row(k) for k in over.tolist()]

    def _row(self, k: int) -> CutRow:
        n = int(self.least[k])
        return CutRow(
            cut=Cut(1, 1, cover=(int(self.group[k]), int(self.label[k]), n)),
            column=np.asarray([self.klass[k], self.use[k]]),
            coef=np.asarray([-1, n]),
            high=0,
            size=1.0,
        )


def covers(program: Program, merged: Merged) -> Covers:
    """Return every such limit with the most extra columns that it can claim."""
    column, klass, times = _fed(program, merged)
    first = np.searchsorted(column, program.group_column)
    count = np.searchsorted(column, program.group_column, side="right") - first
    # every entry of a group beside every class its column feeds
    entry = np.repeat(first - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))
    members = np.diff(program.group_start)
    owner = np.repeat(np.repeat(np.arange(program.n_groups), members), count)
    pair, back, number = np.unique(
        owner * merged.n_class + klass[entry], return_inverse=True, return_counts=True
    )
    least = np.full(len(pair), np.iinfo(np.int64).max)
    np.minimum.at(least, back, times[entry])
    group, klass = np.divmod(pair, merged.n_class)
    good = (number == members[group]) & (np.diff(program.deduct_start)[group] > 0)
    good &= merged.model.high[klass] < EXACT
    group, klass, least = group[good], klass[good], least[good]
    return Covers(
        group=group,
        label=np.unique(program.column_class).astype(np.int64)[klass],
        least=least,
        klass=klass,
        # the group's first use stands by itself in the merged model, before the others
        use=merged.n_class + np.searchsorted(merged.use_group, group),
    )


def _fed(
    program: Program, merged: Merged
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Columns, rising, the class of extra columns each feeds, and how many of the class."""
    owner = np.repeat(np.arange(len(program.extra_kind)), np.diff(program.extra_start))
    plain = program.extra_divisor > 0
    # with a negative part a use need not open anything
    plain[owner[program.extra_coef <= 0]] = False
    keep = plain[owner]
    # a column named twice is fed once
    extra, column = np.divmod(np.unique(owner[keep] * program.n + program.extra_column[keep]), program.n)
    klass = merged.class_of[program.n_menu + extra]
    fed, times = np.unique(column * merged.n_class + klass, return_counts=True)
    column, klass = np.divmod(fed, merged.n_class)
    return column, klass, times
