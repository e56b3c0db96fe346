"""Dated days, watches, parties, fasts and shared packs: what they become, and every fault with its line."""

from __future__ import annotations

from datetime import date

import pytest

from optimenu.config.case import load_case
from optimenu.config.open_points import open_points
from optimenu.menu.menu import day_numbers
from optimenu.views.open_points import open_page
from tests.config.test_case import CONFIG, ITEMS, changed, line_of, told, write

TWO = (
    CONFIG.replace(
        "floor = 5.5\nenergy = { kcal = 500 }\nenergy_on = { rest = { kcal = 450 } }\n", "floor = 5.5\n"
    )
    .replace("floor = 5.5\n", "floor = 5.5\nenergy = { kcal = 1000 }\n")
    .replace(
        "[meals.lunch]\n",
        '[people.bo]\nname = "Bo"\nsex = "male"\nage = 30\nmass_kg = 80\nheight_m = 1.8\n'
        "energy = { kcal = 1200 }\n[meals.lunch]\n",
    )
    + '[meals.dinner]\nat = "18:00"\ncourses = { main = {} }\n'
)
FOOD = ITEMS.replace(",lunch,", ",lunch;dinner,")
SCORES = "person,item,kind,date,score,remark\n" + "".join(
    f"{p},{i},serving,2030-12-01,7,\n" for p in ("ana", "bo") for i in ("stew", "rice")
)
FAST = """
[people.bo]
by = "physician"
date = 2030-12-24
[people.bo.fasts.one]
dates = [2031-01-02]
from = "05:00"
to = "17:00"
"""


def project(tmp_path, more="", scripts="", config=TWO):
    return write(
        tmp_path,
        config + more,
        items_csv=FOOD,
        tasting_csv=SCORES,
        prescriptions_toml='[people.ana]\nby = "physician"\ndate = 2030-12-24\n' + scripts,
    )


def problem(tmp_path, more="", scripts=""):
    return load_case(project(tmp_path, more, scripts)).problem


def test_a_feast_and_an_arrival_are_planned_by_themselves(tmp_path):
    question = problem(
        tmp_path,
        '[dates.arrival]\non = [2031-01-01]\nmeals = ["dinner"]\nshare = 0.4\n'
        '[dates.winter_feast]\non = [2031-01-04, 2031-01-03]\nkind = "feast"\n',
    )
    # five dates, cycle of two: 1 3 5 are day 1, 2 4 day 2; 1 and 3 go, and 4 goes
    assert [(d.label, d.block, d.kind, d.weight, d.share) for d in question.days] == [
        ("day 1", "cycle", "work", 1, 1),
        ("day 2", "cycle", "rest", 1, 1),
        ("arrival", "dated", "work", 1, question.days[2].share),
        ("winter feast", "dated", "feast", 2, 1),
    ]
    assert str(question.days[2].share) == "0.4"
    assert [m.name for m in question.days[2].meals] == ["dinner"]
    assert question.sequence == (2, 1, 3, 3, 0)
    assert question.kinds == ("work", "rest", "feast")


def test_a_watch_gives_its_people_their_hours(tmp_path):
    question = problem(
        tmp_path,
        '[watches.port]\npeople = ["bo"]\nsleep = [["20:00", "03:00"]]\non_watch = [["12:00", "17:30"]]\n'
        'meals = { lunch = "11:15" }\n',
    )
    day = question.days[0]
    lunch, dinner = day.meals
    assert (question.time_of(0, lunch), question.time_of(1, lunch)) == (720, 675)
    assert question.sittings(day, lunch) == ((675, (1,)), (720, (0,)))
    assert question.sittings(day, dinner) == ((1080, (0, 1)),)
    assert question.sleep == {1: ((1200, 180),)}


def test_a_fasting_date_stands_apart_and_its_hours_hold_no_meal(tmp_path):
    question = problem(tmp_path, scripts=FAST)
    assert [(d.label, d.dates) for d in question.cycle if d.block == "dated"] == [
        ("2 Jan", (date(2031, 1, 2),))
    ]
    lunch, dinner = question.days[2].meals
    assert question.away == {(1, 2, "lunch")}
    assert [question.attends(1, question.days[2], m) for m in (lunch, dinner)] == [False, True]


