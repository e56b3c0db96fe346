"""What storage takes from a menu: nutrients at production, as eaten, on the last date; their floors."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from optimenu.rules.nutrients import Nutrients

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from optimenu.menu.tally import Entry, Tally
    from optimenu.rules.base import Rule
    from optimenu.rules.nutrient_asks import Ask

ZERO, ONE = Decimal(0), Decimal(1)
MONTH, MONTHS = 30, 60
"""Days of a month, and months, for which a menu is followed beyond the stay."""
NEAR = Decimal("1.02")
"""A floor with less than 2 % to spare binds; common practice, no source."""


@dataclass(frozen=True)
class Lost:
    """One nutrient of one person, in means a date over the stay, supplements included.

    Attributes
    ----------
    column : str
    produced, eaten, last : Decimal
        At production; as eaten, with each date's loss, by the lower table; as if all were eaten on the last
        date.
    given : Decimal
        What of each of these the supplements bring.
    unknown : Decimal
        Part of what the food brings at production that counts for nothing, because nobody states its loss.
    floor : Decimal or None
        Floor on the mean of the stay.
    soft : bool
        True for a floor that is a goal.
    until : date or None
        Last date up to which every run of dates as long as the cycle reaches the floor in its mean; beyond
        the stay as if the cycle went on with packs of the same age, use-by dates aside. None where it does
        for years, or did not even at production.
    """

    column: str
    produced: Decimal
    eaten: Decimal
    last: Decimal
    given: Decimal
    unknown: Decimal
    floor: Decimal | None
    soft: bool
    until: date | None

    @property
    def part(self) -> Decimal:
        """Part of what the food brought at production that is lost on the last date, 0 to 1."""
        food = self.produced - self.given
        return (self.produced - self.last) / food if food else ZERO

    @property
    def state(self) -> str:
        """``below`` the floor because of losses, ``binds``, ``short`` already at production, else empty."""
        if self.floor is None or self.part == 0:
            return ""
        if self.eaten < self.floor:
            return "below" if self.produced >= self.floor else "short"
        return "binds" if self.eaten < NEAR * self.floor <= self.produced else ""


def losses(tally: Tally, rules: Sequence[Rule[Any]], person: int) -> tuple[Lost, ...]:
    """Return what storage takes from every nutrient of a person that has a floor and may change.

    Empty where losses are not counted.
    """
    if tally.problem.retention is None:
        return ()
    asks = [a for r in rules if isinstance(r, Nutrients) for a in r.asks if a.person == person]
    floors = {a.top: a for a in asks if a.side == "low" and not a.bottom and tally.problem.changes(a.top)}
    floors |= {c: a for c, a in _stay(asks).items() if c in floors}
    return tuple(_Look(tally, a).lost() for a in floors.values())


def losses_of_all(tally: Tally, rules: Sequence[Rule[Any]]) -> list[tuple[Lost, ...]]:
    """Return the same for every person, in their order."""
    return [losses(tally, rules, p) for p in range(len(tally.problem.people))]


def _stay(asks: Sequence[Ask]) -> Mapping[str, Ask]:
    return {a.top: a for a in asks if a.window == "stay" and a.side == "low" and not a.bottom}


class _Look:
    def __init__(self, tally: Tally, ask: Ask) -> None:
        self.problem, self.tally, self.ask = tally.problem, tally, ask
        kept = self.problem.retention
        assert kept is not None
        self.kept = kept
        self.days = [(d.number, d.weight) for d in self.problem.cycle]
        self.whole = sum((d.share * d.weight for d in self.problem.cycle), ZERO)
        self.entries = [(e, w) for d, w in self.days for e in tally.on(ask.person, d) if e.certain]
        script = self.problem.people[ask.person].prescription
        self.given = script.supplements.get(ask.top, ZERO)

    def lost(self) -> Lost:
        problem, column = self.problem, self.ask.top
        floor = self.ask.limit if self.ask.window == "stay" else None
        produced = self._mean((e, w * self._amount(e)) for e, w in self.entries)
        eaten = self._mean(
            (e, problem.eaten(e.item, column, e.day.number, up=False, mean=True) or ZERO)
            for e, _ in self.entries
        )
        unknown = self._mean(
            (e, w * self._amount(e))
            for e, w in self.entries
            if not problem.surely(e.item, column, e.day.number)
        )
        return Lost(
            column, produced + self.given, eaten + self.given, self._on(problem.dates[-1]), self.given,
            unknown / produced if produced else ZERO, floor, self.ask.price is not None,
            self._until(floor) if floor is not None and eaten < produced and produced + self.given >= floor
            else None,
        )  # fmt: skip

    def _amount(self, e: Entry) -> Decimal:
        return self.problem.amount(e.item, self.ask.top) or ZERO

    def _mean(self, parts: Iterable[tuple[Entry, Decimal]]) -> Decimal:
        return sum((e.count * value for e, value in parts), ZERO) / self.whole

    def _on(self, when: date) -> Decimal:
        """What the whole menu would bring in a mean day if all of it were eaten on a date."""
        load = self.problem.load_on(when)
        return self.given + self._mean((e, w * self._left(e, when, load)) for e, w in self.entries)

    def _left(self, e: Entry, when: date, load: int) -> Decimal:
        return self._amount(e) * self.kept.on(e.item, self.ask.top, when, load)[0]

    def _until(self, floor: Decimal) -> date | None:
        """Last date before the first run of dates, as long as the cycle, that does not reach the floor."""
        dates, length = self.problem.dates, min(self.problem.cycle_length, len(self.problem.dates))
        brought, share = [], []
        for number, when in zip(self.problem.sequence, dates, strict=True):
            brought.append(self._day(number, when))
            share.append(self.problem.days[number].share)
            if len(brought) >= length and sum(brought[-length:]) < floor * sum(share[-length:]):
                return when - timedelta(days=1)
        return self._after(floor)

    def _day(self, number: int, when: date) -> Decimal:
        """What a plan day brings a person when eaten on a date."""
        load, share = self.problem.load_on(when), self.problem.days[number].share
        mine = self.tally.on(self.ask.person, number)
        return self.given * share + sum(
            (e.count * self._left(e, when, load) for e in mine if e.certain), ZERO
        )

    def _after(self, floor: Decimal) -> date | None:
        """Return the same beyond the stay, as if the cycle went on; None where it holds for years."""
        ring = [d for d in self.problem.ring if d is not None] or [d.number for d in self.problem.cycle]
        share = sum((self.problem.days[d].share for d in ring), ZERO)
        end = self.problem.dates[-1]

        def holds(days: int) -> bool:
            first = end + timedelta(days=days)
            found = (self._day(d, first + timedelta(days=k)) for k, d in enumerate(ring))
            return sum(found, ZERO) >= floor * share

        good, bad = 0, next((m * MONTH for m in range(1, MONTHS + 1) if not holds(m * MONTH)), None)
        if bad is None:
            return None
        while bad - good > 1:
            middle = (good + bad) // 2
            good, bad = (middle, bad) if holds(middle) else (good, middle)
        return end + timedelta(days=good)
