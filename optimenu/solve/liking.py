"""From worth to liking: each person's worth against the best that person's own limits allow."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

from optimenu.errors import OptimenuError, ProvedImpossible, Undecided
from optimenu.problem.problem import WORTH_DECIMALS
from optimenu.program.build import PRICE_DECIMALS, own
from optimenu.solve.bound import proved_bound, relax
from optimenu.solve.elastic import elastic
from optimenu.solve.merge import merge

if TYPE_CHECKING:
    from optimenu.problem.problem import Problem
    from optimenu.program.program import Program
    from optimenu.solve.elastic import Shortfall


@dataclass(frozen=True)
class Scale:
    """What one unit of each person's worth is worth to the crew.

    Attributes
    ----------
    best : tuple of Decimal
        For each person, a worth that no menu within their own limits exceeds, six decimals: the merged
        bound of the person's own rules, other people and shared limits left out.
    """

    best: tuple[Decimal, ...]

    @property
    def prices(self) -> tuple[Decimal, ...]:
        """Mean liking for one unit of each person's worth, twelve decimals; this is the definition."""
        step = Decimal(1).scaleb(-PRICE_DECIMALS)
        return tuple((1 / (best * len(self.best))).quantize(step, ROUND_HALF_EVEN) for best in self.best)


class PersonImpossible(ProvedImpossible):
    """One person's own limits cannot hold together, whatever the others eat."""

    def __init__(self, person: str, shortfalls: tuple[Shortfall, ...]) -> None:
        self.person = person
        self.shortfalls = shortfalls
        super().__init__(f"the limits of {person} alone cannot hold together")


class NothingLiked(OptimenuError):
    """Nothing a person may be given is worth anything to them: a fault of the input."""

    exit_code = 2


def scale_of(problem: Problem, program: Program, threads: int = 1) -> Scale:
    """Return the scale of a program still in worth (as ``build`` returns it).

    Raises
    ------
    PersonImpossible
        When a person's own limits are proved impossible.
    NothingLiked
        When nothing within a person's limits is worth anything to them.
    Undecided
        When the solver cannot tell.
    """

    def best_of(p: int) -> Decimal:
        return _best(problem, program, p)

    # HiGHS and numpy release the lock; the answers do not depend on who is first
    with ThreadPoolExecutor(threads) as pool:
        return Scale(tuple(pool.map(best_of, range(len(problem.people)))))


def _best(problem: Problem, program: Program, p: int) -> Decimal:
    person = problem.people[p]
    mine = own(problem, program, p)
    merged = merge(mine)
    relaxation = relax(mine, merged)
    if relaxation.status != "solved":
        missing = elastic(mine, merged)
        if relaxation.status == "impossible" and missing.proved:
            raise PersonImpossible(person.id, missing.shortfalls)
        msg = f"cannot tell whether the limits of {person.id} hold together"
        raise Undecided(msg)
    bound = Decimal(proved_bound(mine, relaxation)).scaleb(-WORTH_DECIMALS)
    if bound <= 0:
        if not mine.n_menu:
            msg = f"nothing at all may be given to {person.id}; optimenu check shows what is left and why"
            raise NothingLiked(msg)
        msg = (
            f"nothing that {person.id} may be given scores above the floor of {person.floor}: "
            "taste more items, or lower the floor with a reason"
        )
        raise NothingLiked(msg)
    return bound
