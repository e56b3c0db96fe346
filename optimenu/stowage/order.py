"""The order sheet of a menu: what must be bought or made for each load, in packs, and by when."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING, Any, TypeVar

from optimenu.menu.packs import opened
from optimenu.rules.condiments import Condiments
from optimenu.rules.stock import Stock
from optimenu.stowage.order_line import LoadDates, OrderLine

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimenu.catalogue.item import Item
    from optimenu.config.main_settings import OrderTable
    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Rule

R = TypeVar("R")


@dataclass(frozen=True)
class Seldom:
    """An item with few servings over the stay, and the people who eat them."""

    item: Item
    servings: int
    people: tuple[int, ...]


@dataclass(frozen=True)
class Sheet:
    """Every item of every load, in order of load, order-by date and name.

    Attributes
    ----------
    seldom : tuple of Seldom
        Fewest servings first.
    seldom_under : int
        Servings under which an item is listed there.
    avoided : tuple of str
        Allergens that somebody must not have.
    """

    lines: tuple[OrderLine, ...]
    seldom: tuple[Seldom, ...]
    seldom_under: int
    avoided: tuple[str, ...]

    def avoid(self, item: Item) -> Mapping[str, str]:
        """Allergens that somebody must not have and the item is not known to be free of, with its state."""
        return {a: state for a in self.avoided if (state := item.allergen(a)) != "free"}


def order_sheet(tally: Tally, rules: Sequence[Rule[Any]], settings: OrderTable) -> Sheet:
    """Work out the order sheet of a menu.

    For each item and load: need = menu + condiments + reserve + tasting + quality + spare - stock, never
    under 0. The menu's packs are those the audit counts. Spare packs are a percentage of menu, condiments
    and reserve, rounded up. What is left over from one load is not counted for the next.
    """
    problem = tally.problem
    stock, condiments = _rule(rules, Stock), _rule(rules, Condiments)
    loads = _loads(problem, stock, settings)
    every = _packs(tally)
    dishes = _packs(replace(tally, entries=tuple(e for e in tally.entries if not _condiment(e, condiments))))
    sampled: set[str] = set()
    lines = []
    # loads are in order of arrival: the first to carry an item carries its tasting samples
    for item_id, number in sorted(every, key=lambda key: key[1]):
        item = problem.catalogue.by_id[item_id]
        eaten, reserve = every[item_id, number]
        menu = dishes.get((item_id, number), (0, 0))[0]
        tasting = 0 if item_id in sampled else settings.tasting_packs
        sampled.add(item_id)
        samples = tasting + settings.quality_packs
        counted, released = _stock(stock, tally, item, number, samples)
        lines.append(
            OrderLine(
                load=loads[number],
                item=item,
                menu=menu,
                condiments=eaten - menu,
                reserve=reserve,
                tasting=tasting,
                quality=settings.quality_packs,
                spare=_spare(eaten + reserve, settings.spare_percent),
                stock=counted,
                released=released,
                lead_days=_lead(item, settings),
                aside=tuple(
                    row
                    for row in problem.stock or ()
                    if (row.item, row.load) == (item_id, loads[number].name)
                    and not row.usable(loads[number].arrives)
                    and row.packs
                ),
            )
        )
    lines.sort(key=lambda x: (x.load.number, x.order_by is None, x.order_by, x.item.name, x.item.id))
    under = settings.fewer_than * len(problem.people)
    avoided = {a for p in problem.people for a in p.prescription.watched}
    return Sheet(tuple(lines), _seldom(tally, under), under, tuple(sorted(avoided)))


def _spare(packs: int, percent: Decimal) -> int:
    return int((packs * percent / 100).to_integral_value(ROUND_CEILING))


def _rule(rules: Sequence[Rule[Any]], kind: type[R]) -> R:
    return next(rule for rule in rules if isinstance(rule, kind))


def _loads(problem: Problem, stock: Stock, settings: OrderTable) -> list[LoadDates]:
    ahead = timedelta(days=settings.loading_days + settings.packing_days)
    return [
        LoadDates(k, load.name, load.arrives, load.arrives - ahead, stock.ends(k))
        for k, load in enumerate(problem.loads)
    ]


def _packs(tally: Tally) -> dict[tuple[str, int], tuple[int, int]]:
    """Packs opened for the dates of a load and for the reserve, by (item, load)."""
    found: dict[tuple[str, int], list[int]] = defaultdict(lambda: [0, 0])
    for (_, item, load, block), n in opened(tally).items():
        found[item, load][block == "reserve"] += n
    return {key: (eaten, reserve) for key, (eaten, reserve) in found.items()}


def _condiment(entry: Entry, rule: Condiments) -> bool:
    """Tell whether a serving is a condiment's or free in the day; of the reserve everything is a dish."""
    if not entry.day.eaten:
        return False
    return entry.course is None or entry.course.name in rule.settings.courses


def _stock(stock: Stock, tally: Tally, item: Item, load: int, samples: int) -> tuple[int, int]:
    """Packs in stock that are sure to be in date when wanted, and those in date on arrival.

    After each use-by date no more can come out of stock than is usable then. So the packs that count
    are at most those usable after it and those wanted up to it, samples among the latter (they are
    taken before the stay), spare packs not (they must last as long as the load).
    """
    balance = stock.balance(tally, item, load)
    if balance is None:
        return 0, 0
    (_, total, released), *_ = balance
    counted = min(
        usable if after is None else usable + total - wanted + samples for after, wanted, usable in balance
    )
    return counted, released


def _lead(item: Item, settings: OrderTable) -> int | None:
    if item.lead_days is not None:
        return item.lead_days
    return {"made": settings.lead_days.made, "bought": settings.lead_days.bought}.get(item.supply or "")


def _seldom(tally: Tally, under: int) -> tuple[Seldom, ...]:
    """Items with fewer servings than this over the stay, the reserve and the allowances included."""
    servings: dict[str, int] = defaultdict(int)
    people: dict[str, set[int]] = defaultdict(set)
    for e in tally.entries:
        servings[e.item.id] += e.count * len(e.party.members) * e.day.weight
        people[e.item.id].update(e.party.members)
    items = tally.problem.catalogue.by_id
    found = [Seldom(items[i], n, tuple(sorted(people[i]))) for i, n in servings.items() if n < under]
    return tuple(sorted(found, key=lambda s: (s.servings, s.item.name, s.item.id)))
