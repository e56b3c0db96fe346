"""The order sheet on the screen."""

from __future__ import annotations

from decimal import Decimal
from itertools import groupby
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimenu.rules.base import plain
from optimenu.views.console import STYLES, cell, heading, marks
from optimenu.views.order_table import long_date, order_tables
from optimenu.views.summary import CAUTIONS, many
from optimenu.views.totals import SHORT_LIST

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.config.main_settings import OrderTable
    from optimenu.problem.problem import Problem
    from optimenu.stowage.order import Sheet
    from optimenu.stowage.order_line import LoadDates, OrderLine

ZERO = Decimal(0)
_LEGEND = (
    "need = menu + cond + res + samp + spare - stock, never under 0, in packs. cond: courses of condiments, "
    "and what is free in the day at its most. res: reserve. samp: for tastings and as samples of quality. "
    "stock: released packs sure to be in date when they are wanted. Mass and volume count overwraps. "
    "?: not stated."
)


def order_page(
    problem: Problem, sheet: Sheet, settings: OrderTable, width: int, *, everything: bool = False
) -> RenderableType:
    """Return the whole sheet.

    Parameters
    ----------
    width : int
        Characters of a line.
    everything : bool
        Also lines of which nothing is ordered.
    """
    ordered = [x for x in sheet.lines if x.packs]
    shown = sheet.lines if everything else ordered
    parts: list[RenderableType] = [heading(f"Order sheet: {problem.name}"), *_asked(problem, settings)]
    for load, lines in groupby(shown, key=lambda x: x.load):
        parts += _load(load, settings)
        parts += order_tables(sheet, list(lines), shown, width)
    parts.append(Text())
    covered = len(sheet.lines) - len(ordered)
    if ordered:
        parts.append(cell(f"Ordered: {_total(ordered)}.", STYLES["head"]))
    else:
        parts.append(cell("Nothing to order: stock covers everything.", STYLES["head"]))
    if ordered and covered:
        more = "" if everything else "; see them with --all"
        parts.append(cell(f"Covered by stock: {many(covered, 'line')}{more}."))
    if shown:
        parts.append(cell(_LEGEND, STYLES["quiet"]))
    parts += [
        *_not_stated(ordered),
        *_seldom(problem, sheet, everything=everything),
        *_cautions(sheet, ordered),
    ]
    return Group(*parts)


def _asked(problem: Problem, settings: OrderTable) -> list[RenderableType]:
    people = "1 person" if len(problem.people) == 1 else f"{len(problem.people)} people"
    reserve = f", {many(len(problem.reserve), 'reserve day')} each" if problem.reserve else ""
    return [
        cell(
            f"{long_date(problem.dates[0])} to {long_date(problem.dates[-1])}: "
            f"{many(len(problem.dates), 'date')}, {people}{reserve}"
        ),
        cell(
            f"Asked in [order]: {many(settings.tasting_packs, 'pack')} of each item for tastings, "
            f"{many(settings.quality_packs, 'pack')} from each load as samples of quality, "
            f"{plain(settings.spare_percent)} % spare."
        ),
    ]


def _load(load: LoadDates, settings: OrderTable) -> list[RenderableType]:
    arrives, needed = long_date(load.arrives), long_date(load.needed_by)
    packing, loading = many(settings.packing_days, "day"), many(settings.loading_days, "day")
    return [
        heading(f"Load {load.name}, arrives {arrives}: needed by {needed}"),
        cell(
            f"Packing takes {packing}, loading {loading}. What is ordered must keep to "
            f"{long_date(load.keeps_to)}."
        ),
    ]


