"""What storage takes from a menu: nutrients at production, as eaten, on the last date; their floors."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING, Any

from optimenu.rules.nutrients import Nutrients

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from optimenu.menu.tally import Entry, Tally
    from optimenu.rules.base import Rule
    from optimenu.rules.nutrient_asks import Ask

ZERO, ONE = Decimal(0), Decimal(1)
LOOKS = 60
"""Dates of the stay at which a nutrient is looked at, and months after it."""
MONTH = timedelta(days=30)
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
        Last date on which the whole menu, eaten that day, would reach the floor: beyond the stay with the
        same packs, use-by dates aside. None where it always does, or never did at production.
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
        self.problem, self.ask = tally.problem, ask
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
            None if floor is None or produced + self.given < floor else self._until(floor),
        )  # fmt: skip

    def _amount(self, e: Entry) -> Decimal:
        return self.problem.amount(e.item, self.ask.top) or ZERO

    def _mean(self, parts: Iterator[tuple[Entry, Decimal]]) -> Decimal:
        return sum((e.count * value for e, value in parts), ZERO) / self.whole

    @cached_property
    def _per_item(self) -> list[tuple[Entry, Decimal]]:
        """An entry of every item, and what all its servings bring at production, as a mean a date."""
        found: dict[str, tuple[Entry, Decimal]] = {}
        for e, w in self.entries:
            before = found.get(e.item.id, (e, ZERO))[1]
            found[e.item.id] = e, before + e.count * w * self._amount(e) / self.whole
        return [(e, value) for e, value in found.values() if value]

    def _on(self, when: date) -> Decimal:
        """What the whole menu would bring in a mean day if all of it were eaten on a date."""
        load = self.problem.load_on(when)
        low = (value * self.kept.on(e.item, self.ask.top, when, load)[0] for e, value in self._per_item)
        return self.given + sum(low, ZERO)

    def _until(self, floor: Decimal) -> date | None:
        dates = self.problem.dates
        step = timedelta(days=max(1, len(dates) // LOOKS))
        looks = list(dates[:: step.days]) + [dates[-1] + k * MONTH for k in range(LOOKS + 1)]
        before = dates[0] - timedelta(days=1)
        for when in looks:
            if self._on(when) < floor:
                # between two looks it only falls, but for packs past their use-by date and later loads
                while before + timedelta(days=1) < when and self._on(before + timedelta(days=1)) >= floor:
                    before += timedelta(days=1)
                return before
            before = when
        return None
