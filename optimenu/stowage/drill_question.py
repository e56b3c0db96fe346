"""What is asked of a menu: from when, what is lost, how much water is left, how late the next load is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from optimenu.errors import Fault, InputFaults, nearest
from optimenu.files import quoted, sensible

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.problem.calendar import PlanDay
    from optimenu.problem.problem import Problem

HEATER, HOT_WATER, FREEZER = "heater", "hot_water", "freezer"
LOSSES = (HEATER, HOT_WATER, FREEZER)
MOST_LATE = 366
"""Most days late that are reckoned with; a longer wait is another stay."""
MOST_WATER_L = 100_000


@dataclass(frozen=True)
class Question:
    """What is asked.

    Attributes
    ----------
    start : date
        First date on which it holds.
    lost : tuple of str
        Some of ``LOSSES``, in that order.
    water_l : Decimal or None
        Litres a day for the whole crew, plain water included; None: as planned.
    load : int or None
        Number of the load that is late; None: the end of the stay is, where ``late`` is above 0.
    late : int
        Days late; 0: all comes on time.
    """

    start: date
    lost: tuple[str, ...] = ()
    water_l: Decimal | None = None
    load: int | None = None
    late: int = 0


@dataclass(frozen=True)
class Horizon:
    """The dates a ration is for, and what they bring.

    Attributes
    ----------
    dates : tuple of date
        From the first date asked to the last of the stay; or to the last before a late load comes.
    gap : frozenset of date
        Dates whose own food has not come: those a late load was to feed, and those beyond the stay.
    cover : tuple of date
        Dates to be fed from what is on board: until the next load comes, or to the end.
    """

    problem: Problem
    dates: tuple[date, ...]
    gap: frozenset[date]
    cover: tuple[date, ...]

    @classmethod
    def of(cls, problem: Problem, question: Question) -> Horizon:
        """Work out the dates of a question."""
        stay, start = problem.dates, question.start
        last, gap = stay[-1], frozenset[date]()
        if question.late and question.load is None:
            last = stay[-1] + timedelta(days=question.late)
            gap = frozenset(_between(stay[-1] + timedelta(days=1), last))
        elif question.late and question.load is not None:
            due = problem.loads[question.load].arrives
            comes = due + timedelta(days=question.late)
            # where a later load is there first, or the stay is over, nobody waits for this one any more
            fed = [w for w in stay if problem.load_on(w) == question.load and w < comes]
            last = fed[-1]
            gap = frozenset(fed)
        dates = tuple(_between(start, last))
        now = problem.load_on(start)
        cover = tuple(w for w in dates if w in gap or w > stay[-1] or problem.load_on(w) == now)
        first_other = next(
            (w for w in dates if w not in gap and w <= stay[-1] and problem.load_on(w) != now), None
        )
        if first_other is not None:
            cover = tuple(w for w in cover if w < first_other)
        return cls(problem, dates, gap, cover)

    def plan_day(self, when: date) -> PlanDay | None:
        """Plan day of a date: its own; beyond the stay the one the cycle would bring again, if any."""
        first, count = self.problem.dates[0], len(self.problem.dates)
        k = (when - first).days
        if k < count:
            return self.problem.days[self.problem.sequence[k]]
        while k >= 0:
            k -= self.problem.cycle_length
            if 0 <= k < count and self.problem.days[self.problem.sequence[k]].block == "cycle":
                return self.problem.days[self.problem.sequence[k]]
        return None

    def requirement(self, person: int, when: date) -> Decimal:
        """Energy a person needs on a date, kcal; a date of no known day kind asks the person's most."""
        who, day = self.problem.people[person], self.plan_day(when)
        if day is None:
            return max(who.kcal.values())
        return who.kcal_on(day.kind) * (day.share if when <= self.problem.dates[-1] else 1)

    def plain_ml(self, when: date) -> Decimal:
        """Plain water of the whole crew on a date, mL; a date of no known day kind asks for the most."""
        day = self.plan_day(when)
        if day is None:
            each = max((self.problem.plain_water_ml, *self.problem.plain_water_on.values()))
        else:
            each = self.problem.plain_water(day.kind) * (day.share if when <= self.problem.dates[-1] else 1)
        return each * len(self.problem.people)

    def here(self, person: int, when: date) -> bool:
        """Tell whether a person eats at all on a date."""
        day = self.plan_day(when)
        if day is None or when > self.problem.dates[-1] or not day.meals:
            return True
        return any(self.problem.attends(person, day, meal) for meal in day.meals)


