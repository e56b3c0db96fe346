"""Tiny random problems and menus: one to three people, three to five plan days, two meals."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from random import Random

import numpy as np

from optimenu.catalogue.columns import ALLERGENS
from optimenu.catalogue.item import Catalogue, Item
from optimenu.crew.acceptance import Acceptance
from optimenu.crew.people import Person
from optimenu.crew.prescriptions import Fast, Prescription
from optimenu.menu.menu import day_numbers, from_counts
from optimenu.menu.tally import Tally
from optimenu.problem.calendar import Course, Load, Meal, PlanDay, cycle_days, with_dated
from optimenu.problem.problem import Party, Problem
from tests.rules.hand import rule

D = Decimal
FIRST = date(2031, 3, 1)
ENERGY = "ENERC_KCAL_kcal"
COLUMNS = (ENERGY, "PROCNT_g", "FAT_g", "NA_mg", "CA_mg", "P_mg", "WATER_g")
NAMES = ("ana", "bo", "cy")


def tenths(rng, low, high):
    """Return a random decimal with one place."""
    return D(rng.randint(low * 10, high * 10)) / 10


def make(seed, *, people=None, length=None, reserve=None, loads=None, shared=None, unknown=0.15):
    """Return a random problem; keywords fix what would be random."""
    rng = Random(seed)
    n = people or rng.randint(1, 3)
    length = length or rng.randint(3, 5)
    stay = tuple(FIRST + timedelta(days=k) for k in range(length + rng.randint(1, 2 * length)))
    kinds = {rng.randint(1, length): "rest"}
    table = ("table",) if n > 1 and (rng.random() < 0.3 if shared is None else shared) else ()
    days = cycle_days(stay, length, kinds, {k: _meals(k, table) for k in ("work", "rest")}, "work")
    own = []
    if rng.random() < 0.4:
        when, kind = rng.choice(stay), rng.choice(("work", "rest"))
        share = rng.choice((D(1), D("0.5")))
        own = [PlanDay(0, "dated", "own", kind, (when,), _meals(kind, table)[rng.randint(0, 1) :], share)]
    days = with_dated(days, own)
    number = {when: d.number for d in days for when in d.dates}
    away = frozenset((rng.randrange(n), d.number, d.meals[0].name) for d in days if rng.random() < 0.1)
    for k in range(rng.randint(0, 1) if reserve is None else reserve):
        days.append(PlanDay(len(days), "reserve", f"reserve {k + 1}", "reserve", (), _reserve_meals()))
    second = loads == 2 if loads else rng.random() < 0.4
    items = tuple(_item(rng, k, unknown) for k in range(rng.randint(8, 14)))
    crew = tuple(_person(rng, p, own) for p in NAMES[:n])
    parties = tuple(Party(p.id, (k,)) for k, p in enumerate(crew))
    if table:
        parties = (*parties, Party("table", (0, 1)))
    return Problem(
        name=f"tiny {seed}",
        people=crew,
        parties=parties,
        dates=stay,
        days=tuple(days),
        sequence=tuple(number[when] for when in stay),
        cycle_length=length,
        loads=(Load("first", FIRST), Load("second", FIRST + timedelta(days=length)))[: 1 + second],
        catalogue=Catalogue(items, frozenset(COLUMNS), "list.csv", frozenset(COLUMNS)),
        stock=None,
        acceptance=_acceptance(rng, crew, items),
        plain_water_ml=D(rng.choice((0, 250))),
        clock={(0, "late"): 1200},
        away=away,
        shared_packs={i.id: (tuple(range(n)),) for i in items if rng.random() < 0.2},
    )


def _meals(kind, table):
    weight = D("1.5") if kind == "rest" else D(1)
    main, condiment = (
        Course("main", 1, 1, weight, 1, ("main",)),
        Course("condiment", 0, 2, D(0), 1, ("condiment",)),
    )
    side = Course("side", 0, 2, D(0), 2, ("side", "condiment"), table)
    shared = replace(main, shared_by=table)
    return Meal("early", 480, (main, condiment)), Meal("late", 1140, (shared, side))


def _reserve_meals():
    return (
        Meal(
            "spare", 720, (Course("main", 1, 3, D(0), 2, ("main",)), Course("side", 0, 2, D(0), 2, ("side",)))
        ),
    )


def _item(rng, k, unknown):
    # the first items see to it that every course of every meal can be filled
    courses = (
        (("main",), ("main", "side"), ("condiment",))[k % 3] if k < 6 else (rng.choice(("main", "side")),)
    )
    meals = ("early", "late") if k < 6 else rng.choice((("early",), ("late",), ("early", "late")))
    amounts = {
        ENERGY: D(rng.randint(40, 700)),
        "PROCNT_g": tenths(rng, 0, 30),
        "FAT_g": tenths(rng, 0, 30),
        "NA_mg": D(rng.randint(0, 900)),
        "CA_mg": D(rng.randint(0, 300)),
        "P_mg": D(rng.randint(0, 300)),
        "WATER_g": tenths(rng, 0, 200),
    }
    upper = {}
    for column in COLUMNS[1:]:
        if rng.random() < unknown:
            amounts[column] = None
            if rng.random() < 0.5:
                upper[column] = D(rng.randint(1, 300))
    wrap = rng.choice((None, None, 2, 3))
    hot = rng.random() < 0.5
    return Item(
        id=f"i{k}",
        name=f"Item {k}",
        courses=courses,
        meals=meals,
        form="canned",
        serving_g=D(rng.randint(20, 300)),
        servings_per_pack=rng.choice((1, 1, 2, 3, 4)),
        open_hours=rng.choice((None, D(6), D(24), D(60), D(10000))),
        net_g=D(100),
        gross_g=tenths(rng, 30, 400),
        volume_ml=tenths(rng, 30, 600),
        water_ml=D(0) if rng.random() < 0.4 else D(rng.randint(1, 300)),
        water_kind="hot" if hot else "chilled",
        cold_min=D(20) if rng.random() < 0.5 else None,
        unheated=rng.choice(("good", "safe only", "no", "unknown")),
        overwrap_packs=wrap,
        overwrap_g=tenths(rng, 5, 40) if wrap else None,
        overwrap_ml=tenths(rng, 5, 40) if wrap and rng.random() < 0.7 else None,
        main_ingredient=rng.choice((None, "beef", "rice", "soy")),
        texture=rng.choice((None, "soft", "crisp")),
        cuisine=rng.choice((None, "north", "south")),
        tags=frozenset(
            t for n, t in enumerate(("spread", "bread", "heavy")) if k == n or rng.random() < 0.35
        ),
        allergens={a: rng.choice(("free",) * 12 + ("contains", "may_contain", "unknown")) for a in ALLERGENS},
        diets={"vegan": rng.choice(("yes", "no", "unknown"))},
        amounts=amounts,
        upper=upper,
    )


def _person(rng, name, own):
    script = {}
    if rng.random() < 0.5:
        # a date on which somebody fasts is planned by itself
        fasts = [Fast("f", frozenset(d.dates), never_tags=frozenset({"spread"})) for d in own]
        script = {
            "fasts": tuple(fasts) if rng.random() < 0.5 else (),
            "allergies": {rng.choice(ALLERGENS): rng.choice(("severe", "avoid"))},
            "supplements": {"CA_mg": D(rng.randint(0, 200))},
            "never_tags": frozenset(("heavy",) if rng.random() < 0.3 else ()),
        }
    sex, age = rng.choice((("female", 30), ("male", 55)))
    kcal = {"": D(rng.randint(900, 1500)), "rest": D(rng.randint(800, 1200))}
    return Person(name, name, sex, age, D(70), D("1.7"), D(5), kcal, Prescription(**script))


def _acceptance(rng, crew, items):
    found = {}
    for p in crew:
        for k, item in enumerate(items):
            value = D(rng.randint(400 if k > 5 else 520, 900)) / 100
            found[p.id, item.id] = Acceptance(value, estimated=k > 5 and rng.random() < 0.3)
    return found


@dataclass(frozen=True)
class Allow:
    """Only free servings, as another rule would give them."""

    party: int
    item: str
    most: int
    key: str = "test"


class Extras:
    """A writer that gives every single person one or two items free in the day, and nothing else."""

    by_date = False

    table = "extras"

    def __init__(self, problem, rng):
        names = [i.id for i in problem.catalogue.items]
        self.given = [
            Allow(k, name, rng.randint(1, 2))
            for k, party in enumerate(problem.parties)
            if len(party.members) == 1
            for name in rng.sample(names, 2)
        ]

    def allow(self, party, day, meal, course, item):
        return None

    def allowances(self):
        return self.given

    def write(self, page):
        pass


def slots(program, problem):
    """Return columns by (party, day, meal, course), with the course's least and most."""
    found = defaultdict(list)
    for c in range(program.n_menu):
        if program.certain[c]:
            key = (int(program.party[c]), int(program.day[c]), int(program.meal[c]), int(program.course[c]))
            found[key].append(c)
    return [(problem.days[d].meals[m].courses[k], cols) for (_, d, m, k), cols in found.items()]


