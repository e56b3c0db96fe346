"""Hours: foods before sleep, around a medicine, and kept apart from one meal to the next."""

from __future__ import annotations

from dataclasses import replace
from datetime import time
from decimal import Decimal

import pytest

from optimenu.crew.foods import Foods
from optimenu.crew.prescriptions import ApartTable, MedicineApartTable, MedicineTable
from optimenu.problem.calendar import Course, Meal
from optimenu.problem.problem import Party
from optimenu.program.build import build
from optimenu.rules.hours import FoodsAndHours
from tests.rules.hand import broken, faults, item, person, problem, reason, rule, said, tally

D = Decimal


def near(problem, tally, rng):
    asleep = {p: ((rng.choice((1290, 1350, 30)), 360),) for p in range(len(problem.people))}
    crew, names = [], [i.id for i in problem.catalogue.items]
    for who in problem.people:
        a, b = rng.sample(names, 2)
        pair = ApartTable(
            these=Foods(items=(a,)),
            those=Foods(items=(b,)),
            hours=rng.randint(1, 20),
            both=rng.random() < 0.5,
        )
        own = {"x": pair} if rng.random() < 0.4 else {}
        crew.append(replace(who, prescription=replace(who.prescription, apart=own)))
    clock = {(0, "early"): 540} if rng.random() < 0.4 else {}
    problem = replace(problem, people=tuple(crew), sleep=asleep, clock=clock)
    tally = replace(tally, problem=problem)
    toml = f"[hours.before_sleep.z]\nitems = ['{rng.choice(names)}']\nhours = {rng.randint(1, 8)}\n"
    good, bad = [], []
    for k in range(24):
        a, b, c = rng.sample(names, 3)
        text = (
            f"[hours.apart.a{k}]\nthese = {{ items = ['{a}', '{c}'] }}\nthose = {{ items = ['{b}'] }}\n"
            f"hours = {rng.randint(1, 16)}\nboth = {rng.choice(('true', 'false'))}\n"
        )
        holds = all(m.amount == 0 for m in rule(FoodsAndHours, text, problem).measures(tally))
        (good if holds else bad).append(text)
    return toml + "".join(good[:3] or bad[-1:]), problem


# lunch 12:00, dinner 19:00: 7 h apart, and 17 h from dinner to the next date's lunch
MEAT, MILK = item("meat", "main side"), item("milk", "main side", allergens={"milk": "contains"})
PIE, TEA = item("pie", "main side"), item("tea", "main side", CAFFN_mg="40")
WEAK, DARK = item("weak", CAFFN_mg="5"), item("dark", CAFFN_mg="unknown", upper={"CAFFN_mg": "5"})
VAGUE = item("vague", CAFFN_mg="unknown")
ALL = (MEAT, MILK, PIE)
APART = """
[hours.apart.x]
these = { items = ["meat"] }
those = { contains = ["milk"] }
hours = %s
"""
SLEEP = {0: ((23 * 60, 7 * 60),)}


@pytest.mark.parametrize(("hours", "refused"), [("4", False), ("4.1", True), ("24", True)])
def test_caffeine_before_sleep(hours, refused):
    # dinner at 19:00, sleep at 23:00: four hours, and exactly four is far enough
    question = problem((TEA, PIE), sleep=SLEEP)
    toml = f"[hours.before_sleep.caffeine]\ncolumn = 'CAFFN_mg'\nhours = {hours}"
    ruled = rule(FoodsAndHours, toml, question)
    text = f"ana: within {hours} h of sleep at 23:00"
    assert reason(ruled, question, "tea", meal=1) == (text if refused else None)
    # pie does not state it: unknown is unsafe
    assert reason(ruled, question, "pie", meal=1) == (text if refused else None)
    free = reason(ruled, question, "tea", meal=None)
    assert free == f"{text}; free in the day, it could be eaten then"


