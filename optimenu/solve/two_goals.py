"""The road to a menu that looks to the least-liking person first, and to the mean after that.

The relaxation says how high the least liking can be and at which prices of the persons' worth that is
proved (``fair``). The first search looks for a menu at those prices, its shared limits dealt as the
relaxation deals them. Levellings then move shared limits to those who are behind, and a last search raises
the mean from that menu at prices that keep the least liking where it is. Menus are compared by their exact
likings, never by what the search was told.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.build import PRICE_DECIMALS, priced
from optimenu.program.page import GOAL_DECIMALS
from optimenu.solve.cuts import ROUNDS
from optimenu.solve.elastic import without_menu
from optimenu.solve.fair import FairModel
from optimenu.solve.halt import why
from optimenu.solve.merge import merge
from optimenu.solve.outcome import First, Outcome, Progress
from optimenu.solve.outcome import gap as gap_of
from optimenu.solve.standing import Crew

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.bound import Relaxation
    from optimenu.solve.fair import Weighted
    from optimenu.solve.halt import Stop
    from optimenu.solve.liking import Scale
    from optimenu.solve.outcome import Ended, Phase
    from optimenu.solve.search import SearchResult

FIRST_PART, LEVEL_PART, LEVELLINGS = 0.5, 0.15, 2
"""Of the moves, for the first search and for each levelling; how many of these. The rest is for the mean."""
MEAN_PART = 0.2
"""Weight of the mean in the prices of the first search, so that nobody's liking counts for nothing."""
SHORT = 0.004
"""Part of the relaxation's least liking that a search can be expected to miss; from trials."""
FAR = 10**40
"""Whole goal units; no menu's mean is so low."""
_UNIT = 10**GOAL_DECIMALS


@dataclass(frozen=True, eq=False)
class _Guide:
    """What a search reads of a relaxation; the rows that only a search has bear no multiplier."""

    x: NDArray[np.float64]
    multiplier: NDArray[np.float64]


@dataclass(frozen=True)
class Effort:
    """How hard to look, and who listens.

    Attributes
    ----------
    moves, seed, threads, gap, ends_at_gap
        As of ``solve``.
    progress : callable
        Gets small messages.
    stop : Stop or None
    """

    moves: int
    seed: int
    threads: int
    gap: float
    ends_at_gap: bool
    progress: Callable[[Progress], None]
    stop: Stop | None


def least_first(
    worth: Program, scale: Scale, effort: Effort, start: NDArray[np.int64] | None = None
) -> Outcome:
    """Find a menu whose least liking is as large as can be, then its mean, and a bound on each.

    Parameters
    ----------
    worth : Program
        As ``build`` returns it, gains in worth.
    start : int64 (n_menu,), optional
        A menu the search starts from and stays near.
    """
    ended = partial(
        Outcome,
        method="search",
        seed=effort.seed,
        moves=effort.moves,
        goal_decimals=GOAL_DECIMALS,
        asked=effort.gap,
    )
    effort.progress(Progress("merge"))
    merged = merge(worth)
    effort.progress(Progress("bound"))
    model = FairModel(worth, merged, scale)
    status = model.tighten(ROUNDS, effort.stop)
    if status == "impossible":
        return without_menu(worth, merged, ended)
    least = model.least() if status == "solved" else None
    mean = None if least is None else model.mean(least.level * (1 - SHORT))
    if least is None or mean is None:
        return ended("undecided")
    return _Road(worth, scale, model, least, mean, effort).outcome(ended, start)


