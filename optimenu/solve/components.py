"""Which columns must be searched together, and which rows only share a limit between such parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.program import ORDINARY
from optimenu.solve.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program


@dataclass(frozen=True, eq=False)
class Components:
    """Partition of the serving columns.

    Parties with a common member, and columns of one worth group, are never parted.

    Attributes
    ----------
    count : int
        Number of components.
    of_column : int32 (n_menu,)
        Component of each serving column.
    of_row : int32 (m,)
        Component of an ordinary row that lies in one; -1 for the other rows.
    shared : int64
        Ordinary rows that reach into several components, rising.
    """

    count: int
    of_column: NDArray[np.int32]
    of_row: NDArray[np.int32]
    shared: NDArray[np.int64]

    def columns(self, component: int) -> NDArray[np.int64]:
        """Return the serving columns of a component, rising."""
        return np.flatnonzero(self.of_column == component).astype(np.int64)

    def rows(self, component: int) -> NDArray[np.int64]:
        """Return the component's own rows and every shared row, rising."""
        own = np.flatnonzero(self.of_row == component)
        return np.sort(np.concatenate([own, self.shared])).astype(np.int64)


def components(program: Program) -> Components:
    """Find the parts of a program that only shared rows tie together."""
    n = program.n_menu
    of_column = parts_of(program)
    least, most = _with_extras(program, of_column)
    of_row = np.full(program.m, -1, dtype=np.int32)
    reaches = np.zeros(program.m, dtype=np.bool_)
    _spans(program.row_start, program.row_column, least, most, of_row, reaches)
    ordinary = program.row_kind == ORDINARY
    of_row[~ordinary] = -1
    return Components(
        count=int(of_column.max()) + 1 if n else 0,
        of_column=of_column,
        of_row=of_row,
        shared=np.flatnonzero(reaches & ordinary).astype(np.int64),
    )


def parts_of(program: Program) -> NDArray[np.int32]:
    """Return the component of each serving column, int32 (n_menu,)."""
    label = _party_labels(program)
    parent = list(range(int(label.max()) + 1 if len(label) else 0))

    def root(k: int) -> int:
        while parent[k] != k:
            parent[k] = parent[parent[k]]
            k = parent[k]
        return k

    owner = np.repeat(np.arange(program.n_groups), np.diff(program.group_start))
    if len(owner):
        pairs = np.unique(np.stack([owner, label[program.group_column]], axis=1), axis=0)
        same = pairs[1:, 0] == pairs[:-1, 0]
        for a, b in zip(pairs[1:][same, 1], pairs[:-1][same, 1], strict=True):
            ra, rb = root(int(a)), root(int(b))
            parent[max(ra, rb)] = min(ra, rb)
    joined = np.asarray([root(k) for k in range(len(parent))], dtype=np.int64)
    _, number = np.unique(joined[label], return_inverse=True)
    return number.astype(np.int32)


def _with_extras(
    program: Program, of_column: NDArray[np.int32]
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Least and greatest component that every column draws on, int32 (n,) each."""
    n = program.n_menu
    least = np.full(program.n, np.iinfo(np.int32).max, dtype=np.int32)
    most = np.full(program.n, -1, dtype=np.int32)
    least[:n] = of_column
    most[:n] = of_column
    source = np.repeat(np.arange(n, program.n), np.diff(program.extra_start))
    np.minimum.at(least, source, of_column[program.extra_column])
    np.maximum.at(most, source, of_column[program.extra_column])
    return least, most


def parts_of_classes(
    program: Program, class_of: NDArray[np.int64], n_class: int
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Component of every class of columns and of every worth group, -1 for several or none; int32 each."""
    least, most = _with_extras(program, parts_of(program))
    low = np.full(n_class, np.iinfo(np.int32).max, dtype=np.int32)
    high = np.full(n_class, -1, dtype=np.int32)
    np.minimum.at(low, class_of, least)
    np.maximum.at(high, class_of, most)
    of_group = np.full(program.n_groups, -1, dtype=np.int32)
    filled = np.diff(program.group_start) > 0
    of_group[filled] = least[program.group_column[program.group_start[:-1][filled]]]
    return np.where(low == high, high, np.int32(-1)), of_group


def whole(program: Program) -> Components:
    """All serving columns as one component: nothing is shared, everything is searched together."""
    ordinary = program.row_kind == ORDINARY
    return Components(
        count=1 if program.n_menu else 0,
        of_column=np.zeros(program.n_menu, dtype=np.int32),
        of_row=np.where(ordinary, 0, -1).astype(np.int32),
        shared=np.zeros(0, dtype=np.int64),
    )


def _party_labels(program: Program) -> NDArray[np.int64]:
    """Number per serving column: equal for parties that have members in common."""
    party = program.party[: program.n_menu].astype(np.int64)
    top = int(party.max()) + 1 if len(party) else 0
    leader: dict[int, int] = {}
    label = list(range(max(top, len(program.members))))

    def root(k: int) -> int:
        while label[k] != k:
            k = label[k]
        return k

    for number, people in enumerate(program.members):
        for person in people:
            if person in leader:
                a, b = root(leader[person]), root(number)
                label[max(a, b)] = min(a, b)
            else:
                leader[person] = number
    flat = np.asarray([root(k) for k in range(len(label))], dtype=np.int64)
    # a label below zero names nobody: all such columns stay together
    return np.where(party >= 0, flat[np.maximum(party, 0)] + 1, 0) if len(party) else party


@compiled
def _spans(
    row_start: NDArray[np.int64],
    row_column: NDArray[np.int32],
    least: NDArray[np.int32],
    most: NDArray[np.int32],
    of_row: NDArray[np.int32],
    reaches: NDArray[np.bool_],
) -> None:
    """Component of every row, or whether it reaches into several."""
    for r in range(len(row_start) - 1):
        lo = np.int32(2147483647)
        hi = np.int32(-1)
        for k in range(row_start[r], row_start[r + 1]):
            c = row_column[k]
            lo = min(lo, least[c])
            hi = max(hi, most[c])
        if hi >= 0:
            if lo == hi:
                of_row[r] = hi
            else:
                reaches[r] = True
