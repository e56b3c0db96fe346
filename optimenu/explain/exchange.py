"""What the last point of one person's liking costs the others.

The relaxation is asked for the greatest mean liking of the others, less the price of soft breaches, with
one person's liking no lower than some level; then again with that level raised by a point. The multiplier
of the level is the rate of exchange there. Both means are proved bounds: no menu gives the others more. What
lies between them is the relaxation's finding, because a menu need not reach either.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

from optimenu.audit.least import others_bound
from optimenu.solve.cuts import ROUNDS
from optimenu.solve.fair import FairModel
from optimenu.solve.merge import merge

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from optimenu.program.program import Program
    from optimenu.solve.halt import Stop
    from optimenu.solve.liking import Scale

POINT = Decimal("0.01")
_FIGURES = Decimal("0.000001")


@dataclass(frozen=True)
class Exchange:
    """What more liking of one person costs the others.

    Attributes
    ----------
    person : str
        Id.
    liking : Decimal
        Liking of that person at which it is asked.
    step : Decimal
        By how much it is raised.
    rate : float
        What the others' mean loses for each unit of that person's liking, at ``liking``: the relaxation's
        finding.
    others : Decimal
        Proved: no menu gives the others a greater mean liking, less the price of soft limits missed, while
        that person has at least ``liking``.
    raised : Decimal or None
        Proved the same with ``step`` more; None where the relaxation finds that nobody can have so much,
        or ends undecided.
    """

    person: str
    liking: Decimal
    step: Decimal
    rate: float
    others: Decimal
    raised: Decimal | None

    @property
    def cost(self) -> Decimal | None:
        """By how much the bound on the others' mean falls."""
        return None if self.raised is None else self.others - self.raised


def exchanges(
    people: Sequence[str],
    worth: Program,
    scale: Scale,
    *,
    liking: Sequence[Decimal] | None = None,
    step: Decimal = POINT,
    rounds: int = ROUNDS,
    stop: Stop | None = None,
    progress: Callable[[str], None] | None = None,
) -> tuple[Exchange, ...]:
    """Tell for each person what a point more of their liking costs the others.

    Parameters
    ----------
    people : sequence of str
        Ids.
    worth : Program
        As ``build`` returns it, gains in worth.
    liking : sequence of Decimal, optional
        Each person's liking at which it is asked, as of a menu; that of the relaxation's best mean when
        left out.
    rounds : int
        Rounds of cuts, at most.
    stop : Stop, optional
        No further person is looked at once it is set.
    progress : callable, optional
        Told each person before they are looked at.

    Returns
    -------
    tuple of Exchange
        Empty for one person alone, and where the limits cannot be kept together or the solver cannot tell.
    """
    if len(people) < 2:
        return ()
    model = FairModel(worth, merge(worth), scale)
    if model.tighten(rounds, stop) != "solved":
        return ()
    if liking is None:
        mean = model.mean(float("-inf"))
        if mean is None:
            return ()
        liking = [Decimal(float(v)) for v in model.liked(mean.answer)]
    found = []
    for p, person in enumerate(people):
        if stop is not None and stop.is_set():
            break
        if progress is not None:
            progress(person)
        one = _exchange(model, worth, scale, p, person, liking[p].quantize(_FIGURES, ROUND_HALF_EVEN), step)
        if one is not None:
            found.append(one)
    return tuple(found)


def _exchange(
    model: FairModel, worth: Program, scale: Scale, p: int, person: str, level: Decimal, step: Decimal
) -> Exchange | None:
    # a hair lower, where the relaxation itself can be no higher
    level -= _FIGURES
    bounds: list[Decimal | None] = []
    rate = 0.0
    for at in (level, level + step):
        answer = model.others(p, float(at))
        if answer is None:
            bounds.append(None)
            continue
        bounds.append(others_bound(worth, scale, answer.certificate(), answer.prices, p, at))
        if at == level:
            rate = float(answer.weight[p])
    if bounds[0] is None:
        return None
    return Exchange(person, level, step, rate, bounds[0], bounds[1])