def test_a_shared_dish_goes_to_those_at_table(tmp_path):
    shared = changed(
        '[meals.lunch]\nat = "12:00"\ncourses = { main = {} }',
        '[meals.lunch]\nat = "12:00"\ncourses = { main = { shared_by = ["pot"] } }',
        TWO,
    )
    path = project(tmp_path, '[parties.pot]\nmembers = ["ana", "bo"]\n', FAST, shared)
    question = load_case(path).problem
    assert [(p.id, p.members) for p in question.parties] == [("ana", (0,)), ("bo", (1,)), ("pot", (0, 1))]
    seen = {
        (p.id, day.label)
        for p in question.parties
        for day, _, meal, _, _ in question.places(p)
        if meal.name == "lunch"
    }
    # on the fasting date Ana is left alone at lunch, and has a dish of her own
    assert seen == {("pot", "day 1"), ("pot", "day 2"), ("ana", "2 Jan")}


def test_who_is_severely_allergic_has_packs_apart(tmp_path):
    more = '[packs.shared.all]\nitems = ["stew"]\n'
    assert problem(tmp_path, more).shared_packs == {"stew": ((0, 1),)}
    assert problem(tmp_path, more, '[people.ana.allergies]\nmilk = "severe"\n').shared_packs == {}


@pytest.mark.parametrize(
    ("more", "start", "message"),
    [
        (
            "[dates.x]\non = [2031-02-01]\n",
            "on =",
            "[dates.x] on: 2031-02-01 is not a date of the stay, 2031-01-01 to 2031-01-05",
        ),
        (
            "[dates.x]\non = [2031-01-01, 2031-01-02]\n",
            "[dates.x]",
            "[dates.x] kind: these dates are of the kinds rest, work; set kind",
        ),
        (
            '[dates.x]\non = [2031-01-01]\nkind = "wrok"\n',
            "kind =",
            '[dates.x] kind: no day kind "wrok" in [stay]. Did you mean "work"? '
            "A kind of its own needs a name less alike",
        ),
        (
            "[dates.x]\non = [2031-01-01]\n[dates.y]\non = [2031-01-01]\n",
            "on =",
            "[dates.y] on: 2031-01-01 is a date of x already",
        ),
        (
            '[dates.x]\non = [2031-01-01]\nmeals = ["lunhc"]\n',
            "meals =",
            '[dates.x] meals: no meal "lunhc". Did you mean "lunch"?',
        ),
        ("[dates.x]\non = []\n", "on =", "[dates.x] on: needs at least 1 entries, found an empty array"),
        (
            "[dates.x]\non = [2031-01-01]\nshare = 1.5\n",
            "share =",
            "[dates.x] share: needs a number, above 0 and 1 or less, found 1.5",
        ),
        (
            '[parties.pot]\nmembers = ["ana", "boo"]\n',
            "members =",
            '[parties.pot] members: no person "boo". Did you mean "bo"?',
        ),
        (
            '[parties.pot]\nmembers = ["ana", "ana"]\n',
            "members =",
            "[parties.pot] members: names somebody twice",
        ),
        (
            '[parties.ana]\nmembers = ["ana", "bo"]\n',
            "[parties.ana]",
            "[parties] ana: is the id of a person too; give the party another name",
        ),
        (
            '[watches.w]\npeople = ["bo"]\nmeals = { tea = "11:00" }\n',
            "meals =",
            '[watches.w] meals: no meal "tea".',
        ),
        (
            '[watches.w]\npeople = ["ana", "bob"]\n',
            "people =",
            '[watches.w] people: no person "bob". Did you mean "bo"?',
        ),
        (
            '[watches.w]\npeople = ["bo"]\n[watches.v]\npeople = ["bo"]\n',
            "people =",
            "[watches.v] people: bo keeps watch w already",
        ),
        (
            '[watches.w]\npeople = ["bo"]\nsleep = [["11:30", "13:00"]]\n',
            "[watches.w]",
            "[watches.w.meals] lunch: lunch at 12:00 finds these people asleep; set another time",
        ),
        (
            '[watches.w]\npeople = ["bo"]\non_watch = [["17:00", "01:00"]]\n',
            "[watches.w]",
            "[watches.w.meals] dinner: dinner at 18:00 finds these people on watch; set another time",
        ),
        (
            '[packs.shared.a]\nitems = ["stew"]\n[packs.shared.b]\nitems = ["stew"]\n',
            "[packs.shared.b]",
            "[packs.shared] b: ana, bo share packs of stew in another group already",
        ),
        (
            '[packs.shared.a]\nitems = ["stwe"]\n',
            "items =",
            '[packs.shared.a] items: no item "stwe" in the catalogue. Did you mean "stew"?',
        ),
        (
            '[packs.shared.a]\nitems = ["stew"]\npeople = ["bob"]\n',
            "people =",
            '[packs.shared.a] people: no person "bob". Did you mean "bo"?',
        ),
        (
            '[avoid.on.feast]\nonly = { items = ["stew"] }\n',
            "[avoid.on.feast]",
            '[avoid.on] feast: no day kind "feast". Did you mean "rest"?',
        ),
        ("[avoid.on.rest]\n", "[avoid.on.rest]", "[avoid.on] rest: set only or never"),
        (
            '[avoid.on.rest]\nnever = { items = ["stew"] }\nmeals = ["tea"]\n',
            "meals = [",
            '[avoid.on.rest] meals: no meal "tea".',
        ),
    ],
)
def test_a_fault_of_days_and_tables(tmp_path, more, start, message):
    path = project(tmp_path, more)
    text = path.read_text()
    at = text[: text.rindex(f"\n{start}") + 1].count("\n") + 1
    assert f"plan.toml:{at} {message}" in told(path)