def _total(lines: Sequence[OrderLine]) -> str:
    """Say how much is ordered; a sum of cost names what it leaves out."""
    costs = [x.cost for x in lines if x.cost is not None]
    silent = len(lines) - len(costs)
    cost = f"cost {sum(costs, ZERO):,.2f}" if costs else "cost not stated"
    if costs and silent:
        cost += f" without {many(silent, 'line')} that {'states' if silent == 1 else 'state'} none"
    packs = sum(x.packs for x in lines)
    mass, volume = sum((x.gross_g for x in lines), ZERO), sum((x.volume_ml for x in lines), ZERO)
    return (
        f"{many(len(lines), 'line')}, {packs:,} {'pack' if packs == 1 else 'packs'}, "
        f"{plain(mass / 1000)} kg, {plain(volume / 1000)} L, {cost}"
    )


def _not_stated(ordered: Sequence[OrderLine]) -> list[RenderableType]:
    """Say of which ordered items the catalogue is silent about what an order needs."""
    lists = (
        ("Order unit: packs ordered singly", [x for x in ordered if x.item.order_unit_packs is None]),
        ("Lead time: no date to order by", [x for x in ordered if x.lead_days is None]),
        ("Cost: left out of the sum", [x for x in ordered if x.cost is None]),
        (
            "Shelf life: ask for the use-by date before ordering",
            [x for x in ordered if x.item.use_by_months is None],
        ),
    )
    parts: list[RenderableType] = []
    for words, lines in lists:
        names = list(dict.fromkeys(x.item.name for x in lines))
        if lines:
            which = "every item ordered" if len(lines) == len(ordered) else "; ".join(names)
            parts.append(Padding(cell(f"{words} ({len(names)}): {which}"), (0, 0, 0, 2)))
    return [heading("Not stated in the catalogue"), *parts] if parts else []


def _seldom(problem: Problem, sheet: Sheet, *, everything: bool) -> list[RenderableType]:
    """Items with few servings: production wants few kinds."""
    if not sheet.seldom:
        return []
    letters = marks(problem.people)
    table = Table(box=None, pad_edge=False, header_style=STYLES["quiet"])
    table.add_column("servings", justify="right", no_wrap=True)
    table.add_column("item", overflow="fold")
    table.add_column("eaten by", overflow="fold")
    rest = 0 if everything else max(len(sheet.seldom) - SHORT_LIST, 0)
    for s in sheet.seldom[: len(sheet.seldom) - rest]:
        people = Text(" ").join(letters[problem.people[p].id].text() for p in s.people)
        table.add_row(cell(s.servings), cell(s.item.name), people)
    text = f"Used little: {many(len(sheet.seldom), 'item')} with fewer than {sheet.seldom_under} servings"
    why = "Over the stay and the reserve, all people together. Production wants few kinds."
    parts: list[RenderableType] = [heading(text), cell(why, STYLES["quiet"]), table]
    if rest:
        parts.append(cell(f"{rest} more; all of them with --all", STYLES["quiet"]))
    return parts


def _cautions(sheet: Sheet, ordered: Sequence[OrderLine]) -> list[RenderableType]:
    """Cautions for those who make, buy and pack; none where nothing is ordered."""
    if not ordered:
        return []
    lines = []
    marked = {x.item.id for x in ordered if sheet.avoid(x.item)}
    if marked:
        names = ", ".join(a.replace("_", " ") for a in sheet.avoided)
        lines.append(
            f"! Somebody must not have: {names}. {many(len(marked), 'ordered item')} marked ! "
            f"{'is' if len(marked) == 1 else 'are'} not known to be free of them: make, pack, label and stow "
            "apart."
        )
    lines.append(
        "A substitute is another item: its allergens are checked and it is tasted before it is bought."
    )
    lines.append(CAUTIONS[0])
    states = {r.state for x in sheet.lines for r in x.aside}
    if states - {"ordered"}:
        lines.append(
            "Lots named under an item are not counted: only released packs within their use-by may be eaten."
        )
    if "ordered" in states:
        lines.append("Packs in the state ordered are not counted either: do not order them twice.")
    return [heading("Cautions"), *(Padding(cell(text), (0, 0, 0, 2)) for text in lines)]
