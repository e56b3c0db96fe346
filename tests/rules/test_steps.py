"""Steps from one date to the next, fluid by work, meals with floors, and supplements as prescribed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import numpy as np
import pytest

from optimenu.crew.prescriptions import PrescriptionTable, resolve
from optimenu.program.build import build
from optimenu.rules.nutrients import Nutrients
from optimenu.rules.steps import pairs
from tests.rules.hand import broken, faults, item, person, problem, reason, rule, said, tally
from tests.rules.test_nutrients import WIDE

D = Decimal
KALE = item("kale", "main side", VITK1_ug="90.5", CHOCDF_g="20", CAFFN_mg="0", K_mg="400", WATER_g="100")
RICE = item("rice", "main side", VITK1_ug="1", CHOCDF_g="45", CAFFN_mg="0", K_mg="50", WATER_g="60")
COLA = item("cola", "main side", VITK1_ug="0", CHOCDF_g="30", CAFFN_mg="35", K_mg="unknown", WATER_g="200")
MIX = item(
    "mix", "main side", VITK1_ug="unknown", upper={"VITK1_ug": "30"}, CHOCDF_g="10", CAFFN_mg="80", K_mg="0",
    WATER_g="0",
)  # fmt: skip
VAGUE = item("vague", VITK1_ug="unknown", CHOCDF_g="unknown", CAFFN_mg="unknown", K_mg="0", WATER_g="0")
ALL = (KALE, RICE, COLA, MIX, VAGUE)
KEY = "prescriptions.people.ana.limits.VITK1_ug.step"


def script(toml_limits, **more):
    """Return a resolved prescription for limits given as plain values."""
    return resolve(PrescriptionTable(by="x", date=date(2031, 1, 1), limits=toml_limits, **more))


def stepped(step, **more):
    who = replace(person("ana"), prescription=script({"VITK1_ug": {"step": step}}))
    question = problem(ALL, people=(who,), **more)
    return question, rule(Nutrients, WIDE, question)


def test_step_and_windows_stand_side_by_side():
    found = script(
        {"VITK1_ug": {"step": D(40), "seven_days": {"high": D(90)}}, "NA_mg": {"day": {"low": D(1)}}}
    )
    assert found.steps == {"VITK1_ug": 40}
    assert found.limits == {"VITK1_ug": {"seven_days": (None, 90)}, "NA_mg": {"day": (1, None)}}


def test_a_step_both_ways():
    # day 1: kale 90.5 + rice 1 = 91.5; day 2: rice 1 + rice 1 = 2. From one to the other 89.5.
    question, ruled = stepped(D(40), dates=3)
    menu = tally(
        question,
        """
        ana 1 lunch main kale 1
        ana 1 dinner main rice 1
        ana 2 lunch main rice 1
        ana 2 dinner main rice 1
        """,
    )
    assert broken(ruled, menu) == [(KEY, "ana", -1, "49.5", "ug")]
    (found,) = ruled.breaches(menu)
    assert (found.origin.run, found.origin.who) == ((0, 1), "physician")
    assert said(ruled, menu)[0] == (
        "ana, day 1 beside day 2: Vitamin K (phylloquinone): 89.5 µg more than the date beside; "
        "at most 40 µg more than the date beside"
    )
    # a physician's step is never offered
    assert not list(ruled.further(found.origin, found.amount, low=False))
    # just enough
    question, ruled = stepped(D("89.5"), dates=3)
    assert broken(ruled, replace(menu, problem=question)) == []


def test_every_two_dates_once_and_a_part_day_left_out():
    question, _ = stepped(D(1), days=3, dates=7)
    # 0 1 2 0 1 2 0: no pair twice, each both ways
    assert pairs(question) == ((0, 1), (1, 0), (1, 2), (2, 1), (2, 0), (0, 2))
    short = replace(
        question, days=(question.days[0], replace(question.days[1], share=D("0.5")), question.days[2])
    )
    assert pairs(short) == ((2, 0), (0, 2))
    assert pairs(stepped(D(1), days=3, dates=3)[0]) == ((0, 1), (1, 0), (1, 2), (2, 1))


def test_unknown_amounts_stand_at_the_worse_end():
    # day 1: mix, 0 to 30; day 2: rice, 1. Upwards 30 - 1 = 29; downwards 1 - 0 = 1.
    question, ruled = stepped(D(0))
    menu = tally(question, "ana 1 lunch main mix 1\nana 2 lunch main rice 1")
    assert [(b.origin.run, b.amount) for b in ruled.breaches(menu)] == [((0, 1), 29), ((1, 0), 1)]
    assert reason(ruled, question, "mix") is None
    assert reason(ruled, question, "vague") == (
        "Vitamin K (phylloquinone) of this item is unknown and ana has a prescribed step"
    )


def test_what_is_free_may_be_eaten_on_one_date_and_not_on_the_next():
    question, ruled = stepped(D(90), days=1, dates=2)
    # the same plan day twice: what is planned is the same, kale that is free is not
    menu = tally(question, "ana 1 lunch main kale 1\nana 1 kale 1?")
    assert [(b.origin.run, b.amount) for b in ruled.breaches(menu)] == [((0, 0), D("0.5"))]
    assert broken(ruled, tally(question, "ana 1 lunch main kale 1\nana 1 dinner main kale 1")) == []


def test_rows_of_a_step_say_the_same():
    question, ruled = stepped(D(40), dates=3)
    program = build(question, (ruled,))
    x = np.zeros(program.n_menu, dtype=np.int64)
    names = [i.id for i in question.catalogue.items]
    for day, what in ((0, "kale"), (1, "rice")):
        hits = (program.day[: program.n_menu] == day) & (program.item[: program.n_menu] == names.index(what))
        x[np.flatnonzero(hits)[0]] = 1
    (row,) = [r for r in program.broken(program.complete(x)) if program.origins[r].key == KEY]
    assert program.origins[row].run == (0, 1)
    # 90.5 - 1 - 40
    assert int(program.excess(program.complete(x))[row]) == D("49.5").scaleb(int(program.row_decimals[row]))


def test_plain_water_of_the_day_kind_is_part_of_a_step_in_fluid():
    who = replace(person("ana"), prescription=script({"WATER_g": {"step": D(500)}}))
    question = problem(
        ALL, people=(who,), kinds={2: "heavy"}, plain_water_ml=D(1000), plain_water_on={"heavy": D(1600)}
    )
    ruled = rule(Nutrients, WIDE, question)
    # day 2: 1600 + rice 60; day 1: 1000 + kale 100: 560 more, 60 over
    menu = tally(question, "ana 1 lunch main kale 1\nana 2 lunch main rice 1")
    assert [(b.origin.run, b.amount) for b in ruled.breaches(menu)] == [((1, 0), 60)]
    assert "560 g more" in said(ruled, menu)[0]


@pytest.mark.parametrize("side", ["low", "high"])
def test_carbohydrate_at_each_meal(side):
    # lunch: rice 45 + cola 30 = 75; dinner: kale 20. 40 to 60 at each meal: 15 over, 20 short.
    who = replace(person("ana"), prescription=script({"CHOCDF_g": {"meal": {"low": D(40), "high": D(60)}}}))
    question = problem(ALL, people=(who,), days=1, reserve=1)
    ruled = rule(Nutrients, WIDE, question)
    menu = tally(question, "ana 1 lunch main rice 1\nana 1 lunch side cola 1\nana 1 dinner main kale 1")
    key = f"prescriptions.people.ana.limits.CHOCDF_g.meal.{side}"
    found = [(b.origin.meal, b.amount) for b in ruled.breaches(menu) if b.origin.key == key]
    assert found == [("dinner", 20)] if side == "low" else found == [("lunch", 15)]
    # a serving that is free in the day may be eaten at any meal, or at none: 75 + 30 = 105
    menu = tally(question, "ana 1 lunch main rice 1\nana 1 lunch side cola 1\nana 1 cola 1?")
    found = [(b.origin.meal, b.amount) for b in ruled.breaches(menu) if b.origin.key == key]
    assert found == ([("lunch", 45)] if side == "high" else [("dinner", 40)])
    assert "has a prescribed ceiling" in reason(ruled, question, "vague")


def test_no_floor_at_a_meal_from_which_the_person_is_away():
    who = replace(person("ana"), prescription=script({"CHOCDF_g": {"meal": {"low": D(40), "high": D(60)}}}))
    question = problem(ALL, people=(who,), days=1, away=frozenset({(0, 0, "dinner")}))
    ruled = rule(Nutrients, WIDE, question)
    assert broken(ruled, tally(question, "ana 1 lunch main rice 1")) == []
    sides = [(a.meal, a.side) for a in ruled.asks if a.top == "CHOCDF_g"]
    assert sides == [("lunch", "low"), ("lunch", "high"), ("dinner", "high")]


def test_caffeine_at_once_and_a_day():
    # lunch mix 80, dinner cola 35: 115 a day; at once at most 70, a day at most 100
    limits = {"CAFFN_mg": {"meal": {"high": D(70)}, "day": {"high": D(100)}}}
    question = problem(ALL, people=(replace(person("ana"), prescription=script(limits)),), days=1)
    menu = tally(question, "ana 1 lunch main mix 1\nana 1 dinner main cola 1")
    base = "prescriptions.people.ana.limits.CAFFN_mg"
    assert broken(rule(Nutrients, WIDE, question), menu) == [
        (f"{base}.meal.high", "ana", 0, "10", "mg"),
        (f"{base}.day.high", "ana", 0, "15", "mg"),
    ]


def fluid(toml="", **more):
    question = problem(
        ALL, people=(person("ana", "2000"),), kinds={2: "heavy"},
        plain_water_ml=D(1500), plain_water_on={"heavy": D(2800)}, **more,
    )  # fmt: skip
    text = "[nutrients.fluid]\nml_per_kcal = 1.5\nextra_ml = { heavy = 500 }\n" + toml
    return question, rule(Nutrients, WIDE + text, question)


def test_fluid_by_work_and_climate():
    # 1.5 x 2000 = 3000. Day 1: 1500 + kale 100 = 1600, 1400 short. Day 2: 3000 + 500 = 3500 against 2800 +
    # cola 200 = 3000, 500 short.
    question, ruled = fluid()
    menu = tally(question, "ana 1 lunch main kale 1\nana 2 lunch main cola 1")
    key = "nutrients.fluid.ml_per_kcal"
    assert broken(ruled, menu) == [(key, "ana", 0, "1400", "g"), (key, "ana", 1, "500", "g")]
    assert said(ruled, menu) == [
        "ana, day 1: Fluid: food, added and plain water: 1,600 g; at least 3,000 g",
        "ana, day 2: Fluid: food, added and plain water: 3,000 g; at least 3,500 g",
    ]
    assert not any(b.soft for b in ruled.breaches(menu))
    _, soft = fluid("price = 0.0001")
    assert [b.soft for b in soft.breaches(menu)] == [True, True]


def test_a_part_of_a_day_needs_a_part_of_the_fluid_and_all_of_the_extra():
    question, _ = fluid()
    half = replace(question, days=tuple(replace(d, share=D("0.5")) for d in question.days))
    _, ruled = fluid()
    ruled = type(ruled)(ruled.settings, half)
    # 1500 and 1500 + 500 = 2000, less half of the plain water of 1500 and 2800
    assert [a.total for a in ruled.asks if a.top == "WATER_g"] == [750, 600]


def test_less_than_the_extra_alone_is_no_matter_of_the_requirement():
    question = problem(ALL, people=(person("ana"),), kinds={2: "heavy"})
    toml = "[nutrients.fluid]\nml_per_kcal = 1\nextra_ml = { heavy = 500 }"
    ruled = rule(Nutrients, WIDE + toml, question)
    first, heavy = (m for m in ruled.measures(tally(question, "ana 2 lunch main cola 1")) if m.amount)
    ((edit,),) = ruled.further(first.origin, first.amount, low=True)
    assert (edit.key, edit.new) == ("nutrients.fluid.ml_per_kcal", 0)
    assert not list(ruled.further(heavy.origin, heavy.amount, low=True))


def test_faults_of_fluid():
    question = problem((item("dry"),), kinds={2: "heavy"})
    ruled = rule(Nutrients, WIDE + "[nutrients.fluid]\nml_per_kcal = 1\nextra_ml = { hevy = 1 }", question)
    assert faults(ruled) == [("fluid.extra_ml.hevy", 'no day kind "hevy". Did you mean "heavy"?')]
    assert ("WATER_g", ("fluid",)) in list(ruled.needs())


def test_plain_water_by_day_kind_in_a_window_of_several_dates():
    # Dates 0 1 0: 1500, 2800 and 1500 of plain water, 5800; kale 100 twice and cola 200: 6200, a mean of
    # 2066.67
    question, _ = fluid(dates=3)
    toml = "[nutrients.limits.WATER_g.three_days]\nlow = 2100\n[nutrients.limits.WATER_g.stay]\nlow = 2066"
    ruled = rule(Nutrients, WIDE + toml, question)
    menu = tally(question, "ana 1 lunch main kale 1\nana 2 lunch main cola 1")
    assert broken(ruled, menu) == [("nutrients.limits.WATER_g.three_days.low", "ana", -1, "100", "g")]
    assert "2,066.67 g; at least 2,100 g" in said(ruled, menu)[0]


def test_a_shortfall_of_potassium_is_told_and_nothing_is_added():
    # The intake of potassium is an adequate intake: 2600 mg for a woman of 30. Rice twice, 50 mg each; the
    # unknown cola counts nothing. A prescribed supplement counts, one that is not prescribed does not exist.
    toml = "[nutrients.energy]\nday_within = 100\nstay_within = 100"
    for given in (0, 500):
        supplements = {"K_mg": D(given)} if given else {}
        question = problem((RICE, COLA), people=(person("ana", supplements=supplements),), days=1)
        ruled = rule(Nutrients, toml, question)
        menu = tally(question, "ana 1 lunch main rice 1\nana 1 lunch side cola 1\nana 1 dinner main rice 1")
        (short,) = (b for b in ruled.breaches(menu) if b.origin.what == "K_mg")
        assert short.soft
        assert short.amount == 2600 - 100 - given
        program = build(question, (ruled,))
        # every column is a serving of an item of the catalogue: there is no tablet to choose
        assert program.n == program.n_menu
        assert set(program.item.tolist()) <= {0, 1}
        assert question.people[0].prescription.supplements == supplements
