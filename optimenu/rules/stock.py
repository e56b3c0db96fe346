"""Rule: no more packs than are released and in date, load by load."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal
from functools import cached_property
from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np

from optimenu.menu.packs import packs_of
from optimenu.program.origin import Origin
from optimenu.rules.base import Measure, Refusal, Rule
from optimenu.rules.edits import Edit
from optimenu.settings import Role, Settings, Text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import date

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Tally
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits, Wanted


class StockSettings(Settings):
    """Packs in stock."""

    file: Text | None = None
    """Table of lots: item, load, lot, production_date, use_by, best_before, packs, state."""
    unlisted: Literal["refuse", "order"] = "refuse"
    """Items without a row: not to be had, or to be ordered in any number."""


class Stock(Rule[StockSettings]):
    """Stock.

    What
        Packs opened from a load never exceed the packs released for it that are still within their
        use-by date when eaten. Packs on hold, rejected or only ordered do not count, nor does a lot
        whose use-by date is not known. Each load feeds the dates from its arrival until the next one;
        the first load carries the reserve, whose packs must last to the end of the stay.
    Maths
        For each item, load and use-by date u of its lots: sum over the people who draw on a pack and the
        spans it may be kept open of ceil(servings on dates after u / servings per pack) <= packs with a
        use-by date after u; and the same over all dates of the load.
    When
        The whole stay and the reserve. Lots of one load share their arrival, so these rows are exact.
    Source
        Arithmetic; earliest expiry first is the trade's habit.
    """

    table: ClassVar[str] = "stock"
    model: ClassVar[type[Settings]] = StockSettings
    by_date: ClassVar[bool] = True
    who: ClassVar[Role] = "planner"
    example: ClassVar[str] = """
