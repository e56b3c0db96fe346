"""The page that closes a plan: liking, what is full, what was missed, how good it is, cautions."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table

from optimenu.rules.base import plain
from optimenu.views.console import STYLES, cell, heading, marks
from optimenu.views.totals import limits_table

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from optimenu.audit.menu import Report
    from optimenu.problem.problem import Problem

CAUTIONS = (
    "Check allergens on the pack itself; a recipe may change between lots.",
    "A licensed dietitian and a physician judge this plan; it does not replace them.",
    "Local food-safety codes hold. Hot food at 57 °C or above, chilled at 5 °C or below; throw away what "
    "stood 4 hours without temperature control (FDA Food Code 3-501.16, 3-501.19).",
    "Nutrient values are those at production; losses in storage are not counted yet.",
)
_KEPT = ("stowage", "water", "condiments", "requests", "variety")


def summary(problem: Problem, report: Report, record: Mapping[str, Any]) -> RenderableType:
    """Return the closing page of a plan.

    Parameters
    ----------
    record : mapping
        As ``record.json`` holds it.
    """
    parts: list[RenderableType] = [
        heading(problem.name),
        cell(
            f"{_long(problem.dates[0])} to {_long(problem.dates[-1])}: {len(problem.dates)} dates, "
            f"a cycle of {problem.cycle_length} days, {len(problem.people)} people"
            + (f", {len(problem.reserve)} reserve days each" if problem.reserve else "")
        ),
        liking_table(problem, report),
        limits_table(
            "Shared limits",
            [m for m in report.measures if m.section in _KEPT and m.origin.day < 0],
        ),
    ]
    if report.soft:
        parts.append(heading("Soft limits missed, at their price"))
        parts += [Padding(cell(b.text, STYLES["soft"]), (0, 0, 0, 2)) for b in report.soft]
    parts += [heading("How good it is"), *closing(report, record), cautions()]
    return Group(*parts)


def liking_table(problem: Problem, report: Report) -> Table:
    """Liking and mean acceptance of each person."""
    letters = marks([p.name for p in problem.people])
    table = Table(box=None, pad_edge=False, title_justify="left", header_style=STYLES["head"])
    for name, right in (("", False), ("person", False), ("liking", True), ("mean acceptance", True)):
        table.add_column(name, justify="right" if right else "left")
    for person, liked in zip(problem.people, report.liked, strict=True):
        table.add_row(
            cell(letters[person.name].letter, STYLES["head"]),
            cell(person.name),
            cell(f"{liked.liking * 100:.1f} %"),
            cell(f"{liked.acceptance:.2f} of 9"),
        )
    return table


def _long(when: date) -> str:
    return f"{when.day} {when:%B %Y}"


def closing(report: Report, record: Mapping[str, Any]) -> list[RenderableType]:
    """Say what was found and how much better at most any menu could be."""
    price = report.price
    value, bound = Decimal(record["value"]), Decimal(record["bound"])
    lines: list[RenderableType] = []
    if report.holds:
        kept = f"The menu as planned meets every hard limit: {len(report.measures):,} promises were measured."
        lines.append(cell(kept))
    else:
        lines.append(cell(f"The menu breaks {len(report.breaches)} hard limits; see: optimenu audit", "bold"))
    lines.append(
        cell(
            f"Mean liking {plain((value + price) * 100)} % less {plain(price * 100)} % for soft limits: "
            f"value {value:.6f}, bound {bound:.6f}."
        )
    )
    lines.append(cell(verdict(record), STYLES["head"]))
    return lines


def verdict(record: Mapping[str, Any]) -> str:
    """Return the closing statement in words; "optimal" only of a closed gap."""
    if record["gap_closed"]:
        return (
            "This menu is optimal: none within these limits scores better (liking less soft limits' price)."
        )
    value, bound = Decimal(record["value"]), Decimal(record["bound"])
    if value <= 0:
        return f"No menu within these limits scores more than {bound - value:.6f} higher."
    # of this menu's own value and rounded up, so that no less is said than is proved
    percent = ((bound - value) / value * 100).quantize(Decimal("0.01"), rounding="ROUND_CEILING")
    return (
        f"No menu within these limits scores more than {plain(percent)} % better (liking less the price of "
        "soft limits)."
    )


def cautions() -> RenderableType:
    """Return the usual cautions."""
    return Group(heading("Cautions"), *(Padding(cell(text), (0, 0, 0, 2)) for text in CAUTIONS))
