"""What a point of one person's liking costs the others, as a table."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table

from optimenu.rules.base import plain, raised
from optimenu.views.console import STYLES, cell, heading, marks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.explain.exchange import Exchange
    from optimenu.problem.problem import Problem


def exchange_page(problem: Problem, found: Sequence[Exchange]) -> RenderableType:
    """Return one line a person: their liking, the others' bound, and what a point more of it takes away.

    Parameters
    ----------
    found : sequence of Exchange
        As ``explain.exchange.exchanges`` returns them.
    """
    head = heading("What a point of one person's liking costs the others")
    if not found:
        return Group(head, cell("Nothing to tell: there is one person, or no answer to ask."))
    letters = marks(problem.people)
    step = plain(found[0].step * 100)
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("person", overflow="fold")
    for name in ("liking", "others at most", f"with {step} more", "cost to others", "rate"):
        table.add_column(name, justify="right")
    for one in found:
        table.add_row(
            letters[one.person].text(name=True),
            cell(f"{one.liking * 100:.2f} %"),
            cell(_percent(one.others)),
            cell("no answer" if one.raised is None else _percent(one.raised)),
            cell("-" if one.cost is None else f"{max(one.cost, Decimal(0)) * 100:.3f}"),
            cell(f"{one.rate:.3f}"),
        )
    notes = (
        "Others at most: proved, no menu within these limits gives the others a greater mean liking (less "
        "the price of soft limits missed) while this person has at least the liking beside it, and with "
        f"{step} point of it more.",
        "Cost: by how much that bound falls, in points. Rate: points lost for each point at the first level. "
        "Cost and rate are the relaxation's finding, no proof about menus. No answer: the relaxation cannot "
        "give this person a point more.",
    )
    return Group(head, table, *(cell(note, STYLES["quiet"]) for note in notes))


def _percent(value: Decimal) -> str:
    return f"{raised(value * 100, 3)} %"
