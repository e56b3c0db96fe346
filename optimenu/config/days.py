"""The calendar of a config: days of the cycle, days planned by themselves, reserve days."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from optimenu.errors import nearest
from optimenu.problem.calendar import PlanDay, cycle_days, stay_dates, with_dated

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date

    from optimenu.config.main_settings import ConfigBase, DatesTable
    from optimenu.crew.prescriptions import Prescription

    Tell = Callable[[tuple[str, ...], str], None]


SLIP = 0.7
"""Two words more alike than this are one word and a slip; common practice, no source."""


def plan_days(
    settings: ConfigBase, scripts: Mapping[str, Prescription], tell: Tell
) -> tuple[tuple[PlanDay, ...], tuple[int, ...], tuple[date, ...]]:
    """Return every plan day, the plan day of each date, and the dates of the stay.

    Parameters
    ----------
    scripts : mapping of person to Prescription
        A date on which somebody keeps a fast is planned by itself.
    tell : callable of (keys, message)
        Takes faults.
    """
    stay = settings.stay
    if stay.last_date < stay.first_date:
        tell(("stay", "last_date"), f"{stay.last_date} is before first_date {stay.first_date}")
        return (), (), ()
    dates = stay_dates(stay.first_date, stay.last_date)
    kinds = _kinds(settings, tell)
    known = _known(settings, tell)
    rules: Any = settings  # the rules' tables are added by name
    if not rules.meals.tables:
        tell(("meals",), "no meals; add [meals.NAME] with at and courses")
    meals = {kind: rules.meals.on(kind) for kind in known}
    cycle = cycle_days(dates, stay.cycle_days, kinds, meals, stay.ordinary_kind)
    own = _dated(settings, scripts, cycle, dates, tell)
    days = with_dated(cycle, own)
    number = {when: day.number for day in days for when in day.dates}
    pattern = rules.reserve.pattern()
    days += [
        PlanDay(len(days) + k, "reserve", f"reserve {k + 1}", "reserve", (), pattern)
        for k in range(rules.reserve.days)
    ]
    return tuple(days), tuple(number[when] for when in dates), dates


def _kinds(settings: ConfigBase, tell: Tell) -> dict[int, str]:
    """Kind of each cycle day, from 1, where it is not the ordinary one."""
    kinds: dict[int, str] = {}
    for kind, numbers in settings.stay.kinds.items():
        for n in numbers:
            if not 1 <= n <= settings.stay.cycle_days:
                text = f"day {n} is not in the cycle of {settings.stay.cycle_days} days"
                tell(("stay", "kinds", kind), text)
            elif n in kinds:
                tell(("stay", "kinds", kind), f"day {n} is already of kind {kinds[n]}")
            kinds[n] = kind
    return kinds


def _known(settings: ConfigBase, tell: Tell) -> list[str]:
    """Every day kind, after a look at the meals that name one."""
    known = known_kinds(settings)
    rules: Any = settings
    for name, table in rules.meals.tables.items():
        for kind in table.on:
            if kind not in known:
                text = f'no day kind "{kind}".{nearest(kind, known)}'
                tell(("meals", name, "on", kind), text)
    return known


def known_kinds(settings: ConfigBase) -> list[str]:
    """Day kinds of the cycle and of the days planned by themselves."""
    own = [t.kind for t in settings.dates.values() if t.kind is not None]
    return sorted({settings.stay.ordinary_kind, *settings.stay.kinds, *own})


def _dated(
    settings: ConfigBase,
    scripts: Mapping[str, Prescription],
    cycle: Sequence[PlanDay],
    dates: Sequence[date],
    tell: Tell,
) -> list[PlanDay]:
    """Days planned by themselves, in order of their first date."""
    stay, rules = settings.stay, settings
    on_cycle = {when: day for day in cycle for when in day.dates}
    fasting = {w for script in scripts.values() for f in script.fasts for w in f.dates if w in on_cycle}
    found: list[PlanDay] = []
    owner: dict[date, str] = {}
    for name, table in settings.dates.items():
        keys = ("dates", name, "on")
        for when in table.on:
            if when not in on_cycle:
                tell(keys, f"{when} is not a date of the stay, {stay.first_date} to {stay.last_date}")
            elif when in owner:
                tell(keys, f"{when} is a date of {owner[when]} already")
            owner[when] = name
        if len(set(table.on)) > 1 and not fasting.isdisjoint(table.on):
            text = f"somebody keeps a fast on {min(fasting & set(table.on))}; name that date by itself"
            tell(keys, text)
        kind = _kind(name, table, on_cycle, settings, tell)
        if kind is not None:
            meals = _meals(rules, name, table, kind, tell)
            own = tuple(sorted(set(table.on)))
            found.append(PlanDay(0, "dated", name.replace("_", " "), kind, own, meals, table.share))
    for when in sorted(fasting - owner.keys()):
        # papers never say why a date stands apart
        day = on_cycle[when]
        label = f"{when.day} {when:%b}"
        found.append(replace(day, block="dated", label=label, dates=(when,), place=0))
    return sorted(found, key=lambda day: day.dates)


def _kind(
    name: str, table: DatesTable, on_cycle: Mapping[date, PlanDay], settings: ConfigBase, tell: Tell
) -> str | None:
    if table.kind is not None:
        usual = sorted({settings.stay.ordinary_kind, *settings.stay.kinds})
        # a kind of its own is free to be named, but a slip of the pen would drop the energy of the work
        if table.kind not in usual and (guess := nearest(table.kind, usual, cutoff=SLIP)):
            text = f'no day kind "{table.kind}" in [stay].{guess} A kind of its own needs a name less alike'
            tell(("dates", name, "kind"), text)
        return table.kind
    kinds = sorted({on_cycle[w].kind for w in table.on if w in on_cycle})
    if len(kinds) > 1:
        tell(("dates", name, "kind"), f"these dates are of the kinds {', '.join(kinds)}; set kind")
    return kinds[0] if len(kinds) == 1 else None


def _meals(settings: Any, name: str, table: DatesTable, kind: str, tell: Tell) -> tuple[Any, ...]:
    every = settings.meals.on(kind)
    names = [m.name for m in every]
    for meal in table.meals:
        if meal not in names:
            tell(("dates", name, "meals"), f'no meal "{meal}".{nearest(meal, names)}')
    return tuple(m for m in every if not table.meals or m.name in table.meals)
