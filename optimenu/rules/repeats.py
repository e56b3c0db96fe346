"""Rule: how often the same thing may come back."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

import numpy as np
from pydantic import ConfigDict, Field

from optimenu.problem.calendar import passes, runs
from optimenu.program.origin import Origin
from optimenu.rules.base import Measure, Rule, SettingFault
from optimenu.rules.by_day import ByDay, most_apart
from optimenu.rules.edits import moved
from optimenu.rules.which import course_faults, people_faults, people_of
from optimenu.settings import Flag, Names, Role, Settings, Whole

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits

Runs = tuple[tuple[int, ...], ...]
Kind = Literal["item", "main_ingredient", "tag", "form", "cuisine", "texture", "flavour"]


class RepeatTable(Settings):
    """One limit on coming back; every value of ``of`` is limited by itself."""

    of: Kind
    """What is counted as the same thing."""
    only: tuple[str, ...] = ()
    """Values meant; every value when empty."""
    courses: tuple[str, ...] = ()
    """Courses meant; every course when empty."""
    exempt_courses: tuple[str, ...] = ()
    """Courses left out."""
    exempt_tags: tuple[str, ...] = ()
    """Items with one of these tags are left out."""
    people: Annotated[tuple[str, ...], Names("person")] = ()
    """People meant; everybody when empty."""
    most_a_day: Annotated[Whole, Field(ge=1)] | None = None
    """Most servings on one day."""
    most_a_cycle: Annotated[Whole, Field(ge=1)] | None = None
    """Most servings in one pass of the cycle."""
    gap_days: Annotated[Whole, Field(ge=2)] | None = None
    """Served on day d, not again before day d + this; several servings on one day are not judged by it."""
    wrap: Flag = True
    """Judge the gap over the seam from the last day of the cycle to the first too."""
    who: Role = "dietitian"
    """Who may loosen it."""


class RepeatsSettings(Settings):
    """Limits on repetition, by a name of yours."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, RepeatTable]

    @property
    def tables(self) -> Mapping[str, RepeatTable]:
        """Limits by name."""
        return self.__pydantic_extra__ or {}


