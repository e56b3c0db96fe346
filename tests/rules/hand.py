"""Small problems written out by hand, for tests whose numbers are worked out on paper."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import tomli

from optimenu.catalogue.columns import ALLERGENS
from optimenu.catalogue.item import Catalogue, Item
from optimenu.crew.acceptance import Acceptance
from optimenu.crew.people import Person
from optimenu.crew.prescriptions import Prescription
from optimenu.menu.menu import Line, Menu
from optimenu.menu.tally import Tally
from optimenu.problem.calendar import Course, Load, Meal, PlanDay, cycle_days
from optimenu.problem.problem import Party, Problem

D = Decimal
FIRST = date(2031, 3, 1)
ENERGY = "ENERC_KCAL_kcal"
UNKNOWN = "unknown"

MEALS = (
    Meal("lunch", 720, (Course("main", 1, 1, D(1), 1, ("main",)), Course("side", 0, 2, D(0), 2, ("side",)))),
    Meal("dinner", 1140, (Course("main", 1, 1, D(2), 1, ("main",)),)),
)


def item(name, courses="main", *, meals="lunch dinner", upper=None, free=True, **more):
    """Return an item; keywords that end in a unit are amounts, ``NA_mg="300"``, "unknown" for None."""
    amounts, fields = {}, {}
    for key, value in more.items():
        if key.split("_")[0].isupper():
            amounts[key] = None if value == UNKNOWN else D(value)
        else:
            fields[key] = value
    amounts.setdefault(ENERGY, D(500))
    plain = {
        "serving_g": D(100),
        "servings_per_pack": 1,
        "open_hours": D(10000),
        "net_g": D(100),
        "gross_g": D(110),
        "volume_ml": D(200),
        "water_ml": D(0),
        "water_kind": "none",
        "allergens": dict.fromkeys(ALLERGENS, "free") if free else {},
    }
    return Item(
        id=name,
        name=name.capitalize(),
        courses=tuple(courses.split()),
        meals=tuple(meals.split()),
        form="canned",
        amounts=amounts,
        upper={k: D(v) for k, v in (upper or {}).items()},
        **{**plain, **fields},
    )


def person(name, kcal="2000", floor="5", **script):
    """Return a person; further keywords are fields of the prescription."""
    sex, age = ("female", 30) if name == "ana" else ("male", 40)
    return Person(
        name, name.capitalize(), sex, age, D(70), D("1.75"), D(floor), {"": D(kcal)}, Prescription(**script)
    )


def problem(
    items,
    *,
    people=None,
    days=2,
    dates=None,
    meals=MEALS,
    kinds=None,
    reserve=0,
    loads=(0,),
    stock=None,
    liked=None,
    parties=None,
    **more,
):
    """Return a problem.

    Parameters
    ----------
    days, dates : int
        Days of the cycle and dates of the stay from 2031-03-01.
    loads : tuple of int
        Days after the first date on which each load arrives; they are named l0, l1 ...
    liked : mapping of (person, item) to score, "~" before an estimated one; 7 for every other pair
    parties : tuple of Party, optional
        One of several members shares the first course of the first meal.
    """
    people = people or (person("ana"),)
    dates = dates or days
    tables = tuple(p.id for p in parties or () if len(p.members) > 1)
    if tables:
        first = meals[0]
        course = replace(first.courses[0], shared_by=tables)
        meals = (replace(first, courses=(course, *first.courses[1:])), *meals[1:])
    stay = tuple(FIRST + timedelta(days=k) for k in range(dates))
    kinds = kinds or {}
    plan = cycle_days(stay, days, kinds, dict.fromkeys({"work", *kinds.values()}, meals), "work")
    plan += [
        PlanDay(len(plan) + k, "reserve", f"reserve {k + 1}", "reserve", (), meals) for k in range(reserve)
    ]
    scores = {(p.id, i.id): Acceptance(D(7), estimated=False) for p in people for i in items}
    for pair, text in (liked or {}).items():
        if text is None:
            del scores[pair]
        else:
            scores[pair] = Acceptance(D(text.removeprefix("~")), estimated=text.startswith("~"))
    columns = frozenset(c for i in items for c in i.amounts)
    return Problem(
        name="by hand",
        people=people,
        parties=parties or tuple(Party(p.id, (k,)) for k, p in enumerate(people)),
        dates=stay,
        days=tuple(plan),
        sequence=tuple(k % days for k in range(dates)),
        cycle_length=days,
        loads=tuple(Load(f"l{k}", FIRST + timedelta(days=d)) for k, d in enumerate(loads)),
        catalogue=Catalogue(tuple(items), columns, "list.csv", columns),
        stock=stock,
        acceptance=scores,
        **more,
    )


def settings(cls, toml):
    """Return a rule's settings from TOML text."""
    values = tomli.loads(toml, parse_float=Decimal)
    assert set(values) <= {cls.table}
    return cls.model.model_validate(values.get(cls.table, {}))


def rule(cls, toml, question):
    """Return a rule over a problem."""
    return cls(settings(cls, toml), question)


def tally(question, text):
    """Return a tally of lines such as ``ana 1 lunch main stew 2``.

    A day r1 is of the reserve; a count with "?" is free in the day and needs no meal:
    ``ana 1 sauce 2?``.
    """
    lines = []
    for row in text.strip().splitlines():
        words = row.split()
        block = "reserve" if words[1].startswith("r") else "cycle"
        day = int(words[1].removeprefix("r"))
        count = words[-1]
        if count.endswith("?"):
            lines.append(
                Line(words[0], block, day, "", "allowance", words[-2], int(count[:-1]), certain=False)
            )
        else:
            lines.append(Line(words[0], block, day, *words[2:5], int(count), certain=True))
    found = Tally.of(question, Menu.of(lines))
    assert not found.strange, found.strange
    return found


def broken(rule, tally):
    """Return (key, person, day, amount as text, unit) of every breach."""
    return [
        (b.origin.key, b.origin.person, b.origin.day, f"{b.amount.normalize():f}", b.unit)
        for b in rule.breaches(tally)
    ]


def said(rule, tally):
    """Return what the rule says of every breach."""
    return [rule.say(m) for m in rule.measures(tally) if m.amount > 0]


def faults(rule):
    """Return the rule's setting faults as (dotted keys, message)."""
    return [(".".join(f.keys), f.message) for f in rule.faults()]


def reason(rule, question, item_id, *, day=0, meal=0, course=0, party=0):
    """Return why a serving cannot be; ``meal=None`` for an allowance."""
    when = question.days[day]
    at = None if meal is None else when.meals[meal]
    return rule.allow(
        question.parties[party],
        when,
        at,
        at.courses[course] if at else None,
        question.catalogue.by_id[item_id],
    )
