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
FOLLOWED = 1826
"""Days, five years, for which a menu is followed beyond the stay."""
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
        Last date on which the whole menu, all of it eaten that day, would reach the floor, use-by dates
        aside. None where it does for five years beyond the stay, or did not even at production.
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
        """What the whole menu would bring in a mean day if all of it were eaten on one date.

        Every serving comes from the pack it is eaten from, older or younger by the days between.
        """
        total = ZERO
        for e, _ in self.entries:
            for own in e.day.dates:
                old, _ = self.kept.ages(e.item, self.problem.load_on(own), own)
                age = max(old + (when - own).days, 0)
                part = self.kept.at_age(e.item, self.ask.top, age, age)[0]
                total += e.count * self._amount(e) * part
        return self.given + total / self.whole

    def _until(self, floor: Decimal) -> date | None:
        """Last date on which the whole menu reaches the floor; what is left only falls with age."""
        first = self.problem.dates[0]
        good, bad = -1, (self.problem.dates[-1] - first).days + FOLLOWED
        if self._on(first + timedelta(days=bad)) >= floor:
            return None
        while bad - good > 1:
            middle = (good + bad) // 2
            good, bad = (middle, bad) if self._on(first + timedelta(days=middle)) >= floor else (good, middle)
        return first + timedelta(days=good)
