"""Packs and servings on board at the start of a date, counted from the menu as it was signed."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from optimenu.menu.menu import Menu
from optimenu.menu.packs import opened, servings
from optimenu.menu.tally import Tally

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import date

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry
    from optimenu.problem.problem import Problem

MENU, RESERVE = "menu", "reserve"


@dataclass(frozen=True)
class Held:
    """Packs of one item that the same people draw on.

    Attributes
    ----------
    holder : str
        Who: a person, a party that shares a dish, or the people of one shared pack.
    part : str
        ``menu`` or ``reserve``.
    packs : int
        Packs not opened yet.
    servings : int
        Servings the menu still plans of them, of what is free in the day the most; those of a pack
        that is open already are counted too.
    spare : int
        Further servings in these packs that no line of the menu plans; counted on nowhere.
    """

    holder: str
    item: Item
    part: str
    packs: int
    servings: int
    spare: int


@dataclass(frozen=True)
class Portion:
    """Planned servings of one person.

    Attributes
    ----------
    when : date or None
        Date it is planned for; None in the reserve.
    load : int
        Number of the load it travels with.
    """

    person: int
    when: date | None
    load: int
    entry: Entry

    @property
    def item(self) -> Item:
        """What it is."""
        return self.entry.item

    @property
    def count(self) -> int:
        """Servings for this person."""
        return self.entry.count


def only(problem: Problem, wanted: Callable[[date], bool]) -> Problem:
    """Return the problem with some of its dates alone; plan days keep their numbers."""
    kept = [k for k, w in enumerate(problem.dates) if wanted(w)]
    return replace(
        problem,
        dates=tuple(problem.dates[k] for k in kept),
        sequence=tuple(problem.sequence[k] for k in kept),
        days=tuple(replace(d, dates=tuple(w for w in d.dates if wanted(w))) for d in problem.days),
    )


def on_board(problem: Problem, menu: Menu, start: date) -> tuple[Held, ...]:
    """Return what is on board at the start of a date, in the order of the catalogue.

    Parameters
    ----------
    start : date
        A date of the stay. A load that arrives on it is on board.

    Notes
    -----
    Packs = packs the whole menu opens less those it opens before the date, for each party, item, load
    and block, as ``menu.packs`` counts both; the reserve is whole.
    """
    eaten = Menu(tuple(x for x in menu.lines if x.block != "reserve"))
    whole = Tally.of(problem, menu)
    before = Tally.of(only(problem, lambda w: w < start), eaten)
    packs, planned = opened(whole), servings(whole)
    gone, used = opened(before), servings(before)
    found: dict[tuple[str, str, str], list[int]] = defaultdict(lambda: [0, 0, 0])
    for key, n in packs.items():
        people, item, load, block = key
        left = planned[key] - used.get(key, 0)
        closed = n - gone.get(key, 0)
        if problem.loads[load].arrives > start or (not left and not closed):
            continue
        size = problem.catalogue.by_id[item].servings_per_pack
        part = RESERVE if block == "reserve" else MENU
        row = found[problem.holder(people), item, part]
        row[0] += closed
        row[1] += left
        row[2] += max(closed * size - left, 0)
    order = problem.catalogue.order
    return tuple(
        Held(holder, problem.catalogue.by_id[item], part, *row)
        for (holder, item, part), row in sorted(
            found.items(), key=lambda pair: (order[pair[0][1]], pair[0][0], pair[0][2])
        )
    )


def portions(tally: Tally, person: int) -> Iterator[Portion]:
    """Every serving planned for a person, date by date, then the reserve; what is free in the day too."""
    problem = tally.problem
    for k, when in enumerate(problem.dates):
        for e in tally.on(person, problem.sequence[k]):
            yield Portion(person, when, problem.load_on(when), e)
    for day in problem.reserve:
        for e in tally.on(person, day.number):
            yield Portion(person, None, 0, e)
