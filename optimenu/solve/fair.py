"""The relaxation of the goal "least-liking person first": who weighs how much, and what that proves.

The merged model gets one column more, ``z``, and a row for each person, liking less z at least 0. Its first
goal is z less the price of soft breaches, its second the mean liking with that no lower than some level.
The multipliers of the persons' rows are weights: both goals come down to the same Program with other
prices of the persons' worth, so the same search and the same certificate serve them. Floating point only
chooses the weights; whatever they are, what follows from them is exact.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.build import PRICE_DECIMALS, priced
from optimenu.program.page import GOAL_DECIMALS
from optimenu.solve.blocks import NO_PART
from optimenu.solve.bound import Relaxation, certify, row_multipliers, spread
from optimenu.solve.cuts import tighten
from optimenu.solve.inner import each, inner, mixed
from optimenu.solve.linear import LinearModel, OpenModel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimenu.program.certificate import Certificate
    from optimenu.program.program import Program
    from optimenu.solve.halt import Stop
    from optimenu.solve.liking import Scale
    from optimenu.solve.linear import LinearResult, Status
    from optimenu.solve.merge import Merged
    from optimenu.solve.rounding import CutRow

_STEP = Decimal(1).scaleb(-PRICE_DECIMALS)
_UNIT = 10**GOAL_DECIMALS
BESIDE = 0.1
"""Weight of the mean beside the least liking while cuts are looked for: with none, an answer has many
columns that do not matter, and the simplex takes many steps."""


@dataclass(frozen=True, eq=False)
class Weighted:
    """An answer of the relaxation, told as that of a Program under other prices.

    Attributes
    ----------
    prices : tuple of Decimal
        Price of each person's worth, twelve decimals, none negative.
    factor : Decimal
        What the second goal's Lagrangian is of the goal at these prices; 1 for the first goal.
    level : float
        Least liking less the price of soft breaches, in liking; the model's own answer.
    mean : float
        Mean liking less the price of soft breaches.
    program : Program
        At these prices.
    relaxation : Relaxation
        Of that program; its value is that of the weighted goal.
    weight : float64 (people,)
        Multiplier of each person's liking.
    answer : float64 (columns,)
        Of the merged model.
    """

    prices: tuple[Decimal, ...]
    factor: Decimal
    level: float
    mean: float
    program: Program
    relaxation: Relaxation
    weight: NDArray[np.float64]
    answer: NDArray[np.float64]

    def certificate(self) -> Certificate:
        """Prove the weighted goal's bound in whole numbers."""
        return certify(self.program, self.relaxation)


