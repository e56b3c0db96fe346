"""Limits that follow from what a use is, not from rows: most are never broken, so they wait.

Where all columns of a worth group feed extra columns of one class, one use of any of them sets some of
these to 1 or more: an item that somebody eats at all opens a pack in every span of dates in which the plan
day comes round. In the merged relaxation uses are spread so thin that packs seem to be all but free. Once
a group's first use has to pay for its packs, the relaxation would make later ones without it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.certificate import Cut
from optimenu.program.compressed import ranges
from optimenu.solve.rounding import EXACT, CutRow

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.merge import Merged


@dataclass(frozen=True, eq=False)
class Waiting:
    """Limits ``sum coef[k] * x[column[k]] <= 0`` on the merged model's columns.

    Attributes
    ----------
    field : str
        What they are: ``cover`` or ``later`` of ``Cut``.
    name : int64 (k, 3)
        What that field says of each.
    column, coef : int64 (k, 2)
        Columns rising.
    """

    field: str
    name: NDArray[np.int64]
    column: NDArray[np.int64]
    coef: NDArray[np.int64]

    def broken(self, x: NDArray[np.float64], by: float) -> list[CutRow]:
        """Return those that an answer of the merged model breaks by more than so much."""
        over = (self.coef * x[self.column]).sum(axis=1) > by
        return [
            CutRow(Cut(1, 1, **{self.field: tuple(name)}), column, coef, high=0, size=1.0)
            for name, column, coef in zip(
                self.name[over].tolist(), self.column[over], self.coef[over], strict=True
            )
        ]


def covers(program: Program, merged: Merged) -> Waiting:
    """Return every cover with the most extra columns that it can claim."""
    column, klass, times = _fed(program, merged)
    first = np.searchsorted(column, program.group_column)
    count = np.searchsorted(column, program.group_column, side="right") - first
    # every entry of a group beside every class its column feeds
    entry = ranges(first, count)
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
    label = merged.class_label[klass]
    # the group's first use stands by itself in the merged model, before the others
    use = merged.n_class + np.searchsorted(merged.use_group, group)
    return Waiting(
        "cover",
        np.stack([group, label, least], axis=1),
        np.stack([klass, use], axis=1),
        np.stack([np.full(len(least), -1), least], axis=1),
    )


def laters(program: Program, merged: Merged) -> Waiting:
    """Return for every use column but a group's first that its uses come after that one."""
    group = merged.use_group
    first = np.searchsorted(group, group)
    use = np.flatnonzero(first != np.arange(len(group)))
    length = merged.use_length[use]
    number = merged.use_place[use] - program.deduct_start[group[use]] + 1
    return Waiting(
        "later",
        np.stack([group[use], number, number + length - 1], axis=1),
        merged.n_class + np.stack([first[use], use], axis=1),
        np.stack([-length, np.ones_like(length)], axis=1),
    )


def _fed(program: Program, merged: Merged) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
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
