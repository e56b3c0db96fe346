"""Avoid: what is excluded and why, and the share of servings that rests on an estimate."""

from __future__ import annotations

import pytest

from optimenu.rules.avoid import Avoid, prescription_faults
from tests.rules.hand import broken, faults, item, person, problem, reason, rule, said, tally
from tests.rules.tiny import measured

STEW, RICE, OATS = item("stew"), item("rice"), item("oats", "main side", tags=frozenset({"oaty"}))
SAUCE = item("sauce", "side")


def near(problem, tally, rng):
    found = measured(Avoid, "[avoid]\nestimated_share = 100\ntasted_courses = []", problem, tally)
    share = max(m.shown.value for m in found) * rng.randint(3, 10) / 10
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
        (
            "ana: servings not yet tasted: 33.33 % of servings; at most 10 % of servings",
            "raise avoid.estimated_share to 33.34 % of servings",
        )
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
