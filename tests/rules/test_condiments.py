"""Condiments: with a dish, a person-day, packs for the crew, free in the day."""

from __future__ import annotations

from decimal import Decimal

from optimenu.problem.calendar import Course, Meal
from optimenu.program.build import build
from optimenu.rules.condiments import Condiments
from tests.rules.hand import broken, faults, item, person, problem, rule, said, tally
from tests.rules.tiny import holding, measured

MEALS = (
    Meal(
        "lunch",
        720,
        (Course("main", 1, 2, Decimal(0), 2, ("main",)), Course("dip", 0, 3, Decimal(0), 3, ("dip",))),
    ),
    Meal("dinner", 1140, (Course("dip", 0, 3, Decimal(0), 3, ("dip",)),)),
)
CURRY = item("curry", tags=frozenset({"hot"}))
RICE = item("rice")
CHUTNEY, SALT = item("chutney", "dip", servings_per_pack=3), item("salt", "dip", servings_per_pack=2)


def near(problem, tally, rng):
    day = max(m.most for m in measured(Condiments, "[condiments]\nper_person_day = 0", problem, tally))
    tags = rng.sample(("spread", "bread", "heavy"), 2)
    crew = "[condiments.crew.pot]\ntags = ['spread']\npacks = {}\n"
    packs = measured(Condiments, crew.format(0), problem, tally)[0].most
    dishes = [
        f"[condiments.with_dish.d{k}]\nthese = {{ items = ['i{k}'] }}\n"
        f"dish = {{ tags = ['{tags[0]}'], items = ['i{(k + 2) % 8}'] }}\nfor_each = {rng.randint(1, 2)}"
        for k in range(8)
    ]
    toml = f"[condiments]\nper_person_day = {day + rng.randint(0, 1)}\n" + crew.format(
        packs + rng.randint(1, 3)
    )
    free = "[condiments.free.pot]\nitem = 'i2'\na_day = 1\npeople = ['ana']\n"
    return toml + holding(Condiments, problem, tally, dishes, 2) + "\n" + free, problem


def test_a_condiment_needs_its_dish():
    question = problem((CURRY, RICE, CHUTNEY), days=1, meals=MEALS)
    toml = """
    [condiments]
    courses = ["dip"]
    [condiments.with_dish.chutney]
    these = { items = ["chutney"] }
    dish = { tags = ["hot"] }
    for_each = 2
    """
    with_dish = rule(Condiments, toml, question)
    # one curry carries two servings of chutney
    assert broken(with_dish, tally(question, "ana 1 lunch main curry 1\nana 1 lunch dip chutney 2")) == []
    menu = tally(question, "ana 1 lunch main curry 1\nana 1 lunch dip chutney 3\nana 1 dinner dip chutney 2")
    assert broken(with_dish, menu) == [
        ("condiments.with_dish.chutney", "ana", 0, "1", "servings"),
        ("condiments.with_dish.chutney", "ana", 0, "2", "servings"),
    ]
    assert (
        said(with_dish, menu)[1] == "ana, day 1, dinner: chutney without hot: 2 servings; at most 0 servings"
    )


def test_a_condiment_is_never_its_own_dish_and_only_named_courses_count():
    question = problem(
        (item("curry", tags=frozenset({"hot"})), item("chutney", "dip", tags=frozenset({"hot"}))), meals=MEALS
    )
    toml = """
    [condiments.with_dish.chutney]
    these = { items = ["chutney"] }
    dish = { tags = ["hot"] }
    """
    alone = tally(question, "ana 1 lunch dip chutney 1")
    both = tally(question, "ana 1 lunch dip chutney 1\nana 1 lunch main curry 1")
    # the chutney bears the tag of its dishes, yet carries nothing itself
    assert len(broken(rule(Condiments, toml, question), alone)) == 1
    assert broken(rule(Condiments, toml, question), both) == []
    assert broken(rule(Condiments, toml + "courses = ['main']", question), both) == []
    assert len(broken(rule(Condiments, toml + "courses = ['dip']", question), both)) == 1
    wrong = rule(Condiments, toml + "courses = ['mian']", question)
    assert faults(wrong) == [
        ("with_dish.chutney.courses", 'no course "mian" in any meal. Did you mean "main"?')
    ]