[stock]
file = "station/stock.csv"
unlisted = "refuse"
"""

    def ends(self, load: int) -> date:
        """Last date food of a load is needed."""
        fed = [w for w in self.problem.dates if self.problem.load_on(w) == load]
        last = max(fed) if fed else self.problem.loads[load].arrives
        return self.problem.dates[-1] if load == 0 and self.problem.reserve else last

    @cached_property
    def _available(self) -> Mapping[tuple[str, int], tuple[tuple[date | None, int], ...]]:
        """By (item, load): pairs of a date, or None for all dates, and packs usable after it."""
        lots: dict[tuple[str, int], list[tuple[date, int]]] = {}
        numbers = {load.name: k for k, load in enumerate(self.problem.loads)}
        for row in self.problem.stock or ():
            load = numbers.get(row.load)
            if load is None:
                continue
            found = lots.setdefault((row.item, load), [])
            if row.use_by is not None and row.usable(self.problem.loads[load].arrives):
                found.append((row.use_by, row.packs))
        out = {}
        for key, dated in lots.items():
            last = self.ends(key[1])
            marks: list[date | None] = [None, *sorted({u for u, _ in dated if u < last})]
            out[key] = tuple((m, sum(n for u, n in dated if m is None or u > m)) for m in marks)
        return out

    def _limits(self, item: Item, load: int) -> tuple[tuple[date | None, int], ...] | None:
        """Pairs of date and packs, or None when the item may be ordered in any number."""
        if self.problem.stock is None:
            return None
        found = self._available.get((item.id, load))
        if found is None:
            return None if self.settings.unlisted == "order" else ((None, 0),)
        return found

    def balance(self, tally: Tally, item: Item, load: int) -> tuple[tuple[date | None, int, int], ...] | None:
        """Packs of an item that a menu opens from a load, beside those usable.

        Returns
        -------
        tuple of (date or None, int, int), or None
            For all dates (None) and for those after each use-by date that could bind: packs opened,
            packs usable. None when no lot of the item is listed and it may be ordered in any number.
        """
        limits = self._limits(item, load)
        if limits is None:
            return None
        return tuple((after, packs_of(tally, item, load, after), packs) for after, packs in limits)

    def refusals(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> Iterable[Refusal]:
        """Refuse an item of which a load has no usable pack on some date of this day."""
        key = (day.number, item.id)
        if key not in self._answers:
            self._answers[key] = tuple(self._refused(day, item))
        return self._answers[key]

    @cached_property
    def _answers(self) -> dict[tuple[int, str], tuple[Refusal, ...]]:
        """What was answered for a plan day and an item: neither meal nor party matters."""
        return {}

    def _refused(self, day: PlanDay, item: Item) -> Iterator[Refusal]:
        for load, dates in enumerate(self.problem.load_weights[day.number]):
            for after, packs in (self._limits(item, load) if dates else None) or ():
                if packs == 0 and self._eaten(day, load, after):
                    late = "" if after is None else f" after {after.isoformat()}"
                    name = self.problem.loads[load].name
                    text = f"no released pack within its use-by date in load {name}{late}"
                    yield Refusal(self._key(load), text, what=item.id, who="planner")
                    break

    def _eaten(self, day: PlanDay, load: int, after: date | None) -> bool:
        """Tell whether a plan day may be eaten from a load after a date; a reserve day is the last date."""
        if after is None or not day.eaten:
            return True
        return any(w > after and self.problem.load_on(w) == load for w in day.dates)

    def _origin(self, item: Item, load: int, after: date | None) -> Origin:
        what = item.id if after is None else f"{item.id} after {after.isoformat()}"
        return Origin("stock", self._key(load), what=what, who="planner")

    def _key(self, load: int) -> str:
        return f"stock.{self.problem.loads[load].name}"

    def write(self, page: Page) -> None:
        """One row per item, load and use-by date that could be short."""
        for k, item in enumerate(self.problem.catalogue.items):
            for load in range(len(self.problem.loads)):
                for after, packs in self._limits(item, load) or ():
                    self._write_one(page, k, item, load, after, packs)

    def _write_one(self, page: Page, k: int, item: Item, load: int, after: date | None, packs: int) -> None:
        stay, vals = page.packs(k, load, "stay", after=after)
        reserve, more = page.packs(k, load, "reserve")
        cols = np.concatenate((stay, reserve))
        if len(cols):
            page.row(self._origin(item, load, after), cols, np.concatenate((vals, more)), high=Decimal(packs))

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Packs opened of every item on the menu, against what is usable."""
        used = {e.item.id for e in tally.entries}
        for item in self.problem.catalogue.items:
            if item.id not in used:
                continue
            for load in range(len(self.problem.loads)):
                for after, packs in self._limits(item, load) or ():
                    n = Decimal(packs_of(tally, item, load, after))
                    if not n:
                        continue
                    late = "" if after is None else f" after {after.isoformat()}"
                    yield Measure(
                        self._origin(item, load, after),
                        f"{item.name}{self._load_words(load)}{late}",
                        "packs",
                        n,
                        n,
                        high=Decimal(packs),
                        section="packs",
                    )

    def lever(self, origin: Origin, *, low: bool = False) -> str:
        """Packs of each item and load by themselves."""
        return f"{origin.key}.{origin.what.partition(' ')[0]}"

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Bring more packs, which last as long as the load feeds anybody."""
        item = self.problem.catalogue.by_id[origin.what.partition(" ")[0]]
        name = origin.key.removeprefix("stock.")
        load = next(k for k, one in enumerate(self.problem.loads) if one.name == name)
        old = next((packs for _, packs in self._available.get((item.id, load), ())), 0)
        more = int(round(amount, 6).to_integral_value(ROUND_CEILING))
        said = (
            f"have {more} more released packs of {item.name} in load {name}, "
            f"with a use-by date of {self.ends(load).isoformat()} or later"
        )
        yield (Edit(f"{origin.key}.{item.id}", old, old + more, item.name, "packs", said),)

    def admit(self, refusal: Refusal, wanted: Sequence[Wanted]) -> Iterator[Edits]:
        """Bring a pack of an item of which there is none."""
        yield from self.further(Origin("stock", refusal.key, what=refusal.what), Decimal(1), low=False)

    def _load_words(self, load: int) -> str:
        return "" if len(self.problem.loads) == 1 else f", load {self.problem.loads[load].name}"
