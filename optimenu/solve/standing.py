"""How a choice stands with each person, in whole numbers, and rows that keep a search to it."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from optimenu.problem.problem import WORTH_DECIMALS
from optimenu.program.build import PRICE_DECIMALS
from optimenu.program.builder import scaled
from optimenu.program.origin import Origin
from optimenu.program.page import GOAL_DECIMALS
from optimenu.program.program import HARD, NO_HIGH, ORDINARY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.liking import Scale

_UNIT = 10**GOAL_DECIMALS
PULL = 3
"""What a row that keeps a person's liking costs, as a multiple of the person's price; from trials."""


class Standing(NamedTuple):
    """What a choice is worth in whole goal units, the price of soft breaches taken off both.

    Attributes
    ----------
    least : int
        Least liking, rounded down.
    mean : int
        Mean liking.
    """

    least: int
    mean: int


class Crew:
    """The persons of a Program in worth.

    Parameters
    ----------
    worth : Program
        As ``build`` returns it.
    scale : Scale
    """

    def __init__(self, worth: Program, scale: Scale) -> None:
        self.worth = worth
        self.count = len(scale.best)
        self.best = [scaled(b, WORTH_DECIMALS) for b in scale.best]
        self.price = [scaled(p, PRICE_DECIMALS) for p in scale.prices]
        self.entry_person = np.repeat(worth.group_person, np.diff(worth.group_start))
        self.entry_group = np.repeat(np.arange(worth.n_groups), np.diff(worth.group_start))
        length = np.diff(worth.deduct_start)
        # what the first n uses of each group cost, n from 0, group after group
        self.paid_start = np.append(0, np.cumsum(length + 1))
        total = np.append(0, np.cumsum(worth.deduction))
        at = np.arange(self.paid_start[-1]) - np.repeat(np.arange(worth.n_groups), length + 1)
        first = np.repeat(worth.deduct_start[:-1], length + 1)
        self.paid = total[at] - total[first]

    def worths(self, x: NDArray[np.int64]) -> list[int]:
        """Worth of a choice of all columns (n,) to each person, in the last decimal of a worth."""
        worth = self.worth
        out = np.zeros(self.count, dtype=np.int64)
        np.add.at(out, self.entry_person, worth.group_gain * x[worth.group_column])
        uses = np.minimum(worth.uses(x), np.diff(worth.deduct_start))
        np.subtract.at(out, worth.group_person, self.paid[self.paid_start[:-1] + uses])
        found: list[int] = out.tolist()
        return found

    def likings(self, x: NDArray[np.int64]) -> NDArray[np.float64]:
        """Liking of each person, float64 (people,), rounded as floating point does."""
        return np.asarray([w / b for w, b in zip(self.worths(x), self.best, strict=True)])

    def standing(self, x: NDArray[np.int64], excess: NDArray[np.int64]) -> Standing:
        """Tell how a choice (n,) with this excess over every row (m,) stands."""
        worths = self.worths(x)
        price = self.worth.row_price
        soft = np.flatnonzero((excess > 0) & (price != HARD))
        cost = sum(p * e for p, e in zip(price[soft].tolist(), excess[soft].tolist(), strict=True))
        least = min(w * _UNIT // b for w, b in zip(worths, self.best, strict=True))
        mean = sum(w * p for w, p in zip(worths, self.price, strict=True))
        return Standing(least - cost, mean - cost)

    def kept(self, program: Program, prices: Sequence[Decimal], level: float, use: NDArray[Any]) -> Program:
        """Return a program for searching, with a soft row for each person's liking.

        A row is linear and worth is not, because uses of an item cost deductions: the row takes those as
        they are at ``use``, so it is right there and nearly so around.

        Parameters
        ----------
        program : Program
            The worth at some prices.
        prices : sequence of Decimal
            Of each person's worth; a person's row costs a multiple of it.
        level : float
            Liking of which nobody should have less.
        use : float64 or int64 (n,)
            Use of every column: a relaxation's, or a menu.
        """
        worth = self.worth
        uses = np.zeros(worth.n_groups)
        np.add.at(uses, self.entry_group, use[worth.group_column])
        length = np.diff(worth.deduct_start)
        whole = np.minimum(np.floor(uses + 1e-6).astype(np.int64), length)
        at = np.minimum(worth.deduct_start[:-1] + whole, worth.deduct_start[1:] - 1)
        step = np.where(length > 0, worth.deduction[np.maximum(at, 0)] if len(worth.deduction) else 0, 0)
        held = self.paid[self.paid_start[:-1] + whole] - step * whole
        coef = worth.group_gain - step[self.entry_group]
        columns, coefs, lows, costs = [], [], [], []
        for p in range(self.count):
            own = np.flatnonzero(self.entry_person == p)
            own = own[np.argsort(worth.group_column[own], kind="stable")]
            low = int(level * self.best[p]) + int(held[worth.group_person == p].sum())
            columns.append(worth.group_column[own])
            coefs.append(coef[own])
            lows.append(low)
            costs.append(PULL * max(scaled(prices[p], PRICE_DECIMALS), self.price[p]))
        return _with_rows(program, columns, coefs, lows, costs)

    def counts(self, x: NDArray[np.int64], excess: NDArray[np.int64]) -> Standing:
        """As ``standing``, of the excess over the rows of a program that ``kept`` returned."""
        return self.standing(x, excess[: self.worth.m])


def _with_rows(
    program: Program,
    columns: Sequence[NDArray[np.int32]],
    coefs: Sequence[NDArray[np.int64]],
    lows: Sequence[int],
    prices: Sequence[int],
) -> Program:
    """Add soft rows of at least so much, each of a kin of its own."""
    count = len(columns)
    kin = int(program.row_kin.max(initial=-1)) + 1
    ends = int(program.row_start[-1]) + np.cumsum([len(c) for c in columns])

    def more(name: str, values: object) -> NDArray[Any]:
        before: NDArray[Any] = getattr(program, name)
        return np.append(before, np.asarray(values).astype(before.dtype))

    return replace(
        program,
        row_start=more("row_start", ends),
        row_column=more("row_column", np.concatenate(columns)),
        row_coef=more("row_coef", np.concatenate(coefs)),
        row_decimals=more("row_decimals", np.full(count, WORTH_DECIMALS)),
        row_low=more("row_low", lows),
        row_high=more("row_high", np.full(count, NO_HIGH)),
        row_price=more("row_price", prices),
        row_kin=more("row_kin", kin + np.arange(count)),
        row_kind=more("row_kind", np.full(count, ORDINARY)),
        origins=(*program.origins, *(Origin("goal", "goal.first") for _ in range(count))),
    )
