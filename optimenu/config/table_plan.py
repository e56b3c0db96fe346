"""Who eats when and with whom: watches, sleep, fasting hours, parties, packs that are shared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from optimenu.errors import nearest
from optimenu.problem.problem import Party
from optimenu.settings import clock_words, minutes

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import time

    from optimenu.catalogue.item import Catalogue
    from optimenu.config.days import Tell
    from optimenu.config.main_settings import ConfigBase
    from optimenu.crew.people import Person
    from optimenu.problem.calendar import Course, Meal, PlanDay

Hours = tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Tables:
    """What the Problem says of tables; fields are those of the same name there."""

    parties: tuple[Party, ...]
    clock: Mapping[tuple[int, str], int]
    sleep: Mapping[int, Hours]
    away: frozenset[tuple[int, int, str]]
    shared_packs: Mapping[str, tuple[tuple[int, ...], ...]]


def tables(
    settings: ConfigBase, people: Sequence[Person], days: Sequence[PlanDay], catalogue: Catalogue, tell: Tell
) -> Tables:
    """Resolve watches, parties and shared packs; faults go to ``tell``."""
    number = {p.id: k for k, p in enumerate(people)}
    clock, sleep = _watches(settings, number, days, tell)
    _awake(settings, number, days, clock, sleep, tell)
    away = frozenset(_away(people, days, clock, tell))
    _common(settings, days, range(len(people)), clock, away, tell)
    parties = _parties(settings, number, days, clock, away, tell)
    return Tables(parties, clock, sleep, away, _packs(settings, people, catalogue, tell))


def within(minute: int, hours: Hours) -> bool:
    """Tell whether a time of day, minutes after midnight, lies in one of the spans."""
    return any(a <= minute < b if a < b else minute >= a or minute < b for a, b in hours)


def _hours(spans: Iterable[tuple[time, time]]) -> Hours:
    return tuple((minutes(a), minutes(b)) for a, b in spans)


def _unknown(
    names: Iterable[str], known: Iterable[str], keys: tuple[str, ...], tell: Tell, what: str = "person"
) -> None:
    for name in names:
        if name not in known:
            tell(keys, f'no {what} "{name}".{nearest(name, sorted(known))}')


def _watches(
    settings: ConfigBase, number: Mapping[str, int], days: Sequence[PlanDay], tell: Tell
) -> tuple[dict[tuple[int, str], int], dict[int, Hours]]:
    meals = {m.name: m for d in days if d.eaten for m in d.meals}
    clock: dict[tuple[int, str], int] = {}
    sleep = {number[n]: _hours(t.sleep) for n, t in settings.people.items() if t.sleep and n in number}
    watch_of: dict[str, str] = {}
    for name, watch in settings.watches.items():
        keys = ("watches", name)
        _unknown(watch.people, settings.people, (*keys, "people"), tell)
        _unknown(watch.meals, meals, (*keys, "meals"), tell, "meal")
        for person in watch.people:
            if person in watch_of:
                tell((*keys, "people"), f"{person} keeps watch {watch_of[person]} already")
            watch_of[person] = name
            if person in number:
                sleep.setdefault(number[person], _hours(watch.sleep))
        for meal in meals.values():
            at = minutes(watch.meals[meal.name]) if meal.name in watch.meals else meal.at
            for spans, word in ((watch.sleep, "asleep"), (watch.on_watch, "on watch")):
                if within(at, _hours(spans)):
                    text = f"{meal.name} at {clock_words(at)} finds these people {word}"
                    tell((*keys, "meals", meal.name), f"{text}; set another time")
            clock.update({(number[p], meal.name): at for p in watch.people if p in number})
    return clock, sleep


def _awake(
    settings: ConfigBase,
    number: Mapping[str, int],
    days: Sequence[PlanDay],
    clock: Mapping[tuple[int, str], int],
    sleep: Mapping[int, Hours],
    tell: Tell,
) -> None:
    """Tell of a person's own hours of sleep that hold a meal."""
    meals = {m.name: m for d in days if d.eaten for m in d.meals}
    for name, table in settings.people.items():
        p = number.get(name)
        if p is None or not table.sleep:
            continue
        for meal in meals.values():
            at = clock.get((p, meal.name), meal.at)
            if within(at, sleep[p]):
                text = f"{meal.name} at {clock_words(at)} finds {name} asleep; set other hours"
                tell(("people", name, "sleep"), text)


def _common(
    settings: ConfigBase,
    days: Sequence[PlanDay],
    people: Sequence[int],
    clock: Mapping[tuple[int, str], int],
    away: frozenset[tuple[int, int, str]],
    tell: Tell,
) -> None:
    """Tell when too few meals of a whole day are eaten by everybody at one time."""
    asked, told = settings.stay.common_meals, set()
    for day in days:
        # on a date of a fast somebody misses meals by intent
        if not asked or not day.eaten or day.share < 1 or any(d == day.number for _, d, _ in away):
            continue
        common = sum(len({clock.get((p, m.name), m.at) for p in people}) == 1 for m in day.meals)
        if common < asked and day.kind not in told:
            told.add(day.kind)
            word = "meal" if common == 1 else "meals"
            text = f"on {day.kind} days everybody eats {common} {word} at one time; let watches meet at more"
            tell(("stay", "common_meals"), text)


