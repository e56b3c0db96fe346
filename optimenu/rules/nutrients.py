"""Rule: nutrient ranges for each person over a meal, a day, several dates or the stay."""

from __future__ import annotations

from decimal import Decimal
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from optimenu.menu.tally import span
from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.program.page import soft_amount, vector
from optimenu.rules import steps
from optimenu.rules.base import Measure, Refusal, Rule, SettingFault, Shown
from optimenu.rules.nutrient_asks import ENERGY, PERCENT, WATER, ZERO, Ask, AskMaker
from optimenu.rules.nutrient_edits import NutrientEdits
from optimenu.rules.nutrient_faults import NutrientFaults
from optimenu.rules.nutrient_settings import NutrientsSettings, replaced_intake

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party
    from optimenu.program.origin import Origin
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits
    from optimenu.settings import Role, Settings


class Nutrients(Rule[NutrientsSettings]):
    """Nutrient ranges.

    What
        Energy close to each person's requirement; floors and ceilings of nutrients over a meal, a day,
        3 or 7 consecutive dates or the stay; shares of energy; amounts per 1000 kcal; ratios; fluid by
        the day's work; prescribed steps: how far an amount may change from one date to the next. A
        shortfall is told, never filled: supplements are only those prescribed.
    Maths
        low x dates <= sum over the window of a x + supplements <= high x dates;
        share, density and ratio rows: sum (a - L e) x >= 0 or <= 0;
        step: sum on one day - sum on the next <= step, and the other way round;
        fluid: water on a day >= ml_per_kcal x requirement x part of the day + extra.
        An unknown amount counts as zero in a floor. In a ceiling it counts at the declared upper
        estimate; without one the item is not allowed under a prescribed ceiling, and any other
        ceiling is listed as not proved. What is free in the day counts in every window, each meal's
        included, at whichever end, none or all, is worse.
    When
        Days of the cycle; windows of several dates over every distinct run on the calendar; prescribed
        day and meal ceilings in the reserve too; no floor at a meal from which the person is away. Steps
        over every two dates in a row, days that bring only a part of a day left out. With a table
        ``storage``, vitamins count as when eaten: floors by the oldest pack on the last date that days
        of one class serve, ceilings by the youngest on the first, a mean over the stay date by date; a
        vitamin of which nobody states a loss counts as unknown beyond 30 days from production. Without
        the table, values are those at production.
    Source
        National Academies, Dietary Reference Intakes for adults (built in, sources in
        ``optimenu/nutrition/data``). Fluid of 1.0 to 1.5 mL for each kcal of energy: National Research
        Council, Recommended Dietary Allowances, 10th edition, 1989 (from memory). Defer to a licensed
        dietitian or physician.
    """

    table: ClassVar[str] = "nutrients"
    model: ClassVar[type[Settings]] = NutrientsSettings
    example: ClassVar[str] = """
[nutrients.energy]
day_within = 10
stay_within = 3
[nutrients.limits.NA_mg.day]
high = 2600
price = 0.00001
[nutrients.limits.NA_mg.day.for.tomas]
high = 2000
[nutrients.shares.FAT_g]
low = 20
high = 35
kcal_per_g = 9
price = 0.00001
[nutrients.per_1000_kcal.FIBTG_g]
low = 12
[nutrients.ratios.calcium_to_phosphorus]
top = "CA_mg"
bottom = "P_mg"
low = 0.6
[nutrients.fluid]
ml_per_kcal = 1.0
extra_ml = { heavy = 500 }
price = 0.00001
"""

    @classmethod
    def replaces(cls, keys: tuple[str, ...], old: Any, new: Any, below: Mapping[str, Any]) -> Role | None:
        """Who may lift the published intake that a setting takes the place of."""
        return replaced_intake(keys, old, new, below)

    def faults(self) -> Iterable[SettingFault]:
        """Unknown people and day kinds, floors above ceilings, energy shares of what is not in grams."""
        return NutrientFaults(self.settings, self.problem).all()

    def needs(self) -> Iterable[tuple[str, tuple[str, ...]]]:
        """Every column a setting of the config names, and energy."""
        yield ENERGY, ("energy",)
        for column in self.settings.limits:
            yield column, ("limits", column)
        for column in self.settings.shares:
            yield column, ("shares", column)
        for column in self.settings.per_1000_kcal:
            yield column, ("per_1000_kcal", column)
        if self.settings.fluid is not None:
            yield WATER, ("fluid",)
        for name, ratio in self.settings.ratios.items():
            yield ratio.top, ("ratios", name, "top")
            yield ratio.bottom, ("ratios", name, "bottom")

    def refusals(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> Iterator[Refusal]:
        """Refuse an item whose amount is unknown and has no upper estimate under a prescribed ceiling."""
        for p in party.members:
            script = self.problem.people[p].prescription
            capped = [c for c, b in script.limits.items() if any(high is not None for _, high in b.values())]
            for word, columns in (("ceiling", capped), ("step", script.steps)):
                for column in columns:
                    if self.problem.amount(item, column) is None and column not in item.upper:
                        name = BY_COLUMN[column].name if column in BY_COLUMN else column
                        who = self.problem.people[p].id
                        text = f"{name} of this item is unknown and {who} has a prescribed {word}"
                        key = f"prescriptions.people.{who}.limits.{column}"
                        yield Refusal(key, text, who, column, "physician")

    @cached_property
    def asks(self) -> tuple[Ask, ...]:
        """Every promise, one side each, in a fixed order."""
        return tuple(AskMaker(self.settings, self.problem).all())

    def _changes(self, ask: Ask) -> bool:
        """Tell whether losses in storage may touch what an ask sums."""
        return self.problem.changes(ask.top) or self.problem.changes(ask.bottom)

    def _dates(self, ask: Ask, dates: int) -> int:
        """How often the value of a serving counts on a day that an ask sums over so many dates."""
        return 1 if self._summed(ask) else dates

    def _summed(self, ask: Ask) -> bool:
        """Tell whether the value of a serving is its sum over the dates of a day, each with its own loss."""
        return ask.window == "stay" and self._changes(ask)

    def _value(self, ask: Ask, item: Item, day: int) -> Decimal:
        """What one serving adds to the sum of an ask: unknown counts as the worse end allows."""
        up = ask.side == "high"
        value = ask.top_factor * self._counted(ask, item, ask.top, day, up)
        if ask.bottom:
            value -= ask.factor * self._counted(ask, item, ask.bottom, day, not up)
        return soft_amount(value, ask.price)

    def _of_entry(self, ask: Ask, entry: Entry) -> Decimal:
        return self._value(ask, entry.item, entry.day.number)

    def _counted(self, ask: Ask, item: Item, column: str, day: int, upwards: bool) -> Decimal:
        summed = self._summed(ask)
        known = self.problem.eaten(item, column, day, up=upwards, mean=summed)
        if known is not None:
            return known
        top = item.upper.get(column, ZERO) if upwards else ZERO
        return top * self.problem.days[day].weight if summed else top

    def write(self, page: Page) -> None:
        """One row per ask; item vectors are made once for each kind of ask."""
        steps.write(page)
        made: dict[tuple[object, ...], tuple[np.ndarray, np.ndarray, int]] = {}
        for ask in self.asks:
            summed = self._summed(ask)
            key = (ask.side, ask.top, ask.bottom, ask.top_factor, ask.factor, ask.price is None, summed)
            if key not in made:
                made[key] = self._vectors(ask)
            vals, place, places = made[key]
            weight = np.zeros(len(self.problem.days), dtype=np.int64)
            for d, w in ask.weights:
                weight[d] = self._dates(ask, w)
            days = [d for d, _ in ask.weights]
            cols = page.of(ask.person, days, meal=ask.meal or None)
            if ask.meal:
                # what is free in the day may be eaten at this meal
                cols = np.sort(np.concatenate((cols, page.of(ask.person, days, certain=False))))
            page.row(
                ask.origin,
                cols,
                vals[place[page.day[cols]], page.item[cols]] * weight[page.day[cols]],
                low=ask.total if ask.side == "low" else None,
                high=ask.total if ask.side == "high" else None,
                decimals=places,
                soft=ask.price,
            )

    def _vectors(self, ask: Ask) -> tuple[np.ndarray, np.ndarray, int]:
        """Value of a serving of each item: int64 (k, items), which of the k each plan day has, decimals."""
        days, items = self.problem.days, self.problem.catalogue.items
        kept = self.problem.retention if self._changes(ask) else None
        # without losses a serving is worth the same on every day, with them on every day of a class
        first = [0 if kept is None else kept.of_class(d.number) for d in days]
        own = sorted(set(first))
        each, places = vector([self._value(ask, i, d) for d in own for i in items])
        return each.reshape(len(own), len(items)), np.searchsorted(own, first), places

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Sum every ask from the catalogue's own decimals."""
        yield from steps.measures(tally)
        for ask in self.asks:
            entries: list[tuple[Entry, int]] = [
                (e, self._dates(ask, w))
                for d, w in ask.weights
                for e in tally.on(ask.person, d)
                if not ask.meal or e.meal is None or e.meal.name == ask.meal
            ]
            found = span_weighted(entries, partial(self._of_entry, ask))
            known, proved = self._known(ask, entries)
            person = self.problem.people[ask.person]
            when = "the stay" if ask.window == "stay" else self._when(ask)
            yield Measure(
                origin=ask.origin,
                label=f"{person.id}, {when}: {self._name(ask)}",
                unit=ask.unit,
                least=found[0],
                most=found[1],
                low=ask.total if ask.side == "low" else None,
                high=ask.total if ask.side == "high" else None,
                soft=ask.price,
                known=known,
                proved=proved,
                section="nutrients",
                shown=self._shown(ask, entries, found),
            )

    def _name(self, ask: Ask) -> str:
        name = "Fluid: food, added and plain water" if ask.top == "WATER_g" else BY_COLUMN[ask.top].name
        if ask.reading == "ratio":
            return f"{name} to {BY_COLUMN[ask.bottom].inside}"
        return name

    def _when(self, ask: Ask) -> str:
        labels = [self.problem.days[d].label for d, _ in ask.weights]
        if len(labels) > 1:
            return f"{len(labels)} days, {', '.join(x.removeprefix('day ') for x in labels)}"
        return f"{labels[0]}, {ask.meal}" if ask.meal else labels[0]

    def _shown(self, ask: Ask, entries: Sequence[tuple[Entry, int]], found: tuple[Decimal, Decimal]) -> Shown:
        if not ask.bottom:
            value = (found[0] if ask.side == "low" else found[1]) / ask.per + ask.given
            limit = ask.limit
        else:
            # the quotient at the same ends as the row: optional servings and unknown amounts at their worse
            up = ask.side == "high"
            worse = [(e, w) for e, w in entries if e.certain or (self._of_entry(ask, e) > 0) == up]
            top, base = (
                sum((e.count * w * self._counted(ask, e.item, c, e.day.number, u) for e, w in worse), ZERO)
                for c, u in ((ask.top, up), (ask.bottom, not up))
            )
            times = {"% of energy": PERCENT, "ratio": Decimal(1)}.get(ask.reading, Decimal(1000))
            value = ask.top_factor * top / base * times if base else ZERO
            limit = ask.factor * times
        reading = "" if ask.reading == "ratio" else ask.reading
        return Shown(
            value, limit if ask.side == "low" else None, limit if ask.side == "high" else None, reading
        )

    def _known(self, ask: Ask, entries: Sequence[tuple[Entry, int]]) -> tuple[Decimal, bool]:
        """Share of the mass eaten whose value is known; whether no unknown could break the promise."""
        mass = known = ZERO
        proved = True
        for e, w in entries:
            grams = e.count * (e.day.weight if self._summed(ask) else w) * e.item.serving_g
            mass += grams
            # a ceiling needs only what bounds an amount from above, and what was there at production does
            stated = self.problem.amount(e.item, ask.top) is not None
            if stated and (ask.side == "high" or self.problem.surely(e.item, ask.top, e.day.number)):
                known += grams
            elif ask.side == "high" and self._unbounded(e.item, ask.top):
                proved = False
            if ask.bottom and ask.side == "low" and self._unbounded(e.item, ask.bottom):
                proved = False
        return (known / mass if mass else Decimal(1)), proved

    @cached_property
    def _edits(self) -> NutrientEdits:
        return NutrientEdits(self.settings, self.problem, self.asks)

    def lever(self, origin: Origin, *, low: bool = False) -> str:
        """Each person's line by itself, a day kind's where it has its own; energy gives way on both sides."""
        return self._edits.lever(origin)

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Move one person's line; no ceiling above a tolerable upper intake (UL)."""
        return self._edits.further(origin, amount)

    def _unbounded(self, item: Item, column: str) -> bool:
        """Tell whether nothing bounds an amount from above; what was there at production does."""
        return self.problem.amount(item, column) is None and column not in item.upper


def span_weighted(
    entries: Iterable[tuple[Entry, int]], value: Callable[[Entry], Decimal]
) -> tuple[Decimal, Decimal]:
    """Least and most of the sum of count x dates x value, optional servings at their worse end."""
    least = most = ZERO
    for e, w in entries:
        part = span((e,), value)
        least += w * part.least
        most += w * part.most
    return least, most
