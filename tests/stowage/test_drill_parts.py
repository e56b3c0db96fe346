"""Drill: questions as typed, what is lost, ceilings while food is moved, the bound."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

import pytest

from optimenu.crew.fasts import FastTable, fast_of
from optimenu.crew.prescriptions import ApartTable
from optimenu.errors import InputFaults
from optimenu.rules.avoid import Avoid
from optimenu.rules.galley import Galley
from optimenu.rules.nutrients import Nutrients
from optimenu.stowage.drill_bound import Food, coarse, most_level
from optimenu.stowage.drill_ceilings import Ceilings
from optimenu.stowage.drill_loss import how_now, needs_fridge, why_lost
from optimenu.stowage.drill_question import Horizon, ask
from optimenu.stowage.drill_ration import keeps, last_sure
from optimenu.stowage.drill_safe import Safety
from tests.rules.hand import FIRST, D, item, person, problem, rule

BAR = item("bar")
CASE = problem((BAR,), days=2, dates=4, loads=(0, 2))


def day(k):
    return FIRST + timedelta(days=k)


# ---- the question


@pytest.mark.parametrize(
    ("option", "message"),
    [
        ({"start": "1 March"}, '--from  needs a date such as 2031-03-01, found "1 March"'),
        (
            {"start": "2031-03-05"},
            "--from  2031-03-05 is outside the stay; name a date from 2031-03-01 to 2031-03-04",
        ),
        (
            {"start": "2031-02-28"},
            "--from  2031-02-28 is outside the stay; name a date from 2031-03-01 to 2031-03-04",
        ),
        (
            {"lost": ["heatr"]},
            '--lost  nothing called "heatr" can be lost. Did you mean "heater"? '
            "Known: heater, hot_water, freezer.",
        ),
        (
            {"water_l": "-1"},
            '--water-l  needs litres a day for the whole crew, 0 to 100000, found "-1"',
        ),
        ({"water_l": "ten"}, '--water-l  needs litres a day for the whole crew, 0 to 100000, found "ten"'),
        ({"water_l": "nan"}, '--water-l  needs litres a day for the whole crew, 0 to 100000, found "nan"'),
        ({"late": "l2=3"}, '--late  no load "l2". Loads: l0, l1.'),
        (
            {"late": "l0=3"},
            '--late  load "l0" has arrived by 2031-03-01, on 2031-03-01; '
            "name a later load, or an earlier --from",
        ),
        ({"late": "-2"}, '--late  needs whole days, 1 to 366, as N or LOAD=N, found "-2"'),
        ({"late": "0"}, '--late  needs whole days, 1 to 366, as N or LOAD=N, found "0"'),
        ({"late": "l1=x"}, '--late  needs whole days, 1 to 366, as N or LOAD=N, found "l1=x"'),
        ({"late": "367"}, '--late  needs whole days, 1 to 366, as N or LOAD=N, found "367"'),
    ],
)
def test_what_cannot_be_asked(option, message):
    with pytest.raises(InputFaults) as found:
        ask(CASE, **option)
    assert str(found.value) == message


def test_every_fault_comes_at_once():
    with pytest.raises(InputFaults) as found:
        ask(CASE, "x", ["fridge"], "y", "z")
    assert [f.file for f in found.value.faults] == ["--from", "--late", "--lost", "--water-l"]


def test_a_load_after_the_stay_feeds_nothing():
    case = problem((BAR,), days=2, dates=4, loads=(0, 9))
    with pytest.raises(InputFaults, match='load "l1" comes after the stay is over'):
        ask(case, late="l1=1")
    # so it is not the next load either
    assert ask(case, late="1").load is None


def test_questions_as_typed():
    assert ask(CASE) == ask(CASE, "2031-03-01", [], None, None)
    q = ask(CASE, "2031-03-02", ["freezer", "heater", "heater"], "7.5", "3")
    assert (q.start, q.lost, q.water_l, q.load, q.late) == (day(1), ("heater", "freezer"), D("7.5"), 1, 3)
    # on the day the last load arrives there is none to wait for but the end
    assert ask(CASE, "2031-03-03", late="3").load is None


def test_dates_of_a_question():
    def dates(**option):
        h = Horizon.of(CASE, ask(CASE, **option))
        return [[w.day for w in sorted(x)] for x in (h.dates, h.gap, h.cover)]

    assert dates() == [[1, 2, 3, 4], [], [1, 2]]
    assert dates(start="2031-03-02", late="1") == [[2, 3], [3], [2, 3]]
    assert dates(start="2031-03-03", late="2") == [[3, 4, 5, 6], [5, 6], [3, 4, 5, 6]]


def test_days_beyond_the_stay_are_those_the_cycle_would_bring():
    ana = replace(person("ana"), kcal={"": D(2000), "work": D(2400), "rest": D(1900)})
    case = problem((BAR,), people=(ana,), days=2, dates=3, kinds={2: "rest"})
    h = Horizon.of(case, ask(case, late="2"))
    # work, rest, work; then rest, work
    assert [h.requirement(0, w) for w in h.dates] == [2400, 1900, 2400, 1900, 2400]
    # a day of its own is no day of the cycle; with none to go by, the person's most is asked
    own = replace(case, days=tuple(replace(d, block="dated", share=D("0.5")) for d in case.days))
    h = Horizon.of(own, ask(own, late="1"))
    assert [h.requirement(0, w) for w in h.dates] == [1200, 950, 1200, 2400]


def test_who_is_away_all_day_is_not_counted():
    away = frozenset({(0, 1, "lunch"), (0, 1, "dinner"), (0, 0, "lunch")})
    h = Horizon.of(problem((BAR,), days=2, away=away), ask(CASE))
    assert h.here(0, day(0)) and not h.here(0, day(1))


# ---- what is lost


def food(**more):
    form = more.pop("form", "canned")
    return replace(item("food", **{"heat_min": D(0), "unheated": "good", **more}), form=form)


HOT = {"water_kind": "hot", "water_ml": D(200)}


@pytest.mark.parametrize(
    ("lost", "more", "why"),
    [
        ("heater", {}, ""),
        ("heater", {"heat_min": D(9)}, ""),
        ("heater", {"heat_min": D(9), "unheated": "safe only"}, ""),
        ("heater", {"heat_min": D(9), "unheated": "no"}, "not to be eaten unheated"),
        ("heater", {"heat_min": D(9), "unheated": "unknown"}, "not known to be safe unheated"),
        (
            "heater",
            {"heat_min": None, "unheated": "unknown"},
            "not known to be safe unheated, and minutes in the heater are not stated",
        ),
        ("heater", {"unheated": "unknown"}, ""),
        ("heater", HOT, ""),
        ("hot_water", {"heat_min": D(9), "unheated": "no"}, ""),
        ("hot_water", HOT, "needs hot water: no time stated for cold"),
        ("hot_water", {**HOT, "cold_min": D(15)}, ""),
        (
            "hot_water",
            {**HOT, "cold_min": D(15), "unheated": "unknown"},
            "needs hot water: not known to be safe unheated",
        ),
        ("hot_water", {"water_kind": "chilled", "water_ml": D(200)}, ""),
        ("freezer", {"form": "frozen"}, "kept in the freezer: thawed, to be discarded"),
        ("freezer", {"store_at_c": D(-10)}, "kept in the freezer: thawed, to be discarded"),
        ("freezer", {"store_at_c": D(-9)}, ""),
        ("freezer", {"store_at_c": D(5)}, ""),
        ("heater", {"form": "frozen"}, ""),
    ],
)
def test_why_it_is_lost(lost, more, why):
    assert why_lost(food(**more), (lost,)) == why
    assert why_lost(food(**more), ()) == ""


def test_what_is_chilled_stays_and_is_told():
    chilled = {"store_at_c": D(8)}, {"form": "chilled"}, {"store_at_c": D(-9)}
    assert [needs_fridge(food(**m)) for m in chilled] == [True] * 3
    assert [needs_fridge(food(**m)) for m in ({"store_at_c": D(9)}, {"form": "frozen"}, {})] == [False] * 3


def test_how_it_is_made_now():
    both = ("heater", "hot_water")
    assert how_now(food(**HOT, cold_min=D("12.0")), both) == "cold water, 12 min"
    assert how_now(food(heat_min=D(9)), both) == "unheated"
    assert how_now(food(heat_min=D(9), unheated="safe only"), both) == "unheated: safe, not good"
    assert how_now(food(heat_min=D(9)), ("freezer",)) == ""


# ---- who may eat what


def test_unsafe_is_not_the_same_as_unliked():
    bo = person("bo", allergies={"milk": "avoid"}, never_items=frozenset({"pie"}))
    milk = replace(BAR, id="milk", allergens={**BAR.allergens, "milk": "contains"})
    silent = replace(BAR, id="silent", allergens={})
    items = (BAR, milk, silent, replace(BAR, id="pie"))
    case = problem(items, people=(person("ana"), bo), liked={("bo", "bar"): "2"})
    safety = Safety(case, (rule(Avoid, "", case),))
    assert [safety.may(1, i, None, FIRST) for i in items] == [True, False, False, False]
    assert [safety.may(0, i, None, FIRST) for i in items] == [True] * 4
    assert not safety.likes(1, BAR) and safety.likes(0, BAR)


def test_other_rules_are_asked_about_safety():
    # an amount not stated under a prescribed ceiling: refused by the rule of nutrients
    ana = person("ana", limits={"NA_mg": {"seven_days": (None, D(2000))}})
    case = problem((item("bar", NA_mg="unknown"),), people=(ana,))
    assert not Safety(case, (rule(Nutrients, "", case),)).may(0, case.catalogue.items[0], case.days[0], FIRST)
    assert Safety(case, ()).may(0, case.catalogue.items[0], case.days[0], FIRST)


# ---- prescribed ceilings


@pytest.mark.parametrize(
    ("window", "there", "room"),
    [
        # 100 mg more on the second of four dates, at most 300 a date
        ("day", (500, 200, 0, 0), True),
        ("day", (0, 201, 0, 0), False),
        ("three_days", (400, 200, 200, 900), False),
        ("three_days", (400, 200, 200, 0), True),
        ("three_days", (401, 200, 200, 0), False),
        ("three_days", (0, 200, 300, 301), False),
        ("seven_days", (400, 300, 200, 200), True),
        ("seven_days", (400, 300, 200, 201), False),
        ("stay", (400, 300, 200, 200), True),
        ("stay", (400, 300, 201, 200), False),
        ("meal", (900, 900, 900, 900), True),
    ],
)
def test_a_ceiling_over_its_window(window, there, room):
    ana = person("ana", limits={"NA_mg": {window: (None, D(300))}})
    mg = item("mg", NA_mg="1")
    more = item("more", NA_mg="100")
    case = problem((mg, more), people=(ana,), days=2, dates=4)
    ceilings = Ceilings(case, Horizon.of(case, ask(case)))
    for k, n in enumerate(there):
        ceilings.put(0, day(k), mg, n)
    assert ceilings.room(0, day(1), more) == room


def test_supplements_meals_upper_estimates_and_shares():
    ana = person("ana", limits={"NA_mg": {"day": (None, D(300))}}, supplements={"NA_mg": D(150)})
    guess, silent = item("guess", NA_mg="unknown", upper={"NA_mg": "100"}), item("silent", NA_mg="unknown")
    case = problem((guess, silent), people=(ana,))
    ceilings = Ceilings(case, Horizon.of(case, ask(case)))
    assert ceilings.room(0, FIRST, guess) and not ceilings.room(0, FIRST, silent)
    ceilings.put(0, FIRST, guess)
    assert not ceilings.room(0, FIRST, guess)
    ceilings.put(0, FIRST, guess, -1)
    assert ceilings.room(0, FIRST, guess)
    half = replace(case, days=(replace(case.days[0], share=D("0.5")), case.days[1]))
    # 150 of the half day's 150 are the supplement's
    assert not Ceilings(half, Horizon.of(half, ask(half))).room(0, FIRST, guess)
    ana = person("ana", limits={"NA_mg": {"meal": (None, D(150))}})
    case = replace(case, people=(ana,))
    ceilings = Ceilings(case, Horizon.of(case, ask(case)))
    ceilings.put(0, FIRST, guess, 5)
    assert ceilings.room(0, FIRST, guess)
    ceilings.put(0, FIRST, guess, added=True)
    assert not ceilings.room(0, FIRST, guess) and ceilings.room(0, day(1), guess)


def test_doses_steps_and_what_is_kept_apart():
    milk = replace(BAR, id="milk", allergens={**BAR.allergens, "milk": "may_contain"})
    ana = person("ana", intolerances={"milk": 2})
    case = problem((BAR, milk), people=(ana,))
    ceilings = Ceilings(case, Horizon.of(case, ask(case)))
    ceilings.put(0, FIRST, milk)
    assert ceilings.room(0, FIRST, milk)
    ceilings.put(0, FIRST, milk)
    # two servings a day are borne; what is free of milk is not counted
    assert (
        not ceilings.room(0, FIRST, milk) and ceilings.room(0, FIRST, BAR) and ceilings.room(0, day(1), milk)
    )

    salty, silent = item("salty", NA_mg="100"), item("silent", NA_mg="unknown")
    case = problem((salty, silent), people=(person("ana", steps={"NA_mg": D(150)}),), days=3)
    ceilings = Ceilings(case, Horizon.of(case, ask(case)))
    # 100, 200, 100 mg: one more in the middle is 200 from the next; one less on the first 200 from it
    for k, n in enumerate((1, 2, 1)):
        ceilings.put(0, day(k), salty, n)
    assert [ceilings.room(0, day(k), salty) for k in range(3)] == [True, False, True]
    assert [ceilings.spares(0, day(k), salty) for k in range(3)] == [False, True, False]
    assert not ceilings.room(0, day(0), silent) and not ceilings.spares(0, day(0), silent)

    pair = ApartTable.model_validate(
        {"these": {"items": ["tea"]}, "those": {"items": ["bar"]}, "hours": D(1)}
    )
    tea = item("tea")
    case = problem((BAR, tea, salty), people=(person("ana", apart={"tea_and_bar": pair}),))
    ceilings = Ceilings(case, Horizon.of(case, ask(case)))
    assert [ceilings.room(0, FIRST, i) for i in (tea, BAR, salty)] == [False, False, True]


def test_a_fast_is_kept_on_its_dates():
    fast = fast_of("lent", FastTable.model_validate({"dates": [day(1), day(7)], "never_items": ["bar"]}))
    case = problem((BAR,), people=(person("ana", fasts=(fast,)),), days=1, dates=3)
    safety = Safety(case, (rule(Avoid, "", case),))
    # the one plan day comes on every date; the seventh is beyond the stay
    assert [safety.may(0, BAR, case.days[0], day(k)) for k in (0, 1, 2, 7)] == [True, False, True, False]


def test_what_must_be_hot_is_not_moved_to_a_day_without_a_heater():
    raw, safe = (replace(BAR, id=u, heat_min=D(9), unheated=u) for u in ("no", "good"))
    case = problem((raw, safe))
    cold = rule(Galley, "[galley]\nplaces = 0\nround_min = 20\nminutes = 60", case)
    for rules, may in (((cold,), [False, True]), ((), [True, True])):
        safety = Safety(case, rules)
        assert [safety.may(0, i, case.days[0], FIRST) for i in (raw, safe)] == may


def test_nobody_severely_allergic_draws_on_anothers_pack_of_several():
    bo = person("bo", allergies={"milk": "severe"})
    case = problem((BAR,), people=(person("ana"), bo, person("cy")))
    safety = Safety(case, ())
    jar = replace(BAR, servings_per_pack=3)
    assert safety.from_pack(1, 0, BAR) and safety.from_pack(1, 1, jar) and safety.from_pack(2, 0, jar)
    assert not safety.from_pack(1, 0, jar) and not safety.from_pack(0, 1, jar)


def test_plain_water_of_the_day_kind():
    case = problem(
        (BAR,), people=(person("ana"), person("bo")), days=2, dates=3, kinds={2: "heavy"},
        plain_water_ml=D(1000), plain_water_on={"heavy": D(2500)},
    )  # fmt: skip
    h = Horizon.of(case, ask(case, late="1"))
    assert [h.plain_ml(w) for w in h.dates] == [2000, 5000, 2000, 5000]


# ---- packs


def test_how_long_an_opened_pack_keeps():
    hours = (None, 0, 24, 47, 48, 71, 72)
    assert [keeps(food(open_hours=None if h is None else D(h))) for h in hours] == [0, 0, 0, 0, 1, 1, 2]


def test_the_last_date_a_pack_is_surely_in_date():
    assert last_sure([day(1), day(5), None, day(9)], day(3)) == day(5)
    assert last_sure([day(1)], day(1)) == day(1)
    assert last_sure([day(1)], day(3)) is None and last_sure([], FIRST) is None


# ---- the bound


def near(found, level):
    """Tell whether a bound is the level, or a hair above for the fineness of the multipliers."""
    return 0 <= found - level < Fraction(1, 10**9)


def test_bound_worked_out_by_hand():
    need = {(0, FIRST): D(1000), (1, FIRST): D(1000)}
    both, dry = Food((0, 1), FIRST, FIRST, Fraction(0), D(500)), Fraction(0)
    only = Food((0,), FIRST, FIRST, dry, D(1000))
    # all 1500 kcal would make 0.75, but 1000 of it cannot go to the second person
    assert near(most_level(need, [only, both], None), Fraction(1, 2))
    # with 500 for either the level is the same for both
    assert near(most_level(need, [replace(only, kcal=D(500)), both], None), Fraction(1, 2))
    assert near(most_level(need, [replace(only, kcal=D(100)), both], None), Fraction(3, 10))
    # nothing that can go anywhere
    assert most_level(need, [], None) == 0 and most_level({}, [both], None) == 0


def test_bound_with_dates_and_water():
    need = {(0, FIRST): D(1000), (0, day(1)): D(1000)}
    dry = Food((0,), day(1), day(1), Fraction(0), D(900))
    wet = Food((0,), FIRST, day(1), Fraction(1, 2), D(800))
    # 1700 kcal of 2000, but the first date can have the 800 only
    assert near(most_level(need, [dry, wet], None), Fraction(4, 5))
    # 0.5 mL a kcal: 200 mL make 400 kcal of it on the first date
    water = {FIRST: D(200), day(1): D(200)}
    assert near(most_level(need, [dry, wet], water), Fraction(2, 5))


def test_a_ratio_is_rounded_down_to_two_figures():
    assert coarse(Fraction(0)) == 0
    assert coarse(Fraction(1, 3)) == Fraction(33, 100)
    assert coarse(Fraction(12345, 1000)) == 12
    assert coarse(Fraction(5, 100)) == Fraction(5, 100)
    assert coarse(Fraction(99999, 1)) == 99000