def _away(
    people: Sequence[Person], days: Sequence[PlanDay], clock: Mapping[tuple[int, str], int], tell: Tell
) -> Iterator[tuple[int, int, str]]:
    """Meals that fall in somebody's fasting hours."""
    for p, person in enumerate(people):
        for day in days:
            fasts = person.prescription.fasts_on(day.dates)
            missed = [m.name for m in day.meals if any(f.keeps(clock.get((p, m.name), m.at)) for f in fasts)]
            if missed and len(missed) == len(day.meals):
                names = ", ".join(f.name for f in fasts)
                text = f"the fast {names} of {person.id} leaves no meal on {day.dates[0]}; "
                text += "move one out of its hours"
                tell(("prescriptions", "file"), text)
            yield from ((p, day.number, name) for name in missed)


def _parties(
    settings: ConfigBase,
    number: Mapping[str, int],
    days: Sequence[PlanDay],
    clock: Mapping[tuple[int, str], int],
    away: frozenset[tuple[int, int, str]],
    tell: Tell,
) -> tuple[Party, ...]:
    found = [Party(name, (k,)) for name, k in number.items()]
    whole: dict[str, tuple[int, ...]] = {}
    for name, table in settings.parties.items():
        _unknown(table.members, settings.people, ("parties", name, "members"), tell)
        if name in settings.people:
            tell(("parties", name), "is the id of a person too; give the party another name")
        members = tuple(sorted({number[m] for m in table.members if m in number}))
        if len(members) < len(table.members) and all(m in number for m in table.members):
            tell(("parties", name, "members"), "names somebody twice")
        whole[name] = members
        found.append(Party(name, members))
    told: set[str] = set()
    parts: dict[tuple[str, tuple[int, ...]], None] = {}
    for day in days:
        for meal in day.meals:
            for course in meal.courses:
                for text in _course_faults(settings, meal, course, whole, clock):
                    if text not in told:
                        told.add(text)
                        tell(_course_keys(settings, day, meal, course), text)
                for name in course.shared_by:
                    here = tuple(p for p in whole.get(name, ()) if (p, day.number, meal.name) not in away)
                    if 1 < len(here) < len(whole.get(name, ())):
                        parts[name, here] = None
    people = list(number)
    for name, here in parts:
        missing = " ".join(people[p] for p in whole[name] if p not in here)
        found.append(Party(f"{name} without {missing}", here, part_of=name))
    return tuple(found)


def _course_keys(settings: Any, day: PlanDay, meal: Meal, course: Course) -> tuple[str, ...]:
    if not day.eaten:
        return ("reserve", "meals", meal.name, "courses", course.name, "shared_by")
    if course.name in settings.meals.tables[meal.name].on.get(day.kind, {}):
        return ("meals", meal.name, "on", day.kind, course.name, "shared_by")
    return ("meals", meal.name, "courses", course.name, "shared_by")


def _course_faults(
    settings: ConfigBase,
    meal: Meal,
    course: Course,
    whole: Mapping[str, tuple[int, ...]],
    clock: Mapping[tuple[int, str], int],
) -> Iterator[str]:
    people = list(settings.people)
    seen: dict[int, str] = {}
    for name in course.shared_by:
        if name not in whole:
            yield f'no party "{name}".{nearest(name, sorted(whole))}'
            continue
        for p in whole[name]:
            if p in seen:
                yield f"{people[p]} is in {seen[p]} and in {name}; a dish is shared in one party only"
            seen[p] = name
        if len({clock.get((p, meal.name), meal.at) for p in whole[name]}) > 1:
            yield f"{name} does not eat {meal.name} at one time; see [watches]"


def _packs(
    settings: ConfigBase, people: Sequence[Person], catalogue: Catalogue, tell: Tell
) -> dict[str, tuple[tuple[int, ...], ...]]:
    """Groups of people who draw on one opened pack, by item."""
    found: dict[str, tuple[tuple[int, ...], ...]] = {}
    for name, table in settings.packs.shared.items():
        keys = ("packs", "shared", name)
        for fault in table.faults(catalogue, ()):
            tell((*keys, *fault.keys), fault.message)
        _unknown(table.people, settings.people, (*keys, "people"), tell)
        named = tuple(k for k, p in enumerate(people) if not table.people or p.id in table.people)
        for item in catalogue.items:
            for group in severe_apart(people, (named,)) if table.matches(item) else ():
                others = {p for g in found.get(item.id, ()) for p in g}
                if both := sorted(people[p].id for p in others.intersection(group)):
                    tell(keys, f"{', '.join(both)} share packs of {item.id} in another group already")
                found[item.id] = (*found.get(item.id, ()), group)
    return found


def severe_apart(people: Sequence[Person], groups: Iterable[tuple[int, ...]]) -> tuple[tuple[int, ...], ...]:
    """Return the groups without those severely allergic: other hands have been in a shared pack."""
    left = (tuple(p for p in group if not people[p].prescription.severe) for group in groups)
    return tuple(group for group in left if len(group) > 1)