class Repeats(Rule[RepeatsSettings]):
    """Repetition.

    What
        The same item, main ingredient, tag or other trait comes at most so often a day and a cycle, and
        not again within a gap of days.
    Maths
        sum_day x <= most_a_day; sum_cycle x <= most_a_cycle; for every distinct run of gap_days dates on
        the calendar, and over the seam of the cycle: days of the run with a serving <= 1.
    When
        Days of the cycle; the reserve is not judged.
    Source
        Acceptance falls with repetition (Zandstra et al., Appetite 2000). The numbers are the
        dietitian's; common practice, no source.
    """

    table: ClassVar[str] = "repeats"
    model: ClassVar[type[Settings]] = RepeatsSettings
    example: ClassVar[str] = """
[repeats.same_dish]
of = "item"
courses = ["main", "soup", "dessert"]
most_a_day = 1
most_a_cycle = 3
gap_days = 4
[repeats.beef]
of = "main_ingredient"
only = ["beef"]
courses = ["main"]
most_a_day = 1
"""

    def faults(self) -> Iterable[SettingFault]:
        """Gaps longer than the cycle, unknown names."""
        length = min(self.problem.cycle_length, len(self.problem.dates))
        for name, table in self.settings.tables.items():
            yield from people_faults(self.problem, table.people, (name, "people"))
            yield from course_faults(self.problem, table.courses, (name, "courses"))
            yield from course_faults(self.problem, table.exempt_courses, (name, "exempt_courses"))
            tags = sorted({t for i in self.problem.catalogue.items for t in i.tags})
            for tag in table.exempt_tags:
                if tag not in tags:
                    text = self.problem.catalogue.absent("tag", tag, tags)
                    yield SettingFault((name, "exempt_tags"), text)
            known = sorted({v for i in self.problem.catalogue.items for v in _values(i, table.of)})
            for value in table.only:
                if value not in known:
                    text = self.problem.catalogue.absent(table.of.replace("_", " "), value, known)
                    yield SettingFault((name, "only"), text)
            if table.gap_days and table.gap_days > length:
                text = f"a gap of {table.gap_days} days is longer than the cycle of {length} days"
                yield SettingFault((name, "gap_days"), text)
            for day in self.problem.cycle:
                near = [b for a, b in pairwise(sorted(day.dates)) if (b - a).days < (table.gap_days or 0)]
                if day.block == "dated" and near:
                    text = f"{day.label} serves dates within {table.gap_days} days, up to {near[0]}; "
                    yield SettingFault((name, "gap_days"), text + "plan them as two days in [dates]")
            if not (table.most_a_day or table.most_a_cycle or table.gap_days):
                yield SettingFault((name,), "set most_a_day, most_a_cycle or gap_days")

    @cached_property
    def _runs(self) -> Mapping[str, tuple[tuple[int, ...], ...]]:
        return {
            name: runs(
                self.problem.sequence,
                table.gap_days,
                wrap=table.wrap,
                cycle=self.problem.ring,
            )
            for name, table in self.settings.tables.items()
            if table.gap_days
        }

    @cached_property
    def _passes(self) -> tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]:
        """Plan days on the dates of each distinct pass, and its name in an origin: none for a single one."""
        found = passes(self.problem.sequence, self.problem.cycle_length)
        return tuple((days, days if len(found) > 1 else ()) for days in found)

    def _members(self, table: RepeatTable) -> Mapping[str, list[int]]:
        """Items by each value limited."""
        found: dict[str, list[int]] = defaultdict(list)
        for k, item in enumerate(self.problem.catalogue.items):
            if item.tags.isdisjoint(table.exempt_tags):
                for value in _values(item, table.of):
                    if not table.only or value in table.only:
                        found[value].append(k)
        return found

    def _origin(
        self, name: str, line: str, person: str, value: str, day: int = -1, run: tuple[int, ...] = ()
    ) -> Origin:
        who = self.settings.tables[name].who
        return Origin("repeats", f"repeats.{name}.{line}", person, day, what=value, run=run, who=who)

    def write(self, page: Page) -> None:
        """Rows per person and value: each day, the cycle, each run."""
        n = len(self.problem.catalogue.items)
        days = [d.number for d in self.problem.cycle]
        for name, table in self.settings.tables.items():
            for p in people_of(self.problem, table.people):
                every = page.of(p, days, courses=table.courses or None, certain=True)
                if table.exempt_courses:
                    exempt = np.zeros(len(page.item), dtype=bool)
                    exempt[page.of(p, days, courses=table.exempt_courses)] = True
                    every = every[~exempt[every]]
                sort = every[np.argsort(page.item[every], kind="stable")]
                starts = np.searchsorted(page.item[sort], np.arange(n + 1))
                by_item = [sort[starts[k] : starts[k + 1]] for k in range(n)]
                named = self._members(table)
                for value, members in named.items():
                    parts = [by_item[k] for k in members if len(by_item[k])]
                    if parts:
                        self._write_value(page, name, table, p, value, np.sort(np.concatenate(parts)))
                if table.of == "item":
                    self._cap_groups(
                        page, name, table, p, {k: by_item[k] for ks in named.values() for k in ks}
                    )

    def _write_value(
        self, page: Page, name: str, table: RepeatTable, p: int, value: str, cols: np.ndarray
    ) -> None:
        person = self.problem.people[p].id
        found = ByDay(cols, page.day[cols], page.high[cols], len(self.problem.days))
        if table.most_a_day:
            for d in np.flatnonzero(found.room > table.most_a_day).tolist():
                page.count(
                    self._origin(name, "most_a_day", person, value, d), found.on((d,)), table.most_a_day
                )
        if table.most_a_cycle:
            for dates, run in self._passes:
                times = np.bincount(dates, minlength=len(self.problem.days))
                if (found.room * times).sum() > table.most_a_cycle:
                    origin = self._origin(name, "most_a_cycle", person, value, run=run)
                    page.row(origin, cols, times[page.day[cols]], high=Decimal(table.most_a_cycle))
        if not table.gap_days:
            return
        once = table.most_a_day == 1
        used = {}
        if once:
            self._write_round(page, name, person, value, cols, found)
        else:
            for d in np.flatnonzero(found.room).tolist():
                used[d] = page.used(self._origin(name, "gap_days", person, value, d), found.on((d,)))
        runs_of, members, inside = self._run_days[name]
        room = found.room.tolist()
        for k in np.flatnonzero(inside @ found.room > 1).tolist():
            held = [d for d in members[k] if room[d]]
            origin = self._origin(name, "gap_days", person, value, run=runs_of[k])
            if once:
                page.count(origin, found.on(held), 1)
            elif len(held) > 1:
                page.row(origin, np.asarray([used[d] for d in held], dtype=np.int32), 1, high=Decimal(1))

    @cached_property
    def _run_days(self) -> Mapping[str, tuple[Runs, list[list[int]], np.ndarray]]:
        """Runs of each limit with a gap, the plan days of each, rising, and whether a day is of a run."""
        out = {}
        for name, found in self._runs.items():
            members = [sorted(set(run)) for run in found]
            inside = np.zeros((len(found), len(self.problem.days)), dtype=np.int64)
            for k, days in enumerate(members):
                inside[k, days] = 1
            out[name] = (found, members, inside)
        return out

    def _write_round(
        self, page: Page, name: str, person: str, value: str, cols: np.ndarray, found: ByDay
    ) -> None:
        """Say to the bound how often a gap lets the value come on days that it merges, and round the cycle.

        Merging sums the runs, and a sum over days of several classes no longer tells how few uses the days
        of one class hold by themselves.
        """
        for words, days, most in self._rounds[name]:
            if found.room[days].sum() > most:
                among = np.zeros(len(self.problem.days), dtype=bool)
                among[days] = True
                origin = self._origin(name, "gap_days", person, f"{value}, {words}")
                page.row(origin, cols[among[page.day[cols]]], 1, high=Decimal(most), implied=True)

    @cached_property
    def _rounds(self) -> Mapping[str, list[tuple[str, list[int], int]]]:
        """Sets of cycle days for each limit with a gap, in words, and the most uses they hold."""
        problem, found = self.problem, {}
        days = [d.number for d in problem.repeating]
        sets: dict[tuple[int, ...], str] = {}
        for key in (problem.day_class, [problem.days[d].weight for d in range(len(problem.days))]):
            alike: dict[object, list[int]] = defaultdict(list)
            for d in days:
                alike[key[d]].append(d)
            for group in alike.values():
                sets.setdefault(tuple(group), f"on days like {problem.days[group[0]].label}")
        sets.setdefault(tuple(days), "round the cycle")
        if len(days) == len(problem.cycle):
            # the length of the worth groups says as much
            del sets[tuple(days)]
        for name, table in self.settings.tables.items():
            gap = table.gap_days or 0
            met = gap and table.most_a_day == 1 and self._met(name, days, gap)
            found[name] = [
                (words, list(group), most)
                for group, words in sets.items()
                if met and (most := most_apart([days.index(d) for d in group], len(days), gap)) < len(group)
            ]
        return found

    def _cap_groups(
        self, page: Page, name: str, table: RepeatTable, p: int, by_item: Mapping[int, np.ndarray]
    ) -> None:
        """Tell the worth groups how many uses these limits leave, where they cover the item everywhere."""
        days = [d.number for d in self.problem.cycle]
        repeating = [d.number for d in self.problem.repeating]
        # days planned by themselves come on top of a cycle that somewhere passes whole
        own = len(days) - len(repeating)
        if own and table.most_a_day is None:
            return
        more = own * (table.most_a_day or 0)
        caps = []
        if table.most_a_cycle and any(set(repeating) <= set(run) for run, _ in self._passes):
            caps.append(("most_a_cycle", table.most_a_cycle + more))
        gap = table.gap_days
        if gap and table.most_a_day == 1 and self._met(name, repeating, gap):
            caps.append(("gap_days", len(repeating) // gap + more))
        person, items = self.problem.people[p].id, self.problem.catalogue.items
        every = np.bincount(
            page.item[page.of(p, days, certain=True)], minlength=len(page.problem.catalogue.items)
        )
        for k, cols in by_item.items():
            if len(cols) and every[k] == len(cols):
                for line, most in caps:
                    origin = self._origin(name, line, person, f"{items[k].id}, every use")
                    page.cap_uses(p, k, most, None if own else origin)

    def _met(self, name: str, days: list[int], gap: int) -> bool:
        """Tell whether every run round the cycle is judged, the seam's too: then days // gap is the most."""
        twice = days + days
        every = {tuple(sorted(twice[k : k + gap])) for k in range(len(days))}
        # a hole in the cycle lets more in than days over gap
        return len(days) == len(self.problem.ring) >= gap and every <= set(self._runs[name])

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Count what the menu holds of every value, by day, cycle and run."""
        for name, table in self.settings.tables.items():
            for p in people_of(self.problem, table.people):
                person = self.problem.people[p].id
                found: dict[str, dict[int, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
                for e in tally.by_person.get(p, ()):
                    if self._counts(e, table):
                        for value in _values(e.item, table.of):
                            if not table.only or value in table.only:
                                found[value][e.day.number] += e.count
                for value, days in sorted(found.items()):
                    yield from self._measure_value(name, table, person, value, days)

    def _measure_value(
        self, name: str, table: RepeatTable, person: str, value: str, days: Mapping[int, Decimal]
    ) -> Iterator[Measure]:
        word = value.replace("_", " ")
        if table.most_a_day:
            for d, n in sorted(days.items()):
                label = f"{person}, {self.problem.days[d].label}: {word} on one day"
                origin = self._origin(name, "most_a_day", person, value, d)
                yield Measure(origin, label, "servings", n, n, high=Decimal(table.most_a_day))
        if table.most_a_cycle:
            for members, run in self._passes:
                n = sum((days.get(d, Decimal(0)) for d in members), Decimal(0))
                if n:
                    origin = self._origin(name, "most_a_cycle", person, value, run=run)
                    own = [self.problem.days[d].label for d in run if self.problem.days[d].block == "dated"]
                    label = f"{person}: {word} in the cycle{' with ' if own else ''}{', '.join(own)}"
                    yield Measure(origin, label, "servings", n, n, high=Decimal(table.most_a_cycle))
        if table.gap_days:
            for run in self._runs[name]:
                # with one serving a day at most, a second serving on a day also breaks the run
                here = [days[d] for d in sorted(set(run)) if d in days]
                n = sum(here, Decimal(0)) if table.most_a_day == 1 else Decimal(len(here))
                if n:
                    labels = ", ".join(self.problem.days[d].label.removeprefix("day ") for d in run)
                    origin = self._origin(name, "gap_days", person, value, run=run)
                    label = f"{person}: {word} within {table.gap_days} days (days {labels})"
                    unit = "servings" if table.most_a_day == 1 else "days"
                    yield Measure(origin, label, unit, n, n, high=Decimal(1))

    def rows_alone(self, origin: Origin) -> bool:
        """Another gap has other runs, and what holds of an item also says how often it may be used at all."""
        _, name, line = origin.key.split(".")
        return line == "most_a_day" or (line == "most_a_cycle" and self.settings.tables[name].of != "item")

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Allow more, or shorten a gap: one of 2 days is the shortest there is."""
        name = origin.key.split(".")[1]
        old, words = self.stated(origin.key), name.replace("_", " ")
        if not origin.key.endswith(".gap_days"):
            often = "a day" if origin.key.endswith("_a_day") else "in a cycle"
            yield (moved(origin.key, old, old + amount, f"repeats of {words} {often}"),)
        elif old > 2:
            new = max(Decimal(2), old - max(amount, Decimal(1)))
            yield (moved(origin.key, old, new, f"the gap between repeats of {words}", "days"),)

    def _counts(self, e: Entry, table: RepeatTable) -> bool:
        course = e.course.name if e.course else ""
        return (
            e.day.eaten
            and bool(course)
            and (not table.courses or course in table.courses)
            and course not in table.exempt_courses
            and e.item.tags.isdisjoint(table.exempt_tags)
        )


def _values(item: Item, of: Kind) -> tuple[str, ...]:
    if of == "item":
        return (item.id,)
    if of == "tag":
        return tuple(sorted(item.tags))
    value = getattr(item, of)
    return (value,) if value else ()
