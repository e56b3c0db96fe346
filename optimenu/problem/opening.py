"""Opened packs: who draws on one, and over which dates it is used up.

A pack of several servings that is kept open has change days: the dates of a load are cut into spans of as
many whole dates as an opened pack may be kept, a pack is opened and finished or discarded within one span,
and the day on which a jar is changed can be known beforehand. It is a little dearer in packs than opening at
will, never unsafe: two moments on n dates in a row are less than 24 n hours apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from datetime import date

    from optimenu.catalogue.item import Item
    from optimenu.problem.problem import Party, Problem

Block = Literal["stay", "reserve"]
BLOCKS: tuple[Block, ...] = ("stay", "reserve")
HOURS_A_DAY = 24


@dataclass(frozen=True)
class Span:
    """Servings that may come out of the same opened packs.

    Attributes
    ----------
    weights : tuple of int, one per plan day
        Dates of the plan day within the span.
    meal : str or None
        The one meal meant; empty for what is free in the day, where every serving opens a pack of its own;
        None for the whole of each day.
    times : int
        How often the span comes.
    """

    weights: tuple[int, ...]
    meal: str | None = None
    times: int = 1


def open_dates(item: Item) -> int | None:
    """Return whole dates an opened pack may be kept: 0 eaten at once, None never left open."""
    if item.servings_per_pack == 1:
        return None
    # hours that are not stated: nobody knows how long it keeps, so it is eaten at once
    return int(item.open_hours // HOURS_A_DAY) if item.open_hours is not None else 0


def drawers(problem: Problem, party: Party, item: Item) -> tuple[int, ...]:
    """People who may draw on a pack that a party opens; the party's own members unless packs are shared."""
    if open_dates(item):
        for group in problem.shared_packs.get(item.id, ()):
            if set(party.members) <= set(group):
                return group
    return party.members


def kept_apart(problem: Problem, party: Party, item: Item) -> bool:
    """Tell whether others share open packs of an item and this party has its own."""
    groups = problem.shared_packs.get(item.id, ())
    return bool(groups) and bool(open_dates(item)) and drawers(problem, party, item) not in groups


def spans(
    problem: Problem, item: Item, load: int, block: Block, after: date | None = None
) -> tuple[Span, ...]:
    """Return the spans within which packs of an item are opened and used up.

    Parameters
    ----------
    after : date, optional
        Only servings on later dates count; a reserve day may fall on the last date.
    """
    key = (open_dates(item), load, block, after)
    if key not in problem.span_cache:
        problem.span_cache[key] = tuple(_spans(problem, open_dates(item), load, block, after))
    return problem.span_cache[key]


def _spans(problem: Problem, length: int | None, load: int, block: Block, after: date | None) -> list[Span]:
    none = [0] * len(problem.days)
    if block == "reserve":
        # reserve days are eaten one after another
        moments = [(d.number, True) for d in problem.reserve if load == 0]
    else:
        day_of = zip(problem.dates, problem.sequence, strict=True)
        moments = [(n, after is None or w > after) for w, n in day_of if problem.load_on(w) == load]
    if length == 0:
        return _at_once(problem, moments)
    step = length or max(len(moments), 1)
    found = []
    for first in range(0, len(moments), step):
        weights = list(none)
        for number, counts in moments[first : first + step]:
            weights[number] += counts
        if any(weights):
            found.append(Span(tuple(weights)))
    return found


def _at_once(problem: Problem, moments: list[tuple[int, bool]]) -> list[Span]:
    """One span for each meal, and for what is free in the day: an opened pack is kept for no other."""
    times: dict[int, int] = {}
    for number, counts in moments:
        times[number] = times.get(number, 0) + counts
    found = []
    for number, n in sorted(times.items()):
        if n:
            weights = tuple(int(d.number == number) for d in problem.days)
            found += [Span(weights, meal.name, n) for meal in problem.days[number].meals]
            found.append(Span(weights, "", n))
    return found
