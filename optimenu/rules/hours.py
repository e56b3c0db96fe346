"""Rule: foods and the clock: what is not eaten before sleep, near a medicine, or soon after another food."""

from __future__ import annotations

from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np
from pydantic import Field

from optimenu.crew.foods import Foods
from optimenu.program.origin import Origin
from optimenu.rules.base import Measure, Refusal, Rule, SettingFault
from optimenu.rules.clock import DAY, Meeting, Pair, Spell, meetings, named
from optimenu.rules.edits import moved
from optimenu.rules.which import people_faults, people_of
from optimenu.settings import (
    Flag,
    Names,
    Number,
    Role,
    Settings,
    Span,
    Unit,
    Word,
    clock_words,
    minutes,
)  # fmt: skip

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from optimenu.catalogue.item import Item
    from optimenu.crew.prescriptions import ApartTable
    from optimenu.menu.tally import Tally
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party
    from optimenu.program.page import Page
    from optimenu.rules.clock import End
    from optimenu.rules.edits import Edits

ONE = Decimal(1)
Hours = Annotated[Number, Span(above=0, most=24), Unit("h")]


class BeforeSleepTable(Foods):
    """Foods not eaten in the hours before sleep."""

    hours: Hours
    """Hours before the start of each of the person's sleeps; a meal exactly so long before is allowed."""
    people: Annotated[tuple[str, ...], Names("person")] = ()
    """For whom; everybody when none is named."""
    who: Role = "dietitian"
    """Who may loosen it."""


class HoursApartTable(Settings):
    """Two kinds of food kept apart by hours."""

    these: Foods
    """What is eaten first."""
    those: Foods
    """What is not eaten in the hours after it, nor in the same meal."""
    hours: Hours
    """Hours from the one meal's start to the other's; meals exactly so far apart are far enough."""
    both: Flag = False
    """The other way round too."""
    people: Annotated[tuple[str, ...], Names("person")] = ()
    """For whom; everybody when none is named."""
    who: Role = "dietitian"
    """Who may loosen it."""


class HoursSettings(Settings):
    """Foods and the clock."""

    before_sleep: dict[Word, BeforeSleepTable] = Field(default_factory=dict)
    """What is not eaten before sleep, by a name of yours."""
    apart: dict[Word, HoursApartTable] = Field(default_factory=dict)
    """What is kept apart by hours, by a name of yours."""


