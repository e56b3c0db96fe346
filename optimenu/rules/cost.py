"""Rule: what the packs cost."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np

from optimenu.menu.packs import opened
from optimenu.problem.opening import BLOCKS
from optimenu.program.origin import Origin
from optimenu.program.page import vector
from optimenu.rules.base import Measure, Refusal, Rule, SettingFault
from optimenu.settings import Positive, Role, Settings, Unit

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Tally
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party
    from optimenu.program.page import Page

ZERO = Decimal(0)
UNIT = "currency units"
"""The catalogue does not say which currency its costs are in."""


class CostSettings(Settings):
    """What the food may cost."""

    at_most: Annotated[Positive, Unit("currency units")] | None = None
    """Most that all packs opened may cost, in the catalogue's currency."""
    who: Role = "planner"
    """Who may loosen it."""


class Cost(Rule[CostSettings]):
    """Cost.

    What
        All packs opened, the reserve and the allowances included, cost no more than the limit. An item
        whose cost the catalogue does not state is then left out: what is not known is not free.
    Maths
        sum over people who draw on a pack, item, load, block and span of cost x packs <= at_most, with
        packs whole.
    When
        The whole stay. Samples, spare packs and order units are the order sheet's, not counted here.
    Source
        The catalogue's costs.
    """

    table: ClassVar[str] = "cost"
    model: ClassVar[type[Settings]] = CostSettings
    example: ClassVar[str] = """
[cost]
at_most = 2500
"""

    def faults(self) -> Iterable[SettingFault]:
        """A limit on what the catalogue says nothing about."""
        if self.settings.at_most is not None and all(i.cost is None for i in self.problem.catalogue.items):
            text = "the catalogue states no cost; fill its column cost, or leave this limit out"
            yield SettingFault(("at_most",), text)

    def refusals(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> Iterator[Refusal]:
        """Refuse what has no stated cost while cost is limited."""
        if self.settings.at_most is not None and item.cost is None:
            text = "its cost is not stated, and cost is limited"
            yield Refusal("cost.at_most", text, who=self.settings.who)

    def _origin(self) -> Origin:
        return Origin("cost", "cost.at_most", who=self.settings.who)

    def write(self, page: Page) -> None:
        """One row."""
        if self.settings.at_most is None:
            return
        each, places = vector([i.cost or ZERO for i in self.problem.catalogue.items])
        cols, vals = [], []
        for number in range(len(self.problem.loads)):
            for block in BLOCKS:
                c, i, v = page.opened(number, block)
                cols.append(c)
                vals.append(v * each[i])
        page.row(
            self._origin(),
            np.concatenate(cols),
            np.concatenate(vals),
            high=self.settings.at_most,
            decimals=places,
        )

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Add up the packs opened."""
        if self.settings.at_most is None:
            return
        by_id = self.problem.catalogue.by_id
        total = sum((n * (by_id[item].cost or ZERO) for (_, item, _, _), n in opened(tally).items()), ZERO)
        yield Measure(
            self._origin(),
            "cost of packs, stay",
            UNIT,
            total,
            total,
            high=self.settings.at_most,
            section="cost",
        )
