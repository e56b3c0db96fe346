"""Whole packs and overwraps a menu opens, counted from its lines."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from optimenu.problem.opening import BLOCKS, Block, drawers, spans

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally

Key = tuple[tuple[int, ...], str, int, Block]
"""People who draw on the packs, item, load, block."""


def opened(tally: Tally) -> Mapping[Key, int]:
    """Packs opened, whole within people, span, load and block; allowances at their most."""
    return _containers(tally)


def overwraps(tally: Tally) -> Mapping[Key, int]:
    """Overwraps opened, for items that have one; the packs of each span are wrapped by themselves."""
    return _containers(tally, overwrap=True)


def servings(tally: Tally) -> Mapping[Key, int]:
    """Servings planned of those packs, every date counted, allowances at their most."""
    return _containers(tally, single=True)


def packs_of(tally: Tally, item: Item, load: int, after: date | None = None) -> int:
    """Packs of an item opened from a load for dates after one, by everybody, the reserve included."""
    return sum(
        _count(tally, item, entries, item.servings_per_pack, load, block, after)
        for entries in _drawn(tally).get(item.id, {}).values()
        for block in BLOCKS
    )


def _drawn(tally: Tally) -> Mapping[str, Mapping[tuple[int, ...], list[Entry]]]:
    """Entries by item and people who draw on its packs."""
    found: dict[str, dict[tuple[int, ...], list[Entry]]] = defaultdict(lambda: defaultdict(list))
    for e in tally.entries:
        found[e.item.id][drawers(tally.problem, e.party, e.item)].append(e)
    return found


def _containers(tally: Tally, *, overwrap: bool = False, single: bool = False) -> Mapping[Key, int]:
    items, found = tally.problem.catalogue.by_id, {}
    for item_id, groups in _drawn(tally).items():
        item = items[item_id]
        if overwrap and item.overwrap_packs is None:
            continue
        size = 1 if single else item.servings_per_pack * (item.overwrap_packs or 1 if overwrap else 1)
        for people, entries in groups.items():
            for load in range(len(tally.problem.loads)):
                for block in BLOCKS:
                    if n := _count(tally, item, entries, size, load, block):
                        found[people, item_id, load, block] = n
    return found


def _count(
    tally: Tally,
    item: Item,
    entries: list[Entry],
    size: int,
    load: int,
    block: Block,
    after: date | None = None,
) -> int:
    total = 0
    for span in spans(tally.problem, item, load, block, after):
        n = 0
        for e in entries:
            weight = span.weights[e.day.number]
            if weight and (span.meal is None or span.meal == (e.meal.name if e.meal else "")):
                n += e.count * len(e.party.members) * weight
        # of what is free in the day every serving is eaten by itself
        total += span.times * (n if span.meal == "" else -(-n // size))
    return total