class FoodsAndHours(Rule[HoursSettings]):
    """Foods and the clock.

    What
        Foods not eaten in the hours before sleep, such as caffeine; foods kept away from a prescribed
        medicine by hours; two kinds of food kept apart by hours, such as meat and milk, or iron and
        calcium. Unknown is unsafe: an item that does not state the nutrient (and has no upper estimate)
        or the allergen counts as one that has it. What is free in the day may be eaten at any time, so it
        is not given where it matches. Defer to a licensed dietitian or physician.
    Maths
        Before sleep and around a dose such servings have no column: time to the moment < hours, or time
        from it < hours, round the clock; while asleep too. Apart: u[these, meal] + u[those, later meal]
        <= 1 with u = 1 when any serving is planned, for every two meals less than hours apart and for
        each meal with itself.
    When
        Everywhere, each person at their own times of meals and sleep, from start to start; a late meal
        against the next date's on every two dates in a row, and reserve days in their order. The last
        date is not held against the reserve, whose dates nobody knows.
    Source
        The physician's or dietitian's own figures. Caffeine taken six hours before bed still cost an hour
        of sleep: Drake et al., Journal of Clinical Sleep Medicine 2013;9(11):1195 (from memory).
    """

    table: ClassVar[str] = "hours"
    model: ClassVar[type[Settings]] = HoursSettings
    example: ClassVar[str] = """
[hours.before_sleep.caffeine]
column = "CAFFN_mg"
most = 5
hours = 6
[hours.apart.tea_after_iron]
these = { tags = ["iron_rich"] }
those = { items = ["black_tea"] }
hours = 1
both = true
people = ["ines"]
"""

    def faults(self) -> Iterable[SettingFault]:
        """Unknown names, foods that say nothing, people without times of sleep."""
        for name, sleep in self.settings.before_sleep.items():
            keys = ("before_sleep", name)
            yield from self._foods(sleep, keys)
            yield from people_faults(self.problem, sleep.people, (*keys, "people"))
            for p in people_of(self.problem, sleep.people):
                if not self.problem.sleep.get(p):
                    text = (
                        f"no times of sleep for {self.problem.people[p].id}; state them, or name in people "
                    )
                    yield SettingFault(keys, text + "only those it is for")
        for name, pair in self.settings.apart.items():
            keys = ("apart", name)
            yield from self._foods(pair.these, (*keys, "these"))
            yield from self._foods(pair.those, (*keys, "those"))
            yield from people_faults(self.problem, pair.people, (*keys, "people"))

    def _foods(self, foods: Foods, keys: tuple[str, ...]) -> Iterator[SettingFault]:
        for field, text in (*foods.slips(), *foods.absent(self.problem.catalogue)):
            yield SettingFault((*keys, field) if field else keys, text)

    @cached_property
    def _spells(self) -> tuple[tuple[Spell, ...], ...]:
        """Spells of each person."""
        found: list[list[Spell]] = [[] for _ in self.problem.people]
        for name, sleep in self.settings.before_sleep.items():
            items = named(self.problem, sleep)
            for p in people_of(self.problem, sleep.people):
                for start, end in self.problem.sleep.get(p, ()):
                    words = f"within {sleep.hours.normalize():f} h of sleep at {clock_words(start)}"
                    asleep = Decimal((end - start) % DAY)
                    key = f"hours.before_sleep.{name}"
                    found[p].append(Spell(items, start, sleep.hours * 60, asleep, words, key, sleep.who))
        for p, person in enumerate(self.problem.people):
            for name, medicine in person.prescription.medicines.items():
                key = f"prescriptions.people.{person.id}.medicines.{name}"
                for foods in medicine.apart:
                    items = named(self.problem, foods)
                    # what to avoid and when, never why
                    before, after = (h.normalize() for h in (foods.hours_before, foods.hours_after))
                    for at in map(minutes, medicine.at):
                        dose = clock_words(at)
                        words = f"not from {before:f} h before to {after:f} h after {dose}, as prescribed"
                        spell = Spell(items, at, before * 60, after * 60, words, key, "physician")
                        found[p].append(spell)
        return tuple(map(tuple, found))

    @cached_property
    def _pairs(self) -> tuple[tuple[Pair, ...], ...]:
        """Pairs of each person: of the config, then prescribed."""
        found: list[list[Pair]] = [[] for _ in self.problem.people]
        for name, table in self.settings.apart.items():
            for p in people_of(self.problem, table.people):
                found[p].append(self._pair(f"hours.apart.{name}", p, table, table.who))
        for p, person in enumerate(self.problem.people):
            for name, own in person.prescription.apart.items():
                key = f"prescriptions.people.{person.id}.apart.{name}"
                found[p].append(self._pair(key, p, own, "physician"))
        return tuple(map(tuple, found))

    def _pair(self, key: str, p: int, table: HoursApartTable | ApartTable, who: str) -> Pair:
        sides = named(self.problem, table.these), named(self.problem, table.those)
        words = table.these.words(), table.those.words()
        return Pair(key, p, sides, words, table.hours * 60, table.both, who)

    def refusals(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> Iterator[Refusal]:
        """Say why the item does not go with the hour, or with itself, for any member of the party."""
        for p in party.members:
            who = self.problem.people[p].id
            for key, may, reason in self._refused(p, meal, item.id):
                yield Refusal(key, f"{who}: {reason}", who, who=may)

    def _refused(self, p: int, meal: Meal | None, item: str) -> Iterator[tuple[str, str, str]]:
        """Key, who may loosen it, and why, of each spell and pair in the way."""
        for spell in self._spells[p]:
            if item in spell.items:
                if meal is None:
                    yield spell.key, spell.who, f"{spell.words}; free in the day, it could be eaten then"
                elif spell.covers(self.problem.time_of(p, meal)):
                    yield spell.key, spell.who, spell.words
        for pair in self._pairs[p]:
            these, those = (item in side for side in pair.sides)
            reason = ""
            if these and those:
                reason = f"on both sides of what is kept apart: {pair.words[0]}; {pair.words[1]}"
            elif meal is None and (these or those):
                reason = (
                    f"kept apart by hours from {pair.words[these]}; free in the day, it could be eaten then"
                )
            if reason:
                yield pair.key, pair.who, reason

    @cached_property
    def _meetings(self) -> tuple[Meeting, ...]:
        return tuple(m for pairs in self._pairs for pair in pairs for m in meetings(self.problem, pair))

    def write(self, page: Page) -> None:
        """One row per two meals that are too close for a pair."""
        items = self.problem.catalogue.items
        masks: dict[frozenset[str], NDArray[np.bool_]] = {}
        used: dict[tuple[str, int, End], int | None] = {}
        for meeting in self._meetings:
            pair = meeting.pair
            columns = []
            for end in meeting.ends:
                day, meal, side = end
                key = (pair.key, pair.person, end)
                if key not in used:
                    which = pair.sides[side]
                    if which not in masks:
                        masks[which] = np.asarray([i.id in which for i in items], dtype=bool)
                    cols = page.of(pair.person, (day,), meal=meal, items=masks[which], certain=True)
                    origin = Origin("hours", pair.key, meeting.origin.person, day, meal, f"side {side + 1}")
                    used[key] = page.used(origin, cols) if len(cols) else None
                columns.append(used[key])
            if None not in columns:
                page.row(meeting.origin, np.asarray(columns, dtype=np.int32), 1, high=ONE)

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Count both sides of every meeting."""
        eaten: dict[tuple[str, int], set[End]] = {}
        for p, pairs in enumerate(self._pairs):
            for pair in pairs:
                eaten[pair.key, p] = {
                    (e.day.number, e.meal.name, side)
                    for e in tally.by_person.get(p, ())
                    for side in (0, 1)
                    if e.certain and e.meal is not None and e.item.id in pair.sides[side]
                }
        for meeting in self._meetings:
            pair = meeting.pair
            n = Decimal(sum(end in eaten[pair.key, pair.person] for end in meeting.ends))
            yield Measure(meeting.origin, self._label(meeting), "kinds", n, n, high=ONE)

    def _label(self, meeting: Meeting) -> str:
        pair, (one, two) = meeting.pair, meeting.ends
        first, second = (
            f"{pair.words[s]} at {meal}, {self.problem.days[d].label}" for d, meal, s in (one, two)
        )
        hours = (pair.minutes / 60).normalize()
        return f"{meeting.origin.person}: {first}, and {second}, less than {hours:f} h apart"

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Let two meals be nearer; what a physician keeps apart, and one meal, cannot be told apart."""
        gap = next((m.gap for m in self._meetings if m.origin == origin), 0)
        old = self.stated(f"{origin.key}.hours")
        if gap and old is not None:
            words = f"the hours between what {origin.key.split('.')[-1].replace('_', ' ')} keeps apart"
            yield (moved(f"{origin.key}.hours", Decimal(old), Decimal(gap) / 60, words, "h"),)
