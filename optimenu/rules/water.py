"""Rule: water added to food, hot water at a meal, and the fuel that heats it."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np
from pydantic import Field

from optimenu.errors import nearest
from optimenu.program.origin import Origin
from optimenu.program.page import vector
from optimenu.rules.base import Measure, Rule, SettingFault, Shown
from optimenu.rules.edits import moved
from optimenu.settings import NonNegative, Positive, Role, Settings, Unit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits

ZERO = Decimal(0)
_LEVERS = {
    "crew_l": ("water of the crew over the stay", "L", 1000),
    "fuel_kg": ("fuel for water", "kg", 1000),
    "added_ml": ("water added a person-day", "mL", 1),
    "hot_ml_at_a_meal": ("hot water of the crew at a meal", "mL", 1),
}
"""Limits in words, with the unit they are stated in and how much of the rows' unit that is."""


class WaterSettings(Settings):
    """Water for food and drink."""

    plain_ml: Annotated[NonNegative, Unit("mL")] = ZERO
    """Plain drinking water a person-day; counts as fluid and against the crew's water."""
    plain_ml_on: dict[str, Annotated[NonNegative, Unit("mL")]] = Field(default_factory=dict)
    """Plain drinking water a person-day, in mL, on a day kind that needs another amount."""
    added_ml: Annotated[Positive, Unit("mL")] | None = None
    """Most water added to food and drinks a person-day."""
    crew_l: Annotated[Positive, Unit("L")] | None = None
    """Most water for the crew over the dates of the stay, plain water included."""
    hot_ml_at_a_meal: Annotated[Positive, Unit("mL")] | None = None
    """Most hot water for the crew at one meal of one day."""
    fuel_g_per_l: Annotated[Positive, Unit("g/L")] | None = None
    """Fuel to make one litre of hot water, the melting of snow included where there is no other water."""
    melt_g_per_l: Annotated[NonNegative, Unit("g/L")] = ZERO
    """Fuel to melt one litre of snow for chilled and plain water; 0 where water need not be melted."""
    fuel_kg: Annotated[Positive, Unit("kg")] | None = None
    """Most fuel for water over the dates of the stay."""
    who: Role = "planner"
    """Who may loosen these limits."""


