"""Rule: how many different things, and no trait twice in a meal."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field

from optimenu.program.origin import Origin
from optimenu.rules.base import Measure, Rule, SettingFault
from optimenu.rules.which import course_faults
from optimenu.settings import NonNegative, Role, Settings, Whole, Word

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from optimenu.menu.tally import Entry, Tally
    from optimenu.program.page import Page

Trait = Literal["texture", "flavour", "main_ingredient", "cuisine", "form"]


class DistinctTable(Settings):
    """How many different items."""

    courses: tuple[str, ...] = ()
    """Courses meant; every course when empty."""
    each: Literal["person", "crew"] = "person"
    """Counted for each person, or for the crew together."""
    at_least: Whole | None = None
    """Fewest different items."""
    at_most: Whole | None = None
    """Most different items."""
    who: Role = "planner"
    """Who may loosen it."""


class MealTraitTable(Settings):
    """A trait that should not be met too often in one meal."""

    trait: Trait
    """Trait compared."""
    courses: Annotated[tuple[str, ...], Field(min_length=1)]
    """Courses compared with each other."""
    most: Annotated[Whole, Field(ge=1)] = 1
    """Most servings with the same value in one meal."""
    price: NonNegative | None = None
    """Makes it soft: price in mean liking for each serving too many."""
    who: Role = "dietitian"
    """Who may loosen it."""


class VarietySettings(Settings):
    """Variety."""

    distinct: dict[Word, DistinctTable] = Field(default_factory=dict)
    """How many different items, by a name of yours."""
    in_a_meal: dict[Word, MealTraitTable] = Field(default_factory=dict)
    """Traits in one meal, by a name of yours."""


class Variety(Rule[VarietySettings]):
    """Variety.

    What
        Enough different items over the cycle (or few enough, for those who make them), and no texture,
        flavour or other trait twice in one meal among named courses.
    Maths
        u[item] = 1 when any serving of it is planned; at_least <= sum u <= at_most.
        For each person, day, meal and value of the trait: sum x <= most, at a price if soft.
    When
        Days of the cycle.
    Source
        Monotony lowers intake (Institute of Medicine, Not Eating Enough, 1995). Numbers: common practice,
        no source.
    """

    table: ClassVar[str] = "variety"
    model: ClassVar[type[Settings]] = VarietySettings
    example: ClassVar[str] = """
