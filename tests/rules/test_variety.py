"""Variety: how many different items, and traits that meet in one meal."""

from __future__ import annotations

from optimenu.rules.variety import Variety
from tests.rules.hand import broken, faults, item, person, problem, rule, said, tally
from tests.rules.tiny import measured

STEW, RICE = item("stew", texture="soft"), item("rice", "main side", texture="soft")
NUT, DIP = item("nut", "side", texture="crisp"), item("dip", "side")
ALL = (STEW, RICE, NUT, DIP)


def near(problem, tally, rng):
    lines = []
    for name, courses in (("all", ""), ("mains", "courses = ['main']\n")):
        each = rng.choice(("person", "crew"))
        head = f"[variety.distinct.{name}]\neach = '{each}'\n{courses}"
        found = [m.most for m in measured(Variety, head + "at_most = 0", problem, tally)]
        if rng.random() < 0.5:
            lines.append(f"{head}at_least = {max(min(found) - rng.randint(0, 1), 0)}")
        else:
            lines.append(f"{head}at_most = {max(found) + rng.randint(0, 1)}\nat_least = 1")
    trait = rng.choice(("texture", "main_ingredient", "cuisine"))
    head = f"[variety.in_a_meal.one]\ntrait = '{trait}'\ncourses = ['main', 'side']\n"
    most = max((m.most for m in measured(Variety, head, problem, tally)), default=1)
    price = "price = 0.001" if rng.random() < 0.5 else ""
    return "\n".join((*lines, f"{head}most = {max(most, 1)}\n{price}")), problem


def test_different_items_for_a_person_and_the_crew():
    question = problem(ALL, people=(person("ana"), person("bo")), days=2, reserve=1)
    menu = tally(
        question,
        """
        ana 1 lunch main stew 1
        ana 2 lunch main stew 1
        ana 2 lunch side nut 2
        bo 1 lunch main rice 1
        bo r1 lunch main stew 1
        ana 1 dip 1?
        """,
    )
    # ana stew and nut, bo rice: the reserve and what is free in the day do not count
    each = rule(Variety, "[variety.distinct.x]\nat_least = 2\nat_most = 3", question)
    assert broken(each, menu) == [("variety.distinct.x.at_least", "bo", -1, "1", "items")]
    assert said(each, menu) == ["bo: different items in all courses: 1 item; at least 2 items"]
    crew = rule(Variety, "[variety.distinct.x]\nat_most = 1\neach = 'crew'\ncourses = ['main']", question)
    assert broken(crew, menu) == [("variety.distinct.x.at_most", "", -1, "1", "items")]
    assert said(crew, menu) == ["crew: different items in main: 2 items; at most 1 item"]


def test_a_trait_in_one_meal():
    question = problem(ALL, days=1)
    toml = "[variety.in_a_meal.t]\ntrait = 'texture'\ncourses = ['main', 'side']\nprice = 0.002"
    trait = rule(Variety, toml, question)
    # stew and rice are soft: two where one may be; what has no texture stated is not compared
    menu = tally(question, "ana 1 lunch main stew 1\nana 1 lunch side rice 1\nana 1 lunch side dip 1")
    assert broken(trait, menu) == [("variety.in_a_meal.t.most", "ana", 0, "1", "servings")]
    (breach,) = trait.breaches(menu)
    assert breach.soft
    assert said(trait, menu) == ["ana, day 1, lunch: soft texture: 2 servings; at most 1 serving"]
    apart = tally(question, "ana 1 lunch main stew 1\nana 1 dinner main rice 1\nana 1 lunch side nut 1")
    assert broken(trait, apart) == []


def test_faults():
    toml = """
    [variety.distinct.a]
    courses = ["mian"]
    [variety.distinct.b]
    at_least = 3
    at_most = 2
    [variety.in_a_meal.t]
    trait = "texture"
    courses = ["sid"]
    """
    assert faults(rule(Variety, toml, problem(ALL))) == [
        ("distinct.a.courses", 'no course "mian" in any meal. Did you mean "main"?'),
        ("distinct.a", "set at_least or at_most"),
        ("distinct.b.at_least", "at_least 3 is over at_most 2"),
        ("in_a_meal.t.courses", 'no course "sid" in any meal. Did you mean "side"?'),
    ]
