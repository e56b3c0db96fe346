"""From settings to single promises of the nutrients rule."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.problem.calendar import runs
from optimenu.program.origin import Origin
from optimenu.program.page import soft_amount
from optimenu.rules.nutrient_settings import WINDOW_DATES, Line, NutrientsSettings, lines

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.crew.people import Person
    from optimenu.problem.calendar import PlanDay
    from optimenu.problem.problem import Problem
    from optimenu.rules.nutrient_settings import FluidTable

ENERGY = "ENERC_KCAL_kcal"
WATER = "WATER_g"
FLUID = "nutrients.fluid.ml_per_kcal"
ZERO = Decimal(0)
PERCENT = Decimal(100)


@dataclass(frozen=True)
class Ask:
    """One side of one promise: sum over dates of (top - factor x bottom) against ``total``.

    Attributes
    ----------
    weights : tuple of (plan day, dates)
        Days the promise sums over.
    total : Decimal
        Limit on the sum, what supplements and plain water bring already taken off.
    per : Decimal
        Dates, a part-day for its share, the sum is divided by for reading.
    factor : Decimal
        What of ``bottom`` is taken off ``top``: a share, a density or a ratio as the config states it.
    given : Decimal
        What supplements and plain water bring, as a mean a date.
    """

    origin: Origin
    person: int
    window: str
    weights: tuple[tuple[int, int], ...]
    meal: str
    side: str
    top: str
    bottom: str
    top_factor: Decimal
    factor: Decimal
    total: Decimal
    limit: Decimal
    given: Decimal
    per: Decimal
    price: Decimal | None
    unit: str
    reading: str


class AskMaker:
    """Makes every ask of a problem."""

    def __init__(self, settings: NutrientsSettings, problem: Problem) -> None:
        self.settings = settings
        self.problem = problem
        self._columns = problem.catalogue.columns

    def all(self) -> Iterator[Ask]:
        """Every promise, one side each, in a fixed order."""
        for p in range(len(self.problem.people)):
            yield from self._asks_of(p)

    def _asks_of(self, p: int) -> Iterator[Ask]:
        person = self.problem.people[p]
        yield from self._energy_asks(p)
        yield from self._fluid_asks(p)
        for day in self.problem.days:
            for (column, window, side), line in lines(self.settings, person, day.kind, self._columns).items():
                prescribed = line.key.startswith("prescriptions.") and side == "high"
                if day.block == "reserve" and not prescribed:
                    continue
                if window == "day":
                    yield from self._amount(p, column, window, side, line, ((day.number, 1),), day.share)
                elif window == "meal":
                    for meal in day.meals:
                        if side == "low" and not self.problem.attends(p, day, meal):
                            continue
                        yield from self._amount(
                            p, column, window, side, line, ((day.number, 1),), Decimal(1), meal.name
                        )
        for (column, window, side), line in lines(self.settings, person, "", self._columns).items():
            for weights, dates in self._spans(window):
                yield from self._amount(p, column, window, side, line, weights, dates)
        yield from self._proportions(p)

    def _spans(self, window: str) -> Iterator[tuple[tuple[tuple[int, int], ...], Decimal]]:
        """Spans of dates of a window of several dates: (plan day, dates) pairs, and whole days in it."""
        found: list[tuple[tuple[int, int], ...]] = []
        if window == "stay":
            found.append(tuple((d.number, d.weight) for d in self.problem.cycle))
        elif window in ("three_days", "seven_days"):
            for run in runs(self.problem.sequence, WINDOW_DATES[window], wrap=False):
                found.append(tuple((d, run.count(d)) for d in sorted(set(run))))
        for weights in found:
            # a day of arrival or departure counts for its share
            yield weights, sum((w * self.problem.days[d].share for d, w in weights), ZERO)

    def _amount(
        self,
        p: int,
        column: str,
        window: str,
        side: str,
        line: Line,
        weights: tuple[tuple[int, int], ...],
        dates: Decimal,
        meal: str = "",
    ) -> Iterator[Ask]:
        if column not in self._columns:
            return
        brought = ZERO
        if not line.food_only and not meal:
            brought = sum((w * self._given(p, column, self.problem.days[d]) for d, w in weights), ZERO)
        nutrient = BY_COLUMN[column]
        yield self._ask(
            p, line.key, column, line.who, window, weights, meal,
            side=side, top=column, total=line.value * dates - brought, limit=line.value,
            given=brought / dates, per=dates, price=line.price, unit=nutrient.unit, reading=nutrient.unit,
        )  # fmt: skip

    def _given(self, p: int, column: str, day: PlanDay) -> Decimal:
        """What prescribed supplements, and plain water, bring on a plan day; a part-day its share."""
        extra = self.problem.plain_water(day.kind) if column == WATER else ZERO
        return day.share * (self.problem.people[p].prescription.supplements.get(column, ZERO) + extra)

    def _fluid_asks(self, p: int) -> Iterator[Ask]:
        table = self.settings.fluid
        if table is None or WATER not in self._columns:
            return
        for d in self.problem.cycle:
            limit = fluid_of(table, self.problem.people[p], d)
            given = self._given(p, WATER, d)
            yield self._ask(
                p, FLUID, WATER, table.who, "day", ((d.number, 1),), side="low", top=WATER,
                total=limit - given, limit=limit, given=given, per=Decimal(1), price=table.price,
                unit="g", reading="g",
            )  # fmt: skip

    def _ask(
        self, p: int, key: str, what: str, who: str, window: str,
        weights: tuple[tuple[int, int], ...], meal: str = "", *,
        side: str, top: str, total: Decimal, limit: Decimal, per: Decimal, price: Decimal | None, unit: str,
        reading: str, given: Decimal = ZERO, bottom: str = "", factor: Decimal = ZERO,
        top_factor: Decimal = Decimal(1),
    ) -> Ask:  # fmt: skip
        person = self.problem.people[p].id
        if window in ("meal", "day"):
            origin = Origin("nutrients", key, person, weights[0][0], meal, what, who=who)
        else:
            run = () if window == "stay" else tuple(d for d, w in weights for _ in range(w))
            origin = Origin("nutrients", key, person, what=what, run=run, who=who)
        if price is not None:
            price = price / per
            total = soft_amount(total, price)
        return Ask(
            origin, p, window, weights, meal, side, top, bottom, top_factor, factor, total, limit, given,
            per, price, unit, reading,
        )  # fmt: skip

    def _energy_asks(self, p: int) -> Iterator[Ask]:
        person, table = self.problem.people[p], self.settings.energy
        needs = {d.number: person.kcal_on(d.kind) * d.share for d in self.problem.cycle}
        spans: list[tuple[str, str, tuple[tuple[int, int], ...], Decimal, Decimal, Decimal]] = [
            ("day", "day_within", ((d, 1),), Decimal(1), need, table.day_within) for d, need in needs.items()
        ]
        for stay, dates in self._spans("stay"):
            total = sum((needs[d] * w for d, w in stay), ZERO)
            spans.append(("stay", "stay_within", stay, dates, total, table.stay_within))
        for window, key, weights, per, need, within in spans:
            for side, sign in (("low", -1), ("high", 1)):
                total = need * (1 + sign * within / PERCENT)
                yield self._ask(
                    p, f"nutrients.energy.{key}", f"{ENERGY} {side}", table.who, window, weights,
                    side=side, top=ENERGY, total=total, limit=total / per, per=per, price=None,
                    unit="kcal", reading="kcal",
                )  # fmt: skip

    def _proportions(self, p: int) -> Iterator[Ask]:
        """Shares of energy, densities and ratios."""
        jobs: list[
            tuple[str, str, str, Decimal, str, str, Decimal | None, Decimal | None, str, str, str]
        ] = []
        for column, share in self.settings.shares.items():
            for side in ("low", "high"):
                value = getattr(share, side)
                if value is not None or any(getattr(line, side) is not None for line in share.on.values()):
                    jobs.append(
                        (f"nutrients.shares.{column}.{side}", side, column, share.kcal_per_g, ENERGY,
                         share.window, None if value is None else value / PERCENT, share.price, share.who,
                         "kcal", "% of energy")
                    )  # fmt: skip
        for column, density in self.settings.per_1000_kcal.items():
            unit = BY_COLUMN[column].unit
            for side in ("low", "high"):
                value = getattr(density, side)
                if value is not None:
                    jobs.append(
                        (f"nutrients.per_1000_kcal.{column}.{side}", side, column, Decimal(1), ENERGY,
                         density.window, value / 1000, density.price, density.who, unit,
                         f"{unit} per 1000 kcal")
                    )  # fmt: skip
        for name, ratio in self.settings.ratios.items():
            for side in ("low", "high"):
                value = getattr(ratio, side)
                if value is not None:
                    jobs.append(
                        (f"nutrients.ratios.{name}.{side}", side, ratio.top, Decimal(1), ratio.bottom,
                         ratio.window, value, ratio.price, ratio.who, BY_COLUMN[ratio.top].unit, "ratio")
                    )  # fmt: skip
        for key, side, top, top_factor, bottom, window, factor, price, who, unit, reading in jobs:
            for weights, dates, kind, meal in self._any_spans(window):
                limit = factor
                own_key, own_price, own_who = key, price, who
                if reading == "% of energy" and kind in self.settings.shares[top].on:
                    line = self.settings.shares[top].on[kind]
                    stated = getattr(line, side)
                    if stated is not None:
                        limit = stated / PERCENT
                        own_key = f"nutrients.shares.{top}.on.{kind}.{side}"
                        own_price, own_who = line.price, line.who or who
                if limit is None:
                    continue  # stated for other day kinds only
                yield self._ask(
                    p, own_key, top, own_who, window, weights, meal, side=side, top=top, bottom=bottom,
                    top_factor=top_factor, factor=limit, total=ZERO, limit=limit, per=dates,
                    price=own_price, unit=unit, reading=reading,
                )  # fmt: skip

    def _any_spans(self, window: str) -> Iterator[tuple[tuple[tuple[int, int], ...], Decimal, str, str]]:
        """Spans of any window: (plan day, dates) pairs, dates, day kind and meal where there is one."""
        if window in ("meal", "day"):
            for d in self.problem.cycle:
                for meal in [m.name for m in d.meals] if window == "meal" else [""]:
                    yield ((d.number, 1),), Decimal(1), d.kind, meal
        else:
            for weights, dates in self._spans(window):
                yield weights, dates, "", ""


def fluid_of(table: FluidTable, person: Person, day: PlanDay) -> Decimal:
    """Fluid a person needs on a plan day, mL taken as g."""
    extra = table.extra_ml.get(day.kind, ZERO)
    return table.ml_per_kcal * person.kcal_on(day.kind) * day.share + extra
