"""Rule: the pattern of courses at each meal, and each meal's share of the day's energy."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np
from pydantic import ConfigDict, Field

from optimenu.menu.tally import span
from optimenu.problem.calendar import Course, Meal
from optimenu.program.origin import Origin
from optimenu.program.page import soft_amount, vector
from optimenu.rules.base import Measure, Rule, SettingFault, Shown
from optimenu.rules.edits import Edit, moved
from optimenu.settings import Clock, Names, NonNegative, Percent, Role, Settings, Whole, minutes

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.calendar import PlanDay
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits

ENERGY = "ENERC_KCAL_kcal"


class CourseTable(Settings):
    """Servings of one course; a scored course has least = most."""

    least: Whole = 1
    """Fewest servings."""
    most: Whole = 1
    """Most servings."""
    weight: NonNegative = Decimal(1)
    """What a liked serving counts; 0 for a course nobody is scored on."""
    same: Annotated[Whole, Field(ge=1)] = 1
    """Most servings of one item in the course."""
    takes: tuple[str, ...] = ()
    """Words of the catalogue's column ``courses`` that fill it; the course's own name when empty."""
    shared_by: Annotated[tuple[str, ...], Names("party", may_be_none=True)] = ()
    """Parties that eat one dish here; everybody else has their own."""

    def course(self, name: str) -> Course:
        """Return the course under this name."""
        takes = self.takes or (name,)
        return Course(name, self.least, self.most, self.weight, self.same, takes, self.shared_by)


class ShareTable(Settings):
    """A meal's share of the day's energy."""

    low: Percent | None = None
    """Least, % of the day's energy."""
    high: Percent | None = None
    """Most, % of the day's energy."""
    price: NonNegative | None = None
    """Makes the share soft: price in mean liking for each kcal outside."""
    who: Role = "dietitian"
    """Who may loosen it."""


class MealTable(Settings):
    """One meal."""

    at: Clock
    """Clock time it starts; after midnight it belongs to the date that has just begun."""
    courses: dict[str, CourseTable]
    """Courses by name, as the catalogue's column ``courses`` has them."""
    energy_share: ShareTable | None = None
    """Share of the day's energy."""
    on: dict[str, dict[str, CourseTable]] = Field(default_factory=dict)
    """Courses that replace the ordinary ones on a day kind, by kind and course name."""


class MealsSettings(Settings):
    """Meals by name."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, MealTable]

    @property
    def tables(self) -> Mapping[str, MealTable]:
        """Meal tables by name, in order of the clock."""
        return dict(sorted((self.__pydantic_extra__ or {}).items(), key=lambda pair: (pair[1].at, pair[0])))

    def on(self, kind: str) -> tuple[Meal, ...]:
        """Meals of a day kind."""
        out = []
        for name, table in self.tables.items():
            courses = {**table.courses, **table.on.get(kind, {})}
            out.append(
                Meal(
                    name,
                    minutes(table.at),
                    tuple(t.course(c) for c, t in courses.items() if t.most),
                )
            )
        return tuple(out)


class Meals(Rule[MealsSettings]):
    """Pattern of courses.

    What
        Each party is served so many servings of each course of each meal, and a meal carries a given
        share of the day's energy.
    Maths
        least <= sum x[party, day, meal, course, .] <= most;
        low/100 x sum_day e x <= sum_meal e x <= high/100 x sum_day e x, for each person and day.
    When
        Every plan day, the reserve with its own pattern; shares on days that are eaten whole, so neither
        on part-days nor where a person misses a meal by a fast. A shared course is one dish for its party.
    Source
        Courses and shares are the dietitian's; common practice, no source.
    """

    table: ClassVar[str] = "meals"
    model: ClassVar[type[Settings]] = MealsSettings
    example: ClassVar[str] = """