def test_lunch_is_far_from_the_night_and_each_person_has_a_night_of_their_own():
    people = (person("ana"), person("bo"))
    question = problem((TEA, PIE), people=people, sleep=SLEEP | {1: ((17 * 60, 60),)})
    toml = "[hours.before_sleep.x]\nitems = ['tea']\nhours = 6\npeople = ['bo']"
    ruled = rule(FoodsAndHours, toml, question)
    # bo sleeps from 17:00: lunch is 5 h before; dinner at 19:00 falls into the sleep itself
    assert reason(ruled, question, "tea", meal=0, party=1) == "bo: within 6 h of sleep at 17:00"
    assert reason(ruled, question, "tea", meal=1, party=1) == "bo: within 6 h of sleep at 17:00"
    assert reason(ruled, question, "pie", meal=0, party=1) is None
    assert reason(ruled, question, "tea", meal=0) is None
    both = Party("table", (0, 1))
    day = question.days[0]
    got = ruled.allow(both, day, day.meals[0], day.meals[0].courses[0], TEA)
    assert got == "bo: within 6 h of sleep at 17:00"
    moved = replace(question, clock={(1, "lunch"): 10 * 60})
    assert reason(rule(FoodsAndHours, toml, moved), moved, "tea", meal=0, party=1) is None


def test_round_midnight():
    late = (Meal("night", 30, (Course("main", 1, 1, D(1), 1, ("main",)),)),)
    # sleep at 02:00: 00:30 is 1.5 h before; sleep at 23:30: a meal at 00:30 falls into the sleep;
    # sleep at 00:30 on the minute of the meal; sleep at 00:15 to 00:20 is over, and 23.75 h away
    for start, end, refused in ((120, 600, True), (1410, 420, True), (30, 400, True), (15, 20, False)):
        question = problem((TEA,), meals=late, sleep={0: ((start, end),)})
        ruled = rule(FoodsAndHours, "[hours.before_sleep.x]\nitems = ['tea']\nhours = 2", question)
        assert (reason(ruled, question, "tea") is not None) is refused, start


@pytest.mark.parametrize(
    ("food", "most", "refused"),
    [
        (TEA, "39.9", True),
        (TEA, "40", False),
        (WEAK, "5", False),
        (WEAK, "0", True),
        (DARK, "5", False),
        (DARK, "4", True),
        (VAGUE, "1000", True),
    ],
)
def test_an_amount_in_one_serving_at_its_upper_estimate_or_unknown(food, most, refused):
    question = problem((food,), sleep=SLEEP)
    toml = f"[hours.before_sleep.x]\ncolumn = 'CAFFN_mg'\nmost = {most}\nhours = 6"
    assert (reason(rule(FoodsAndHours, toml, question), question, food.id, meal=1) is not None) is refused


def test_fluid_counts_the_water_added():
    soup = item("soup", WATER_g="100", water_ml=D(150))
    for most, meant in ((249, True), (250, False)):
        assert Foods(column="WATER_g", most=most).matches(soup) is meant


def medicine(before, after, at=("07:00", "19:30"), **foods):
    table = MedicineApartTable(hours_before=D(before), hours_after=D(after), **foods)
    return {"m": MedicineTable(at=tuple(map(time.fromisoformat, at)), apart=(table,))}


@pytest.mark.parametrize(
    ("before", "after", "lunch", "dinner"),
    [
        ("0.5", "0", False, False),  # dinner 19:00 is half an hour before 19:30: just far enough
        ("0.6", "0", False, True),
        ("0", "5", False, False),  # lunch 12:00 is five hours after 07:00
        ("0", "5.5", True, False),
        ("7.4", "0", False, True),  # lunch is 7.5 h before 19:30
        ("7.6", "0", True, True),
        ("0", "12", True, False),  # dinner is twelve hours after 07:00
    ],
)
def test_foods_away_from_a_medicine(before, after, lunch, dinner):
    who = person("ana", medicines=medicine(before, after, contains=("milk",)))
    question = problem(ALL, people=(who,))
    ruled = rule(FoodsAndHours, "[hours]", question)
    for meal, refused in ((0, lunch), (1, dinner)):
        got = reason(ruled, question, "milk", meal=meal)
        assert (got is not None) is refused, (meal, got)
        if got:
            assert got.startswith(f"ana: not from {before} h before to {after} h after ")
            assert got.endswith(", as prescribed")
        assert reason(ruled, question, "meat", meal=meal) is None
    assert "free in the day" in reason(ruled, question, "milk", meal=None)


