"""Rule: wishes and instructions about named items, and personal extras."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar

from pydantic import ConfigDict

from optimenu.program.origin import Origin
from optimenu.rules.base import Allowance, Measure, Rule, SettingFault
from optimenu.rules.which import Which, people_faults, people_of
from optimenu.settings import Names, Role, Settings, Whole

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from optimenu.menu.tally import Tally
    from optimenu.program.page import Page


class RequestTable(Which):
    """At least, at most or exactly so many servings of named items, for each person named."""

    people: Annotated[tuple[str, ...], Names("person")] = ()
    """People meant, each for themselves; everybody when empty."""
    at_least: Whole | None = None
    """Fewest servings."""
    at_most: Whole | None = None
    """Most servings."""
    exactly: Whole | None = None
    """Servings, neither more nor fewer."""
    days: tuple[Whole, ...] = ()
    """Days of the cycle meant, from 1; the whole cycle when empty."""
    meal: str | None = None
    """Meal meant; every meal when absent."""
    extra_a_day: Whole | None = None
    """Personal extra: so many servings free every day, eaten or not, stowed with everything else."""
    who: Role = "planner"
    """Who may loosen it."""


class RequestsSettings(Settings):
    """Requests, by a name of yours."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, RequestTable]

    @property
    def tables(self) -> Mapping[str, RequestTable]:
        """Requests by name."""
        return self.__pydantic_extra__ or {}


class Requests(Rule[RequestsSettings]):
    """Requests.

    What
        Favourites come back: at least, at most or exactly n servings of named items in the cycle, on
        given days or at a meal. Personal extras are free every day.
    Maths
        at_least <= sum x <= at_most over the days, the meal and the items named.
    When
        Days of the cycle. A request never overrides an allergy, a diet or a floor of acceptance: if it
        cannot be met, no menu exists and the answer says so.
    Source
        The crew's wishes; common practice, no source.
    """

    table: ClassVar[str] = "requests"
    model: ClassVar[type[Settings]] = RequestsSettings
    example: ClassVar[str] = """
[requests.sunday_pancakes]
items = ["buckwheat_pancakes"]
people = ["ines"]
at_least = 2
meal = "breakfast"
[requests.tomas_chocolate]
items = ["dark_chocolate"]
people = ["tomas"]
extra_a_day = 1
"""

    def faults(self) -> Iterable[SettingFault]:
        """Unknown names, days and meals; requests that say nothing or contradict themselves."""
        meals = {m.name for d in self.problem.days for m in d.meals}
        for name, table in self.settings.tables.items():
            yield from table.faults(self.problem.catalogue, (name,))
            yield from people_faults(self.problem, table.people, (name, "people"))
            for day in table.days:
                if not 1 <= day <= self.problem.cycle_length:
                    text = f"day {day} is not in the cycle of {self.problem.cycle_length} days"
                    yield SettingFault((name, "days"), text)
            inside = all(1 <= d <= self.problem.cycle_length for d in table.days)
            if table.days and inside and not self._days(table):
                text = "these days of the cycle have no date: days of their own have taken them all"
                yield SettingFault((name, "days"), text)
            if table.meal is not None and table.meal not in meals:
                yield SettingFault((name, "meal"), f'no meal "{table.meal}"')
            bounds = (table.at_least, table.at_most, table.exactly)
            if all(b is None for b in bounds) and table.extra_a_day is None:
                yield SettingFault((name,), "set at_least, at_most, exactly or extra_a_day")
            if table.exactly is not None and (table.at_least is not None or table.at_most is not None):
                yield SettingFault((name, "exactly"), "exactly stands alone; drop at_least and at_most")
            if table.at_least is not None and table.at_most is not None and table.at_least > table.at_most:
                text = f"at_least {table.at_least} is over at_most {table.at_most}"
                yield SettingFault((name, "at_least"), text)
            if table.extra_a_day is not None and len(table.items) != 1:
                yield SettingFault((name, "extra_a_day"), "an extra names exactly one item in items")

    def allowances(self) -> Iterable[Allowance]:
        """Personal extras."""
        for name, table in self.settings.tables.items():
            if table.extra_a_day:
                for p in people_of(self.problem, table.people):
                    for k, party in enumerate(self.problem.parties):
                        if party.members == (p,):
                            yield Allowance(
                                k, table.items[0], table.extra_a_day, f"requests.{name}.extra_a_day"
                            )

    def _bounds(self, table: RequestTable) -> Iterator[tuple[Decimal | None, Decimal | None, str]]:
        """Floor, ceiling and the setting that says so; each setting is a promise of its own."""
        if table.exactly is not None:
            yield Decimal(table.exactly), Decimal(table.exactly), "exactly"
        if table.at_least is not None:
            yield Decimal(table.at_least), None, "at_least"
        if table.at_most is not None:
            yield None, Decimal(table.at_most), "at_most"

    def _days(self, table: RequestTable) -> list[int]:
        days = self.problem.cycle
        return [d.number for d in days if not table.days or (d.block == "cycle" and d.place in table.days)]

    def _asked(self) -> Iterator[tuple[str, RequestTable, int, Origin, Decimal | None, Decimal | None]]:
        for name, table in self.settings.tables.items():
            for low, high, line in self._bounds(table):
                for p in people_of(self.problem, table.people):
                    person = self.problem.people[p].id
                    key = f"requests.{name}.{line}"
                    origin = Origin("requests", key, person, meal=table.meal or "", what=name, who=table.who)
                    yield name, table, p, origin, low, high

    def write(self, page: Page) -> None:
        """One row per request and person."""
        for _, table, p, origin, low, high in self._asked():
            mask = table.mask(self.problem.catalogue)
            cols = page.of(p, self._days(table), meal=table.meal, items=mask, certain=True)
            page.row(origin, cols, 1, low=low, high=high)

    def called(self, origin: Origin) -> str:
        """Name the request and which of its numbers is meant."""
        _, name, line = origin.key.split(".")
        words = {"at_least": "fewest servings", "at_most": "most servings", "exactly": "servings"}[line]
        return f"{words} that the request {name.replace('_', ' ')} asks for"

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Count the servings asked for."""
        for name, table, p, origin, low, high in self._asked():
            days = set(self._days(table))
            n = Decimal(0)
            for e in tally.by_person.get(p, ()):
                at = table.meal is None or (e.meal is not None and e.meal.name == table.meal)
                if e.certain and e.day.number in days and at and table.matches(e.item):
                    n += e.count
            label = f"{self.problem.people[p].id}: request {name.replace('_', ' ')}"
            yield Measure(origin, label, "servings", n, n, low, high, section="requests")