@pytest.mark.parametrize(
    ("course", "more", "message"),
    [
        ('["pto"]', "", 'no party "pto". Did you mean "pot"?'),
        (
            '["pot", "all"]',
            '[parties.all]\nmembers = ["bo", "ana"]\n',
            "ana is in pot and in all; a dish is shared in one party only",
        ),
        (
            '["pot"]',
            '[watches.w]\npeople = ["bo"]\nmeals = { lunch = "11:00" }\n',
            "pot does not eat lunch at one time; see [watches]",
        ),
    ],
)
def test_a_fault_of_a_shared_course(tmp_path, course, more, message):
    old = '[meals.lunch]\nat = "12:00"\ncourses = { main = {} }'
    config = changed(old, old.replace("{} }", f"{{ shared_by = {course} }} }}"), TWO)
    path = project(tmp_path, '[parties.pot]\nmembers = ["ana", "bo"]\n' + more, config=config)
    at = line_of(path.read_text(), "courses = { main = { shared_by")
    assert f"plan.toml:{at} [meals.lunch.courses.main] shared_by: {message}" in told(path)


def test_common_meals_are_counted(tmp_path):
    config = TWO.replace("cycle_days = 2", "cycle_days = 2\ncommon_meals = 2")
    more = '[watches.w]\npeople = ["bo"]\nmeals = { lunch = "11:00" }\n'
    found = told(project(tmp_path, more, config=config))
    text = "everybody eats 1 meal at one time; let watches meet at more"
    assert found == [f"plan.toml:14 [stay] common_meals: on {k} days {text}" for k in ("rest", "work")]
    assert load_case(project(tmp_path, more.replace("11:00", "12:00"), config=config))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'to = "17:00"\n',
            "",
            "prescriptions.toml:8 [people.bo.fasts] one: from and to go together; set both or neither",
        ),
        (
            'to = "17:00"',
            'to = "05:00"',
            "prescriptions.toml:11 [people.bo.fasts.one] to: a fast of a whole day "
            "leaves no meal; ask the physician",
        ),
        (
            'from = "05:00"\nto = "17:00"\n',
            "",
            "prescriptions.toml:8 [people.bo.fasts] one: set from and to, or "
            "diets, never_items or never_tags",
        ),
        (
            'to = "17:00"',
            'to = "23:00"',
            "plan.toml:7 [prescriptions] file: the fast one of bo leaves no meal on "
            "2031-01-02; move one out of its hours",
        ),
        (
            'to = "17:00"',
            'to = "17:00"\ndiets = ["vegn"]',
            'prescriptions.toml:12 [people.bo.fasts.one] diets: no diet "vegn". Did you mean "vegan"?',
        ),
        (
            'to = "17:00"',
            'to = "17:00"\nnever_items = ["stwe"]',
            'prescriptions.toml:12 [people.bo.fasts.one] never_items: no item "stwe" in the catalogue. '
            'Did you mean "stew"?',
        ),
        (
            'to = "17:00"',
            'to = "17:00"\nnever_tags = ["meat"]',
            'prescriptions.toml:12 [people.bo.fasts.one] never_tags: no tag "meat" in the catalogue.',
        ),
    ],
)
def test_a_fault_of_a_fast(tmp_path, old, new, message):
    assert message in told(project(tmp_path, scripts=changed(old, new, FAST)))