[meals.breakfast]
at = "07:30"
[meals.breakfast.courses.main]
least = 1
most = 1
weight = 1.0
[meals.breakfast.energy_share]
low = 15
high = 40
"""

    def faults(self) -> Iterable[SettingFault]:
        """Courses with least over most, scored courses that are not fixed, shares that cannot be."""
        for name, table in self.settings.tables.items():
            share = table.energy_share
            if share is not None and share.low is None and share.high is None:
                yield SettingFault((name, "energy_share"), "set low or high")
            elif (
                share is not None
                and share.low is not None
                and share.high is not None
                and share.low > share.high
            ):
                text = f"low {share.low} is over high {share.high}"
                yield SettingFault((name, "energy_share", "low"), text)
            groups: list[tuple[tuple[str, ...], dict[str, CourseTable]]] = [(("courses",), table.courses)]
            groups += [(("on", kind), courses) for kind, courses in table.on.items()]
            for keys, courses in groups:
                for course, t in courses.items():
                    where = (name, *keys, course)
                    if t.least > t.most:
                        yield SettingFault((*where, "least"), f"least {t.least} is over most {t.most}")
                    elif t.weight > 0 and t.least != t.most:
                        yield SettingFault(
                            (*where, "weight"),
                            "a scored course needs least = most; set weight = 0 for an optional course",
                        )
                    elif t.most > 0 and t.same > t.most:
                        yield SettingFault((*where, "same"), f"same {t.same} is over most {t.most}")

    def write(self, page: Page) -> None:
        """One row per party, day, meal and course; one per person, day and meal with a share."""
        for a, party in enumerate(self.problem.parties):
            for day, _, meal, _, course in self.problem.places(party):
                cols = page.of(party.members[0], (day.number,), meal=meal.name, courses=(course.name,))
                cols = cols[page.party[cols] == a]
                origin = self._pattern(party.id, day, meal.name, course.name)
                page.row(origin, cols, 1, low=Decimal(course.least), high=Decimal(course.most))
        self._write_shares(page)

    def _pattern(self, party: str, day: PlanDay, meal: str, course: str) -> Origin:
        key = f"meals.{meal}.courses.{course}"
        if day.block == "reserve":
            key = f"reserve.{key}"
        elif course in self.settings.tables[meal].on.get(day.kind, {}):
            key = f"meals.{meal}.on.{day.kind}.{course}"
        return Origin("meals", key, party, day.number, meal, course)

    def shapes(self, origin: Origin) -> bool:
        """Say so of the patterns of courses."""
        return ".energy_share." not in origin.key

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Move a share of the day's energy; or serve fewer or more of a course, which is then not scored."""
        old = self.stated(origin.key)
        if not self.shapes(origin):
            person = self.problem.people[self.problem.person_number[origin.person]]
            percent = amount / person.kcal_on(self.problem.days[origin.day].kind) * 100
            words = f"{'least' if low else 'most'} energy at {origin.meal}"
            yield (moved(origin.key, old, old - percent if low else old + percent, words, "% of the day's"),)
        elif isinstance(old, dict):
            line = "least" if low else "most"
            words = f"{'fewest' if low else 'most'} servings of {origin.what} at {origin.meal}"
            new = Decimal(old[line]) + (-amount if low else amount)
            edit = moved(f"{origin.key}.{line}", old[line], new, words)
            unscored = Edit(f"{origin.key}.weight", old["weight"], 0, "", said=f"score {origin.what} no more")
            yield (edit, unscored) if old["weight"] else (edit,)

    def _write_shares(self, page: Page) -> None:
        items = self.problem.catalogue.items
        for name, side, table, share in self._shares():
            counted = [self._counted(i, table, share, here=here) for here in (False, True) for i in items]
            vals, places = vector(counted)
            zero = Decimal(0)
            for p, who in enumerate(self.problem.people):
                for day in self._whole_days(p):
                    cols = page.of(p, (day.number,))
                    inside = np.isin(cols, page.of(p, (day.number,), meal=name))
                    page.row(
                        self._share(name, side, who.id, day.number, table),
                        cols,
                        vals[page.item[cols] + len(items) * inside],
                        low=zero if side == "low" else None,
                        high=zero if side == "high" else None,
                        decimals=places,
                        soft=table.price,
                    )

    def _kcal(self, item: Item) -> Decimal:
        return self.problem.amount(item, ENERGY) or Decimal(0)

    def _counted(self, item: Item, table: ShareTable, share: Decimal, *, here: bool) -> Decimal:
        """What a serving adds to a meal's energy less the meal's share of the day's, kcal."""
        return soft_amount(self._kcal(item) * ((1 if here else 0) - share / 100), table.price)

    def _shares(self) -> Iterator[tuple[str, str, ShareTable, Decimal]]:
        for name, table in self.settings.tables.items():
            if table.energy_share:
                for side in ("low", "high"):
                    share = getattr(table.energy_share, side)
                    if share is not None:
                        yield name, side, table.energy_share, share

    def _whole_days(self, p: int) -> list[PlanDay]:
        """Days on which a person eats every meal: a share of a fast or a part-day says nothing."""
        return [
            d
            for d in self.problem.cycle
            if d.share == 1
            and {m.name for m in d.meals} >= set(self.settings.tables)
            and all(self.problem.attends(p, d, m) for m in d.meals)
        ]

    def _share(self, meal: str, side: str, person: str, day: int, table: ShareTable) -> Origin:
        return Origin("meals", f"meals.{meal}.energy_share.{side}", person, day, meal, who=table.who)

    def needs(self) -> Iterable[tuple[str, tuple[str, ...]]]:
        """Energy, where a share is set."""
        for name, table in self.settings.tables.items():
            if table.energy_share:
                yield ENERGY, (name, "energy_share")

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Count servings in every course; weigh every meal's energy against the day's."""
        counts: dict[tuple[str, int, str, str], int] = {}
        for e in tally.entries:
            if e.meal is not None and e.course is not None:
                key = (e.party.id, e.day.number, e.meal.name, e.course.name)
                counts[key] = counts.get(key, 0) + e.count
        for party in self.problem.parties:
            for day, _, meal, _, course in self.problem.places(party):
                n = Decimal(counts.get((party.id, day.number, meal.name, course.name), 0))
                yield Measure(
                    self._pattern(party.id, day, meal.name, course.name),
                    f"{party.id}, {day.label}, {meal.name}: {course.name}",
                    "servings",
                    n,
                    n,
                    Decimal(course.least),
                    Decimal(course.most),
                )
        for name, side, table, share in self._shares():
            for p, who in enumerate(self.problem.people):
                for day in self._whole_days(p):
                    yield self._measure_share(tally, name, side, table, share, p, who.id, day.number)

    def _measure_share(
        self,
        tally: Tally,
        meal: str,
        side: str,
        table: ShareTable,
        share: Decimal,
        p: int,
        who: str,
        day: int,
    ) -> Measure:
        entries = tally.on(p, day)

        def counted(e: Entry) -> Decimal:
            return self._counted(e.item, table, share, here=e.meal is not None and e.meal.name == meal)

        def kcal(e: Entry) -> Decimal:
            return self._kcal(e.item)

        found = span(entries, counted)
        here = sum((e.count * kcal(e) for e in entries if e.meal and e.meal.name == meal), Decimal(0))
        # what is free in the day takes from every meal's share: all of it for a floor, none for a ceiling
        total = sum((e.count * kcal(e) for e in entries if e.certain or side == "low"), Decimal(0))
        low, high = (Decimal(0), None) if side == "low" else (None, Decimal(0))
        shown = Shown(
            here / total * 100 if total else Decimal(0),
            share if side == "low" else None,
            share if side == "high" else None,
            "% of the day's energy",
        )
        return Measure(
            self._share(meal, side, who, day, table),
            f"{who}, {self.problem.days[day].label}: {meal}",
            "kcal",
            found.least,
            found.most,
            low,
            high,
            soft=table.price,
            shown=shown,
        )