def _between(first: date, last: date) -> list[date]:
    return [first + timedelta(days=k) for k in range((last - first).days + 1)]


def ask(
    problem: Problem,
    start: str | None = None,
    lost: Sequence[str] = (),
    water_l: str | None = None,
    late: str | None = None,
) -> Question:
    """Read a question as it is typed.

    Parameters
    ----------
    start : str, optional
        A date of the stay; by default its first.
    lost : sequence of str
        Some of ``LOSSES``.
    water_l : str, optional
        Litres a day for the whole crew.
    late : str, optional
        ``LOAD=N``, or ``N`` for the next load after ``start``; without a later load the stay's end.

    Raises
    ------
    InputFaults
        Every option that cannot be, each with what to do.
    """
    faults: list[Fault] = []
    first = _start(problem, start, faults)
    for word in lost:
        if word not in LOSSES:
            text = f"nothing called {quoted(word)} can be lost.{nearest(word, LOSSES)}"
            faults.append(Fault("--lost", 0, f"{text} Known: {', '.join(LOSSES)}."))
    litres = _litres(water_l, faults)
    load, days = _late(problem, late, first, faults)
    if faults:
        raise InputFaults(faults)
    return Question(first, tuple(w for w in LOSSES if w in lost), litres, load, days)


def _start(problem: Problem, text: str | None, faults: list[Fault]) -> date:
    first, last = problem.dates[0], problem.dates[-1]
    if text is None:
        return first
    try:
        found = date.fromisoformat(text)
    except ValueError:
        faults.append(Fault("--from", 0, f"needs a date such as {first}, found {quoted(text)}"))
        return first
    if not first <= found <= last:
        faults.append(Fault("--from", 0, f"{found} is outside the stay; name a date from {first} to {last}"))
        return first
    return found


def _litres(text: str | None, faults: list[Fault]) -> Decimal | None:
    if text is None:
        return None
    try:
        litres = Decimal(text)
    except InvalidOperation:
        litres = Decimal("NaN")
    if not sensible(litres) or not 0 <= litres <= MOST_WATER_L:
        words = f"needs litres a day for the whole crew, 0 to {MOST_WATER_L}, found {quoted(text)}"
        faults.append(Fault("--water-l", 0, words))
        return None
    return litres


def _late(problem: Problem, text: str | None, start: date, faults: list[Fault]) -> tuple[int | None, int]:
    if text is None:
        return None, 0
    name, equals, count = text.rpartition("=")
    names = [load.name for load in problem.loads]
    load: int | None = None
    if equals:
        if name not in names:
            words = f"no load {quoted(name)}.{nearest(name, names)} Loads: {', '.join(names)}."
            faults.append(Fault("--late", 0, words))
        else:
            load = names.index(name)
            if problem.loads[load].arrives <= start:
                words = f"load {quoted(name)} has arrived by {start}, on {problem.loads[load].arrives}; "
                faults.append(Fault("--late", 0, f"{words}name a later load, or an earlier --from"))
            elif problem.loads[load].arrives > problem.dates[-1]:
                words = f"load {quoted(name)} comes after the stay is over; name one that feeds a date of it"
                faults.append(Fault("--late", 0, words))
    else:
        load = next(
            (k for k, one in enumerate(problem.loads) if start < one.arrives <= problem.dates[-1]), None
        )
    if not (count.isascii() and count.isdigit() and 1 <= int(count) <= MOST_LATE):
        words = f"needs whole days, 1 to {MOST_LATE}, as N or LOAD=N, found {quoted(text)}"
        faults.append(Fault("--late", 0, words))
        return load, 0
    return load, int(count)
