"""Questions to a board: whether some of its limits hold together, and a menu where they do."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.bound import relax
from optimenu.solve.subsets import Subsets
from optimenu.solve.whole import any_menu

if TYPE_CHECKING:
    from collections.abc import Collection

    from numpy.typing import NDArray

    from optimenu.explain.board import Board
    from optimenu.program.program import Program
    from optimenu.solve.subsets import Answer

SMALL = 40_000
"""Entries up to which HiGHS may decide in whole numbers; beyond them it may take for ever."""
MOVES = 300_000, 2_000_000
"""Moves of a search for a menu that keeps all limits of a conflict but one, and of a second try."""


class Desk:
    """One board and its linear program, which is made anew whenever far fewer limits are asked for."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.small = len(board.program.row_coef) <= SMALL
        self._held: frozenset[int] = frozenset()
        self._subsets: Subsets | None = None
        self._rows = np.zeros(0, dtype=np.int64)

    def ask(self, asked: Collection[int]) -> Answer:
        """Tell whether these limits are proved not to hold together, and on which rows that leans."""
        wanted = frozenset(asked)
        few = 2 * len(wanted - self.board.patterns) <= len(self._held - self.board.patterns)
        if self._subsets is None or few or not wanted <= self._held:
            owned, self._rows = self.board.owned.narrowed(wanted)
            self._subsets, self._held = Subsets(owned), wanted
        answer = self._subsets.ask(wanted)
        return replace(answer, multiplier={int(self._rows[r]): v for r, v in answer.multiplier.items()})

    def impossible(self, asked: Collection[int], *, presolve: bool = True) -> bool:
        """Tell whether HiGHS finds that no menu keeps these limits; for small boards."""
        part, _ = self.board.owned.part(asked)
        return any_menu(part, presolve=presolve).status == "impossible"

    def menu(self, asked: Collection[int]) -> NDArray[np.int64] | None:
        """Servings in the board's columns (n_menu,) that keep these limits, or None if none was found."""
        part, columns = self.board.owned.part(asked)
        found = any_menu(part).counts if self.small else _searched(part)
        if found is None:
            return None
        counts = np.zeros(self.board.program.n_menu, dtype=np.int64)
        counts[columns[: part.n_menu]] = found
        return counts

    def possible(self, asked: Collection[int]) -> bool:
        """Tell whether the linear relaxation of these limits has an answer, as HiGHS says."""
        return relax(self.board.owned.part(asked)[0]).status == "solved"


def _searched(program: Program) -> NDArray[np.int64] | None:
    # compiling the search takes a second or more; who asks about small boards need not wait for it
    from optimenu.solve.search import search

    relaxation = relax(program)
    if relaxation.status != "solved":
        return None
    for moves in MOVES:
        found = search(program, relaxation, moves=moves, seed=1, threads=1, enough=lambda _: True).counts
        if found is not None:
            return found
    return None