def test_a_fast_inside_a_span_of_dates_must_stand_alone(tmp_path):
    path = project(tmp_path, "[dates.x]\non = [2031-01-02, 2031-01-04]\n", FAST)
    at = line_of(path.read_text(), "on = [2031-01-02, 2031")
    assert told(path) == [
        f"plan.toml:{at} [dates.x] on: somebody keeps a fast on 2031-01-02; name that date by itself"
    ]


def test_an_unknown_setting_of_a_person_is_a_fault_and_not_a_crash(tmp_path):
    config = changed('name = "Bo"', 'name = "Bo"\nheigth_m = 1.8', TWO)
    path = project(tmp_path, config=config)
    at = line_of(path.read_text(), "heigth_m")
    assert f'plan.toml:{at} [people.bo] no setting "heigth_m". Did you mean "height_m"?' in told(path)


def test_two_fasts_a_cycle_apart_are_two_days_of_their_own(tmp_path):
    # 1 and 3 January are both days 1 of the cycle of two
    scripts = FAST.replace("[2031-01-02]", "[2031-01-01, 2031-01-03]")
    question = problem(tmp_path, scripts=scripts)
    numbers = day_numbers(question)
    assert len(numbers) == len(question.days)
    assert [d.label for d in question.days if d.block == "dated"] == ["1 Jan", "3 Jan"]
    assert numbers["dated", 1] != numbers["dated", 2]


def test_a_fast_over_midnight_is_laid_down_as_two(tmp_path):
    scripts = FAST.replace('from = "05:00"', 'from = "19:00"').replace('to = "17:00"', 'to = "08:00"')
    assert told(project(tmp_path, scripts=scripts)) == [
        "prescriptions.toml:11 [people.bo.fasts.one] to: runs over midnight; lay down the evening and the "
        "next date's morning as two fasts"
    ]


def test_own_hours_of_sleep_hold_no_meal(tmp_path):
    config = changed('name = "Bo"', 'name = "Bo"\nsleep = [["17:00", "01:00"]]', TWO)
    path = project(tmp_path, config=config)
    at = line_of(path.read_text(), "sleep =")
    assert told(path) == [
        f"plan.toml:{at} [people.bo] sleep: dinner at 18:00 finds bo asleep; set other hours"
    ]


def test_a_kind_left_without_a_day_may_still_be_named(tmp_path):
    # the rest days, 2 and 4 January, are both planned by themselves
    more = '[dates.feast]\non = [2031-01-02, 2031-01-04]\nkind = "feast"\n[avoid.on.rest]\n'
    question = problem(tmp_path, more + 'never = { items = ["rice"] }\n')
    assert question.kinds == ("work", "feast")
    assert "rest" in question.every_kind
    # the cycle has a hole where its second day was
    assert question.ring == (0, None)


def test_a_fast_outside_the_stay_is_an_open_point(tmp_path):
    case = load_case(project(tmp_path, scripts=FAST.replace("2031-01-02", "2013-01-02")))
    (point,) = (p for p in open_points(case) if p.kind == "fast_outside")
    assert point.facts == [{"person": "bo", "date": date(2013, 1, 2)}]


def test_a_fast_that_takes_meals_and_leaves_the_energy_is_an_open_point(tmp_path):
    case = load_case(project(tmp_path, scripts=FAST))
    (point,) = (p for p in open_points(case) if p.kind == "fast_energy")
    assert (point.about, point.facts[0]["missed"], point.facts[0]["meals"]) == ("bo", 1, 2)
    page = "\n".join(str(getattr(r, "renderable", r)) for r in open_page(case, [point]))
    assert "2 Jan, without 1 of 2 meals, 1200 kcal" in page