class _Road:
    """Searches one after the other: for the first goal, to level the likings, for the mean."""

    def __init__(
        self,
        worth: Program,
        scale: Scale,
        model: FairModel,
        least: Weighted,
        mean: Weighted,
        effort: Effort,
    ) -> None:
        self.worth, self.scale, self.model, self.effort = worth, scale, model, effort
        self.least, self.mean = least, mean
        self.crew = Crew(worth, scale)
        self.proof = least.certificate()
        self.bound = least_bound(self.proof.bound, least.prices, scale)
        self.ended: Ended = "moves"
        self.hold: NDArray[np.int64] | None = None

    def outcome(self, ended: Callable[..., Outcome], start: NDArray[np.int64] | None) -> Outcome:
        effort, self.hold = self.effort, start
        effort.progress(Progress("bound", 1.0, bound=self.bound / _UNIT))
        if effort.stop is not None and effort.stop.is_set():
            return ended("stopped", ended=why(effort.stop))
        _compile(effort, self.bound / _UNIT)
        found = self.first(start, FIRST_PART)
        if found.counts is None and found.ended == "moves":
            # what is left is better spent on a menu at all
            found = self.first(start, 1 - FIRST_PART, again=1)
        if found.counts is None:
            stopped = found.ended in ("stopped", "seconds")
            return ended("stopped" if stopped else "undecided", ended=found.ended, near=found.near)
        counts, self.ended = found.counts, found.ended
        for k in range(LEVELLINGS):
            if self.ended == "moves":
                counts = self.level(counts, together=k % 2 == 1)
        if self.ended in ("moves", "gap"):
            counts = self.second(counts)
        return self.told(ended, counts)

    def first(self, start: NDArray[np.int64] | None, part: float, again: int = 0) -> SearchResult:
        """Look for the greatest least liking with a part of the moves."""
        own = [p * Decimal(1 - MEAN_PART) for p in self.least.prices]
        prices = [
            (a + p * Decimal(MEAN_PART)).quantize(Decimal(1).scaleb(-PRICE_DECIMALS))
            for a, p in zip(own, self.scale.prices, strict=True)
        ]
        return self._search(
            priced(self.worth, prices),
            self.least.relaxation,
            int(self.effort.moves * part),
            self.crew.counts,
            self.bound,
            "search",
            start,
            again=again,
        )

    def level(self, counts: NDArray[np.int64], *, together: bool) -> NDArray[np.int64]:
        """Take from those who have more than they would need, for those who have less."""
        x = self.worth.complete(counts)
        weight = np.asarray([float(p * b) for p, b in zip(self.least.prices, self.scale.best, strict=True)])
        liking = self.crew.likings(x)
        # where all would be if it cost others no more than the weights say
        target = float((weight * liking).sum() / weight.sum())
        # half the way there: a row that asks for all of it holds those who should give way
        halfway = (float(liking.min()) + target) / 2
        found = self._search(
            self.crew.kept(self.least.program, self.least.prices, halfway, x),
            self.least.relaxation,
            int(self.effort.moves * LEVEL_PART),
            self.crew.counts,
            self.bound,
            "search",
            counts,
            together=together,
            lean=None if together else weight * (target - liking) * _UNIT,
        )
        self.ended = found.ended
        return counts if found.counts is None else found.counts

    def second(self, counts: NDArray[np.int64]) -> NDArray[np.int64]:
        """Raise the mean from a menu, its least liking kept."""
        x = self.worth.complete(counts)
        level = self.crew.standing(x, self.worth.excess(x)).least
        mean = self.model.mean(level / _UNIT)
        if mean is not None:
            self.mean = mean
        proof = self.mean.certificate().bound

        def rank(x: NDArray[np.int64], excess: NDArray[np.int64]) -> tuple[int, int]:
            stands = self.crew.counts(x, excess)
            return (stands.mean, stands.least) if stands.least >= level else (stands.least - FAR, 0)

        found = self._search(
            self.crew.kept(self.mean.program, self.mean.prices, float(self.crew.likings(x).min()), x),
            self.mean.relaxation,
            int(self.effort.moves * (1 - FIRST_PART - LEVELLINGS * LEVEL_PART)),
            rank,
            mean_bound(proof, self.mean, self.scale, level),
            "others",
            counts,
        )
        self.ended = found.ended
        return counts if found.counts is None else found.counts

    def _search(
        self,
        program: Program,
        guide: Relaxation,
        moves: int,
        rank: Callable[[NDArray[np.int64], NDArray[np.int64]], tuple[int, int]],
        bound: int,
        phase: Phase,
        start: NDArray[np.int64] | None,
        lean: NDArray[np.float64] | None = None,
        together: bool = False,
        again: int = 0,
    ) -> SearchResult:
        from optimenu.solve.search import search

        effort = self.effort

        def told(name: str, fraction: float, value: float | None) -> None:
            known = None if value is None else value / _UNIT
            own: Phase = "polish" if name == "polish" else phase
            effort.progress(Progress(own, fraction, known, bound / _UNIT, int(fraction * moves)))

        def enough(value: int) -> bool:
            own = gap_of(value, bound, GOAL_DECIMALS)
            return own is not None and own <= (Fraction(effort.gap) if effort.ends_at_gap else 0)

        more = np.zeros(program.m - self.worth.m)
        return search(
            program,
            _Guide(guide.x, np.append(guide.multiplier, more)),
            moves=moves,
            seed=effort.seed + again,
            threads=effort.threads,
            stop=effort.stop,
            progress=told,
            start=start,
            hold=self.hold,
            enough=enough,
            rank=rank,
            lean=lean,
            together=together,
        )

    def told(self, ended: Callable[..., Outcome], counts: NDArray[np.int64]) -> Outcome:
        x = self.worth.complete(counts)
        stands = self.crew.standing(x, self.worth.excess(x))
        proof = self.mean.certificate()
        first = First(
            value=stands.least,
            bound=self.bound,
            certificate=self.proof,
            prices=self.least.prices,
            mean_prices=self.mean.prices,
            factor=self.mean.factor,
            asked=self.effort.gap,
            goal_decimals=GOAL_DECIMALS,
        )
        return ended(
            "menu",
            ended="moves" if self.ended == "gap" and not first.reached else self.ended,
            counts=counts,
            value=stands.mean,
            bound=mean_bound(proof.bound, self.mean, self.scale, stands.least),
            certificate=proof,
            first=first,
        )


