"""Pairings: what needs a base in the same meal, and what never meets."""

from __future__ import annotations

from optimenu.rules.pairings import Pairings
from tests.rules.hand import broken, faults, item, problem, rule, said, tally
from tests.rules.tiny import holding

BREAD, JAM = item("bread", "side", tags=frozenset({"base"})), item("jam", "side", main_ingredient="plum")
FISH, COCOA = item("fish", "main"), item("cocoa", "main side")
ALL = (BREAD, JAM, FISH, COCOA)


def near(problem, tally, rng):
    names = [i.id for i in problem.catalogue.items]
    found = []
    for k in range(24):
        a, b, c = rng.sample(names, 3)
        found.append(
            f"[pairings.needs.n{k}]\nthese = {{ items = ['{a}'] }}\nfor_each = {rng.randint(1, 2)}\n"
            f"base = {{ tags = ['{rng.choice(('bread', 'heavy', 'spread'))}'], items = ['{b}', '{c}'] }}"
        )
        within = rng.choice(("meal", "day"))
        found.append(
            f"[pairings.apart.a{k}]\nthese = {{ items = ['{a}', '{c}'] }}\nthose = {{ items = ['{b}'] }}\n"
            f"within = '{within}'"
        )
    return holding(Pairings, problem, tally, found, 7), problem


def test_a_spread_needs_its_bread():
    question = problem(ALL, days=1, reserve=1)
    toml = """
    [pairings.needs.jam]
    these = { main_ingredients = ["plum"] }
    base = { tags = ["base"] }
    """
    needs = rule(Pairings, toml, question)
    assert broken(needs, tally(question, "ana 1 lunch side jam 1\nana 1 lunch side bread 1")) == []
    menu = tally(question, "ana 1 lunch side jam 2\nana 1 lunch side bread 1\nana r1 lunch side jam 1")
    assert broken(needs, menu) == [
        ("pairings.needs.jam", "ana", 0, "1", "servings"),
        ("pairings.needs.jam", "ana", 1, "1", "servings"),
    ]
    assert said(needs, menu)[0] == "ana, day 1, lunch: plum without base: 1 serving; at most 0 servings"


def test_kept_apart_in_a_meal_or_a_day():
    question = problem(ALL, days=1)
    toml = "[pairings.apart.x]\nthese = { items = ['fish'] }\nthose = { items = ['cocoa'] }\nwithin = '%s'"
    menu = tally(question, "ana 1 lunch main fish 1\nana 1 dinner main cocoa 1")
    assert broken(rule(Pairings, toml % "meal", question), menu) == []
    day = rule(Pairings, toml % "day", question)
    assert broken(day, menu) == [("pairings.apart.x", "ana", 0, "1", "kinds")]
    assert said(day, menu) == ["ana, day 1: fish and cocoa together: 2 kinds; at most 1 kinds"]
    # two servings of one kind are still one kind; what is free in the day meets nothing
    assert broken(day, tally(question, "ana 1 lunch side cocoa 2\nana 1 fish 1?")) == []
    meal = rule(Pairings, toml % "meal", question)
    assert broken(meal, tally(question, "ana 1 lunch main fish 1\nana 1 lunch side cocoa 1")) == [
        ("pairings.apart.x", "ana", 0, "1", "kinds")
    ]


def test_faults():
    toml = """
    [pairings.needs.jam]
    these = { main_ingredients = ["plumm"] }
    base = { tags = ["bas"] }
    [pairings.apart.x]
    these = { items = ["fsh"] }
    those = {}
    """
    assert faults(rule(Pairings, toml, problem(ALL))) == [
        (
            "needs.jam.these.main_ingredients",
            'no main ingredient "plumm" in the catalogue. Did you mean "plum"?',
        ),
        ("needs.jam.base.tags", 'no tag "bas" in the catalogue. Did you mean "base"?'),
        ("apart.x.these.items", 'no item "fsh" in the catalogue. Did you mean "fish"?'),
        ("apart.x.those", "name at least one of items, tags, main_ingredients, cuisines"),
    ]
