"""Avoid: what is excluded and why, and the share of servings that rests on an estimate."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimenu.catalogue.columns import DIETS
from optimenu.crew.fasts import Fast
from optimenu.problem.problem import Party
from optimenu.rules.avoid import Avoid, prescription_faults
from tests.rules.hand import FIRST, broken, faults, item, person, problem, reason, rule, said, tally
from tests.rules.tiny import measured

STEW, RICE, OATS = item("stew"), item("rice"), item("oats", "main side", tags=frozenset({"oaty"}))
SAUCE = item("sauce", "side")


def near(problem, tally, rng):
    crew = []
    for p, who in enumerate(problem.people):
        borne = {}
        if rng.random() < 0.5:
            # an allergy excludes already what an intolerance would count
            allergen = rng.choice([a for a in ("milk", "egg", "soy") if a not in who.prescription.allergies])
            worst = max(
                sum(e.count for e in tally.on(p, d.number) if e.item.allergen(allergen) != "free")
                for d in problem.days
            )
            borne = {allergen: max(worst, 1)}
        crew.append(replace(who, prescription=replace(who.prescription, intolerances=borne)))
    problem = replace(problem, people=tuple(crew))
    tally = replace(tally, problem=problem)
    found = measured(Avoid, "[avoid]\nestimated_share = 100\ntasted_courses = []", problem, tally)
    share = max(m.shown.value for m in found if m.shown) * rng.randint(3, 10) / 10
    course = rng.choice(("main", "side", "condiment"))
    toml = (
        f"[avoid]\nestimated_share = {share:.2f}\n"
        f'tasted_courses = []\ncondiment_courses = ["{course}"]\n'
        f'[avoid.people.ana]\nitems = ["i7"]\n'
    )
    return toml, problem


def test_a_share_of_estimated_servings_by_hand():
    # Dates: day 1 twice, day 2 once. Servings over the dates: day 1 two mains and a side, 3 x 2 = 6;
    # day 2 two mains, 2. The side is left out: 6 servings, of which stew on day 1, 2, is estimated.
    # 10 % of 6 is 0.6, so 1.4 too many; 2 of 6 is 33.33 %.
    question = problem((STEW, RICE, SAUCE), dates=3, liked={("ana", "stew"): "~6"})
    avoid = rule(Avoid, '[avoid]\ncondiment_courses = ["side"]', question)
    menu = tally(
        question,
        """
        ana 1 lunch main stew 1
        ana 1 lunch side sauce 1
        ana 1 dinner main rice 1
        ana 2 lunch main rice 1
        ana 2 dinner main rice 1
        """,
    )
    assert broken(avoid, menu) == [("avoid.estimated_share", "ana", -1, "1.4", "servings")]
    assert said(avoid, menu) == [
        "ana: servings not yet tasted: 33.33 % of servings; at most 10 % of servings"
    ]
    wider = rule(Avoid, '[avoid]\nestimated_share = 33.34\ncondiment_courses = ["side"]', question)
    assert broken(wider, menu) == []


def test_allowances_and_the_reserve_are_left_out_of_the_share():
    question = problem((STEW, RICE), days=1, reserve=1, liked={("ana", "stew"): "~6"})
    avoid = rule(Avoid, "[avoid]\nestimated_share = 0", question)
    menu = tally(question, "ana 1 lunch main rice 1\nana 1 stew 2?\nana r1 lunch main stew 1")
    assert broken(avoid, menu) == []


def reasons(script, food, toml="[avoid]", **more):
    question = problem((food,), people=(person("ana", **script),), **more)
    return reason(rule(Avoid, toml, question), question, food.id)


@pytest.mark.parametrize(
    ("state", "severity", "text"),
    [
        ("contains", "severe", "ana: contains: tree nuts"),
        ("may_contain", "severe", "ana: may contain: tree nuts"),
        ("unknown", "severe", "ana: unknown: tree nuts"),
        ("contains", "avoid", "ana: contains: tree nuts"),
        ("unknown", "avoid", "ana: unknown: tree nuts"),
        ("may_contain", "avoid", None),
        ("free", "severe", None),
        ("free", "avoid", None),
    ],
)
def test_an_allergy(state, severity, text):
    food = item("stew", allergens={"tree_nuts": state})
    assert reasons({"allergies": {"tree_nuts": severity}}, food) == text


def test_an_allergen_the_catalogue_is_silent_on_is_unsafe():
    assert reasons({"allergies": {"milk": "avoid"}}, item("stew", free=False)) == "ana: unknown: milk"


@pytest.mark.parametrize(("flag", "ok"), [("yes", True), ("no", False), ("unknown", False)])
def test_a_diet(flag, ok):
    text = None if ok else "ana: not known to suit the diet no pork"
    assert reasons({"diets": ("no_pork",)}, item("stew", diets={"no_pork": flag})) == text


def test_exclusions_by_prescription():
    assert reasons({"never_items": frozenset({"stew"})}, STEW) == "ana: excluded by prescription"
    assert reasons({"never_tags": frozenset({"oaty"})}, OATS) == "ana: excluded by prescription"


def test_dislikes():
    text = "ana: on the list of what this person would rather not have"
    assert reasons({}, OATS, '[avoid.people.ana]\ntags = ["oaty"]') == text
    assert reasons({}, OATS, '[avoid.people.ana]\nitems = ["oats"]') == text


def test_scores_under_the_floor():
    assert reasons({}, STEW, liked={("ana", "stew"): "4.99"}) == "ana: scored 4.99, under the floor of 5"
    assert reasons({}, STEW, liked={("ana", "stew"): "~4.99"}) == "ana: estimated 4.99, under the floor of 5"
    assert reasons({}, STEW, liked={("ana", "stew"): "5"}) is None


def test_what_nobody_can_judge():
    liked = {("ana", "stew"): None}
    text = "ana: not tasted, and too few others have tasted it for an estimate"
    assert reasons({}, STEW, liked=liked) == text
    question = problem((STEW,), liked=liked)
    assert reason(rule(Avoid, "[avoid]", question), question, "stew", meal=None) is None


def test_estimates_may_be_switched_off_and_never_fill_a_main():
    liked = {("ana", "oats"): "~7"}
    off = "[avoid]\nestimated = false"
    assert reasons({}, OATS, off, liked=liked) == "ana: not tasted by this person"
    text = "ana: not tasted by this person, and course main takes only tasted items"
    assert reasons({}, OATS, liked=liked) == text
    question = problem((OATS,), liked=liked)
    avoid = rule(Avoid, "[avoid]", question)
    assert reason(avoid, question, "oats", course=1) is None
    assert reason(rule(Avoid, off, question), question, "oats", meal=None) is None


def test_every_member_of_a_party_must_be_safe():
    people = (person("ana"), person("bo", never_items=frozenset({"stew"})))
    question = problem((STEW,), people=people)
    both = type(question.parties[0])("table", (0, 1))
    day = question.days[0]
    avoid = rule(Avoid, "[avoid]", question)
    assert (
        avoid.allow(both, day, day.meals[0], day.meals[0].courses[0], STEW) == "bo: excluded by prescription"
    )


def test_faults():
    question = problem((STEW, OATS))
    toml = """
    [avoid]
    tasted_courses = ["mian"]
    condiment_courses = ["sauce"]
    [avoid.people.ann]
    [avoid.people.ana]
    items = ["stw"]
    tags = ["oatty"]
    """
    assert faults(rule(Avoid, toml, question)) == [
        ("people", 'no person "ann". Did you mean "ana"?'),
        ("people.ana.items", 'no item "stw" in the catalogue. Did you mean "stew"?'),
        ("people.ana.tags", 'no tag "oatty" in the catalogue. Did you mean "oaty"?'),
        ("tasted_courses", 'no course "mian" in any meal. Did you mean "main"?'),
        ("condiment_courses", 'no course "sauce" in any meal.'),
    ]


def test_defaults_are_no_fault_where_no_such_course_exists():
    question = problem((STEW,), meals=())
    assert faults(rule(Avoid, "[avoid]", question)) == []


def test_faults_of_a_prescription():
    who = person("ana", allergies={"nuts": "severe", "milk": "severe"}, diets=("vegn",))
    assert [(".".join(f.keys), f.message) for f in prescription_faults(who)] == [
        ("people.ana.allergies.nuts", 'no allergen "nuts". Did you mean "peanuts"?'),
        ("people.ana.diets", 'no diet "vegn". Did you mean "vegan"?'),
    ]


DOSES = (
    item("cheese", "main side", allergens={"milk": "contains"}),
    item("bar", "main side", allergens={"milk": "may_contain"}),
    item("mix", "main side", allergens={}),
    item("rice", "main side", allergens={"milk": "free"}),
)


def test_an_intolerance_bears_so_many_servings_a_day():
    # day 1: cheese 1 + bar 2 + mix 1 = 4, two over; day 2: 2; the reserve: 3, one over. Rice counts nothing.
    who = person("ana", intolerances={"milk": 2})
    question = problem(DOSES, people=(who, person("bo")), reserve=1)
    avoid = rule(Avoid, "[avoid]", question)
    text = """
    ana 1 lunch main cheese 1
    ana 1 lunch side bar 2
    ana 1 dinner main mix 1
    ana 2 lunch main mix 1
    ana 2 lunch side rice 2
    ana 2 dinner main bar 1
    ana r1 lunch main cheese 1
    ana r1 lunch side mix 2
    bo 1 lunch main cheese 1
    bo 1 lunch side cheese 2
    """
    menu = tally(question, text)
    key = "prescriptions.people.ana.intolerances.milk.servings_a_day"
    assert broken(avoid, menu) == [(key, "ana", 0, "2", "servings"), (key, "ana", 2, "1", "servings")]
    assert {b.origin.who for b in avoid.breaches(menu)} == {"physician"}
    assert said(avoid, menu)[0] == "ana, day 1: what may contain milk: 4 servings; at most 2 servings"
    # each of the three may still be given at all
    assert [reason(avoid, question, f.id) for f in DOSES] == [None] * 4


def test_what_is_free_in_the_day_may_all_be_eaten():
    question = problem(DOSES, people=(person("ana", intolerances={"milk": 2}),), days=1)
    menu = tally(question, "ana 1 lunch main cheese 1\nana 1 mix 2?")
    assert [b.amount for b in rule(Avoid, "[avoid]", question).breaches(menu)] == [1]


def test_a_dish_shared_by_a_party_is_a_dose_for_each_member():
    people = (person("ana", intolerances={"milk": 1}), person("bo", intolerances={"milk": 2}))
    parties = (Party("ana", (0,)), Party("bo", (1,)), Party("table", (0, 1)))
    question = problem(DOSES, people=people, days=1, parties=parties)
    menu = tally(question, "table 1 lunch main cheese 1\nana 1 dinner main bar 1\nbo 1 dinner main bar 1")
    found = broken(rule(Avoid, "[avoid]", question), menu)
    assert [(person, amount) for _, person, _, amount, _ in found] == [("ana", "1")]


@pytest.mark.parametrize(
    ("script", "texture", "text"),
    [
        ({"only_textures": frozenset({"soft", "creamy"})}, "soft", None),
        (
            {"only_textures": frozenset({"soft"})},
            "crisp",
            "ana: texture crisp, excluded by prescription",
        ),
        ({"only_textures": frozenset({"soft"})}, None, "ana: texture not stated"),
        ({"never_textures": frozenset({"crisp"})}, "soft", None),
        ({"never_textures": frozenset({"crisp"})}, "crisp", "ana: texture crisp, excluded by prescription"),
        ({"never_textures": frozenset({"crisp"})}, None, "ana: texture not stated"),
        ({}, None, None),
    ],
)
def test_textures(script, texture, text):
    got = reasons(script, item("stew", texture=texture))
    assert got == text or (text and got.startswith(text))


@pytest.mark.parametrize("diet", ["no_alcohol", "no_gelatine"])
def test_alcohol_and_gelatine_that_nobody_has_ruled_out_are_refused(diet):
    assert diet in DIETS
    for food in (item("stew"), item("stew", diets={diet: "unknown"}), item("stew", diets={diet: "no"})):
        text = f"ana: not known to suit the diet {diet.replace('_', ' ')}"
        assert reasons({"diets": (diet,)}, food) == text
    assert reasons({"diets": (diet,)}, item("stew", diets={diet: "yes"})) is None


def test_grapefruit_by_tag_or_item():
    fruit = item("pomelo_cup", tags=frozenset({"grapefruit_like"}))
    for script in (
        {"never_tags": frozenset({"grapefruit_like"})},
        {"never_items": frozenset({"pomelo_cup"})},
    ):
        assert reasons(script, fruit) == "ana: excluded by prescription"


def test_nothing_is_free_on_a_date_with_fasting_hours():
    fast = Fast("f", frozenset({FIRST}), (300, 1020))
    question = problem((item("stew"),), people=(person("ana", fasts=(fast,)),), days=2)
    avoid = rule(Avoid, "", question)
    free = "ana: free in the day, and could be eaten in the hours of a fast"
    assert reason(avoid, question, "stew", meal=None) == free
    assert reason(avoid, question, "stew", meal=None, day=1) is None
    assert reason(avoid, question, "stew") is None
