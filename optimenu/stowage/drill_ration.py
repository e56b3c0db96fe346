"""A ration from what is left: the plan's own menu on its dates, then the lowest person-day raised first.

Method, in whole servings:

1. Everybody eats their own menu on its dates, without what is lost. Where water is short, what needs none
   comes first; then, turn by turn, the person with least energy that day gets the own serving with most
   energy for its water that still fits.
2. The person-day with the lowest part of its requirement is raised, again and again, up to what the plan
   gave it, or to the requirement where the plan gave more or has no menu: from the person's own reserve,
   then from food not eaten so far, last from others' packs; the largest serving that does not go over.
3. Where nothing of that is left, a serving is kept back from a person-day that has more, the person's own
   first, if both then have more than the lower one had before. Servings of packs of several stay where they
   were planned: an opened pack does not keep.
4. A person-day that no such step raises is left; all are tried again until none is raised.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from optimenu.stowage.drill_board import MENU, RESERVE

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from optimenu.catalogue.item import Item
    from optimenu.stowage.drill_ceilings import Ceilings
    from optimenu.stowage.drill_question import Horizon
    from optimenu.stowage.drill_safe import Safety

PersonDay = tuple[int, date]
LEVEL = 10**12
"""Levels are compared in whole parts of this; sums stay exact."""


@dataclass(eq=False)
class Unit:
    """One serving.

    Attributes
    ----------
    energy, water : int
        In whole parts of the scales of the ration.
    owner : int
        Person it was planned for.
    planned : date or None
        Date it was planned for; None in the reserve.
    pack : Pack
    at : (person, date) or None
        Where it is eaten.
    """

    item: Item
    energy: int
    water: int
    owner: int
    planned: date | None
    meal: str
    pack: Pack
    at: PersonDay | None = None

    @property
    def source(self) -> str:
        """``menu`` or ``reserve``."""
        return RESERVE if self.planned is None else MENU


@dataclass(eq=False)
class Pack:
    """A pack, or what one person's plan draws of it.

    Attributes
    ----------
    first : date
        When it is on board.
    last : date or None
        Last date on which it is surely in date; None where no lot says it.
    keeps : int
        Days after the date it is opened on which it may still be eaten.
    fixed : bool
        A pack of several servings planned on dates: eaten where it was planned.
    """

    first: date
    last: date | None
    keeps: int = 0
    fixed: bool = False
    single: bool = True
    opened: date | None = None

    def serves(self, when: date) -> bool:
        """Tell whether a serving of it may be eaten on a date."""
        if when < self.first or (self.last is not None and when > self.last):
            return False
        return self.opened is None or 0 <= (when - self.opened).days <= self.keeps


@dataclass
class Ration:
    """A ration in the making.

    Attributes
    ----------
    need : mapping of (person, date) to int
        Requirement in the scale of energy, above 0.
    goal : mapping of (person, date) to int
        Level up to which it is raised.
    water : mapping of date to int, or None
        Water for food of the whole crew, in the scale of water.
    """

    horizon: Horizon
    safety: Safety
    ceilings: Ceilings
    units: Sequence[Unit]
    need: Mapping[PersonDay, int]
    goal: Mapping[PersonDay, int]
    water: Mapping[date, int] | None
    eaten: dict[PersonDay, int] = field(default_factory=lambda: defaultdict(int))
    drawn: dict[date, int] = field(default_factory=lambda: defaultdict(int))
    table: dict[PersonDay, list[Unit]] = field(default_factory=lambda: defaultdict(list))
    free: list[Unit] = field(default_factory=list)

    def make(self) -> None:
        """Work it out."""
        self._own_menu()
        self.free = [u for u in self.units if u.at is None]
        self._raise()

    def level(self, place: PersonDay, more: int = 0) -> int:
        """Energy of a person-day as a part of its requirement, rounded down."""
        return (self.eaten[place] + more) * LEVEL // self.need[place]

    # ---- one: the own menu

    def _own_menu(self) -> None:
        own: dict[date, list[Unit]] = defaultdict(list)
        for u in self.units:
            if u.planned is not None:
                own[u.planned].append(u)
        for when in sorted(own):
            total = sum(u.water for u in own[when])
            if self.water is None or total <= self.water[when]:
                for u in own[when]:
                    self._put(u, (u.owner, when))
            else:
                self._by_water(when, own[when])

    def _by_water(self, when: date, units: Sequence[Unit]) -> None:
        for u in units:
            if not u.water:
                self._put(u, (u.owner, when))
        waiting: dict[int, list[Unit]] = defaultdict(list)
        for u in sorted(units, key=lambda u: (-u.energy * LEVEL // max(u.water, 1), u.item.id)):
            if u.water:
                waiting[u.owner].append(u)
        while waiting:
            p = min(waiting, key=lambda p: (self._low((p, when)), p))
            fit = next((u for u in waiting[p] if self._has_water(u, when)), None)
            if fit is not None:
                waiting[p].remove(fit)
                self._put(fit, (p, when))
            if fit is None or not waiting[p]:
                del waiting[p]

    def _low(self, place: PersonDay) -> int:
        return self.level(place) if place in self.need else 0

    # ---- two and three: the lowest first

    def _raise(self) -> None:
        moved = True
        while moved:
            moved = False
            stuck: set[PersonDay] = set()
            while True:
                low = [k for k in self.need if k not in stuck and self.level(k) < self.goal[k]]
                if not low:
                    break
                place = min(low, key=lambda k: (self.level(k), k[1], k[0]))
                if self._fill(place) or self._keep_back(place):
                    moved = True
                else:
                    stuck.add(place)

    def _fits(self, u: Unit, place: PersonDay, freed: date | None = None) -> bool:
        p, when = place
        return (
            u.energy > 0
            and u.pack.serves(when)
            and (freed == when or self._has_water(u, when))
            and self.safety.from_pack(p, u.owner, u.item)
            and self.safety.may(p, u.item, self.horizon.plan_day(when), when)
            and self.ceilings.room(p, when, u.item)
        )

    def _has_water(self, u: Unit, when: date) -> bool:
        return self.water is None or not u.water or self.drawn[when] + u.water <= self.water[when]

    def _fill(self, place: PersonDay) -> bool:
        """Give a person-day something nobody eats so far."""
        p, when = place
        wanted = -(-self.goal[place] * self.need[place] // LEVEL) - self.eaten[place]
        best: tuple[tuple[bool, bool, bool, bool, bool, int, int], Unit] | None = None
        for k, u in enumerate(self.free):
            if not self._fits(u, place) or (u.pack.fixed and place != (u.owner, u.planned)):
                continue
            over = u.energy > wanted
            rank = (
                u.pack.opened is None,  # what is open already goes first
                u.owner != p,
                u.planned is not None,
                not self.safety.likes(p, u.item),
                over,
                u.energy if over else -u.energy,
                k,
            )
            if best is None or rank < best[0]:
                best = rank, u
        if best is None:
            return False
        self.free.remove(best[1])
        self._put(best[1], place, added=True)
        return True

    def _keep_back(self, place: PersonDay) -> bool:
        """Move a serving from a person-day that has more; both end above what the lower one had."""
        before = self.level(place)
        rich = sorted(
            (k for k in self.need if k != place and self.level(k) > before),
            key=lambda k: (k[0] != place[0], -self.level(k), k[1], k[0]),
        )
        for donor in rich:
            best: tuple[int, Unit] | None = None
            for u in self.table[donor]:
                if not u.pack.single or not u.energy:
                    continue
                least = min(self.level(donor, -u.energy), self.level(place, u.energy))
                if least > before and (best is None or least > best[0]):
                    freed = donor[1] if donor[1] == place[1] else None
                    if self._fits(u, place, freed) and self.ceilings.spares(*donor, u.item):
                        best = least, u
            if best is not None:
                self._take(best[1])
                self._put(best[1], place, added=True)
                return True
        return False

    def _put(self, u: Unit, place: PersonDay, *, added: bool = False) -> None:
        u.at = place
        self.table[place].append(u)
        self.eaten[place] += u.energy
        self.drawn[place[1]] += u.water
        self.ceilings.put(*place, u.item, added=added)
        if u.planned is None and not u.pack.single and u.pack.opened is None:
            u.pack.opened = place[1]

    def _take(self, u: Unit) -> None:
        assert u.at is not None
        place = u.at
        self.table[place].remove(u)
        self.eaten[place] -= u.energy
        self.drawn[place[1]] -= u.water
        self.ceilings.put(*place, u.item, -1, added=u.planned != place[1] or u.owner != place[0])
        u.at = None


def keeps(item: Item) -> int:
    """Days after the date of opening on which every meal is within the hours an opened pack keeps.

    Opened at any hour: 48 h reach to the end of the next day. Hours not stated: eaten at once.
    """
    return max(int(item.open_hours // 24) - 1, 0) if item.open_hours is not None else 0


def last_sure(use_bys: Iterable[date | None], planned: date) -> date | None:
    """Last date on which a pack planned for a date is surely in date.

    The pack meant has a use-by on or after that date, so it keeps at least to the soonest of those.
    """
    later = [u for u in use_bys if u is not None and u >= planned]
    return min(later) if later else None