def _compile(effort: Effort, bound: float) -> None:
    # as in solve: who only asks for a bound need not wait for it
    from optimenu.solve.compiled import kept, ready
    from optimenu.solve.kernel import anneal

    if not ready(anneal):
        effort.progress(Progress("compile" if kept(anneal) else "compile_anew", bound=bound))


def least_bound(proved: int, prices: Sequence[Decimal], scale: Scale) -> int:
    """Bound on the least liking less the price of soft breaches, from a bound on the goal at some prices.

    Nobody likes a menu less than the least liking l, so the weighted goal is at least l times the sum of
    price times best, less the soft price s; with that sum 1 or more, l - s is at most the bound over it.

    Parameters
    ----------
    proved : int
        Whole goal units.
    prices : sequence of Decimal
        None negative; price times best sums to 1 or more.
    """
    total = sum((Fraction(p) * Fraction(b) for p, b in zip(prices, scale.best, strict=True)), Fraction(0))
    return _ceil(Fraction(proved) / total)


def mean_bound(proved: int, at: Weighted, scale: Scale, level: int) -> int:
    """Bound on the mean of menus whose least liking, less the soft price, is at least ``level``.

    With k the factor, ``k (goal at the prices) - mean`` is a sum of worths at prices of their own, none
    negative, less (k - 1) times the soft price; by the level it is at least their sum times the bests
    times the level.

    Parameters
    ----------
    proved, level : int
        Whole goal units.
    """
    k = Fraction(at.factor)
    rest = sum(
        (
            (k * Fraction(q) - Fraction(p)) * Fraction(b)
            for q, p, b in zip(at.prices, scale.prices, scale.best, strict=True)
        ),
        Fraction(0),
    )
    return _ceil(k * proved - rest * level)


def _ceil(value: Fraction) -> int:
    return -(-value.numerator // value.denominator)