class FairModel:
    """The merged model with the persons' likings as rows.

    Parameters
    ----------
    worth : Program
        As ``build`` returns it, gains in worth.
    merged : Merged
        Its merged model.
    scale : Scale
    """

    def __init__(self, worth: Program, merged: Merged, scale: Scale) -> None:
        self.worth, self.merged, self.scale = worth, merged, scale
        model = merged.model
        self.n, self.m = len(model.cost), len(model.row_low)
        self.people = len(scale.best)
        self.liking = likings(worth, merged, scale)
        self.soft = np.zeros(self.n)
        first = merged.n_class + len(merged.use_group)
        self.soft[first:] = -model.cost[first:] * merged.goal_unit / _UNIT
        gains = np.abs(self.liking).max(initial=0.0) / self.people
        # as in the merged model: a largest gain of about 10
        self.size = 10.0 / gains if gains > 0 else 1.0
        self.cuts: tuple[CutRow, ...] = ()
        model = self._model()
        self.merged = replace(merged, model=model)
        self._opened = OpenModel(model)
        self._cost = model.cost

    def _model(self) -> LinearModel:
        model = self.merged.model
        parts = [np.flatnonzero(v).astype(np.int32) for v in (*self.liking, self.soft)]
        values = [v[p] * self.size for v, p in zip((*self.liking, -self.soft), parts, strict=True)]
        signs = [-1.0] * self.people + [1.0]
        start, index, value = [int(model.start[-1])], [model.index], [model.value]
        for own, coef, sign in zip(parts, values, signs, strict=True):
            index += [own, np.asarray([self.n], dtype=np.int32)]
            value += [coef, np.asarray([sign])]
            start.append(start[-1] + len(own) + 1)
        rows = self.people + 1
        part = model.part if model.part is not None else np.full(self.n, NO_PART, dtype=np.int32)
        return LinearModel(
            cost=np.append(self.mean_cost(), 0.0),
            low=np.append(model.low, -np.inf),
            high=np.append(model.high, np.inf),
            row_low=np.concatenate([model.row_low, np.zeros(self.people), [-np.inf]]),
            row_high=np.concatenate([model.row_high, np.full(rows, np.inf)]),
            start=np.concatenate([model.start, start[1:]]).astype(np.int32),
            index=np.concatenate(index).astype(np.int32),
            value=np.concatenate(value),
            part=np.append(part, NO_PART).astype(np.int32),
        )

    def mean_cost(self) -> NDArray[np.float64]:
        """Mean liking less the price of soft breaches, by column of the merged model, scaled."""
        share = [float(p * b) for p, b in zip(self.scale.prices, self.scale.best, strict=True)]
        cost: NDArray[np.float64] = (mixed(np.asarray(share), self.liking) - self.soft) * self.size
        return cost

    def liked(self, answer: NDArray[np.float64]) -> NDArray[np.float64]:
        """Liking of each person in an answer of the merged model, float64 (people,); soft rows apart."""
        return each(self.liking, answer)

    def least(self) -> Weighted | None:
        """Raise the least liking as far as it goes; None where the solver finds no answer."""
        cost = np.append(-self.soft * self.size, 1.0)
        result = self._solve(cost, -np.inf)
        if result is None:
            return None
        weight = self._weights(result)
        total = weight.sum()
        lam = _decimals(weight / total) if total > 0 else _decimals(np.full(self.people, 1.0 / self.people))
        # all of them together are 1 to the last decimal
        most = max(range(self.people), key=lambda p: (lam[p], -p))
        lam[most] += 1 - sum(lam)
        prices = tuple(_up(w / b) for w, b in zip(lam, self.scale.best, strict=True))
        return self._weighted(result, prices, Decimal(1), weight)

    def mean(self, level: float) -> Weighted | None:
        """Raise the mean with a least liking, less the price of soft breaches, of at least ``level``."""
        result = self._solve(np.append(self.mean_cost(), 0.0), level * self.size)
        if result is None:
            return None
        weight = self._weights(result)
        mu = _decimals(weight)
        factor = 1 + sum(mu, Decimal(0))
        prices = tuple(
            _up((price + _up(w / best)) / factor)
            for price, w, best in zip(self.scale.prices, mu, self.scale.best, strict=True)
        )
        return self._weighted(result, prices, factor, weight)

    def others(self, person: int, level: float) -> Weighted | None:
        """Raise the mean of all but one, whose liking is at least ``level``; None where there is no answer.

        The weight of that one is what the others' mean loses for each unit more.
        """
        share = [
            Decimal(0) if p == person else _near(1 / (b * (self.people - 1)))
            for p, b in enumerate(self.scale.best)
        ]
        parts = np.asarray([float(s * b) for s, b in zip(share, self.scale.best, strict=True)])
        # with z at 0 the person's row speaks of that liking alone
        self._free(0.0)
        for p in range(self.people):
            self._opened.limit(self.m + p, level * self.size if p == person else -np.inf, np.inf)
        result = self._solve(np.append((mixed(parts, self.liking) - self.soft) * self.size, 0.0), -np.inf)
        self._free(np.inf)
        for p in range(self.people):
            self._opened.limit(self.m + p, 0.0, np.inf)
        if result is None:
            return None
        weight = self._weights(result)
        share[person] = _near(Decimal(float(weight[person])) / self.scale.best[person])
        return self._weighted(result, tuple(share), Decimal(1), weight)

    def _free(self, most: float) -> None:
        """Bound the level from both sides."""
        at = np.asarray([self.n], dtype=np.int32)
        self._opened.bound(at, np.asarray([-most]), np.asarray([most]))

    def tighten(self, rounds: int, stop: Stop | None = None) -> Status:
        """Solve the model and add cuts for some rounds, with nearly all weight on the least liking."""
        status = self._opened.solve().status
        if status != "solved":
            return status
        self._cost = np.append(BESIDE * self.mean_cost() - (1 - BESIDE) * self.soft * self.size, 1 - BESIDE)
        self._opened.price(self._cost)
        if self._opened.solve(primal=True).status != "solved":
            return "undecided"
        tight = tighten(self.worth, self.merged, rounds, stop, self._opened)
        self.cuts = tuple(tight.cuts)
        return tight.result.status

    def _solve(self, cost: NDArray[np.float64], level: float) -> LinearResult | None:
        """Solve for other costs or another level, from the answer before."""
        same = bool((cost == self._cost).all())
        self._opened.price(cost)
        self._opened.limit(self.m + self.people, level, np.inf)
        self._cost = cost
        result = self._opened.solve(primal=not same)
        return result if result.status == "solved" else None

    def _weights(self, result: LinearResult) -> NDArray[np.float64]:
        # a low side that binds has a negative multiplier
        return np.maximum(-result.dual[self.m : self.m + self.people], 0.0)

    def _weighted(
        self, result: LinearResult, prices: tuple[Decimal, ...], factor: Decimal, weight: NDArray[np.float64]
    ) -> Weighted:
        k = float(factor)
        unit = _UNIT / (self.size * k)
        own = replace(self.merged, goal_unit=unit)
        x = result.x[: self.n]
        price = np.maximum(result.dual[self.m + self.people + 1 :], 0.0)
        size = np.asarray([c.size for c in self.cuts], dtype=np.float64)
        soft = inner(self.soft, x)
        share = np.asarray([float(p * b) for p, b in zip(prices, self.scale.best, strict=True)])
        liked = self.liked(x)
        relaxation = Relaxation(
            "solved",
            inner(share, liked) - soft,
            spread(self.worth, own, result),
            row_multipliers(self.worth, own, result),
            result.dual[own.link_row] * unit,
            self.cuts,
            price / size * unit,
            own,
        )
        return Weighted(
            prices,
            factor,
            float(liked.min()) - soft,
            inner(self.mean_cost(), x) / self.size,
            priced(self.worth, prices),
            relaxation,
            weight,
            x,
        )


