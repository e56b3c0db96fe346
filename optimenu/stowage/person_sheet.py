"""What a physician and a dietitian want to see of one person's menu; each number is a measure's own."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from optimenu.crew.prescriptions import WINDOWS
from optimenu.nutrition.nutrients import BY_COLUMN

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from optimenu.crew.people import Person
    from optimenu.menu.tally import Tally
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Measure

PRESCRIBED = "prescriptions."
REFERENCE = "nutrients.reference."
ENERGY_DAY, ENERGY_STAY = "nutrients.energy.day_within", "nutrients.energy.stay_within"


@dataclass(frozen=True)
class Planned:
    """A limit with the planned value that is worst for it.

    Attributes
    ----------
    key : str
        Config key of the limit.
    what : str
        Nutrient column, or what else the limit is of; empty where only the label says it.
    name : str
        What a dietitian reads.
    window : str
        ``meal``, ``day``, ``three_days``, ``seven_days`` or ``stay``; empty for another kind of limit.
    side : str
        ``at least`` or ``at most``.
    limit : Decimal or None
        In ``unit``, mean a day for windows of several dates.
    worst : Decimal or None
        Lowest planned value of a floor, highest of a ceiling, in ``unit``; None: the audit measures none.
    unit : str
    when : tuple of str
        Plan days of the worst value, by label, its meal last; empty for the stay.
    outside : Decimal
        How far outside the limit, in ``unit``; 0 when it holds.
    known : Decimal
        Least share of the mass eaten that states the nutrient, 0 to 1.
    proved : bool
        False where unknown values leave a ceiling open anywhere.
    soft : bool
    """

    key: str
    what: str
    name: str
    window: str
    side: str
    limit: Decimal | None
    worst: Decimal | None
    unit: str
    when: tuple[str, ...]
    outside: Decimal
    known: Decimal
    proved: bool
    soft: bool


@dataclass(frozen=True)
class Energy:
    """Energy of the menu against the requirement, kcal a day.

    Attributes
    ----------
    needed : tuple of (str, Decimal)
        Requirement by day kind; the empty kind is every other day.
    mean, low, high : Decimal or None
        Mean of the stay, lowest and highest day; None where nothing measures it.
    """

    needed: tuple[tuple[str, Decimal], ...]
    mean: Decimal | None
    low: Decimal | None
    high: Decimal | None


@dataclass(frozen=True)
class Trace:
    """A planned item that is not known to be free of an allergen the prescription names.

    Attributes
    ----------
    state : str
        ``contains``, ``may_contain`` or ``unknown``.
    days : tuple of str
        Plan days on which this person is served it.
    """

    item: str
    name: str
    allergen: str
    severity: str
    state: str
    days: tuple[str, ...]


@dataclass(frozen=True)
class PersonSheet:
    """One person's sheet, group by group.

    Attributes
    ----------
    by, on : str, date or None
        Who laid the prescription down, and when; empty and None without one.
    limits : tuple of Planned
        Prescribed limits.
    unmet : tuple of Planned
        Reference intakes the plan does not meet.
    supplements : tuple of (str, Decimal)
        Nutrient column to amount a day, as prescribed.
    not_assessed : tuple of str
        Nutrient columns the catalogue does not state.
    not_proved : tuple of (str, Decimal)
        Ceilings that rest on unknown values, with the least share that is known.
    """

    id: str
    name: str
    sex: str
    age: int
    mass_kg: Decimal
    height_m: Decimal
    steps: tuple[str, ...]
    energy: Energy
    by: str
    on: date | None
    allergies: tuple[tuple[str, str], ...]
    diets: tuple[str, ...]
    never_items: tuple[str, ...]
    never_tags: tuple[str, ...]
    supplements: tuple[tuple[str, Decimal], ...]
    limits: tuple[Planned, ...]
    unmet: tuple[Planned, ...]
    not_assessed: tuple[str, ...]
    not_proved: tuple[tuple[str, Decimal], ...]
    traces: tuple[Trace, ...]


def person_sheet(
    problem: Problem, tally: Tally, measures: Sequence[Measure], person: int, not_assessed: Sequence[str]
) -> PersonSheet:
    """Gather one person's sheet.

    Parameters
    ----------
    measures : sequence of Measure
        Of the audit of the same menu.
    person : int
        Number of the person.
    not_assessed : sequence of str
        Columns the record of the run names.
    """
    who = problem.people[person]
    script = who.prescription
    mine = [m for m in measures if m.origin.person == who.id]
    items = problem.catalogue.by_id
    return PersonSheet(
        id=who.id,
        name=who.name,
        sex=who.sex,
        age=who.age,
        mass_kg=who.mass_kg,
        height_m=who.height_m,
        steps=who.steps,
        energy=_energy(who, mine),
        by=script.by,
        on=script.date,
        allergies=tuple(sorted(script.allergies.items())),
        diets=tuple(sorted(script.diets)),
        never_items=tuple(sorted(items[i].name if i in items else i for i in script.never_items)),
        never_tags=tuple(sorted(script.never_tags)),
        supplements=tuple(script.supplements.items()),
        limits=_prescribed(problem, who, mine),
        unmet=tuple(
            p for p in _worst(problem, (m for m in mine if m.origin.key.startswith(REFERENCE))) if p.outside
        ),
        not_assessed=tuple(not_assessed),
        not_proved=_not_proved(mine),
        traces=_traces(problem, tally, person),
    )


def _energy(who: Person, mine: Sequence[Measure]) -> Energy:
    days = [m.shown.value for m in mine if m.origin.key == ENERGY_DAY and m.shown and m.low is not None]
    tops = [m.shown.value for m in mine if m.origin.key == ENERGY_DAY and m.shown and m.high is not None]
    stay = [m.shown.value for m in mine if m.origin.key == ENERGY_STAY and m.shown and m.low is not None]
    return Energy(
        tuple(who.kcal.items()), min(stay, default=None), min(days, default=None), max(tops, default=None)
    )


def _prescribed(problem: Problem, who: Person, mine: Sequence[Measure]) -> tuple[Planned, ...]:
    """Every prescribed limit; one that nothing measures stands there without a value."""
    found = {p.key: p for p in _worst(problem, (m for m in mine if m.origin.key.startswith(PRESCRIBED)))}
    for column, windows in who.prescription.limits.items():
        for window, ends in windows.items():
            for side, value in zip(("low", "high"), ends, strict=True):
                key = f"{PRESCRIBED}people.{who.id}.limits.{column}.{window}.{side}"
                if value is not None and key not in found:
                    found[key] = Planned(
                        key, column, _column_name(column), window, _SIDES[side], value, None,
                        column.rsplit("_", 1)[1], (), Decimal(0), Decimal(0), proved=False, soft=False,
                    )  # fmt: skip
    return tuple(found[key] for key in sorted(found))


_SIDES = {"low": "at least", "high": "at most"}


def _worst(problem: Problem, measures: Iterable[Measure]) -> list[Planned]:
    """Return the worst planned value of each limit, in order of first sight."""
    groups: dict[tuple[str, str, str], list[Measure]] = {}
    for m in measures:
        for side, end in (("low", m.low), ("high", m.high)):
            if end is not None:
                groups.setdefault((m.origin.key, m.origin.what, side), []).append(m)
    return [_planned(problem, found, side) for (_, _, side), found in groups.items()]


def _planned(problem: Problem, found: Sequence[Measure], side: str) -> Planned:
    low = side == "low"
    worst = (min if low else max)(found, key=lambda m: _value(m, low=low))
    limit = _limit(worst, low=low)
    over = limit - _value(worst, low=low) if low else _value(worst, low=low) - limit
    o = worst.origin
    days = (o.day,) if o.day >= 0 else tuple(dict.fromkeys(o.run))
    return Planned(
        key=o.key,
        what=o.what,
        name=worst.label.split(": ", 1)[-1],
        window=next((w for w in reversed(o.key.split(".")) if w in WINDOWS), _window(worst)),
        side=_SIDES[side],
        limit=limit,
        worst=_value(worst, low=low),
        unit=worst.shown.unit if worst.shown else worst.unit,
        when=(*(problem.days[d].label for d in days), *((o.meal,) if o.meal else ())),
        outside=max(over, Decimal(0)),
        known=min(m.known for m in found),
        proved=all(m.proved for m in found),
        soft=worst.soft is not None,
    )


def _window(m: Measure) -> str:
    """Window of a limit whose key does not name it."""
    if m.origin.meal:
        return "meal"
    if m.origin.day >= 0:
        return "day"
    if not m.origin.run:
        return "stay"
    return {3: "three_days", 7: "seven_days"}.get(len(m.origin.run), "")


def _value(m: Measure, *, low: bool) -> Decimal:
    if m.shown is not None:
        return m.shown.value
    return m.least if low else m.most


def _limit(m: Measure, *, low: bool) -> Decimal:
    limit = (m.shown.low if low else m.shown.high) if m.shown is not None else None
    if limit is None:
        limit = m.low if low else m.high
    assert limit is not None  # measures are grouped by the sides they have
    return limit


def _not_proved(mine: Sequence[Measure]) -> tuple[tuple[str, Decimal], ...]:
    known: dict[str, Decimal] = {}
    for m in mine:
        if not m.proved:
            name = m.label.split(": ", 1)[-1]
            known[name] = min(m.known, known.get(name, m.known))
    return tuple(sorted(known.items()))


def _traces(problem: Problem, tally: Tally, person: int) -> tuple[Trace, ...]:
    """Return planned items not known to be free of what the prescription names; unknown is told too."""
    days: dict[str, dict[str, None]] = {}
    for e in sorted(tally.by_person.get(person, ()), key=lambda e: e.day.number):
        days.setdefault(e.item.id, {})[e.day.label] = None
    found = [
        Trace(i, item.name, allergen, severity, item.allergen(allergen), tuple(days[i]))
        for allergen, severity in problem.people[person].prescription.watched.items()
        for i in days
        if (item := problem.catalogue.by_id[i]).allergen(allergen) != "free"
    ]
    return tuple(sorted(found, key=lambda t: (t.allergen, t.name, t.item)))


def _column_name(column: str) -> str:
    return BY_COLUMN[column].name if column in BY_COLUMN else column
