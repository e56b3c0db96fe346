"""The quantities that may be traded, each with the config's own limit for it.

A quantity is measured by the rule that limits it, so a number on the curve is the number that is audited.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from optimenu.program.program import NO_HIGH, ORDINARY
from optimenu.rules.cost import Cost, CostSettings
from optimenu.rules.stowage import Stowage, StowageSettings
from optimenu.rules.variety import DistinctTable, Variety, VarietySettings
from optimenu.rules.water import Water

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from optimenu.audit.menu import Report
    from optimenu.config.case import Case
    from optimenu.menu.tally import Tally
    from optimenu.program.program import Program
    from optimenu.rules.base import Rule

Name = Literal["liking", "least", "mass", "volume", "water", "variety", "cost"]
TABLE = "on_the_curve"
"""Name of the table of different items that a trade adds to a config."""
NO_LIMIT = Decimal(10**6)
"""A limit that nothing reaches: a thousand tonnes, a million litres."""


@dataclass(frozen=True)
class Axis:
    """A quantity that is traded.

    Attributes
    ----------
    words, unit : str
        As a planner reads them.
    key : str
        The config's limit, a dotted key; empty for what is no limit but a goal.
    less : bool
        Whether less of it is better.
    step : Decimal
        Limits are multiples of it.
    """

    name: Name
    words: str
    unit: str
    key: str
    less: bool
    step: Decimal = Decimal("0.01")

    @property
    def limited(self) -> bool:
        """Whether the config can limit it."""
        return bool(self.key)

    @property
    def label(self) -> str:
        """Words and unit."""
        return f"{self.words}, {self.unit}"

    @property
    def column(self) -> str:
        """Name of its column in files."""
        return {"%": self.name, "items": self.name, "currency": self.name}.get(
            self.unit, f"{self.name}_{self.unit.lower()}"
        )

    def changes(self, limit: Decimal) -> dict[str, Any]:
        """Settings that set the limit."""
        if self.name == "variety":
            own = self.key.rpartition(".")[0]
            return {f"{own}.each": "person", self.key: int(limit)}
        return {self.key: limit}

    @property
    def unlimited(self) -> Decimal:
        """A limit nothing reaches; its rows are there and bind nobody."""
        return NO_LIMIT if self.less else Decimal(0)

    def toward(self, limit: Decimal, *, loose: bool) -> Decimal:
        """Round a limit to its step, to the looser or the tighter side."""
        up = self.less == loose
        return (limit / self.step).to_integral_value(ROUND_CEILING if up else ROUND_FLOOR) * self.step

    def beats(self, one: Decimal, other: Decimal) -> bool:
        """Whether one amount is better than another."""
        return one < other if self.less else one > other

    def rows(self, program: Program) -> NDArray[np.intp]:
        """Rows of the limit, in a program whose config sets it."""
        return np.asarray(
            [
                r
                for r, origin in enumerate(program.origins)
                if origin.key == self.key and program.row_kind[r] == ORDINARY
            ],
            dtype=np.intp,
        )

    def per_unit(self, program: Program, row: int) -> Decimal:
        """Last decimals of a row of its limit in one unit of the axis."""
        factor = 1000 if self.name in ("mass", "volume", "water") else 1
        return factor * Decimal(10) ** int(program.row_decimals[row])

    def limit_at(self, program: Program, row: int, units: Decimal, limit: Decimal) -> Decimal:
        """Limit of the axis at which the row's own would be ``units``; ``limit`` is the one it has."""
        own = int(program.row_high[row] if program.row_high[row] != NO_HIGH else program.row_low[row])
        return limit + (units - own) / self.per_unit(program, row)

    def measure(self, case: Case, tally: Tally, report: Report) -> Decimal | None:
        """Amount of it in a menu; None where some of it is not known."""
        if self.name == "liking":
            return report.value * 100
        if self.name == "least":
            return report.least * 100
        if self.name == "cost" and any(e.item.cost is None for e in tally.entries):
            return None
        found = [m for m in self._rule(case).measures(tally) if m.origin.key == self.key]
        amounts = [m.shown.value if m.shown is not None else m.most for m in found]
        return max(amounts) if self.less else min(amounts)

    def _rule(self, case: Case) -> Rule[Any]:
        """Return the rule that measures it, asked for this alone."""
        problem, settings = case.problem, case.settings
        if self.name in ("mass", "volume"):
            field = self.key.rpartition(".")[2]
            return Stowage(StowageSettings.model_validate({field: NO_LIMIT}), problem)
        if self.name == "water":
            own: Any = settings
            return Water(own.water.model_copy(update={"crew_l": NO_LIMIT}), problem)
        if self.name == "variety":
            return Variety(VarietySettings(distinct={TABLE: DistinctTable(at_least=0)}), problem)
        return Cost(CostSettings(at_most=NO_LIMIT), problem)


AXES: Mapping[str, Axis] = {
    a.name: a
    for a in (
        Axis("liking", "mean liking", "%", "", less=False),
        Axis("least", "least liking", "%", "", less=False),
        Axis("mass", "gross mass", "kg", "stowage.gross_kg", less=True),
        Axis("volume", "stowed volume", "L", "stowage.volume_l", less=True),
        Axis("water", "water", "L", "water.crew_l", less=True),
        Axis("variety", "different items", "items", f"variety.distinct.{TABLE}.at_least", less=False,
             step=Decimal(1)),
        Axis("cost", "cost", "currency", "cost.at_most", less=True),
    )
}  # fmt: skip
"""Likings are less the price of soft limits missed, as planned and proved. Different items are those of
whoever has fewest, all courses, over the days of the cycle. Water is the crew's, plain water included."""
