"""Which of a program's limits hold together: one elastic linear program, asked again and again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.dual import column_costs, dual_value
from optimenu.solve.elastic import proof_of, slacks, with_slack
from optimenu.solve.linear import OpenModel
from optimenu.solve.merge import merge

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from numpy.typing import NDArray

    from optimenu.program.program import Program

_SEEN = 1e-9
"""Relative shortfalls below this are the solver's rounding."""


@dataclass(frozen=True, eq=False)
class Owned:
    """A program worth nothing whose rows and columns belong to limits, numbered from 0.

    Attributes
    ----------
    program : Program
        Hard rows only, no worth groups.
    row_owner : int64 (m,)
        Limit of each row; -1 for what is always kept.
    closing : tuple of frozenset of int
        Sets of limits; a column is closed, at 0, while any of its set is asked for.
    column_set : int64 (n,)
        Set of each column.
    """

    program: Program
    row_owner: NDArray[np.int64]
    closing: tuple[frozenset[int], ...]
    column_set: NDArray[np.int64]

    def closed(self, asked: Collection[int]) -> NDArray[np.bool_]:
        """Columns at 0 while these limits are asked for, bool (n,)."""
        shut = np.asarray([not s.isdisjoint(asked) for s in self.closing], dtype=bool)
        return shut[self.column_set]

    def rows(self, asked: Collection[int]) -> NDArray[np.bool_]:
        """Rows of these limits and those always kept, bool (m,)."""
        return (self.row_owner < 0) | np.isin(self.row_owner, list(asked))

    def narrowed(self, asked: Collection[int]) -> tuple[Owned, NDArray[np.int64]]:
        """Return the same columns with the rows of these limits alone, and the numbers of those rows."""
        rows = self.rows(asked)
        program = self.program.part(np.ones(self.program.n, dtype=bool), rows)
        return replace(self, program=program, row_owner=self.row_owner[rows]), np.flatnonzero(rows)

    def part(self, asked: Collection[int]) -> tuple[Program, NDArray[np.int64]]:
        """Return the program of these limits and of the columns they leave open, and those columns."""
        columns = ~self.closed(asked)
        return self.program.part(columns, self.rows(asked)), np.flatnonzero(columns)


@dataclass(frozen=True, eq=False)
class Answer:
    """What became of a set of limits.

    Attributes
    ----------
    impossible : bool
        Proved in whole numbers: no choice keeps them all.
    multiplier : dict of int to int
        Whole multipliers of the rows that prove it.
    weight : dict of int to float
        Limits whose rows or closed columns take part in the proof, and how much.
    leaning : bool (n,)
        Closed columns that would undo the proof if they were open.
    """

    impossible: bool
    multiplier: Mapping[int, int]
    weight: Mapping[int, float]
    leaning: NDArray[np.bool_]


class Subsets:
    """The merged elastic program of an ``Owned``, kept open from question to question.

    Raises
    ------
    ValueError
        When a column may be negative.
    """

    def __init__(self, owned: Owned) -> None:
        # kins and classes are split where their members belong to different limits
        base = owned.program
        self.owned = owned
        self.program = replace(
            base,
            row_kin=_split(base.row_kin, owned.row_owner),
            column_class=_split(base.column_class, owned.column_set),
        )
        self._merged = merged = merge(self.program)
        self._slack = slack = slacks(self.program, merged, links=False)
        kin_owner = np.zeros(len(merged.kin_decimals), dtype=np.int64)
        kin_owner[merged.kin_of] = owned.row_owner
        self._owner = np.where(slack.kin >= 0, kin_owner[slack.kin], -1)
        class_set = np.zeros(merged.n_class, dtype=np.int64)
        class_set[merged.class_of] = owned.column_set
        self._class_set = class_set
        self._model = with_slack(merged, slack)
        self._lp, self._asked = OpenModel(self._model), False
        self._n = len(merged.model.cost)

    def ask(self, asked: Collection[int]) -> Answer:
        """Tell whether these limits, and what is always kept, are proved not to hold together."""
        slack, n = self._slack, self._n
        on = (self._owner < 0) | np.isin(self._owner, list(asked))
        numbers = np.arange(len(slack.size), dtype=np.int32)
        self._lp.price(np.where(on, -1 / slack.size, 0.0), n + numbers)
        shut = np.asarray([not s.isdisjoint(asked) for s in self.owned.closing], dtype=bool)
        may = np.flatnonzero(np.asarray([bool(s) for s in self.owned.closing], dtype=bool)[self._class_set])
        highs = np.where(shut[self._class_set[may]], 0.0, self._merged.model.high[may])
        self._lp.bound(may.astype(np.int32), np.zeros(len(may)), highs)
        result = self._lp.solve(primal=self._asked)
        self._asked = True
        nothing = Answer(False, {}, {}, np.zeros(self.program.n, dtype=bool))
        if result.status != "solved" or -result.objective <= _SEEN:
            return nothing
        y, worth, shift = proof_of(self.program, self._merged, result)
        keep = self.owned.rows(asked)
        y = {r: v for r, v in y.items() if keep[r]}
        closed = self.owned.closed(asked)
        here = replace(self.program, high=np.where(closed, 0, self.program.high))
        if dual_value(here, y, worth, shift) >= 0:
            return nothing
        # a column at 0 that would pay more than it costs is kept at 0 for the proof's sake
        gain = -np.asarray(column_costs(self.program, y), dtype=np.float64)
        leaning = closed & (gain > 0)
        return Answer(True, y, self._weights(y, np.where(leaning, gain, 0.0), asked), leaning)

    def _weights(
        self, y: Mapping[int, int], gain: NDArray[np.float64], asked: Collection[int]
    ) -> dict[int, float]:
        """How much of the proof each limit bears: its rows' part, or what its closed columns would undo."""
        weight: dict[int, float] = {}
        p = self.program
        for r, v in y.items():
            owner = int(self.owned.row_owner[r])
            if owner >= 0:
                limit = abs(int(p.row_high[r] if v > 0 else p.row_low[r]))
                weight[owner] = weight.get(owner, 0.0) + abs(v) * float(max(limit, 1))
        undone = np.bincount(self.owned.column_set, gain * p.high, len(self.owned.closing))
        for k in np.flatnonzero(undone).tolist():
            for owner in self.owned.closing[k].intersection(asked):
                weight[owner] = weight.get(owner, 0.0) + float(undone[k])
        return weight


def _split(label: NDArray[np.int32], part: NDArray[np.int64]) -> NDArray[np.int32]:
    """Labels that tell apart what has different parts."""
    span = int(part.max(initial=0)) + 2
    _, number = np.unique(label.astype(np.int64) * span + part + 1, return_inverse=True)
    parted: NDArray[np.int32] = number.astype(np.int32).reshape(-1)
    return parted
