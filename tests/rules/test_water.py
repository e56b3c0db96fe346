"""Water: added a person-day, hot at a meal, for the crew over the stay, and its fuel."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from optimenu.problem.problem import Party
from optimenu.program.build import build
from optimenu.rules.water import Water
from tests.rules.hand import broken, faults, item, person, problem, rule, said, tally
from tests.rules.tiny import measured

SOUP = item("soup", water_ml=Decimal("250"), water_kind="hot")
JUICE = item("juice", "side", water_ml=Decimal("200.5"), water_kind="chilled")
PIE = item("pie")


def near(problem, tally, rng):
    plain = f"[water]\nplain_ml = 250\nplain_ml_on = {{ {problem.kinds[-1]} = 300 }}\n"
    toml = plain + "added_ml = 1\nhot_ml_at_a_meal = 1\ncrew_l = 1\n"
    toml += "fuel_g_per_l = 12.5\nmelt_g_per_l = 4\nfuel_kg = 9"
    found = {}
    for m in measured(Water, toml, problem, tally):
        key = m.origin.key.removeprefix("water.")
        found[key] = max(found.get(key, Decimal(1)), m.most)
    return (
        f"{plain}added_ml = {found['added_ml'] + rng.randint(0, 60)}\n"
        f"hot_ml_at_a_meal = {found['hot_ml_at_a_meal'] + rng.randint(0, 60)}\n"
        f"crew_l = {found['crew_l'] / 1000 + rng.randint(0, 3)}\n"
        f"fuel_g_per_l = 12.5\nmelt_g_per_l = 4\n"
        f"fuel_kg = {found['fuel_kg'] / 1000 + Decimal(rng.randint(0, 3)) / 100}"
    ), problem


MENU = """
ana 1 lunch main soup 1
ana 1 dinner main soup 1
ana 1 lunch side juice 2
ana 2 lunch main pie 1
ana r1 lunch main soup 1
"""


def test_by_hand():
    # day 1 serves two dates, day 2 one. Day 1: soup 2 x 250 + juice 2 x 200.5 = 901 mL, 500 mL of it hot,
    # 250 mL at each meal. The stay: 2 x 901 = 1802 mL and plain water 3 x 1000 mL: 4802 mL. Hot: 2 x 500 =
    # 1000 mL, at 20 g of fuel a litre 20 g. The reserve has its own limit.
    question = problem((SOUP, JUICE, PIE), dates=3, reserve=1)
    toml = """
    [water]
    plain_ml = 1000
    added_ml = 900
    hot_ml_at_a_meal = 240
    crew_l = 4.8
    fuel_g_per_l = 20
    fuel_kg = 0.015
    """
    water = rule(Water, toml, question)
    assert broken(water, tally(question, MENU)) == [
        ("water.added_ml", "ana", 0, "1", "mL"),
        ("water.hot_ml_at_a_meal", "", 0, "10", "mL"),
        ("water.hot_ml_at_a_meal", "", 0, "10", "mL"),
        ("water.crew_l", "", -1, "2", "mL"),
        ("water.fuel_kg", "", -1, "5", "g"),
    ]
    assert said(water, tally(question, MENU)) == [
        "ana, day 1: water added: 901 mL; at most 900 mL",
        "day 1, lunch: hot water, crew: 250 mL; at most 240 mL",
        "day 1, dinner: hot water, crew: 250 mL; at most 240 mL",
        "water, crew, stay: 4.802 L; at most 4.8 L",
        "fuel for water: 0.02 kg; at most 0.015 kg",
    ]


def test_what_is_free_in_the_day_counts_in_full():
    question = problem((SOUP, JUICE), days=1)
    water = rule(Water, "[water]\nadded_ml = 600", question)
    menu = tally(question, "ana 1 lunch main soup 1\nana 1 juice 2?")
    assert broken(water, menu) == [("water.added_ml", "ana", 0, "51", "mL")]


def test_a_shared_dish_takes_water_once_for_each_member():
    people = (person("ana"), person("bo"))
    question = problem((SOUP,), people=people, days=1, parties=(Party("table", (0, 1)),))
    water = rule(Water, "[water]\nhot_ml_at_a_meal = 499\ncrew_l = 0.499\nadded_ml = 249", question)
    menu = tally(question, "table 1 lunch main soup 1")
    assert broken(water, menu) == [
        ("water.added_ml", "ana", 0, "1", "mL"),
        ("water.added_ml", "bo", 0, "1", "mL"),
        ("water.hot_ml_at_a_meal", "", 0, "1", "mL"),
        ("water.crew_l", "", -1, "1", "mL"),
    ]
    program = build(question, (water,))
    x = program.complete((program.meal[: program.n_menu] == 0).astype("int64"))
    assert len(program.broken(x)) == 4


def test_plain_water_by_day_kind_counts_on_its_own_dates():
    # three dates: day 1 twice at 1000 mL, day 2, heavy, once at 2800: 4800 mL a person, 9.6 L for two
    people = (person("ana"), person("bo"))
    question = problem((SOUP, PIE), people=people, dates=3, kinds={2: "heavy"})
    toml = "[water]\nplain_ml = 1000\nplain_ml_on = { heavy = 2800 }\ncrew_l = %s"
    menu = tally(question, "ana 1 lunch main soup 1")
    assert faults(rule(Water, toml % "9.5", question)) == [
        ("crew_l", "plain water alone takes 9.6 L for the stay, more than crew_l = 9.5")
    ]
    # and soup on two dates: 500 mL more
    assert broken(rule(Water, toml % "10", question), menu) == [("water.crew_l", "", -1, "100", "mL")]
    assert faults(rule(Water, "[water]\nplain_ml_on = { heavi = 1 }", question)) == [
        ("plain_ml_on.heavi", 'no day kind "heavi". Did you mean "heavy"?')
    ]


def test_faults():
    question = problem((SOUP,), dates=3)
    assert faults(rule(Water, "[water]\nfuel_kg = 1\nplain_ml = 1500\ncrew_l = 4.2", question)) == [
        ("fuel_kg", "fuel_kg and fuel_g_per_l go together; set both or neither"),
        ("crew_l", "plain water alone takes 4.5 L for the stay, more than crew_l = 4.2"),
    ]


def test_snow_is_melted_for_every_drop():
    # two dates. Soup 250 mL hot at 40 g/L, 10 g; juice 200.5 mL chilled at 20 g/L, 4.01 g; a litre of plain
    # water 20 g: 34.01 g a day, 68.02 g
    question = problem((SOUP, JUICE), days=1, dates=2)
    toml = "[water]\nplain_ml = 1000\nfuel_g_per_l = 40\nmelt_g_per_l = 20\nfuel_kg = 0.068"
    water = rule(Water, toml, question)
    menu = tally(question, "ana 1 lunch main soup 1\nana 1 lunch side juice 1")
    assert broken(water, menu) == [("water.fuel_kg", "", -1, "0.02", "g")]
    short = toml.replace("0.068", "0.03")
    assert faults(rule(Water, short, question)) == [
        ("fuel_kg", "melting the plain water alone takes 0.04 kg, more than fuel_kg = 0.03")
    ]


def test_hot_water_that_is_free_in_the_day_counts_at_every_meal():
    question = problem((SOUP,), days=1)
    water = rule(Water, "[water]\nhot_ml_at_a_meal = 499", question)
    menu = tally(question, "ana 1 lunch main soup 1\nana 1 soup 1?")
    # 250 mL at lunch and 250 free: 500; dinner has the free one alone
    assert broken(water, menu) == [("water.hot_ml_at_a_meal", "", 0, "1", "mL")]


def test_a_part_day_takes_its_share_of_plain_water():
    question = problem((SOUP,), days=1, dates=2)
    half = replace(question, days=tuple(replace(d, share=Decimal("0.25")) for d in question.days))
    water = rule(Water, "[water]\nplain_ml = 1000\ncrew_l = 0.5", half)
    (whole,) = water.measures(tally(half, "ana 1 lunch main soup 1"))
    # a quarter of a litre on two dates, and a soup on each
    assert whole.most == 500 + 500


def test_melting_says_nothing_without_fuel():
    assert faults(rule(Water, "[water]\nmelt_g_per_l = 20", problem((SOUP,)))) == [
        ("melt_g_per_l", "says nothing without fuel_kg and fuel_g_per_l; set them")
    ]
