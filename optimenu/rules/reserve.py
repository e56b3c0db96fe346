"""Rule: reserve days, carried in case the stay grows longer or the galley fails."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar

from pydantic import Field

from optimenu.menu.tally import span
from optimenu.problem.calendar import Meal
from optimenu.program.origin import Origin
from optimenu.program.page import vector
from optimenu.rules.base import Measure, Refusal, Rule, SettingFault
from optimenu.rules.edits import Edit
from optimenu.rules.meals import ENERGY, CourseTable
from optimenu.settings import Clock, Flag, NonNegative, Positive, Role, Settings, Unit, Whole, minutes

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Tally
    from optimenu.problem.calendar import Course, PlanDay
    from optimenu.problem.problem import Party
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits, Wanted


class ReserveMealTable(Settings):
    """One meal of a reserve day."""

    at: Clock
    """Clock time it starts."""
    courses: dict[str, CourseTable]
    """Courses by name; nobody is scored on them."""


class ReserveSettings(Settings):
    """Reserve days of each person."""

    days: Whole = 0
    """Days carried."""
    low_kcal: Annotated[NonNegative, Unit("kcal a day")] | None = None
    """Least energy a person-day."""
    high_kcal: Annotated[Positive, Unit("kcal a day")] | None = None
    """Most energy a person-day."""
    without_heat: Flag = False
    """Everything can be eaten without a heater and without hot water."""
    water_ml: Annotated[NonNegative, Unit("mL")] | None = None
    """Most water added a person-day."""
    meals: dict[str, ReserveMealTable] = Field(default_factory=dict)
    """Meals of a reserve day."""
    who: Role = "planner"
    """Who may loosen it."""

    def pattern(self) -> tuple[Meal, ...]:
        """Meals of a reserve day, in order of the clock."""
        named = sorted(self.meals.items(), key=lambda pair: (pair[1].at, pair[0]))
        return tuple(
            Meal(
                name,
                minutes(table.at),
                tuple(t.course(c) for c, t in table.courses.items() if t.most),
            )
            for name, table in named
        )


class Reserve(Rule[ReserveSettings]):
    """Reserve.

    What
        So many more days of food for each person, with their own meals, energy and water; if set, all of
        it can be eaten without heat.
    Maths
        low_kcal <= sum e x <= high_kcal and sum water x <= water_ml for each person and reserve day.
    When
        Reserve days only. They are worth nothing and have nothing to do with the cycle's repeats, but their
        packs are stowed and must last to the end of the stay. Allergies, diets, floors of acceptance and
        prescribed ceilings hold here too.
    Source
        The vehicle's safety plan; common practice, no source.
    """

    table: ClassVar[str] = "reserve"
    model: ClassVar[type[Settings]] = ReserveSettings
    example: ClassVar[str] = """
[reserve]
days = 3
low_kcal = 1600
without_heat = true
[reserve.meals.cold_meal]
at = "12:00"
[reserve.meals.cold_meal.courses.main]
least = 1
most = 2
weight = 0
"""

    def faults(self) -> Iterable[SettingFault]:
        """Days without meals, energy turned upside down, courses with least over most."""
        s = self.settings
        if s.days and not s.meals:
            yield SettingFault(("days",), "reserve days need meals; add [reserve.meals.NAME]")
        if s.low_kcal is not None and s.high_kcal is not None and s.low_kcal > s.high_kcal:
            yield SettingFault(("low_kcal",), f"low_kcal {s.low_kcal} is over high_kcal {s.high_kcal}")
        for name, meal in s.meals.items():
            for course, table in meal.courses.items():
                if table.least > table.most:
                    keys = ("meals", name, "courses", course, "least")
                    yield SettingFault(keys, f"least {table.least} is over most {table.most}")

    def needs(self) -> Iterable[tuple[str, tuple[str, ...]]]:
        """Energy, where it is limited."""
        if self.settings.days and (self.settings.low_kcal or self.settings.high_kcal):
            yield ENERGY, ("low_kcal" if self.settings.low_kcal else "high_kcal",)

    def refusals(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> Iterator[Refusal]:
        """Refuse what needs heat on a reserve day that must do without."""
        if day.block != "reserve" or not self.settings.without_heat:
            return
        text = ""
        if item.unheated not in ("good", "safe only"):
            text = "not known to be safe unheated, and the reserve does without heat"
        elif item.water_kind == "hot" and item.cold_min is None:
            text = "needs hot water, and the reserve does without heat"
        if text:
            yield Refusal("reserve.without_heat", text, who=self.settings.who)

    def _origin(self, key: str, person: str, day: int) -> Origin:
        return Origin("reserve", f"reserve.{key}", person, day, who=self.settings.who)

    def called(self, origin: Origin) -> str:
        """Name what is limited on a reserve day."""
        words = {"low_kcal": "least energy", "high_kcal": "most energy", "water_ml": "water added"}
        return f"{words[origin.key.split('.')[1]]} on a reserve day"

    def admit(self, refusal: Refusal, wanted: Sequence[Wanted]) -> Iterator[Edits]:
        """Allow heat."""
        yield (Edit(refusal.key, True, False, "", said="let the reserve be eaten with heat"),)

    def _energy(self, item: Item) -> Decimal:
        return self.problem.amount(item, ENERGY) or Decimal(0)

    def write(self, page: Page) -> None:
        """Energy and water rows per person and reserve day."""
        s, items = self.settings, self.problem.catalogue.items
        energy, energy_places = vector([self._energy(i) for i in items])
        water, water_places = vector([i.water_ml for i in items])
        for p, person in enumerate(self.problem.people):
            for day in self.problem.reserve:
                cols = page.of(p, (day.number,))
                here = page.item[cols]
                for key, low, high, each, places in (
                    ("low_kcal", s.low_kcal, None, energy, energy_places),
                    ("high_kcal", None, s.high_kcal, energy, energy_places),
                    ("water_ml", None, s.water_ml, water, water_places),
                ):
                    if low is not None or high is not None:
                        origin = self._origin(key, person.id, day.number)
                        page.row(origin, cols, each[here], low=low, high=high, decimals=places)

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Energy and water of each person and reserve day."""
        s = self.settings
        for p, person in enumerate(self.problem.people):
            for day in self.problem.reserve:
                entries = tally.on(p, day.number)
                energy = span(entries, lambda e: self._energy(e.item))
                water = span(entries, lambda e: e.item.water_ml)
                for key, low, high, found, words, unit in (
                    ("low_kcal", s.low_kcal, None, energy, "energy", "kcal"),
                    ("high_kcal", None, s.high_kcal, energy, "energy", "kcal"),
                    ("water_ml", None, s.water_ml, water, "water added", "mL"),
                ):
                    if low is not None or high is not None:
                        yield Measure(
                            self._origin(key, person.id, day.number),
                            f"{person.id}, {day.label}: {words}",
                            unit,
                            found.least,
                            found.most,
                            low,
                            high,
                            section="reserve",
                        )