def test_a_medicine_is_never_named_and_unknown_allergens_count():
    who = person("ana", medicines=medicine("1", "1", at=("12:00",), contains=("milk",)))
    question = problem((item("crate", free=False),), people=(who,))
    got = reason(rule(FoodsAndHours, "[hours]", question), question, "crate")
    assert got == "ana: not from 1 h before to 1 h after 12:00, as prescribed"


def test_apart_in_one_meal_and_over_the_hours_of_a_day():
    question = problem(ALL, days=1)
    meal = tally(question, "ana 1 lunch main meat 1\nana 1 lunch side milk 1")
    later = tally(question, "ana 1 lunch main meat 1\nana 1 dinner main milk 1")
    before = tally(question, "ana 1 lunch main milk 1\nana 1 dinner main meat 1")
    seven, more = (rule(FoodsAndHours, APART % h, question) for h in ("7", "7.5"))
    assert broken(seven, meal) == [("hours.apart.x", "ana", 0, "1", "kinds")]
    assert broken(seven, later) == []
    assert broken(more, later) == [("hours.apart.x", "ana", 0, "1", "kinds")]
    assert said(more, later) == [
        (
            "ana: meat at lunch, day 1, and what may contain milk at dinner, day 1, less than 7.5 h apart: "
            "2 kinds; at most 1 kinds"
        )
    ]
    # one direction: milk first, meat later is allowed unless both is set
    assert broken(more, before) == []
    both = rule(FoodsAndHours, APART % "7.5" + "both = true", question)
    assert [b.origin.what for b in both.breaches(before)] == ["dinner, the other way round"]


def test_a_late_dinner_and_the_next_date():
    # cycle of two days on three dates: 0 1 0. Meat at dinner of day 2, milk at lunch of day 1: 17 h.
    question = problem(ALL, days=2, dates=3)
    menu = tally(question, "ana 2 dinner main meat 1\nana 1 lunch main milk 1")
    assert broken(rule(FoodsAndHours, APART % "17", question), menu) == []
    ruled = rule(FoodsAndHours, APART % "17.5", question)
    assert [(b.origin.run, b.origin.what) for b in ruled.breaches(menu)] == [((1, 0), "dinner to lunch")]
    # on two dates day 2 is never followed by day 1
    short = problem(ALL, days=2, dates=2)
    ruled = rule(FoodsAndHours, APART % "17.5", short)
    assert broken(ruled, tally(short, "ana 2 dinner main meat 1\nana 1 lunch main milk 1")) == []
    # a day that follows itself
    one = problem(ALL, days=1, dates=2)
    ruled = rule(FoodsAndHours, APART % "17.5", one)
    menu = tally(one, "ana 1 dinner main meat 1\nana 1 lunch main milk 1")
    assert [b.origin.run for b in ruled.breaches(menu)] == [(0, 0)]


def test_reserve_days_follow_each_other_and_not_the_last_date():
    question = problem(ALL, days=1, reserve=2)
    ruled = rule(FoodsAndHours, APART % "18", question)
    menu = tally(question, "ana 1 dinner main meat 1\nana r1 lunch main milk 1")
    assert broken(ruled, menu) == []
    menu = tally(question, "ana r1 dinner main meat 1\nana r2 lunch main milk 1")
    assert [b.origin.run for b in ruled.breaches(menu)] == [(1, 2)]


def test_a_shared_dish_counts_for_each_member_at_their_own_times():
    people = (person("ana"), person("bo"))
    parties = (Party("ana", (0,)), Party("bo", (1,)), Party("table", (0, 1)))
    question = problem(ALL, people=people, days=1, parties=parties, clock={(1, "dinner"): 21 * 60})
    ruled = rule(FoodsAndHours, APART % "8", question)
    # the shared lunch at 12:00: ana's dinner is 7 h later, bo's 9 h
    menu = tally(question, "table 1 lunch main meat 1\nana 1 dinner main milk 1\nbo 1 dinner main milk 1")
    assert broken(ruled, menu) == [("hours.apart.x", "ana", 0, "1", "kinds")]
    program = build(question, (ruled,))
    labels = {("table", 0, "meat"), ("ana", 1, "milk"), ("bo", 1, "milk")}
    x = program.complete(
        [
            (parties[a].id, m, ALL[i].id) in labels and int(k == 0)
            for a, m, k, i in zip(
                program.party[: program.n_menu],
                program.meal[: program.n_menu],
                program.course[: program.n_menu],
                program.item[: program.n_menu],
                strict=True,
            )
        ]
    )
    assert [program.origins[r].person for r in program.broken(x)] == ["ana"]


