"""What no ration can beat: the highest level that the person-day worst off could have, and its proof.

The linear program lets every serving be cut as fine as wanted; its multipliers are then turned into whole
fractions and the bound is worked out from them alone, so it holds whatever the solver did.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.linear import LinearModel, maximise

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date
    from decimal import Decimal

PersonDay = tuple[int, "date"]
FINE = 2**60


@dataclass(frozen=True)
class Food:
    """Food that may feed the same people on the same dates.

    Attributes
    ----------
    people : tuple of int
        Who may eat it.
    first, last : date
        First and last date on which it may be eaten.
    ml_per_kcal : Fraction
        Water it takes; rounded down where foods were put together.
    kcal : Decimal
        Energy in all.
    """

    people: tuple[int, ...]
    first: date
    last: date
    ml_per_kcal: Fraction
    kcal: Decimal


def coarse(ratio: Fraction) -> Fraction:
    """Round a ratio down to two figures, so that foods can be put together; less water is never worse."""
    if not ratio:
        return ratio
    step = Fraction(1, 1000)
    while ratio / step >= 100:
        step *= 10
    return ratio // step * step


def most_level(
    need: Mapping[PersonDay, Decimal], foods: Sequence[Food], water_ml: Mapping[date, Decimal] | None
) -> Fraction:
    """Return a level that no ration gives every person-day more than, as a part of the requirement.

    Parameters
    ----------
    need : mapping of (person, date) to Decimal
        Requirement, kcal, above 0.
    water_ml : mapping of date to Decimal, optional
        Water for food of the whole crew; without it water is not counted.

    Notes
    -----
    max t with sum x >= t need for each person-day, sum x <= kcal for each food, sum w x <= water for each
    date. For any u >= 0 and v >= 0: t sum(u need) <= sum over foods of kcal x max(0, u - v w) over
    where it may go, plus sum(v water).
    """
    if not need:
        return Fraction(0)
    places = sorted(need, key=lambda k: (k[1], k[0]))
    by_person: dict[int, list[int]] = defaultdict(list)
    for k, (p, _) in enumerate(places):
        by_person[p].append(k)
    reach = [[k for p in f.people for k in by_person[p] if f.first <= places[k][1] <= f.last] for f in foods]
    dates = sorted(water_ml) if water_ml is not None else []
    u, v = _multipliers(need, places, foods, reach, water_ml, dates)
    total = Fraction(0)
    for f, where in zip(foods, reach, strict=True):
        best = max((u[k] - v.get(places[k][1], Fraction(0)) * f.ml_per_kcal for k in where), default=None)
        if best is not None and best > 0:
            total += Fraction(f.kcal) * best
    total += sum((v[w] * Fraction(water_ml[w]) for w in dates), Fraction(0)) if water_ml is not None else 0
    return total / sum((u[k] * Fraction(need[place]) for k, place in enumerate(places)), Fraction(0))


def _multipliers(
    need: Mapping[PersonDay, Decimal],
    places: Sequence[PersonDay],
    foods: Sequence[Food],
    reach: Sequence[Sequence[int]],
    water_ml: Mapping[date, Decimal] | None,
    dates: Sequence[date],
) -> tuple[list[Fraction], dict[date, Fraction]]:
    """Multipliers of the person-days and of the dates' water, as fractions; any would do."""
    n_places, n_foods = len(places), len(foods)
    pairs = [(f, k) for f, where in enumerate(reach) for k in where]
    n = len(pairs) + 1  # the last column is the level
    rows: list[list[tuple[int, float]]] = [[] for _ in range(n_places + n_foods + len(dates))]
    number = {w: k for k, w in enumerate(dates)}
    for x, (f, k) in enumerate(pairs):
        rows[k].append((x, 1.0))
        rows[n_places + f].append((x, 1.0))
        ratio = foods[f].ml_per_kcal
        if dates and ratio:
            rows[n_places + n_foods + number[places[k][1]]].append((x, float(ratio)))
    for k, place in enumerate(places):
        rows[k].append((n - 1, -float(need[place])))
    high = [np.inf] * n_places + [float(f.kcal) for f in foods]
    high += [float(water_ml[w]) for w in dates] if water_ml is not None else []
    cost = np.zeros(n)
    cost[-1] = 1
    result = maximise(
        LinearModel(
            cost=cost,
            low=np.zeros(n),
            high=np.full(n, np.inf),
            row_low=np.array([0.0] * n_places + [-np.inf] * (n_foods + len(dates))),
            row_high=np.array(high),
            start=np.cumsum([0] + [len(r) for r in rows]).astype(np.int32),
            index=np.array([x for r in rows for x, _ in r], dtype=np.int32),
            value=np.array([a for r in rows for _, a in r]),
        )
    )
    u = [_whole(-result.dual[k]) for k in range(n_places)]
    v = {w: _whole(result.dual[n_places + n_foods + number[w]]) for w in dates}
    if result.status != "solved" or not any(u):
        return [Fraction(1)] * n_places, dict.fromkeys(dates, Fraction(0))
    return u, v


def _whole(value: float) -> Fraction:
    # a multiplier is of the size of 1 / (requirement x person-days); this leaves twelve figures of it
    return Fraction(max(round(value * FINE), 0), FINE)
