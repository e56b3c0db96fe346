"""What cannot be eaten any more, and why; unknown is unsafe."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from optimenu.stowage.drill_question import FREEZER, HEATER, HOT_WATER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.catalogue.item import Item

FROZEN_C = Decimal(-10)
"""Stored at this or colder, an item needs the freezer; common practice, no source."""
FRIDGE_C = Decimal(8)
"""Stored at this or colder, but not frozen, an item needs the fridge; common practice, no source."""
UNHEATED = ("good", "safe only")


def needs_freezer(item: Item) -> bool:
    """Tell whether an item is kept in the freezer."""
    return item.form == "frozen" or (item.store_at_c is not None and item.store_at_c <= FROZEN_C)


def needs_fridge(item: Item) -> bool:
    """Tell whether an item is kept in the fridge."""
    cold = item.store_at_c is not None and item.store_at_c <= FRIDGE_C
    return not needs_freezer(item) and (cold or item.form == "chilled")


def heated(item: Item) -> bool:
    """Tell whether an item is heated before eating; minutes not stated count as heated."""
    return item.heat_min is None or item.heat_min > 0


def must_be_hot(item: Item) -> bool:
    """Tell whether an item is not known to be safe unless it is heated."""
    return heated(item) and item.unheated not in UNHEATED


def why_lost(item: Item, lost: Sequence[str]) -> str:
    """Return why an item cannot be eaten when these are lost, or an empty string."""
    if FREEZER in lost and needs_freezer(item):
        return "kept in the freezer: thawed, to be discarded"
    cold = item.unheated in UNHEATED
    state = "not to be eaten unheated" if item.unheated == "no" else "not known to be safe unheated"
    if HEATER in lost and heated(item) and not cold:
        stated = "" if item.heat_min is not None else ", and minutes in the heater are not stated"
        return f"{state}{stated}"
    if HOT_WATER in lost and item.water_kind == "hot":
        if item.cold_min is None:
            return "needs hot water: no time stated for cold"
        # water that never was hot does not make safe what heat would have
        if not cold:
            return f"needs hot water: {state}"
    return ""


def how_now(item: Item, lost: Sequence[str]) -> str:
    """Return how an item that is left is made otherwise than planned, or an empty string."""
    words = []
    if HOT_WATER in lost and item.water_kind == "hot" and item.cold_min is not None:
        words.append(f"cold water, {item.cold_min.normalize():f} min")
    if HEATER in lost and heated(item):
        words.append("unheated" if item.unheated == "good" else "unheated: safe, not good")
    return "; ".join(words)
