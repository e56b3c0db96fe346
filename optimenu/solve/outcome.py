"""What came of a solve, and the small messages on the way."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from decimal import Decimal

    import numpy as np
    from numpy.typing import NDArray

    from optimenu.program.certificate import Certificate
    from optimenu.solve.elastic import Shortfall

End = Literal["menu", "impossible", "undecided", "stopped"]
Ended = Literal["moves", "gap", "seconds", "stopped"]
Method = Literal["search", "direct"]
Phase = Literal["merge", "bound", "compile", "compile_anew", "search", "others", "polish", "exact"]


@dataclass(frozen=True)
class Progress:
    """Where a solve is.

    Attributes
    ----------
    phase : str
    fraction : float or None
        Part of the phase that is done, when it can be told.
    value, bound : float or None
        Best menu and bound so far, in units of the goal.
    moves : int or None
        Moves tried so far, of a search.
    """

    phase: Phase
    fraction: float | None = None
    value: float | None = None
    bound: float | None = None
    moves: int | None = None


@dataclass(frozen=True, eq=False)
class First:
    """The goal that goes before the mean: the least liking, less the price of soft breaches.

    Attributes
    ----------
    value : int
        Of the menu, whole goal units, rounded down.
    bound : int
        No menu has more: what ``certificate`` proves, whole goal units.
    certificate : Certificate
        Of the program in which each person's worth has ``prices``.
    prices, mean_prices : tuple of Decimal
        Prices of each person's worth at which this bound and the mean's are proved, twelve decimals.
    factor : Decimal
        What the mean's Lagrangian is of the goal at ``mean_prices``.
    asked : float
        Gap asked for.
    """

    value: int
    bound: int
    certificate: Certificate
    prices: tuple[Decimal, ...]
    mean_prices: tuple[Decimal, ...]
    factor: Decimal
    asked: float
    goal_decimals: int

    @property
    def gap(self) -> Fraction | None:
        """As that of an outcome."""
        return gap(self.value, self.bound, self.goal_decimals)

    @property
    def closed(self) -> bool:
        """True when nobody's least liking can be greater."""
        return self.bound <= self.value

    @property
    def reached(self) -> bool:
        """True when the gap asked for was reached."""
        own = self.gap
        return self.closed or (own is not None and own <= Fraction(self.asked))


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of a solve.

    Attributes
    ----------
    end : str
        ``menu``; ``impossible``: proved, no menu keeps all limits; ``undecided``: none found, none
        proved impossible; ``stopped`` by the user or by the clock without a menu.
    method, seed, moves
        What was asked of the solve.
    goal_decimals : int
        Of the program: values and bounds are in units of ``10**-goal_decimals``.
    counts : int64 (n_menu,) or None
        Servings; every hard row was checked in whole numbers.
    value : int or None
        Goal of the menu, whole goal units.
    bound : int or None
        No menu is worth more: the certificate's own result, whole goal units.
    solver_closed : bool
        True when HiGHS closed its own gap in floating point: on the direct model, or after the search on
        the columns that exact arithmetic cannot leave out.
    steps : int
        Exact steps after the search, by HiGHS.
    asked : float
        Gap asked for.
    shortfalls : tuple of Shortfall
        What is missing when the merged model has no answer, largest first.
    proof : str
        What an ``impossible`` rests on: ``exact`` (whole-number arithmetic), ``solver`` (HiGHS or CBC,
        with presolve and again without), or empty.
    near : int64 (n_menu,) or None
        When the search found no menu: the choice that breaks least. It is no menu.
    ended : str
        ``moves``: the budget was spent; ``gap``: the gap asked for, or none at all, was reached, or the
        solver of the direct model ended by itself; ``seconds``: the time was up; ``stopped`` by the user.
    first : First or None
        Where the least liking goes before the mean: what came of it. Value and bound are then the mean's,
        the bound among menus whose least liking is no lower than this menu's.
    """

    end: End
    method: Method
    seed: int
    moves: int
    goal_decimals: int
    counts: NDArray[np.int64] | None = None
    value: int | None = None
    bound: int | None = None
    certificate: Certificate | None = None
    solver_closed: bool = False
    steps: int = 0
    asked: float = 0.0
    shortfalls: tuple[Shortfall, ...] = ()
    proof: Literal["exact", "solver", ""] = ""
    near: NDArray[np.int64] | None = None
    ended: Ended = "moves"
    first: First | None = None

    @property
    def gap(self) -> Fraction | None:
        """(bound - value) / abs(bound); bound - value in units of the goal when the bound is 0 or less."""
        return gap(self.value, self.bound, self.goal_decimals)

    @property
    def closed(self) -> bool:
        """True when nothing better exists: the certificate's gap is 0, or the solver closed its own."""
        if self.value is None:
            return False
        return self.solver_closed or (self.bound is not None and self.bound <= self.value)

    @property
    def reached(self) -> bool:
        """True when the gap asked for was reached, that of the first goal too where there are two."""
        own = self.gap
        mine = self.closed or (own is not None and own <= Fraction(self.asked))
        return mine and (self.first is None or self.first.reached)


def gap(value: int | None, bound: int | None, goal_decimals: int) -> Fraction | None:
    """Return the gap of a value and a bound in whole goal units, None when one is unknown.

    It is (bound - value) / abs(bound), or bound - value in units of the goal when the bound is 0 or less.
    """
    if value is None or bound is None:
        return None
    return Fraction(bound - value, bound if bound > 0 else 10**goal_decimals)
