"""Capacities of the galley, and which sittings share them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from optimenu.rules.galley_settings import window
from optimenu.settings import clock_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from optimenu.catalogue.item import Item
    from optimenu.rules.galley_settings import FiguresTable

ZERO = Decimal(0)


@dataclass(frozen=True)
class Sitting:
    """People who eat one meal at one time, minutes after midnight."""

    at: int
    meal: str
    people: tuple[int, ...]


@dataclass(frozen=True)
class Limit:
    """One capacity of the galley.

    Attributes
    ----------
    field : str
        Setting it is named by.
    high : Decimal
        Most for a group of sittings, in ``unit``.
    apart : Decimal
        Minutes; sittings closer than this share the capacity.
    of : callable
        What one serving for each of so many members takes of it.
    """

    field: str
    words: str
    unit: str
    high: Decimal
    apart: Decimal
    of: Callable[[Item, int], Decimal]


def packs_heated(item: Item, members: int) -> int:
    """Packs in heater places for one serving to each member of a party; 0 for what is not heated."""
    return -(-members // item.servings_per_pack) if item.heat_min else 0


def rounds_needed(packs: int, places: int, packs_per_place: int) -> int:
    """Rounds of the heaters that so many packs take.

    Raises
    ------
    ValueError
        For packs without a place to heat them.
    """
    if packs and places * packs_per_place < 1:
        msg = "packs to heat and no place for them"
        raise ValueError(msg)
    return -(-packs // (places * packs_per_place)) if packs else 0


def limits(f: FiguresTable) -> Iterator[Limit]:
    """Capacities that are set, in a fixed order."""
    runs = window(f)
    if f.places is not None and runs is not None:
        room = f.places * (f.packs_per_place or 1)
        if f.rounds is not None:
            yield Limit(
                "rounds", "packs in heater places", "packs", Decimal(room * f.rounds), runs,
                lambda item, n: Decimal(packs_heated(item, n)),
            )  # fmt: skip
        if f.minutes is not None:
            yield Limit(
                "minutes", "minutes of packs in heater places", "min", room * f.minutes, runs,
                lambda item, n: (item.heat_min or ZERO) * packs_heated(item, n),
            )  # fmt: skip
    if f.hot_ready_l is not None and f.hot_l_per_min is not None and f.hot_minutes is not None:
        yield Limit(
            "hot_ready_l", "hot water", "mL", 1000 * (f.hot_ready_l + f.hot_l_per_min * f.hot_minutes),
            # what is ready must have been made since the sitting before
            f.hot_minutes + f.hot_ready_l / f.hot_l_per_min,
            lambda item, n: n * item.water_ml if item.water_kind == "hot" else ZERO,
        )  # fmt: skip
    if f.prep_min is not None:
        yield Limit(
            "prep_min", "work by hand", "min", f.prep_min, f.prep_min,
            lambda item, _: item.prep_min or ZERO,
        )  # fmt: skip


def groups(sittings: Iterable[Sitting], apart: Decimal) -> list[tuple[Sitting, ...]]:
    """Sittings in order of time, joined while the next is closer than ``apart`` minutes to the last."""
    found: list[list[Sitting]] = []
    for s in sorted(sittings, key=lambda s: (s.at, s.meal)):
        if found and (s.at == found[-1][-1].at or s.at - found[-1][-1].at < apart):
            found[-1].append(s)
        else:
            found.append([s])
    return [tuple(g) for g in found]


def words_of(group: Sequence[Sitting]) -> str:
    """Meals and clock times of a group: ``dinner 18:00 and 18:30``."""
    times: dict[str, list[str]] = defaultdict(list)
    for s in group:
        times[s.meal].append(clock_words(s.at))
    return ", ".join(f"{meal.replace('_', ' ')} {' and '.join(at)}" for meal, at in times.items())