def random_counts(rng, program, problem):
    """Return servings (n_menu,) that keep every course's least and most where columns allow."""
    counts = program.low[: program.n_menu].copy()
    for course, cols in slots(program, problem):
        room = [c for c in cols for _ in range(int(program.high[c]))]
        for c in rng.sample(room, min(rng.randint(course.least, course.most), len(room))):
            counts[c] += 1
    return counts


def edited(rng, program, problem, counts, steps):
    """Return counts after some random edits within the columns: add, drop, swap."""
    counts = counts.copy()
    places = slots(program, problem)
    for _ in range(steps):
        _, cols = rng.choice(places)
        full = [c for c in cols if counts[c] > 0]
        room = [c for c in cols if counts[c] < program.high[c]]
        kind = rng.choice(("add", "drop", "swap", "swap"))
        if kind != "add" and full:
            counts[rng.choice(full)] -= 1
        if kind != "drop" and room:
            counts[rng.choice(room)] += 1
    assert ((counts >= program.low[: program.n_menu]) & (counts <= program.high[: program.n_menu])).all()
    return counts


def carried(problem, old, counts, new):
    """Return the servings of one program in the columns of another; what has no column is left out."""

    def key(program, c):
        return tuple(int(getattr(program, f)[c]) for f in ("party", "day", "meal", "course", "item"))

    number = {key(new, c): c for c in range(new.n_menu)}
    out = new.low[: new.n_menu].copy()
    for c in np.flatnonzero(counts):
        at = number.get(key(old, int(c)))
        if at is not None and new.certain[at]:
            out[at] = min(int(counts[c]), int(new.high[at]))
    return out


def tally_of(problem, program, counts):
    """Return the tally of a choice of servings; every line must find its place."""
    tally = Tally.of(problem, from_counts(problem, program, counts))
    assert not tally.strange
    assert len(day_numbers(problem)) == len(problem.days)
    return tally


def measured(cls, toml, problem, tally):
    """Return the measures of a rule with these settings on a menu."""
    return list(rule(cls, toml, problem).measures(tally))


def holding(cls, problem, tally, candidates, wanted):
    """Return some of the candidate settings, joined, that this menu keeps (or the last ones, if few do)."""
    good = [c for c in candidates if all(m.amount == 0 for m in measured(cls, c, problem, tally))]
    return "\n".join((good + [c for c in candidates if c not in good][-1:])[:wanted])