class Water(Rule[WaterSettings]):
    """Water.

    What
        Water added a person-day, water for the crew over the stay, hot water for the crew at each meal,
        and fuel for hot water and for melting snow.
    Maths
        sum water x servings <= limit for each; plain water is added to the crew's sum;
        fuel = fuel_g_per_l x litres of hot water + melt_g_per_l x litres of other water, plain included.
    When
        Days of the cycle, weighted by dates for the stay; the reserve has its own limit.
    Source
        The vehicle's figures. About 0.8 L a person-day for preparing food: common practice, no source.
    """

    table: ClassVar[str] = "water"
    model: ClassVar[type[Settings]] = WaterSettings
    example: ClassVar[str] = """
[water]
plain_ml = 1200
plain_ml_on = { heavy = 2800 }
added_ml = 2500
hot_ml_at_a_meal = 2400
crew_l = 800
"""

    def faults(self) -> Iterable[SettingFault]:
        """Fuel needs both of its settings; plain water alone may already be too much."""
        s = self.settings
        for kind in s.plain_ml_on:
            if kind not in self.problem.every_kind:
                text = f'no day kind "{kind}".{nearest(kind, self.problem.every_kind)}'
                yield SettingFault(("plain_ml_on", kind), text)
        if (s.fuel_kg is None) != (s.fuel_g_per_l is None):
            yield SettingFault(("fuel_kg",), "fuel_kg and fuel_g_per_l go together; set both or neither")
        elif s.melt_g_per_l and s.fuel_kg is None:
            yield SettingFault(("melt_g_per_l",), "says nothing without fuel_kg and fuel_g_per_l; set them")
        elif s.fuel_kg is not None and self._plain() * s.melt_g_per_l > s.fuel_kg * 10**6:
            kilos = self._plain() * s.melt_g_per_l / 10**6
            text = f"melting the plain water alone takes {kilos:f} kg, more than fuel_kg = {s.fuel_kg}"
            yield SettingFault(("fuel_kg",), text)
        if s.crew_l is not None and self._plain() > s.crew_l * 1000:
            litres = self._plain() / 1000
            text = f"plain water alone takes {litres} L for the stay, more than crew_l = {s.crew_l}"
            yield SettingFault(("crew_l",), text)

    def _plain(self) -> Decimal:
        """Plain water of the crew over the dates, mL."""
        s = self.settings
        days = self.problem.cycle
        each = sum((d.weight * d.share * s.plain_ml_on.get(d.kind, s.plain_ml) for d in days), ZERO)
        return each * len(self.problem.people)

    def _hot(self, item: Item) -> Decimal:
        return item.water_ml if item.water_kind == "hot" else ZERO

    def _fuel(self, item: Item) -> Decimal:
        """Fuel for the water of one serving, g."""
        s, hot = self.settings, self._hot(item)
        return (hot * (s.fuel_g_per_l or ZERO) + (item.water_ml - hot) * s.melt_g_per_l) / 1000

    def _added(self, item: Item) -> Decimal:
        return item.water_ml

    def _stay(
        self,
    ) -> Iterator[tuple[Origin, Decimal, Callable[[Item], Decimal], Decimal, str, str, Decimal]]:
        """Limits over the stay: origin, limit on the sum, water of an item, factor, words, unit, given."""
        s = self.settings
        if s.crew_l is not None:
            origin = Origin("water", "water.crew_l", who=s.who)
            yield origin, s.crew_l * 1000, self._added, Decimal(1), "water, crew, stay", "mL", self._plain()
        if s.fuel_kg is not None and s.fuel_g_per_l is not None:
            origin = Origin("water", "water.fuel_kg", who=s.who)
            given = self._plain() * s.melt_g_per_l / 1000
            yield origin, s.fuel_kg * 1000, self._fuel, Decimal(1), "fuel for water", "g", given

    def _hot_meal(self, day: int, meal: str) -> Origin:
        return Origin("water", "water.hot_ml_at_a_meal", "", day, meal, who=self.settings.who)

    def _person_day(self, person: str, day: int) -> Origin:
        return Origin("water", "water.added_ml", person, day, who=self.settings.who)

    def write(self, page: Page) -> None:
        """Rows for person-days, meals and the stay. A shared dish's water counts once for each member."""
        items, s = self.problem.catalogue.items, self.settings
        added, added_places = vector([self._added(i) for i in items])
        hot, hot_places = vector([self._hot(i) for i in items])
        heads = np.asarray([len(p.members) for p in self.problem.parties], dtype=np.int64)
        for day in self.problem.cycle:
            if s.added_ml is not None:
                for p, person in enumerate(self.problem.people):
                    cols = page.of(p, (day.number,))
                    origin = self._person_day(person.id, day.number)
                    page.row(origin, cols, added[page.item[cols]], high=s.added_ml, decimals=added_places)
            if s.hot_ml_at_a_meal is not None:
                for meal in day.meals:
                    here = page.of(None, (day.number,), meal=meal.name)
                    # what is free in the day may be made at this meal
                    free = page.of(None, (day.number,), certain=False)
                    cols = np.sort(np.concatenate((here, free)))
                    vals = hot[page.item[cols]] * heads[page.party[cols]]
                    page.row(
                        self._hot_meal(day.number, meal.name), cols, vals, high=s.hot_ml_at_a_meal,
                        decimals=hot_places,
                    )  # fmt: skip
        weight = np.asarray([d.weight for d in self.problem.days], dtype=np.int64)
        cols = page.of(None, [d.number for d in self.problem.cycle])
        for origin, limit, of, factor, _, _, given in self._stay():
            each, places = vector([factor * of(i) for i in items])
            vals = each[page.item[cols]] * weight[page.day[cols]] * heads[page.party[cols]]
            page.row(origin, cols, vals, high=limit - given, decimals=places)

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Sum the water of every line."""
        s = self.settings
        for day in self.problem.cycle:
            if s.added_ml is not None:
                for p, person in enumerate(self.problem.people):
                    total = self._sum(tally.on(p, day.number), self._added)
                    label = f"{person.id}, {day.label}: water added"
                    origin = self._person_day(person.id, day.number)
                    yield Measure(origin, label, "mL", total, total, high=s.added_ml, section="water")
            if s.hot_ml_at_a_meal is not None:
                for meal in day.meals:
                    total = sum(
                        (
                            self._sum(self._at(tally, p, day.number, meal.name), self._hot)
                            for p in self._everybody()
                        ),
                        ZERO,
                    )
                    label = f"{day.label}, {meal.name}: hot water, crew"
                    origin = self._hot_meal(day.number, meal.name)
                    yield Measure(origin, label, "mL", total, total, high=s.hot_ml_at_a_meal, section="water")
        for origin, limit, of, factor, label, unit, given in self._stay():
            total = given + factor * self._over_dates(tally, of)
            shown = Shown(total / 1000, None, limit / 1000, "L" if unit == "mL" else "kg")
            yield Measure(origin, label, unit, total, total, high=limit, section="water", shown=shown)

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Raise a limit; those over the stay are stated in L and kg."""
        old, last = self.stated(origin.key), origin.key.split(".")[-1]
        name, unit, per = _LEVERS[last]
        yield (moved(origin.key, old, old + amount / per, name, unit),)

    def crew_ml(self, tally: Tally) -> Decimal:
        """Water of the crew over the dates of the stay, plain water included, mL; limited or not."""
        return self._plain() + self._over_dates(tally, self._added)

    def _over_dates(self, tally: Tally, of: Callable[[Item], Decimal]) -> Decimal:
        days = self.problem.cycle
        return sum(
            (day.weight * self._sum(tally.on(p, day.number), of) for p in self._everybody() for day in days),
            ZERO,
        )

    def _at(self, tally: Tally, p: int, day: int, meal: str) -> list[Entry]:
        """What a person has at a meal, and what is free in the day and may be had there."""
        return [e for e in tally.on(p, day) if e.meal is None or e.meal.name == meal]

    def _everybody(self) -> range:
        return range(len(self.problem.people))

    def _sum(self, entries: Iterable[Entry], of: Callable[[Item], Decimal]) -> Decimal:
        return sum((e.count * of(e.item) for e in entries), ZERO)
