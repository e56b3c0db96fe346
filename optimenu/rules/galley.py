"""Rule: what the galley can heat, pour and prepare at one sitting, for the crew together."""

from __future__ import annotations

from collections import defaultdict
from functools import cached_property
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from optimenu.menu.tally import span
from optimenu.program.origin import Origin
from optimenu.program.page import vector
from optimenu.rules.base import Measure, Refusal, Rule, SettingFault, Shown, plain
from optimenu.rules.edits import Edit, moved
from optimenu.rules.galley_limits import Sitting, groups, limits, rounds_needed, words_of
from optimenu.rules.galley_settings import GalleySettings, figure_faults, window

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from decimal import Decimal

    from numpy.typing import NDArray

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits, Wanted
    from optimenu.rules.galley_limits import Limit
    from optimenu.rules.galley_settings import FiguresTable
    from optimenu.settings import Settings

MIDNIGHT = 24 * 60


class Galley(Rule[GalleySettings]):
    """Galley at a sitting.

    What
        What people who eat at one time have heated, how much hot water they draw and how long the cooks
        work by hand stay within what the galley can do for a sitting. Left out is what needs longer in a
        heater place than a round or than the heaters run, and what does not state its minutes.
    Maths
        A dish heats ceil(members / servings per pack) packs for each serving: a pot of four takes one place,
        four single packs take four. For each day and group of sittings:
        sum packs <= places x packs_per_place x rounds;
        sum heat_min x packs <= places x packs_per_place x minutes (a share of time: only rounds promise that
        the packs fit one after another);
        sum members x hot water <= hot_ready_l + hot_l_per_min x hot_minutes;
        sum prep_min <= prep_min, a shared dish counted once.
        A sitting's heating ends at its time and begins rounds x round_min (or minutes, if longer) before.
        Sittings whose times are closer than that share one capacity, chains of them too: all of it could
        then be heated before the first of them. So for hot water, closer than hot_minutes +
        hot_ready_l / hot_l_per_min (drawn, and made again), and for work, closer than prep_min.
    When
        Every plan day that is eaten; the reserve has its own rule about heat. What is free in the day may
        be eaten at any sitting and counts at each in full.
    Source
        The vehicle's figures. Heating earliest sitting first is common practice, no source.
    """

    table: ClassVar[str] = "galley"
    model: ClassVar[type[Settings]] = GalleySettings
    example: ClassVar[str] = """
[galley]
places = 4
packs_per_place = 2
rounds = 2
round_min = 20
hot_ready_l = 3
hot_l_per_min = 0.1
hot_minutes = 20
prep_min = 60
[galley.on.rest]
rounds = 3
"""

    @cached_property
    def _figures(self) -> dict[str, FiguresTable]:
        return {kind: self.settings.figures(kind) for kind in self.problem.kinds}

    @cached_property
    def _limits(self) -> dict[str, tuple[Limit, ...]]:
        return {kind: tuple(limits(f)) for kind, f in self._figures.items()}

    def faults(self) -> Iterable[SettingFault]:
        """Figures that do not fit each other or the problem, and sittings too close over midnight."""
        yield from figure_faults(self.settings, self.problem)
        yield from self._night_faults()

    def _night_faults(self) -> Iterator[SettingFault]:
        """Sittings of two plan days cannot share a capacity, so they must be far enough apart."""
        told: set[str] = set()
        for a, b in dict.fromkeys(zip(self.problem.sequence, self.problem.sequence[1:], strict=False)):
            before, after = self.problem.days[a], self.problem.days[b]
            late = max(self._sittings(before), key=lambda s: s.at, default=None)
            early = min(self._sittings(after), key=lambda s: s.at, default=None)
            if late is None or early is None:
                continue
            gap = MIDNIGHT + early.at - late.at
            for limit in (*self._limits[before.kind], *self._limits[after.kind]):
                if gap < limit.apart and limit.field not in told:
                    told.add(limit.field)
                    text = (
                        f"{words_of([late])} and {words_of([early])} of the next date are {gap} min apart; a "
                        f"sitting may need the galley for {plain(limit.apart)} min, so move one of them"
                    )
                    yield SettingFault(self.settings.keys(after.kind, limit.field), text)

    def refusals(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> Iterator[Refusal]:
        """Refuse what cannot be heated in time, or does not say how long it takes."""
        if not day.eaten or (meal is not None and not self._meant(meal.name)):
            return
        for field, text in _unfit(self._figures[day.kind], item):
            yield Refusal(self._key(day.kind, field), text, who=self.settings.who)

    def _key(self, kind: str, field: str) -> str:
        return ".".join(("galley", *self.settings.keys(kind, field)))

    def _meant(self, meal: str) -> bool:
        return not self.settings.meals or meal in self.settings.meals

    def _sittings(self, day: PlanDay) -> list[Sitting]:
        return [
            Sitting(at, meal.name, people)
            for meal in day.meals
            if self._meant(meal.name)
            for at, people in self.problem.sittings(day, meal)
        ]

    def _asked(self) -> Iterator[tuple[PlanDay, Limit, tuple[Sitting, ...], Origin]]:
        """Every capacity of every group of sittings."""
        for day in self.problem.cycle:
            sittings = self._sittings(day)
            for limit in self._limits[day.kind]:
                for group in groups(sittings, limit.apart):
                    yield day, limit, group, self._origin(day, limit, group)

    def _origin(self, day: PlanDay, limit: Limit, group: tuple[Sitting, ...]) -> Origin:
        meals = {s.meal for s in group}
        meal = meals.pop() if len(meals) == 1 else ""
        what = f"{limit.words}, {words_of(group)}"
        key = self._key(day.kind, limit.field)
        return Origin("galley", key, "", day.number, meal, what, who=self.settings.who)

    def write(self, page: Page) -> None:
        """One row for each day, capacity and group of sittings; a dish counts once, however many share it."""
        sizes = np.asarray([len(p.members) for p in self.problem.parties], dtype=np.int64)
        made: dict[str, tuple[NDArray[np.int64], int]] = {}
        for day, limit, group, origin in self._asked():
            if limit.field not in made:
                made[limit.field] = self._table(limit, int(sizes.max()))
            table, places = made[limit.field]
            parts = [page.of(p, (day.number,), meal=s.meal) for s in group for p in s.people]
            # what is free in the day may be eaten at this sitting
            cols = np.unique(np.concatenate([*parts, page.of(None, (day.number,), certain=False)]))
            vals = table[sizes[page.party[cols]], page.item[cols]]
            if vals.any():
                page.row(origin, cols[vals > 0], vals[vals > 0], high=limit.high, decimals=places)

    def _table(self, limit: Limit, most: int) -> tuple[NDArray[np.int64], int]:
        """What one serving takes, by number of members and item, in whole numbers and their decimals."""
        items = self.problem.catalogue.items
        flat, places = vector([limit.of(item, n) for n in range(most + 1) for item in items])
        return flat.reshape(most + 1, len(items)), places

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Sum what the dishes of each group of sittings take."""
        on: dict[int, list[Entry]] = defaultdict(list)
        for e in tally.entries:
            on[e.day.number].append(e)
        for day, limit, group, origin in self._asked():
            seats = {(p, s.meal) for s in group for p in s.people}
            here = [e for e in on[day.number] if _eaten_at(e, seats)]
            total = span(here, lambda e: limit.of(e.item, len(e.party.members)))  # noqa: B023  used at once
            yield Measure(
                origin, f"{day.label}, {words_of(group)}: {limit.words}", limit.unit, total.least, total.most,
                high=limit.high, section="galley", shown=_litres(total.most, limit),
                note=self._in_rounds(day.kind, total.most) if limit.field == "rounds" else "",
            )  # fmt: skip

    def _in_rounds(self, kind: str, packs: Decimal) -> str:
        f = self._figures[kind]
        if not f.places or not packs:
            return ""
        per = f.packs_per_place or 1
        n = rounds_needed(int(packs), f.places, per)
        return (
            f"{_count(f.places, 'place')}, {_count(per, 'pack')} each: "
            f"{_count(int(packs), 'pack')} in {_count(n, 'round')}"
        )

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Have more places or more rounds, run longer, draw more hot water, work longer."""
        kind = self.problem.days[origin.day].kind
        f, key = self._figures[kind], origin.key
        old, field = self.stated(key), key.rsplit(".", 1)[-1]
        if field == "rounds":
            per = f.packs_per_place or 1
            if f.places and f.rounds:
                places, more = self._key(kind, "places"), amount / (f.rounds * per)
                yield (moved(places, f.places, f.places + more, "places in the heaters"),)
                yield (moved(key, old, old + amount / (f.places * per), "rounds of the heaters"),)
        elif field == "minutes":
            if f.places:
                new = old + amount / (f.places * (f.packs_per_place or 1))
                yield (moved(key, old, new, "time the heaters run for a sitting", "min"),)
        elif field == "hot_ready_l":
            yield (moved(key, old, old + amount / 1000, "hot water ready at a sitting", "L"),)
        else:
            yield (moved(key, old, old + amount, "work by hand for a sitting", "min"),)

    def admit(self, refusal: Refusal, wanted: Sequence[Wanted]) -> Iterator[Edits]:
        """Let a round last, or the heaters run, as long as the items need."""
        old, field = self.stated(refusal.key), refusal.key.rsplit(".", 1)[-1]
        longest = [self.problem.catalogue.by_id[w.item].heat_min for w in wanted]
        if field in ("round_min", "minutes") and old is not None and None not in longest:
            new = max(m for m in longest if m is not None)
            words = "minutes of a round" if field == "round_min" else "minutes the heaters run"
            yield (Edit(refusal.key, old, new, words, "min"),)


def _unfit(f: FiguresTable, item: Item) -> Iterator[tuple[str, str]]:
    """Figures, each with the reason, that keep an item from being made in time."""
    if f.places is not None and window(f) is not None:
        if item.heat_min is None:
            yield "places", "heating time unknown"
        elif item.heat_min and not f.places:
            yield "places", "needs a heater place, and there is none"
        else:
            fields = (("round_min", "a round is", f.round_min), ("minutes", "the heaters run", f.minutes))
            short = [(each, name, w) for name, w, each in fields if each is not None and item.heat_min > each]
            for each, field, what in sorted(short, key=lambda one: one[0]):
                words = f"needs {plain(item.heat_min)} min in a heater place, {what} {plain(each)} min"
                yield field, words
    if f.prep_min is not None and item.prep_min is None:
        yield "prep_min", "time of preparation unknown"


def _eaten_at(entry: Entry, seats: set[tuple[int, str]]) -> bool:
    """Tell whether a dish feeds one of the seats, or may, being free in the day."""
    if entry.meal is None:
        return True
    return any((p, entry.meal.name) in seats for p in entry.party.members)


def _litres(value: Decimal, limit: Limit) -> Shown | None:
    if limit.unit != "mL":
        return None
    return Shown(value / 1000, None, limit.high / 1000, "L")


def _count(n: int, word: str) -> str:
    return f"{n} {word}" if n == 1 else f"{n} {word}s"
