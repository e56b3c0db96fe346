"""Whole packs and overwraps a menu opens, counted from its lines."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from optimenu.menu.tally import Entry, Tally

Key = tuple[int, str, int, str]
"""Party, item, load, block."""


def servings(tally: Tally, weight: Callable[[Entry, int], int] | None = None) -> Mapping[Key, int]:
    """Servings by (party, item, load, block), every date counted, allowances at their most.

    Parameters
    ----------
    weight : callable of (entry, load) to int, optional
        Dates that count; by default every date of the plan day that the load feeds.
    """
    problem = tally.problem
    places = {p.id: k for k, p in enumerate(problem.parties)}
    found: dict[Key, int] = defaultdict(int)
    for e in tally.entries:
        for load in range(len(problem.loads)):
            dates = weight(e, load) if weight else problem.load_weights[e.day.number][load]
            if dates:
                found[places[e.party.id], e.item.id, load, e.day.block] += e.count * dates
    return dict(found)


def opened(tally: Tally) -> Mapping[Key, int]:
    """Packs opened, whole within party, load and block."""
    items = tally.problem.catalogue.by_id
    return {key: -(-n // items[key[1]].servings_per_pack) for key, n in servings(tally).items()}


def overwraps(tally: Tally) -> Mapping[Key, int]:
    """Overwraps opened, for items that have one; each party's packs are wrapped by themselves."""
    items = tally.problem.catalogue.by_id
    return {
        key: -(-packs // size)
        for key, packs in opened(tally).items()
        if (size := items[key[1]].overwrap_packs) is not None
    }