def test_two_meals_at_one_time_meet_both_ways_once():
    question = problem(ALL, days=1, clock={(0, "dinner"): 720})
    ruled = rule(FoodsAndHours, APART % "1" + "both = true", question)
    for menu in (
        "ana 1 lunch main meat 1\nana 1 dinner main milk 1",
        "ana 1 lunch main milk 1\nana 1 dinner main meat 1",
    ):
        assert len(broken(ruled, tally(question, menu))) == 1


def test_what_is_prescribed_holds_for_one_person_and_says_who_may_loosen_it():
    pair = ApartTable(these=Foods(items=("meat",)), those=Foods(contains=("milk",)), hours=D(8))
    question = problem(ALL, people=(person("ana", apart={"p": pair}), person("bo")), days=1)
    ruled = rule(FoodsAndHours, "[hours]", question)
    menu = "{0} 1 lunch main meat 1\n{0} 1 dinner main milk 1"
    (found,) = ruled.breaches(tally(question, menu.format("ana")))
    assert (found.origin.key, found.origin.who) == ("prescriptions.people.ana.apart.p", "physician")
    assert broken(ruled, tally(question, menu.format("bo"))) == []


def test_free_servings_and_items_on_both_sides_are_refused():
    both = item("moussaka", main_ingredient="beef", allergens={})
    known = [replace(i, main_ingredient=i.main_ingredient or "other") for i in ALL]
    question = problem((*known, both))
    toml = "[hours.apart.x]\nthese = { items = ['meat'], main_ingredients = ['beef'] }\n"
    ruled = rule(FoodsAndHours, toml + "those = { contains = ['milk'] }\nhours = 3", question)
    tail = "free in the day, it could be eaten then"
    assert reason(ruled, question, "meat", meal=None) == (
        f"ana: kept apart by hours from what may contain milk; {tail}"
    )
    assert reason(ruled, question, "milk", meal=None) == f"ana: kept apart by hours from meat, beef; {tail}"
    assert reason(ruled, question, "pie", meal=None) is None
    assert reason(ruled, question, "meat") is None
    # nobody has said that it is free of milk
    assert reason(ruled, question, "moussaka") == (
        "ana: on both sides of what is kept apart: meat, beef; what may contain milk"
    )


def test_who_is_away_meets_nothing():
    question = problem(ALL, days=1, away=frozenset({(0, 0, "dinner")}))
    found = list(
        rule(FoodsAndHours, APART % "8", question).measures(tally(question, "ana 1 lunch main meat 1"))
    )
    assert [m.origin.meal for m in found] == ["lunch"]


def test_faults():
    toml = """
    [hours.before_sleep.a]
    column = "CAFF_mg"
    hours = 6
    people = ["ann"]
    [hours.before_sleep.b]
    hours = 6
    most = 3
    [hours.apart.c]
    these = { tags = ["red"], contains = ["mlik"] }
    those = {}
    hours = 2
    people = ["bob"]
    """
    question = problem((TEA, PIE))
    say = "name at least one of items, tags, main_ingredients, cuisines, contains, column"
    sleep = "no times of sleep for ana; state them, or name in people only those it is for"
    assert faults(rule(FoodsAndHours, toml, question)) == [
        (
            "before_sleep.a.column",
            'the catalogue has no nutrient column CAFF_mg. Did you mean "CAFFN_mg"?',
        ),
        ("before_sleep.a.people", 'no person "ann". Did you mean "ana"?'),
        ("before_sleep.b.most", "speaks of a nutrient; name its column too"),
        ("before_sleep.b", say),
        ("before_sleep.b", sleep),
        ("apart.c.these.contains", 'no allergen "mlik". Did you mean "milk"?'),
        ("apart.c.these.tags", 'no tag "red" in the catalogue.'),
        ("apart.c.those", say),
        ("apart.c.people", 'no person "bob".'),
    ]
