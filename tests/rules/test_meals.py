"""Meals: the pattern of courses, and each meal's share of the day's energy."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from optimenu.program.build import build
from optimenu.rules.meals import Meals
from tests.rules.hand import broken, faults, item, problem, rule, said, settings, tally
from tests.rules.tiny import Allow, measured

PORRIDGE = item("porridge", ENERC_KCAL_kcal="300")
PIE = item("pie", ENERC_KCAL_kcal="700")
NUT = item("nut", "side", ENERC_KCAL_kcal="250")
COURSES = """
[meals.lunch]
at = "12:00"
courses = { main = {}, side = { least = 0, most = 2, weight = 0, same = 2 } }
[meals.dinner]
at = "19:00"
courses = { main = { weight = 2 } }
"""


def near(problem, tally, rng):
    text = (
        "[meals.early]\nat = '08:00'\ncourses = {{}}\nenergy_share = {{ low = {}, high = {}{} }}\n"
        "[meals.late]\nat = '19:00'\ncourses = {{}}\nenergy_share = {{ high = {}, price = 0.001 }}"
    )
    price = ", price = 0.01" if rng.random() < 0.3 else ""
    found = measured(Meals, text.format(0, 100, price, 100), problem, tally)

    def worst(key, pick):
        # no day may be whole, and then there is no share
        return pick((m.shown.value for m in found if m.origin.key == f"meals.{key}"), default=Decimal(50))

    low = max(worst("early.energy_share.low", min) - rng.randint(2, 20), 0)
    high = min(worst("early.energy_share.high", max) + rng.randint(2, 20), 100)
    late = min(worst("late.energy_share.high", max) + rng.randint(2, 20), 100)
    return text.format(f"{low:.1f}", f"{high:.1f}", price, f"{late:.1f}"), problem


def test_the_pattern():
    question = problem((PORRIDGE, PIE, NUT), days=1, reserve=1)
    pattern = rule(Meals, COURSES, question)
    menu = tally(
        question,
        """
        ana 1 lunch main porridge 1
        ana 1 lunch main pie 1
        ana 1 lunch side nut 2
        ana r1 lunch main pie 1
        ana r1 dinner main pie 1
        """,
    )
    # lunch has two mains for one, dinner none for one; the reserve is in order
    assert broken(pattern, menu) == [
        ("meals.lunch.courses.main", "ana", 0, "1", "servings"),
        ("meals.dinner.courses.main", "ana", 0, "1", "servings"),
    ]
    assert said(pattern, menu) == [
        "ana, day 1, lunch: main: 2 servings; at least 1 and at most 1 serving",
        "ana, day 1, dinner: main: 0 servings; at least 1 and at most 1 serving",
    ]


def test_the_reserve_and_day_kinds_name_their_own_tables():
    question = problem((PIE,), days=2, kinds={2: "rest"}, reserve=1)
    toml = COURSES.replace("[meals.dinner]", "on = { rest = { main = {} } }\n[meals.dinner]")
    keys = {b[:3] for b in broken(rule(Meals, toml, question), tally(question, ""))}
    assert keys == {
        ("meals.lunch.courses.main", "ana", 0),
        ("meals.dinner.courses.main", "ana", 0),
        ("meals.lunch.on.rest.main", "ana", 1),
        ("meals.dinner.courses.main", "ana", 1),
        ("reserve.meals.lunch.courses.main", "ana", 2),
        ("reserve.meals.dinner.courses.main", "ana", 2),
    }


def test_a_share_of_energy():
    # lunch 300, dinner 700: 1000 in the day; lunch should carry 40 %: 400, 100 kcal short
    question = problem((PORRIDGE, PIE), days=1)
    shares = rule(
        Meals, COURSES.replace('at = "12:00"', 'at = "12:00"\nenergy_share = { low = 40 }'), question
    )
    menu = tally(question, "ana 1 lunch main porridge 1\nana 1 dinner main pie 1")
    assert broken(shares, menu) == [("meals.lunch.energy_share.low", "ana", 0, "100", "kcal")]
    assert said(shares, menu) == [
        "ana, day 1: lunch: 30 % of the day's energy; at least 40 % of the day's energy"
    ]


class Free:
    """A writer of one serving of nut a day, eaten or not."""

    by_date = False

    def allow(self, party, day, meal, course, item):
        return None

    def allowances(self):
        return [Allow(0, "nut", 1)]

    def write(self, page):
        pass


def test_what_is_free_in_the_day_counts_at_its_worse_end():
    # 300 of 1000 is 30 %; with the free nut (250) 300 of 1250 is 24 %. A floor of 25 % breaks with all of
    # it eaten: 0.25 x 1250 - 300 = 12.5. A ceiling of 28 % with none: 300 - 0.28 x 1000 = 20.
    question = problem((PORRIDGE, PIE, NUT), days=1)
    both = 'at = "12:00"\nenergy_share = { low = 25, high = 28 }'
    shares = rule(Meals, COURSES.replace('at = "12:00"', both), question)
    menu = tally(question, "ana 1 lunch main porridge 1\nana 1 dinner main pie 1\nana 1 nut 1?")
    assert broken(shares, menu) == [
        ("meals.lunch.energy_share.low", "ana", 0, "12.5", "kcal"),
        ("meals.lunch.energy_share.high", "ana", 0, "20", "kcal"),
    ]
    assert [m.shown.value for m in shares.measures(menu) if m.amount] == [24, 30]
    program = build(question, (shares, Free()))
    counts = program.low[: program.n_menu].copy()
    for c in range(program.n_menu):
        name = ("porridge", "pie", "nut")[program.item[c]]
        counts[c] |= program.certain[c] and (int(program.meal[c]), name) in ((0, "porridge"), (1, "pie"))
    x = program.complete(counts)
    rows = [
        (program.origins[r].key, Decimal(int(program.excess(x)[r])).scaleb(-int(program.row_decimals[r])))
        for r in program.broken(x)
    ]
    assert rows == [
        ("meals.lunch.energy_share.low", Decimal("12.5")),
        ("meals.lunch.energy_share.high", Decimal(20)),
    ]


def test_an_unknown_energy_counts_as_nothing():
    question = problem((replace(PIE, amounts={"ENERC_KCAL_kcal": None}), PORRIDGE), days=1)
    shares = rule(
        Meals, COURSES.replace('at = "12:00"', 'at = "12:00"\nenergy_share = { low = 40 }'), question
    )
    menu = tally(question, "ana 1 lunch main pie 1\nana 1 dinner main porridge 1")
    assert broken(shares, menu) == [("meals.lunch.energy_share.low", "ana", 0, "120", "kcal")]


def test_a_share_needs_the_energy_column_and_a_pattern_does_not():
    question = problem((PIE,))
    plain, shared = COURSES, COURSES.replace('at = "12:00"', 'at = "12:00"\nenergy_share = { low = 40 }')
    assert list(rule(Meals, plain, question).needs()) == []
    assert list(rule(Meals, shared, question).needs()) == [("ENERC_KCAL_kcal", ("lunch", "energy_share"))]


def test_meals_come_in_order_of_the_clock_and_a_day_kind_replaces_courses():
    toml = COURSES.replace("19:00", "06:30").replace(
        "[meals.dinner]", "on = { rest = { side = { least = 0, most = 0 }, soup = {} } }\n[meals.dinner]"
    )
    meals = settings(Meals, toml)
    assert [(m.name, m.at) for m in meals.on("work")] == [("dinner", 390), ("lunch", 720)]
    assert [[c.name for c in m.courses] for m in meals.on("rest")] == [["main"], ["main", "soup"]]
    assert meals.on("rest")[1].courses[1].takes == ("soup",)
    assert meals.on("work")[0].courses[0].weight == Decimal(2)


def test_faults():
    toml = """
    [meals.lunch]
    at = "12:00"
    [meals.lunch.courses]
    main = { least = 2, most = 1 }
    side = { least = 0, most = 1 }
    soup = { same = 2 }
    [meals.lunch.on.rest]
    main = { least = 3, most = 2 }
    """
    assert faults(rule(Meals, toml, problem((PIE,)))) == [
        ("lunch.courses.main.least", "least 2 is over most 1"),
        (
            "lunch.courses.side.weight",
            "a scored course needs least = most; set weight = 0 for an optional course",
        ),
        ("lunch.courses.soup.same", "same 2 is over most 1"),
        ("lunch.on.rest.main.least", "least 3 is over most 2"),
    ]


def test_faults_of_a_share_of_energy():
    def told(share):
        toml = f"[meals.lunch]\nat = '12:00'\ncourses = {{}}\nenergy_share = {share}"
        return faults(rule(Meals, toml, problem((PIE,))))

    assert told("{ low = 40, high = 39.5 }") == [("lunch.energy_share.low", "low 40 is over high 39.5")]
    assert told("{ price = 1 }") == [("lunch.energy_share", "set low or high")]
    assert told("{ low = 40, high = 40 }") == told("{ low = 40 }") == told("{ high = 0 }") == []


def test_a_soft_share_of_many_decimals_is_counted_to_six():
    # 33.33333 % of 0.125 kcal is 0.0416666625: 0.125 less that is 0.0833333375, rounded to 0.083333
    question = problem((item("crumb", ENERC_KCAL_kcal="0.125"),), days=1)
    toml = COURSES.replace('at = "12:00"', 'at = "12:00"\nenergy_share = { high = 33.33333, price = 1 }')
    soft = rule(Meals, toml, question)
    menu = tally(question, "ana 1 lunch main crumb 1")
    assert ("meals.lunch.energy_share.high", "ana", 0, "0.083333", "kcal") in broken(soft, menu)
    program = build(question, (soft,))
    assert [int(program.excess(program.complete(counts))[-1]) for counts in program.high[None, :]] == [41666]