[variety.distinct.mains]
courses = ["main"]
at_least = 12
[variety.in_a_meal.texture]
trait = "texture"
courses = ["main", "side", "dessert"]
price = 0.0002
"""

    def faults(self) -> Iterable[SettingFault]:
        """Unknown courses; limits that say nothing or contradict themselves."""
        for name, table in self.settings.distinct.items():
            keys = ("distinct", name)
            yield from course_faults(self.problem, table.courses, (*keys, "courses"))
            if table.at_least is None and table.at_most is None:
                yield SettingFault(keys, "set at_least or at_most")
            elif table.at_least is not None and table.at_most is not None and table.at_least > table.at_most:
                yield SettingFault(
                    (*keys, "at_least"), f"at_least {table.at_least} is over at_most {table.at_most}"
                )
        for name, trait in self.settings.in_a_meal.items():
            yield from course_faults(self.problem, trait.courses, ("in_a_meal", name, "courses"))

    def _groups(self, table: DistinctTable) -> list[tuple[str, tuple[int, ...]]]:
        people = self.problem.people
        if table.each == "crew":
            return [("", tuple(range(len(people))))]
        return [(p.id, (k,)) for k, p in enumerate(people)]

    def _sides(
        self, name: str, table: DistinctTable, person: str
    ) -> Iterator[tuple[Origin, Decimal | None, Decimal | None]]:
        """Each setting is a promise of its own: where it comes from, floor, ceiling."""
        for line, limit in (("at_least", table.at_least), ("at_most", table.at_most)):
            if limit is not None:
                key = f"variety.distinct.{name}.{line}"
                low, high = (Decimal(limit), None) if line == "at_least" else (None, Decimal(limit))
                yield Origin("variety", key, person, what=name, who=table.who), low, high

    def write(self, page: Page) -> None:
        """Rows over first uses; one row per meal and value of a trait."""
        days = [d.number for d in self.problem.cycle]
        for name, table in self.settings.distinct.items():
            for person, members in self._groups(table):
                parts = [page.of(p, days, courses=table.courses or None, certain=True) for p in members]
                cols = np.unique(np.concatenate(parts))
                used = []
                for k in np.unique(page.item[cols]):
                    what = self.problem.catalogue.items[k].id
                    key = f"variety.distinct.{name}"
                    own = Origin("variety", key, person, what=f"{name} {what}", who=table.who)
                    used.append(page.used(own, cols[page.item[cols] == k]))
                for origin, low, high in self._sides(name, table, person):
                    page.row(origin, np.asarray(used, dtype=np.int32), 1, low=low, high=high)
        for name, trait in self.settings.in_a_meal.items():
            self._write_trait(page, name, trait)

    def _write_trait(self, page: Page, name: str, table: MealTraitTable) -> None:
        values = np.asarray([getattr(i, table.trait) or "" for i in self.problem.catalogue.items])
        for p, person in enumerate(self.problem.people):
            for day in self.problem.cycle:
                for meal in day.meals:
                    cols = page.of(p, (day.number,), meal=meal.name, courses=table.courses, certain=True)
                    here = values[page.item[cols]]
                    for value in np.unique(here):
                        own = cols[here == value]
                        if value and self._could_break(page, own, table.most):
                            origin = self._trait(name, table, person.id, day.number, meal.name, str(value))
                            page.row(origin, own, 1, high=Decimal(table.most), soft=table.price)

    def _could_break(self, page: Page, cols: np.ndarray, most: int) -> bool:
        return len(cols) > 1 or int(page.high[cols].sum()) > most

    def _trait(
        self, name: str, table: MealTraitTable, person: str, day: int, meal: str, value: str
    ) -> Origin:
        return Origin("variety", f"variety.in_a_meal.{name}.most", person, day, meal, value, who=table.who)

    def called(self, origin: Origin) -> str:
        """Name the limit and which of its numbers is meant."""
        _, kind, name, line = origin.key.split(".")
        if kind == "in_a_meal":
            return f"servings alike in a meal, {name.replace('_', ' ')},"
        side = "fewest" if line == "at_least" else "most"
        return f"{side} different items, {name.replace('_', ' ')},"

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Count different items, and servings alike in a meal."""
        for name, table in self.settings.distinct.items():
            for person, members in self._groups(table):
                seen = {
                    e.item.id
                    for p in members
                    for e in tally.by_person.get(p, ())
                    if self._planned(e)
                    and (not table.courses or (e.course and e.course.name in table.courses))
                }
                n = Decimal(len(seen))
                words = f"different items in {', '.join(table.courses) or 'all courses'}"
                for origin, low, high in self._sides(name, table, person):
                    label = f"{person or 'crew'}: {words}"
                    yield Measure(origin, label, "items", n, n, low, high, section="variety")
        for name, trait in self.settings.in_a_meal.items():
            yield from self._measure_trait(tally, name, trait)

    def _planned(self, e: Entry) -> bool:
        return e.certain and e.day.eaten

    def _measure_trait(self, tally: Tally, name: str, table: MealTraitTable) -> Iterator[Measure]:
        for (p, d), entries in sorted(tally.by_person_day.items()):
            found: dict[tuple[str, str], int] = defaultdict(int)
            for e in entries:
                value = getattr(e.item, table.trait)
                if self._planned(e) and e.meal and e.course and e.course.name in table.courses and value:
                    found[e.meal.name, value] += e.count
            person = self.problem.people[p].id
            for (meal, value), count in sorted(found.items()):
                n = Decimal(count)
                label = (
                    f"{person}, {self.problem.days[d].label}, {meal}: {value} {table.trait.replace('_', ' ')}"
                )
                origin = self._trait(name, table, person, d, meal, value)
                yield Measure(origin, label, "servings", n, n, high=Decimal(table.most), soft=table.price)