def test_so_many_a_person_day():
    question = problem((CURRY, CHUTNEY, SALT), days=1, meals=MEALS)
    daily = rule(Condiments, '[condiments]\ncourses = ["dip"]\nper_person_day = 2', question)
    menu = tally(question, "ana 1 lunch dip chutney 2\nana 1 dinner dip salt 1\nana 1 salt 5?")
    # 2 + 1 planned; what is free in the day is not planned
    assert broken(daily, menu) == [("condiments.per_person_day", "ana", 0, "1", "servings")]
    assert said(daily, menu) == ["ana, day 1: condiments: 3 servings; at most 2 servings"]


def test_packs_for_the_crew_are_whole_for_each_party():
    # chutney: 3 servings a pack. ana 2 servings on 2 dates = 4 -> 2 packs; bo 1 x 2 = 2 -> 1 pack;
    # ana's reserve 1 -> 1 pack. 4 packs in all, though 7 servings would fill 3.
    question = problem(
        (CURRY, CHUTNEY), people=(person("ana"), person("bo")), days=1, dates=2, meals=MEALS, reserve=1
    )
    crew = rule(Condiments, "[condiments]\ncrew = { pot = { items = ['chutney'], packs = 3 } }", question)
    menu = tally(question, "ana 1 lunch dip chutney 2\nbo 1 lunch dip chutney 1\nana r1 lunch dip chutney 1")
    assert broken(crew, menu) == [("condiments.crew.pot.packs", "", -1, "1", "packs")]
    assert said(crew, menu) == ["crew: pot: 4 packs; at most 3 packs"]


def test_what_is_free_in_the_day_is_packed_at_its_most():
    # 2 free salts a day on 3 dates are 6 servings, 3 packs of 2
    question = problem((CURRY, SALT), days=1, dates=3, meals=MEALS)
    toml = """
    [condiments.crew.salt]
    items = ["salt"]
    packs = 2
    [condiments.free.salt]
    item = "salt"
    a_day = 2
    """
    free = rule(Condiments, toml, question)
    program = build(question, (free,))
    (column,) = (~program.certain).nonzero()[0]
    assert (program.low[column], program.high[column], program.meal[column]) == (2, 2, -1)
    assert broken(free, tally(question, "ana 1 salt 2?")) == [
        ("condiments.crew.salt.packs", "", -1, "1", "packs")
    ]


def test_only_people_by_themselves_get_something_free():
    question = problem((SALT,), people=(person("ana"), person("bo")), meals=MEALS)
    free = rule(Condiments, "[condiments.free.s]\nitem = 'salt'\na_day = 1\npeople = ['bo']", question)
    assert [(a.party, a.item, a.most, a.key) for a in free.allowances()] == [
        (1, "salt", 1, "condiments.free.s.a_day")
    ]


def test_faults():
    question = problem((CURRY, CHUTNEY), meals=MEALS)
    toml = """
    [condiments]
    courses = ["dips"]
    [condiments.with_dish.one]
    these = { items = ["chutny"] }
    dish = {}
    [condiments.crew.pot]
    tags = ["hoot"]
    packs = 1
    [condiments.free.salt]
    item = "salt"
    a_day = 1
    people = ["ann"]
    """
    assert faults(rule(Condiments, toml, question)) == [
        ("courses", 'no course "dips" in any meal. Did you mean "dip"?'),
        ("with_dish.one.these.items", 'no item "chutny" in the catalogue. Did you mean "chutney"?'),
        ("with_dish.one.dish", "name at least one of items, tags, main_ingredients, cuisines"),
        ("crew.pot.tags", 'no tag "hoot" in the catalogue. Did you mean "hot"?'),
        ("free.salt.item", 'no item "salt" in the catalogue.'),
        ("free.salt.people", 'no person "ann". Did you mean "ana"?'),
    ]
    assert faults(rule(Condiments, "[condiments]", question)) == []


def test_a_main_ingredient_nobody_has():
    question = problem((CURRY,), meals=MEALS)
    toml = "[condiments.crew.pot]\nmain_ingredients = ['salt']\npacks = 1"
    text = 'no main ingredient "salt" in the catalogue.'
    assert faults(rule(Condiments, toml, question)) == [("crew.pot.main_ingredients", text)]
