"""Nutrients: windows, worse ends, unknown amounts, proportions, references and prescriptions."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from optimenu.nutrition.intakes import reference_intakes
from optimenu.program.build import build
from optimenu.program.program import HARD, ORDINARY
from optimenu.rules.nutrient_settings import lines, not_assessed
from optimenu.rules.nutrients import Nutrients
from tests.rules.hand import broken, faults, item, person, problem, reason, rule, said, tally
from tests.rules.tiny import measured

D = Decimal
WIDE = "[nutrients.energy]\nday_within = 100\nstay_within = 100\n[nutrients.reference]\nuse = false\n"
"""Energy from nothing to twice the requirement, no published intakes: only what a test adds."""


def near(problem, tally, rng):
    energies = {
        p: [
            sum(e.count * e.item.amounts["ENERC_KCAL_kcal"] for e in tally.on(p, d.number))
            for d in problem.cycle
        ]
        for p in range(len(problem.people))
    }
    crew = []
    for p, who in enumerate(problem.people):
        mean = D(round(sum(energies[p]) / len(energies[p]))) or D(1)
        limits = {
            "FAT_g": {"meal": (None, D(rng.randint(150, 420))), "day": (D(0), D(rng.randint(300, 700)))}
        }
        script = replace(who.prescription, limits=limits) if rng.random() < 0.4 else who.prescription
        crew.append(replace(who, kcal={"": mean, "rest": mean + 50}, prescription=script))
    problem = replace(problem, people=tuple(crew))
    tally = replace(tally, problem=problem)

    head = "[nutrients.reference]\nuse = false\n[nutrients.energy]\nday_within = {}\nstay_within = {}\n"
    found = measured(Nutrients, head.format(0, 0), problem, tally)
    off = {"day_within": D(1), "stay_within": D(1)}
    for m in found:
        key = m.origin.key.removeprefix("nutrients.energy.")
        if key in off:
            off[key] = max(off[key], m.amount / m.low * 100 if m.low else m.amount / m.high * 100)
    toml = head.format(*(f"{min(v + rng.randint(1, 25), D(100)):.1f}" for v in off.values()))

    def worst(text, key, pick):
        return pick(
            m.shown.value for m in measured(Nutrients, WIDE + text, problem, tally) if m.origin.key == key
        )

    jobs = []
    windows = ("meal", "day", "three_days", "seven_days", "stay")
    for column, window in (
        ("NA_mg", rng.choice(windows)),
        ("WATER_g", rng.choice(windows[1:])),
        ("CA_mg", "stay"),
    ):
        for side in rng.sample(("low", "high"), 1):
            jobs.append(
                (f"[nutrients.limits.{column}.{window}]", f"nutrients.limits.{column}.{window}", side)
            )
    jobs.append(
        (
            "[nutrients.shares.PROCNT_g]\nkcal_per_g = 4",
            "nutrients.shares.PROCNT_g",
            rng.choice(("low", "high")),
        )
    )
    jobs.append(
        ("[nutrients.per_1000_kcal.NA_mg]", "nutrients.per_1000_kcal.NA_mg", rng.choice(("low", "high")))
    )
    jobs.append(
        (
            "[nutrients.ratios.r]\ntop = 'CA_mg'\nbottom = 'P_mg'",
            "nutrients.ratios.r",
            rng.choice(("low", "high")),
        )
    )
    for place, key, side in rng.sample(jobs, 3):
        text = place
        if "window" not in text and not place.startswith("[nutrients.limits"):
            text += f"\nwindow = '{rng.choice(windows)}'"
        if place.startswith("[nutrients.limits") and rng.random() < 0.3:
            text += "\nledger = 'food'"
        if rng.random() < 0.3:
            text += "\nprice = 0.001"
        share = key.startswith("nutrients.shares")
        top = 100 if share else 1_000_000
        value = worst(
            f"{text}\n{side} = {0 if side == 'high' else top}", f"{key}.{side}", min if side == "low" else max
        )
        times = D(rng.randint(80, 99) if side == "low" else rng.randint(101, 120)) / 100
        value = value * times
        toml += f"{text}\n{side} = {max(min(value, D(top)), D(0)):.3f}\n"
    return toml, problem


A = item("a", ENERC_KCAL_kcal="400", NA_mg="300", CA_mg="100", P_mg="200", FAT_g="10")
B = item("b", ENERC_KCAL_kcal="600", NA_mg="500.5", CA_mg="50", P_mg="50", FAT_g="40")
X = item("x", "main side", ENERC_KCAL_kcal="100", NA_mg="unknown", CA_mg="unknown", P_mg="unknown", FAT_g="5")
U = item("u", "main side", upper={"NA_mg": "250"}, NA_mg="unknown", CA_mg="0", P_mg="0", FAT_g="0")
ALL = (A, B, X, U)
TWO_DAYS = """
ana 1 lunch main a 1
ana 1 dinner main b 1
ana 2 lunch main a 1
ana 2 dinner main a 1
"""


def test_energy_by_hand():
    # Requirement 1000 a day. Day 1 has 400 + 600 = 1000, day 2 has 800: 100 under the 10 % that may miss.
    # Over three dates (day 1 twice): 2800 of 3000; 3 % may miss: 2910, 110 short.
    question = problem(ALL, people=(person("ana", "1000"),), dates=3)
    energy = rule(Nutrients, "[nutrients.reference]\nuse = false", question)
    menu = tally(question, TWO_DAYS)
    assert broken(energy, menu) == [
        ("nutrients.energy.day_within", "ana", 1, "100", "kcal"),
        ("nutrients.energy.stay_within", "ana", -1, "110", "kcal"),
    ]
    assert said(energy, menu) == [
        ("ana, day 2: Energy: 800 kcal; at least 900 kcal", "raise nutrients.energy.day_within to 20 %"),
        (
            "ana, the stay: Energy: 933.33 kcal; at least 970 kcal",
            "raise nutrients.energy.stay_within to 6.667 %",
        ),
    ]


def test_energy_has_its_own_requirement_on_a_day_kind():
    who = replace(person("ana", "1000"), kcal={"": D(1000), "rest": D(800)})
    question = problem(ALL, people=(who,), kinds={2: "rest"})
    energy = rule(Nutrients, "[nutrients.reference]\nuse = false", question)
    assert broken(energy, tally(question, TWO_DAYS)) == []


def test_limits_of_a_day_a_meal_and_the_stay():
    # sodium day 1: 300 + 500.5 = 800.5, day 2: 600; dinner of day 1 500.5
    # the stay of 3 dates: 2 x 800.5 + 600 = 2201, a mean of 733.67; limit 700 x 3 = 2100: 101 over
    question = problem(ALL, dates=3)
    toml = "[nutrients.limits.NA_mg]\nday = { high = 800 }\nmeal = { high = 500 }\nstay = { high = 700 }"
    menu = tally(question, TWO_DAYS)
    sodium = rule(Nutrients, WIDE + toml, question)
    assert broken(sodium, menu) == [
        ("nutrients.limits.NA_mg.day.high", "ana", 0, "0.5", "mg"),
        ("nutrients.limits.NA_mg.meal.high", "ana", 0, "0.5", "mg"),
        ("nutrients.limits.NA_mg.stay.high", "ana", -1, "101", "mg"),
    ]
    assert said(sodium, menu)[1:] == [
        (
            "ana, day 1, dinner: Sodium: 500.5 mg; at most 500 mg",
            "raise nutrients.limits.NA_mg.meal.high to 500.5 mg",
        ),
        (
            "ana, the stay: Sodium: 733.67 mg; at most 700 mg",
            "raise nutrients.limits.NA_mg.stay.high to 733.7 mg",
        ),
    ]


def test_three_dates_in_a_row_over_every_run():
    # Cycle of two days on five dates: 0 1 0 1 0. Runs of three: twice day 1 (2 x 800.5 + 600 = 2201) or twice
    # day 2 (800.5 + 1200 = 2000.5). Limit 700 x 3 = 2100: only the first breaks, by 101.
    question = problem(ALL, dates=5)
    toml = "[nutrients.limits.NA_mg.three_days]\nhigh = 700"
    window = rule(Nutrients, WIDE + toml, question)
    menu = tally(question, TWO_DAYS)
    found = {m.origin.run: m.amount for m in window.measures(menu) if m.origin.run}
    assert found == {(0, 0, 1): 101, (0, 1, 1): 0}
    assert said(window, menu) == [
        (
            "ana, 2 days, 1, 2: Sodium: 733.67 mg; at most 700 mg",
            "raise nutrients.limits.NA_mg.three_days.high to 733.7 mg",
        )
    ]


def test_unknown_amounts():
    # floor: the known part only (a 300, x nothing, u nothing); ceiling: u at its upper estimate of 250
    question = problem(ALL, days=1)
    menu = tally(question, "ana 1 lunch main a 1\nana 1 lunch side x 1\nana 1 lunch side u 1")
    limits = rule(Nutrients, WIDE + "[nutrients.limits.NA_mg.day]\nlow = 301\nhigh = 549", question)
    assert broken(limits, menu) == [
        ("nutrients.limits.NA_mg.day.low", "ana", 0, "1", "mg"),
        ("nutrients.limits.NA_mg.day.high", "ana", 0, "1", "mg"),
    ]
    low, high = (m for m in limits.measures(menu) if m.origin.key.startswith("nutrients.limits"))
    # x has no estimate, so the ceiling is not proved; each serving weighs 100 g, one third is known
    assert (low.proved, high.proved) == (True, False)
    assert (low.known, high.known) == (D(1) / 3, D(1) / 3)
    without = tally(question, "ana 1 lunch main a 1\nana 1 lunch side u 1")
    assert all(m.proved for m in limits.measures(without))


def test_a_ratio_with_an_unknown_base():
    # Ca : P of at least 0.4. a has 100 : 200, fine; x with unknown phosphorus could spoil it: not proved.
    # At most 0.4: calcium known part 100, phosphorus known part 200, over by 100 - 80 = 20; x's calcium
    # is unknown as well.
    question = problem(ALL, days=1)
    toml = "[nutrients.ratios.bones]\ntop = 'CA_mg'\nbottom = 'P_mg'\nlow = 0.4\nhigh = 0.4\nwindow = 'day'"
    ratio = rule(Nutrients, WIDE + toml, question)

    def of(menu):
        return [
            (m.amount, m.proved, m.shown.value)
            for m in ratio.measures(tally(question, menu))
            if m.origin.key.startswith("nutrients.ratios")
        ]

    assert of("ana 1 lunch main a 1") == [(0, True, D("0.5")), (20, True, D("0.5"))]
    assert of("ana 1 lunch main a 1\nana 1 lunch side x 1") == [(0, False, D("0.5")), (20, False, D("0.5"))]


def test_the_base_of_a_ratio_counts_at_the_end_that_is_worse():
    # a: Ca 100, P 200; v: Ca 100, P unknown, at most 300. Floor of 0.5: 200 - 0.5 x 500 = -50 with the
    # estimate; ceiling of 0.5: 200 - 0.5 x 200 = 100 with the known part only.
    v = item("v", "side", CA_mg="100", P_mg="unknown", upper={"P_mg": "300"})
    question = problem((A, v), days=1)
    toml = "[nutrients.ratios.bones]\ntop = 'CA_mg'\nbottom = 'P_mg'\nlow = 0.5\nhigh = 0.5\nwindow = 'day'"
    ratio = rule(Nutrients, WIDE + toml, question)
    menu = tally(question, "ana 1 lunch main a 1\nana 1 lunch side v 1")
    found = [(m.amount, m.proved, m.shown.value) for m in ratio.measures(menu) if m.amount]
    assert found == [(50, True, D("0.4")), (100, True, D(1))]


def test_a_prescribed_ceiling_refuses_the_unknown():
    who = person("ana", limits={"NA_mg": {"day": (None, D(2000))}})
    question = problem(ALL, people=(who,))
    ruled = rule(Nutrients, WIDE, question)
    text = "Sodium of this item is unknown and ana has a prescribed ceiling"
    assert reason(ruled, question, "x") == text
    assert reason(ruled, question, "x", meal=None) == text
    assert reason(ruled, question, "u") is None
    assert reason(ruled, question, "a") is None
    floor = person("ana", limits={"NA_mg": {"day": (D(1), None)}})
    question = problem(ALL, people=(floor,))
    assert reason(rule(Nutrients, WIDE, question), question, "x") is None


def test_a_prescription_holds_in_the_reserve_and_wins():
    who = person("ana", limits={"NA_mg": {"day": (None, D(400))}})
    question = problem(ALL, people=(who,), days=1, reserve=1)
    ruled = rule(Nutrients, WIDE + "[nutrients.limits.NA_mg.day]\nhigh = 10", question)
    menu = tally(question, "ana 1 lunch main a 1\nana r1 lunch main b 1")
    key = "prescriptions.people.ana.limits.NA_mg.day.high"
    assert broken(ruled, menu) == [(key, "ana", 1, "100.5", "mg")]
    (measure,) = (m for m in ruled.measures(menu) if m.amount)
    assert measure.origin.who == "physician"
    assert ruled.edit(measure) == f"raise {key} to 500.5 mg"


class Free:
    """A writer that leaves servings free in the day."""

    by_date = False

    def __init__(self, name, most):
        self.given = [type("F", (), {"party": 0, "item": name, "most": most})()]

    def allow(self, party, day, meal, course, item):
        return None

    def allowances(self):
        return self.given

    def write(self, page):
        pass


def rows_of(question, rule, writer, menu):
    """Return {key: amount} of the rows a menu of certain lines breaks, allowances at their most."""
    program = build(question, (rule, writer))
    counts = program.low[: program.n_menu].copy()
    for e in menu.entries:
        if e.certain:
            label = (e.day.number, e.day.meals.index(e.meal), e.meal.courses.index(e.course), e.item.id)
            for c in range(program.n_menu):
                name = question.catalogue.items[program.item[c]].id
                if (program.day[c], program.meal[c], program.course[c], name) == label:
                    counts[c] = e.count
    excess = program.excess(program.complete(counts))
    return {
        program.origins[r].key: D(int(excess[r])).scaleb(-int(program.row_decimals[r]))
        for r in range(program.m)
        if excess[r] and program.row_kind[r] == ORDINARY
    }


def test_what_is_free_in_the_day_counts_at_its_worse_end():
    # a certain: Na 300, Ca 100, P 200. Free: one b with Na 500.5, Ca 50, P 50.
    # floor of 301: none eaten, 1 short; ceiling of 800: all eaten, 0.5 over.
    # ratio low 0.55: b adds 50 - 27.5 = 22.5 to 100 - 110 = -10: none eaten, 10 short.
    # ratio high 0.45: b adds 50 - 22.5 = 27.5 to 100 - 90 = 10: all eaten, 37.5 over.
    question = problem(ALL, days=1)
    toml = """
    [nutrients.limits.NA_mg.day]
    low = 301
    high = 800
    [nutrients.ratios.bones]
    top = "CA_mg"
    bottom = "P_mg"
    low = 0.55
    high = 0.45
    window = "day"
    """
    ruled = rule(Nutrients, WIDE + toml, question)
    menu = tally(question, "ana 1 lunch main a 1\nana 1 b 1?")
    expected = {
        "nutrients.limits.NA_mg.day.low": D(1),
        "nutrients.limits.NA_mg.day.high": D("0.5"),
        "nutrients.ratios.bones.low": D(10),
        "nutrients.ratios.bones.high": D("37.5"),
    }
    assert {b.origin.key: b.amount for b in ruled.breaches(menu)} == expected
    assert rows_of(question, ruled, Free("b", 1), menu) == expected
    shown = {m.origin.key: m.shown.value for m in ruled.measures(menu) if m.amount}
    # without b 100 : 200, with it 150 : 250
    assert shown["nutrients.ratios.bones.low"] == D("0.5")
    assert shown["nutrients.ratios.bones.high"] == D("0.6")


def test_shares_and_densities():
    # Day 1: fat 50 g x 9 = 450 of 1000 kcal, 45 %; at most 30 %: 150 kcal over.
    # Sodium per 1000 kcal on day 2: 600 mg on 800 kcal, 750; at least 800: 640 - 600 = 40 mg short.
    question = problem(ALL)
    toml = """
    [nutrients.shares.FAT_g]
    kcal_per_g = 9
    high = 30
    price = 0.01
    [nutrients.per_1000_kcal.NA_mg]
    low = 800
    window = "day"
    """
    ruled = rule(Nutrients, WIDE + toml, question)
    menu = tally(question, TWO_DAYS)
    assert broken(ruled, menu) == [
        ("nutrients.shares.FAT_g.high", "ana", 0, "150", "kcal"),
        ("nutrients.per_1000_kcal.NA_mg.low", "ana", 1, "40", "mg"),
    ]
    assert said(ruled, menu) == [
        (
            "ana, day 1: Fat: 45 % of energy; at most 30 % of energy",
            "raise nutrients.shares.FAT_g.high to 45 % of energy",
        ),
        (
            "ana, day 2: Sodium: 750 mg per 1000 kcal; at least 800 mg per 1000 kcal",
            "lower nutrients.per_1000_kcal.NA_mg.low to 750 mg per 1000 kcal",
        ),
    ]
    assert [b.soft for b in ruled.breaches(menu)] == [True, False]


def test_a_share_of_each_meal_and_on_a_day_kind():
    # dinner of day 1 is b: 360 of 600 kcal, 60 %; all a: 90 of 400, 22.5 %. On rest days at most 20 %:
    # lunch and dinner of day 2 are over by 90 - 80 = 10 kcal each.
    question = problem(ALL, kinds={2: "rest"})
    toml = """
    [nutrients.shares.FAT_g]
    kcal_per_g = 9
    high = 50
    window = "meal"
    on = { rest = { high = 20, price = 0.5, who = "planner" } }
    """
    ruled = rule(Nutrients, WIDE + toml, question)
    menu = tally(question, TWO_DAYS)
    assert broken(ruled, menu) == [
        ("nutrients.shares.FAT_g.high", "ana", 0, "60", "kcal"),
        ("nutrients.shares.FAT_g.on.rest.high", "ana", 1, "10", "kcal"),
        ("nutrients.shares.FAT_g.on.rest.high", "ana", 1, "10", "kcal"),
    ]
    assert [(b.origin.meal, b.soft, b.origin.who) for b in ruled.breaches(menu)] == [
        ("dinner", False, "dietitian"),
        ("lunch", True, "planner"),
        ("dinner", True, "planner"),
    ]
    assert "Fat: 60 % of energy" in said(ruled, menu)[0][0]


def test_a_ratio_says_both_nutrients():
    question = problem(ALL, days=1)
    toml = "[nutrients.ratios.bones]\ntop = 'CA_mg'\nbottom = 'P_mg'\nlow = 0.6"
    ruled = rule(Nutrients, WIDE + toml, question)
    # 100 - 0.6 x 200 = -20
    assert said(ruled, tally(question, "ana 1 lunch main a 1")) == [
        (
            "ana, the stay: Calcium to phosphorus: 0.5; at least 0.6",
            "lower nutrients.ratios.bones.low to 0.5",
        )
    ]
    assert broken(ruled, tally(question, "")) == []


def test_supplements_count_with_food_and_not_in_food_alone():
    # calcium: food 100 a day, supplement 250
    who = person("ana", supplements={"CA_mg": D(250)})
    question = problem(ALL, people=(who,), days=1)

    def menu_of(question):
        return tally(question, "ana 1 lunch main a 1")

    menu = menu_of(question)
    toml = "[nutrients.limits.CA_mg.stay]\nlow = 400\nledger = '%s'"
    both = rule(Nutrients, WIDE + toml % "all", question)
    food = rule(Nutrients, WIDE + toml % "food", question)
    assert [(b[3], s[0]) for b, s in zip(broken(both, menu), said(both, menu), strict=True)] == [
        ("50", "ana, the stay: Calcium: 350 mg; at least 400 mg")
    ]
    assert [(b[3], s[0]) for b, s in zip(broken(food, menu), said(food, menu), strict=True)] == [
        ("300", "ana, the stay: Calcium: 100 mg; at least 400 mg")
    ]
    # over three dates: 3 x 400 less 3 x 250 from the supplement less 3 x 100 from food
    longer = problem(ALL, people=(who,), days=1, dates=3)
    assert [b[3] for b in broken(rule(Nutrients, WIDE + toml % "all", longer), menu_of(longer))] == ["150"]
    # a meal knows no supplement
    meal = rule(Nutrients, WIDE + "[nutrients.limits.CA_mg.meal]\nlow = 300", question)
    assert [b[3] for b in broken(meal, menu)] == ["200", "300"]


def test_plain_water_and_water_added_count_as_fluid():
    # 60 g in the item, 200 mL added to it, 1000 mL plain: 1260 of 1500
    soup = item("soup", WATER_g="60", water_ml=D(200))
    question = problem((soup,), days=1, plain_water_ml=D(1000))
    fluid = rule(Nutrients, WIDE + "[nutrients.limits.WATER_g.day]\nlow = 1500", question)
    menu = tally(question, "ana 1 lunch main soup 1")
    assert broken(fluid, menu) == [("nutrients.limits.WATER_g.day.low", "ana", 0, "240", "g")]
    assert said(fluid, menu)[0][0] == (
        "ana, day 1: Fluid: food, added and plain water: 1,260 g; at least 1,500 g"
    )


def test_adequate_intakes_are_soft_floors_and_recommended_ones_hard():
    question = problem(ALL, days=1)
    ruled = rule(Nutrients, "[nutrients]", question)
    program = build(question, (ruled,))
    kinds = {(i.column, i.kind) for i in reference_intakes("female", 30)}
    seen = {"AI": 0, "RDA": 0}
    for m in ruled.measures(tally(question, "")):
        kind = m.origin.key.removeprefix("nutrients.reference.")
        if kind in seen and m.low is not None:
            assert (m.origin.what, kind) in kinds
            assert (m.soft is not None) == (kind == "AI")
            seen[kind] += 1
    assert min(seen.values()) >= 1
    for r in range(program.m):
        if program.origins[r].key == "nutrients.reference.AI":
            assert program.row_price[r] != HARD
    # 50 % of an AI missing, at 0.0002 a percent, costs 0.01
    ask = next(a for a in ruled.asks if a.origin.key == "nutrients.reference.AI")
    assert abs(ask.limit / 2 * ask.price * ask.per - D("0.01")) < D("1e-15")


def test_references_left_out_softened_and_edited():
    # sodium of 300 a day against the CDRR of 2300 (National Academies 2019) on the worst 7 dates
    question = problem((replace(A, amounts={**A.amounts, "NA_mg": D(2400)}),), days=1, dates=8)
    menu = tally(question, "ana 1 lunch main a 1")

    def sodium(toml):
        ruled = rule(Nutrients, toml, question)
        return [(m, ruled) for m in ruled.measures(menu) if m.origin.what == "NA_mg" and m.high is not None]

    ((hard, ruled),) = sodium("[nutrients]")
    assert (hard.soft, hard.amount, hard.origin.who) == (None, 700, "physician")
    assert ruled.edit(hard) == (
        "set nutrients.limits.NA_mg.seven_days.high to 2400 mg, "
        "or name NA_mg in nutrients.reference.leave_out"
    )
    ((soft, _),) = sodium("[nutrients.reference]\nsoft_ceilings = { NA_mg = 0.023 }")
    # 0.023 a percent of 2300 is 0.001 a mg, on the mean of 7 dates
    assert abs(soft.soft * 7 - D("0.001")) < D("1e-20")
    assert sodium("[nutrients.reference]\nleave_out = ['NA_mg']") == []
    iron = problem((item("a", FE_mg="1"),), days=1)
    floor = rule(Nutrients, "[nutrients]", iron)
    (low,) = (m for m in floor.measures(tally(iron, "")) if m.origin.what == "FE_mg" and m.low is not None)
    assert floor.edit(low).startswith("set nutrients.limits.FE_mg.stay.low to 0 mg, or name FE_mg in")


def test_a_nutrient_without_a_column_is_not_assessed():
    question = problem(ALL)
    ruled = rule(Nutrients, "[nutrients]", question)
    missing = not_assessed(ruled.settings, question)
    assert "FE_mg" in missing and "CA_mg" not in missing
    assert {a.top for a in ruled.asks}.isdisjoint(missing)
    assert not_assessed(rule(Nutrients, WIDE, question).settings, question) == ()


def test_the_narrowest_line_wins():
    who = person("ana", limits={"CA_mg": {"day": (D(7), None)}})
    question = problem(ALL, people=(who, person("bo")), kinds={2: "rest"})
    toml = """
    [nutrients.limits.NA_mg.day]
    low = 1
    high = 9
    price = 0.1
    ledger = "food"
    on = { rest = { high = 8 } }
    for = { bo = { high = 7, who = "nobody", on = { rest = { high = 6 } } } }
    [nutrients.limits.CA_mg.day]
    low = 5
    """
    ruled = rule(Nutrients, WIDE + toml, question)

    def line(p, kind, column="NA_mg", side="high"):
        found = lines(ruled.settings, question.people[p], kind, question.catalogue.columns)
        it = found[column, "day", side]
        return it.value, it.key.removeprefix("nutrients.limits."), it.price, it.who, it.food_only

    assert line(0, "work") == (9, "NA_mg.day.high", D("0.1"), "dietitian", True)
    assert line(0, "rest") == (8, "NA_mg.day.on.rest.high", None, "dietitian", True)
    assert line(1, "work") == (7, "NA_mg.day.for.bo.high", None, "nobody", True)
    assert line(1, "rest") == (6, "NA_mg.day.for.bo.on.rest.high", None, "nobody", True)
    assert line(1, "rest", side="low")[0] == 1
    assert line(0, "", "CA_mg", "low")[:2] == (7, "prescriptions.people.ana.limits.CA_mg.day.low")
    assert line(1, "", "CA_mg", "low")[0] == 5


def test_needs_every_column_that_is_named():
    toml = """
    [nutrients.limits.NA_mg.day]
    [nutrients.shares.FAT_g]
    kcal_per_g = 9
    [nutrients.per_1000_kcal.FIBTG_g]
    [nutrients.ratios.r]
    top = "CA_mg"
    bottom = "P_mg"
    """
    assert list(rule(Nutrients, toml, problem(ALL)).needs()) == [
        ("ENERC_KCAL_kcal", ("energy",)),
        ("NA_mg", ("limits", "NA_mg")),
        ("FAT_g", ("shares", "FAT_g")),
        ("FIBTG_g", ("per_1000_kcal", "FIBTG_g")),
        ("CA_mg", ("ratios", "r", "top")),
        ("P_mg", ("ratios", "r", "bottom")),
    ]


@pytest.mark.parametrize(
    ("toml", "expected"),
    [
        (
            "[nutrients.limits.NA_mg.day.for.ann]\nhigh = 1",
            ("limits.NA_mg.day.for", 'no person "ann". Did you mean "ana"?'),
        ),
        (
            "[nutrients.limits.NA_mg.day.for.ana.on.rets]\nhigh = 1",
            ("limits.NA_mg.day.for.ana.on.rets", 'no day kind "rets". Did you mean "rest"?'),
        ),
        (
            "[nutrients.limits.NA_mg.day.on.rets]\nhigh = 1",
            ("limits.NA_mg.day.on.rets", 'no day kind "rets". Did you mean "rest"?'),
        ),
        (
            "[nutrients.limits.NA_mg.stay.on.rest]\nhigh = 1",
            (
                "limits.NA_mg.stay.on.rest",
                "a limit on a day kind needs the window meal or day, this one is stay",
            ),
        ),
        (
            "[nutrients.limits.NA_mg.day]\nlow = 2\nhigh = 1",
            ("limits.NA_mg.day.low", "NA_mg over day for ana: low 2 is over high 1"),
        ),
        (
            "[nutrients.shares.NA_mg]\nkcal_per_g = 1\nlow = 1",
            ("shares.NA_mg", "a share of energy needs a nutrient in g, NA_mg is in mg"),
        ),
        (
            "[nutrients.shares.FAT_g]\nkcal_per_g = 9\nlow = 1\nwindow = 'stay'\non = { rest = { low = 2 } }",
            (
                "shares.FAT_g.on.rest",
                "a limit on a day kind needs the window meal or day, this one is stay",
            ),
        ),
        ("[nutrients.per_1000_kcal.NA_mg]", ("per_1000_kcal.NA_mg", "set low or high")),
        (
            "[nutrients.ratios.r]\ntop = 'CA_mg'\nbottom = 'P_mg'\nlow = 2\nhigh = 1",
            ("ratios.r.low", "low 2 is over high 1"),
        ),
    ],
)
def test_faults(toml, expected):
    question = problem(ALL, kinds={2: "rest"})
    assert set(faults(rule(Nutrients, WIDE + toml, question))) == {expected}


def test_a_soft_limit_of_many_decimals_is_counted_to_six():
    # 12.557 mg per 1000 kcal of 400.25 kcal: 300.125 - 5.02593925 = 295.09906075 mg, rounded once to
    # 295.099061; 1 % off a price of 0.01 over 7 dates, 0.001428571429 a mg
    food = item("a", ENERC_KCAL_kcal="400.25", NA_mg="300.125")
    question = problem((food,), days=1, dates=7)
    toml = "[nutrients.per_1000_kcal.NA_mg]\nhigh = 12.557\nprice = 0.01\nwindow = 'seven_days'"
    soft = rule(Nutrients, WIDE + toml, question)
    menu = tally(question, "ana 1 lunch main a 1")
    (measure,) = (m for m in soft.measures(menu) if m.soft is not None)
    assert measure.amount == 7 * D("295.099061")
    assert measure.cost == 7 * D("295.099061") * D("0.001428571429")
    program = build(question, (soft,))
    x = np.asarray([1, 0])
    (row,) = np.flatnonzero(program.row_price != HARD)
    assert int(program.row_price[row]) * int(program.excess(x)[row]) == measure.cost.scaleb(18)
    hard = rule(Nutrients, WIDE + toml.replace("price = 0.01\n", ""), question)
    assert [b.amount for b in hard.breaches(menu)] == [7 * D("295.09906075")]