def likings(worth: Program, merged: Merged, scale: Scale) -> NDArray[np.float64]:
    """Liking of each person by column of the merged model, float64 (people, columns); soft rows apart."""
    people, n = len(scale.best), len(merged.model.cost)
    out = np.zeros((people, n))
    person = np.repeat(worth.group_person, np.diff(worth.group_start))
    klass = merged.class_of[worth.group_column]
    most = np.full((people, merged.n_class), -np.inf)
    np.maximum.at(most, (person, klass), worth.group_gain.astype(np.float64))
    out[:, : merged.n_class] = np.where(np.isfinite(most), most, 0.0)
    uses = np.arange(len(merged.use_group))
    of_use = worth.group_person[merged.use_group]
    out[of_use, merged.n_class + uses] = -worth.deduction[merged.use_place].astype(np.float64)
    best = np.asarray([float(b) for b in scale.best]) * 1e6
    scaled: NDArray[np.float64] = out / best[:, None]
    return scaled


def _decimals(values: Sequence[float] | NDArray[np.float64]) -> list[Decimal]:
    return [_near(Decimal(float(v))) for v in values]


def _near(value: Decimal) -> Decimal:
    return value.quantize(_STEP, ROUND_HALF_EVEN)


def _up(value: Decimal) -> Decimal:
    return value.quantize(_STEP, ROUND_CEILING)
