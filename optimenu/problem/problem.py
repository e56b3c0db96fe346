"""The question as one frozen object; rules, program, audit and views read nothing else."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cached_property
from typing import TYPE_CHECKING

from optimenu.problem.storage import Retention

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Mapping
    from datetime import date

    from optimenu.catalogue.item import Catalogue, Item
    from optimenu.catalogue.stock import StockRow
    from optimenu.crew.acceptance import Acceptance
    from optimenu.crew.people import Person
    from optimenu.problem.calendar import Course, Load, Meal, PlanDay
    from optimenu.problem.opening import Span
    from optimenu.problem.storage import Storage

WORTH_DECIMALS = 6
ZERO = Decimal(0)
ALLOWANCE = "allowance"
"""Course of a serving that is free in the day rather than planned for a meal."""


@dataclass(frozen=True)
class Party:
    """One person, or people who share a dish.

    Attributes
    ----------
    members : tuple of int
        Numbers of people.
    part_of : str
        The whole party, where some of its members are away and the others eat without them.
    """

    id: str
    members: tuple[int, ...]
    part_of: str = ""

    @property
    def whole(self) -> str:
        """Id of the party this is, or is a part of."""
        return self.part_of or self.id


@dataclass(frozen=True)
class Problem:
    """Everything the plan depends on, resolved.

    Attributes
    ----------
    days : tuple of PlanDay
        Days of the cycle first, then those of their own dates, then the reserve's.
    sequence : tuple of int
        Plan day of each date of the stay.
    acceptance : mapping of (person, item) to Acceptance
    repeat_share : Decimal
        r in the deduction (1 - r**(k-1)) x the smallest positive worth, for the k-th use of an item.
    plain_water_ml : Decimal
        Plain drinking water a person-day, counted as fluid.
    plain_water_on : mapping of str to Decimal
        The same on a day kind that has its own.
    clock : mapping of (person, meal name) to int
        When a person eats a meal, minutes after midnight, where it is not the meal's own time.
    sleep : mapping of int to tuple of (int, int)
        When a person sleeps: spans from and to, minutes after midnight; they may cross it.
    away : frozenset of (person, plan day, meal name)
        Meals at which a person does not eat.
    declared_kinds : tuple of str
        Every day kind the config knows; one of them may have no day left.
    shared_packs : mapping of item id to tuple of tuples of int
        Groups of people who draw on one opened pack of an item; nobody is in two of them.
    storage : Storage or None
        How food is kept and what it loses; None: nutrients count as at production.
    """

    name: str
    people: tuple[Person, ...]
    parties: tuple[Party, ...]
    dates: tuple[date, ...]
    days: tuple[PlanDay, ...]
    sequence: tuple[int, ...]
    cycle_length: int
    loads: tuple[Load, ...]
    catalogue: Catalogue
    stock: tuple[StockRow, ...] | None
    acceptance: Mapping[tuple[str, str], Acceptance]
    repeat_share: Decimal = Decimal("0.8")
    plain_water_ml: Decimal = ZERO
    plain_water_on: Mapping[str, Decimal] = field(default_factory=dict)
    declared_kinds: tuple[str, ...] = ()
    clock: Mapping[tuple[int, str], int] = field(default_factory=dict)
    sleep: Mapping[int, tuple[tuple[int, int], ...]] = field(default_factory=dict)
    away: frozenset[tuple[int, int, str]] = frozenset()
    shared_packs: Mapping[str, tuple[tuple[int, ...], ...]] = field(default_factory=dict)
    storage: Storage | None = None

    @cached_property
    def person_number(self) -> Mapping[str, int]:
        """Number of a person by id."""
        return {p.id: k for k, p in enumerate(self.people)}

    @cached_property
    def party_by_id(self) -> Mapping[str, Party]:
        """Party by id."""
        return {p.id: p for p in self.parties}

    @cached_property
    def cycle(self) -> tuple[PlanDay, ...]:
        """Plan days that serve dates: those of the cycle, then those of dates of their own."""
        return tuple(d for d in self.days if d.eaten)

    @cached_property
    def repeating(self) -> tuple[PlanDay, ...]:
        """Plan days of the cycle itself, without those planned for dates of their own."""
        return tuple(d for d in self.days if d.block == "cycle")

    @cached_property
    def ring(self) -> tuple[int | None, ...]:
        """Plan day of each day of the cycle; None for one whose dates are all planned by themselves."""
        number = {d.place: d.number for d in self.repeating}
        length = min(self.cycle_length, len(self.dates))
        return tuple(number.get(place) for place in range(1, length + 1))

    @cached_property
    def reserve(self) -> tuple[PlanDay, ...]:
        """Reserve days."""
        return tuple(d for d in self.days if not d.eaten)

    @cached_property
    def span_cache(self) -> dict[Hashable, tuple[Span, ...]]:
        """Spans of opened packs already worked out; see ``optimenu.problem.opening``."""
        return {}

    @cached_property
    def alone(self) -> tuple[int, ...]:
        """Number of the party that each person is alone."""
        own = {p.members: k for k, p in reversed(list(enumerate(self.parties)))}
        return tuple(own[k,] for k in range(len(self.people)))

    def holder(self, people: tuple[int, ...]) -> str:
        """Id of the party of just these people; their ids where they only share packs."""
        for party in self.parties:
            if party.members == people:
                return party.id
        return " ".join(self.people[p].id for p in people)

    def time_of(self, person: int, meal: Meal) -> int:
        """When a person eats a meal, minutes after midnight."""
        return self.clock.get((person, meal.name), meal.at)

    def attends(self, person: int, day: PlanDay, meal: Meal) -> bool:
        """Tell whether a person eats at a meal."""
        return (person, day.number, meal.name) not in self.away

    def at_table(self, party: Party, day: PlanDay, meal: Meal) -> tuple[int, ...]:
        """Members of the whole party who eat at a meal."""
        members = self.party_by_id[party.whole].members
        return tuple(p for p in members if self.attends(p, day, meal))

    def serves(self, party: Party, day: PlanDay, meal: Meal, course: Course) -> bool:
        """Tell whether a party has a dish of its own in a course.

        One dish goes to the members of a sharing party who are at table; who is left alone at it, and
        who belongs to none, has a dish of their own.
        """
        sharing = [self.party_by_id[name] for name in course.shared_by]
        if party.whole in course.shared_by:
            return len(party.members) > 1 and self.at_table(party, day, meal) == party.members
        if len(party.members) > 1 or not self.attends(party.members[0], day, meal):
            return False
        mine = [s for s in sharing if party.members[0] in s.members]
        return all(len(self.at_table(s, day, meal)) == 1 for s in mine)

    def places(self, party: Party) -> Iterator[tuple[PlanDay, int, Meal, int, Course]]:
        """Every course a party has a dish in: plan day, number of meal, meal, number of course, course."""
        for day in self.days:
            for m, meal in enumerate(day.meals):
                for k, course in enumerate(meal.courses):
                    if self.serves(party, day, meal, course):
                        yield day, m, meal, k, course

    def sittings(self, day: PlanDay, meal: Meal) -> tuple[tuple[int, tuple[int, ...]], ...]:
        """People who eat a meal at one time: minutes after midnight, numbers of people; in order of time."""
        found: dict[int, list[int]] = {}
        for p in range(len(self.people)):
            if self.attends(p, day, meal):
                found.setdefault(self.time_of(p, meal), []).append(p)
        return tuple((at, tuple(people)) for at, people in sorted(found.items()))

    @cached_property
    def kinds(self) -> tuple[str, ...]:
        """Day kinds of days that serve dates, in order of first sight."""
        return tuple(dict.fromkeys(d.kind for d in self.cycle))

    @cached_property
    def every_kind(self) -> tuple[str, ...]:
        """Day kinds that settings may name."""
        return tuple(dict.fromkeys((*self.kinds, *self.declared_kinds)))

    @cached_property
    def day_class(self) -> tuple[Hashable, ...]:
        """Class of each plan day: days of one class are interchangeable in every whole-stay row.

        Block, kind, number of dates, and dates per load, since loads tell dates apart; a day planned for
        dates of its own is like no other, since somebody may fast on it.
        """
        return tuple(
            (d.block, d.kind, d.weight, self.load_weights[d.number], d.dates if d.block == "dated" else ())
            for d in self.days
        )

    @cached_property
    def load_weights(self) -> tuple[tuple[int, ...], ...]:
        """How many dates of each plan day each load feeds; the first load carries the reserve."""
        rows = []
        for d in self.days:
            counts = [0] * len(self.loads)
            if not d.eaten:
                counts[0] = 1
            for when in d.dates:
                counts[self.load_on(when)] += 1
            rows.append(tuple(counts))
        return tuple(rows)

    def load_on(self, when: date) -> int:
        """Number of the load that feeds a date."""
        last = 0
        for k, load in enumerate(self.loads):
            if load.arrives <= when:
                last = k
        return last

    def amount(self, item: Item, column: str) -> Decimal | None:
        """Nutrient in one serving at production, in the column's unit; None when unknown.

        Water added is counted as fluid.
        """
        return item.amount(column)

    @cached_property
    def retention(self) -> Retention | None:
        """What is left of nutrients by age; None where losses are not counted."""
        return None if self.storage is None else Retention(self, self.storage)

    def changes(self, column: str) -> bool:
        """Tell whether losses in storage are counted and may touch a nutrient."""
        return self.retention is not None and self.retention.may_change(column)

    def eaten(self, item: Item, column: str, day: int, *, up: bool, mean: bool = False) -> Decimal | None:
        """Nutrient in one serving when eaten on a plan day, after losses in storage; None when unknown.

        Parameters
        ----------
        day : int
            Plan day.
        up : bool
            As a ceiling counts it, by the upper table; a floor reads the lower one.
        mean : bool
            Summed over the dates of the day, one serving on each, rather than on its worst date.
        """
        known = self.amount(item, column)
        if not known or self.retention is None or not self.retention.may_change(column):
            return known if known is None or not mean else known * self.days[day].weight
        share = self.retention.share(item, column, day)
        if mean:
            return known * (share.high_sum if up else share.low_sum)
        return known * (share.high if up else share.low)

    def surely(self, item: Item, column: str, day: int) -> bool:
        """Tell whether an amount is known, and what is left of it on a plan day too."""
        if self.amount(item, column) is None:
            return False
        kept = self.retention
        return kept is None or not kept.may_change(column) or kept.share(item, column, day).known

    def plain_water(self, kind: str) -> Decimal:
        """Plain drinking water a person has on a day of this kind, mL."""
        return self.plain_water_on.get(kind, self.plain_water_ml)

    def worth(self, person: int, item: Item, course: Course, day: PlanDay) -> Decimal:
        """Worth of one serving to one person, six decimals.

        (acceptance - floor) x course weight x dates served / dates of the stay; 0 in the reserve.
        """
        who = self.people[person]
        liked = self.acceptance.get((who.id, item.id))
        if liked is None or not day.eaten or not course.weight:
            return ZERO
        raw: Decimal = (liked.value - who.floor) * course.weight * day.weight / len(self.dates)
        return raw.quantize(Decimal(1).scaleb(-WORTH_DECIMALS), ROUND_HALF_EVEN)

    def deductions(self, smallest: Decimal, uses: int) -> list[Decimal]:
        """Deduction for the first, second ... use of an item by a person, six decimals, not falling.

        Preference for an item grows, ever more slowly, with the time since it was last eaten
        (Balintfy, Duffy, Sinha, Operations Research 1974); the geometric form is ours.
        """
        step = Decimal(1).scaleb(-WORTH_DECIMALS)
        # the first use is whole whatever the share; 0**0 has no value in decimal arithmetic
        shares = [self.repeat_share**k if k else Decimal(1) for k in range(uses)]
        return [((1 - share) * smallest).quantize(step, ROUND_HALF_EVEN) for share in shares]
