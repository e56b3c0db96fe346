"""Reserve: energy, water and heat of the days carried in case."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.problem.calendar import Course, Meal
from optimenu.rules.reserve import Reserve
from tests.rules.hand import broken, faults, item, problem, reason, rule, said, settings, tally
from tests.rules.tiny import measured

BAR = item("bar", "main", ENERC_KCAL_kcal="450.5", unheated="good", water_ml=Decimal(300))
NIB = item("nib", "side", ENERC_KCAL_kcal="unknown", unheated="safe only")


def near(problem, tally, rng):
    text = (
        f"[reserve]\ndays = {len(problem.reserve)}\nlow_kcal = {{}}\nhigh_kcal = {{}}\nwater_ml = {{}}\n"
        f"without_heat = {str(rng.random() < 0.3).lower()}\n"
        "[reserve.meals.spare]\nat = '12:00'\ncourses = {{ main = {{ least = 1, most = 3, weight = 0 }} }}"
    )
    found = {}
    for m in measured(Reserve, text.format(0, 1, 0), problem, tally):
        found.setdefault(m.origin.key.removeprefix("reserve."), []).append(m.most)
    low = max(min(found["low_kcal"]) - rng.randint(0, 50), 0)
    high = max(found["high_kcal"]) + rng.randint(1, 50)
    return text.format(low, high, max(found["water_ml"]) + rng.randint(0, 50)), problem


def test_energy_and_water_by_hand():
    # two bars: 901 kcal and 600 mL; nibs of unknown energy add none that is known
    question = problem((BAR, NIB), days=1, reserve=2)
    toml = "[reserve]\ndays = 2\nlow_kcal = 1000\nhigh_kcal = 900\nwater_ml = 500"
    reserve = rule(Reserve, toml, question)
    menu = tally(
        question,
        """
        ana r1 lunch main bar 1
        ana r1 lunch side nib 2
        ana r1 dinner main bar 1
        ana 1 lunch main bar 1
        ana r2 lunch main bar 2
        """,
    )
    assert broken(reserve, menu)[:3] == [
        ("reserve.low_kcal", "ana", 1, "99", "kcal"),
        ("reserve.high_kcal", "ana", 1, "1", "kcal"),
        ("reserve.water_ml", "ana", 1, "100", "mL"),
    ]
    assert said(reserve, menu)[:3] == [
        "ana, reserve 1: energy: 901 kcal; at least 1,000 kcal",
        "ana, reserve 1: energy: 901 kcal; at most 900 kcal",
        "ana, reserve 1: water added: 600 mL; at most 500 mL",
    ]


@pytest.mark.parametrize(
    ("fields", "text"),
    [
        ({"unheated": "no"}, "not known to be safe unheated, and the reserve does without heat"),
        ({"unheated": "unknown"}, "not known to be safe unheated, and the reserve does without heat"),
        ({"unheated": "good", "water_kind": "hot"}, "needs hot water, and the reserve does without heat"),
        ({"unheated": "good", "water_kind": "hot", "cold_min": Decimal(30)}, None),
        ({"unheated": "safe only"}, None),
    ],
)
def test_without_heat(fields, text):
    question = problem((item("stew", **fields),), days=1, reserve=1)
    cold = rule(Reserve, "[reserve]\nwithout_heat = true", question)
    assert reason(cold, question, "stew", day=1) == text
    assert reason(cold, question, "stew", day=0) is None
    assert reason(rule(Reserve, "[reserve]", question), question, "stew", day=1) is None


def test_the_pattern_comes_in_order_of_the_clock():
    toml = """
    [reserve.meals.late]
    at = "18:30"
    courses = { main = { least = 1, most = 2, weight = 0 }, soup = { least = 0, most = 0, weight = 0 } }
    [reserve.meals.early]
    at = "06:00"
    courses = {}
    """
    assert settings(Reserve, toml).pattern() == (
        Meal("early", 360, ()),
        Meal("late", 1110, (Course("main", 1, 2, Decimal(0), 1, ("main",)),)),
    )


def test_energy_is_needed_only_where_it_is_limited():
    question = problem((BAR,), reserve=1)
    assert list(rule(Reserve, "[reserve]\ndays = 1", question).needs()) == []
    assert list(rule(Reserve, "[reserve]\ndays = 1\nhigh_kcal = 9", question).needs()) == [
        ("ENERC_KCAL_kcal", ("high_kcal",))
    ]
    assert list(rule(Reserve, "[reserve]\ndays = 1\nlow_kcal = 9", question).needs()) == [
        ("ENERC_KCAL_kcal", ("low_kcal",))
    ]


def test_faults():
    toml = "[reserve]\ndays = 1\nlow_kcal = 1000\nhigh_kcal = 900"
    assert faults(rule(Reserve, toml, problem((BAR,)))) == [
        ("days", "reserve days need meals; add [reserve.meals.NAME]"),
        ("low_kcal", "low_kcal 1000 is over high_kcal 900"),
    ]
    toml = "[reserve.meals.x]\nat = '12:00'\ncourses = { main = { least = 2, most = 1 } }"
    assert faults(rule(Reserve, toml, problem((BAR,)))) == [
        ("meals.x.courses.main.least", "least 2 is over most 1")
    ]
