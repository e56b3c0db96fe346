"""Rule: condiments with a dish, a day, for the crew and free in the day."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np
from pydantic import Field

from optimenu.menu.packs import opened
from optimenu.problem.opening import BLOCKS
from optimenu.program.origin import Origin
from optimenu.rules.base import Allowance, Measure, Rule, SettingFault
from optimenu.rules.needs import Need
from optimenu.rules.which import Which, course_faults, people_faults, people_of
from optimenu.settings import Names, Role, Settings, Whole, Word

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from optimenu.menu.tally import Tally
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits


class DishTable(Settings):
    """Condiments that are served only with a dish that takes them."""

    these: Which
    """The condiments."""
    dish: Which
    """The dishes that take them; a condiment is never its own dish."""
    courses: tuple[str, ...] = ()
    """Courses in which a dish counts; every course when empty."""
    for_each: Annotated[Whole, Field(ge=1)] = 1
    """Most servings with each serving of the dish."""
    who: Role = "dietitian"
    """Who may loosen it."""


class CrewTable(Which):
    """What the crew shares over the whole stay, the reserve included."""

    packs: Whole
    """Most packs opened by everybody together."""
    who: Role = "planner"
    """Who may loosen it."""


class FreeTable(Settings):
    """A condiment that is free in the day: counted at its worst for every limit, packed at its most."""

    item: Word
    """Item id."""
    a_day: Annotated[Whole, Field(ge=1)]
    """Most servings a person-day."""
    people: Annotated[tuple[str, ...], Names("person")] = ()
    """People meant; everybody who may have it when empty."""


class CondimentsSettings(Settings):
    """Condiment allowances."""

    courses: tuple[str, ...] = ("condiment",)
    """Courses that are condiments."""
    per_person_day: Whole | None = None
    """Most servings planned in those courses a person-day."""
    who: Role = "planner"
    """Who may loosen it."""
    with_dish: dict[Word, DishTable] = Field(default_factory=dict)
    """Condiments that need a dish, by a name of yours."""
    crew: dict[Word, CrewTable] = Field(default_factory=dict)
    """Packs for the crew over the stay, by a name of yours."""
    free: dict[Word, FreeTable] = Field(default_factory=dict)
    """Free in the day, by a name of yours."""


class Condiments(Rule[CondimentsSettings]):
    """Condiments.

    What
        Condiments come with dishes that take them, so many a person-day, so many packs for the crew; some
        are free in the day.
    Maths
        sum these <= for_each x sum dish in each meal; sum in condiment courses <= per_person_day;
        sum of packs <= packs. A free serving is a line that is not certain: in each row it
        counts at whichever end, none or all, is worse.
    When
        Planned condiments on every day of the cycle; crew packs over stay and reserve.
    Source
        The vehicle's pantry; common practice, no source.
    """

    table: ClassVar[str] = "condiments"
    model: ClassVar[type[Settings]] = CondimentsSettings
    example: ClassVar[str] = """
[condiments]
per_person_day = 3
[condiments.with_dish.chutney]
these = { items = ["mango_chutney"] }
dish = { tags = ["curry"] }
[condiments.crew.hot_sauce]
items = ["hot_sauce"]
packs = 2
[condiments.free.salt]
item = "salt_sachet"
a_day = 2
"""

    def faults(self) -> Iterable[SettingFault]:
        """Unknown names."""
        catalogue = self.problem.catalogue
        if "courses" in self.settings.model_fields_set:
            yield from course_faults(self.problem, self.settings.courses, ("courses",))
        for name, dish in self.settings.with_dish.items():
            yield from dish.these.faults(catalogue, ("with_dish", name, "these"))
            yield from dish.dish.faults(catalogue, ("with_dish", name, "dish"))
            yield from course_faults(self.problem, dish.courses, ("with_dish", name, "courses"))
        for name, crew in self.settings.crew.items():
            yield from crew.faults(catalogue, ("crew", name))
        for name, free in self.settings.free.items():
            for fault in Which(items=(free.item,)).faults(catalogue, ()):
                yield SettingFault(("free", name, "item"), fault.message)
            yield from people_faults(self.problem, free.people, ("free", name, "people"))

    def allowances(self) -> Iterable[Allowance]:
        """Condiments free in the day, for each person on their own."""
        for name, table in self.settings.free.items():
            wanted = people_of(self.problem, table.people)
            for k, party in enumerate(self.problem.parties):
                if len(party.members) == 1 and party.members[0] in wanted:
                    yield Allowance(k, table.item, table.a_day, f"condiments.free.{name}.a_day")

    def _needs(self) -> list[Need]:
        return [
            Need("condiments", f"condiments.with_dish.{n}", n, t.these, t.dish, t.for_each, t.who, t.courses)
            for n, t in self.settings.with_dish.items()
        ]

    def _crew(self, name: str) -> Origin:
        return Origin(
            "condiments", f"condiments.crew.{name}.packs", what=name, who=self.settings.crew[name].who
        )

    def _day(self, person: str, day: int) -> Origin:
        return Origin("condiments", "condiments.per_person_day", person, day, who=self.settings.who)

    def write(self, page: Page) -> None:
        """Rows for dishes, person-days and the crew."""
        for need in self._needs():
            need.write(page)
        if self.settings.per_person_day is not None:
            most = Decimal(self.settings.per_person_day)
            for p, person in enumerate(self.problem.people):
                for day in self.problem.cycle:
                    cols = page.of(p, (day.number,), courses=self.settings.courses)
                    page.row(self._day(person.id, day.number), cols, 1, high=most)
        for name, table in self.settings.crew.items():
            mask = table.mask(self.problem.catalogue)
            parts, vals = [], []
            for load in range(len(self.problem.loads)):
                for block in BLOCKS:
                    c, i, v = page.opened(load, block)
                    parts.append(c[mask[i]])
                    vals.append(v[mask[i]])
            page.row(self._crew(name), np.concatenate(parts), np.concatenate(vals), high=Decimal(table.packs))

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Count condiments by meal, person-day and crew."""
        for need in self._needs():
            yield from need.measures(tally)
        if self.settings.per_person_day is not None:
            for p, person in enumerate(self.problem.people):
                for day in self.problem.cycle:
                    n = Decimal(
                        sum(
                            e.count
                            for e in tally.on(p, day.number)
                            if e.course is not None and e.course.name in self.settings.courses
                        )
                    )
                    yield Measure(
                        self._day(person.id, day.number),
                        f"{person.id}, {day.label}: condiments",
                        "servings",
                        n,
                        n,
                        high=Decimal(self.settings.per_person_day),
                    )
        packs = opened(tally)
        items = self.problem.catalogue.by_id
        for name, table in self.settings.crew.items():
            n = Decimal(sum(k for (_, item, _, _), k in packs.items() if table.matches(items[item])))
            label = f"crew: {name.replace('_', ' ')}"
            yield Measure(
                self._crew(name), label, "packs", n, n, high=Decimal(table.packs), section="condiments"
            )

    def called(self, origin: Origin) -> str:
        """Name the allowance."""
        if origin.key.endswith(".per_person_day"):
            return "condiments a person-day"
        return f"packs of {origin.what.replace('_', ' ')} for the crew"

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Let each dish carry more, or allow more."""
        return self.more_for_each(origin, amount, low=low, word="dish")
