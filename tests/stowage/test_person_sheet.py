"""A person's sheet: worst planned values worked out on paper, and always a measure's own."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from random import Random

import pytest

from optimenu.catalogue.columns import ALLERGENS
from optimenu.program.build import build
from optimenu.program.origin import Origin
from optimenu.rules.base import Measure
from optimenu.rules.nutrients import Nutrients
from optimenu.stowage.person_sheet import person_sheet
from tests.rules import tiny
from tests.rules.hand import item, person, problem, rule, tally

D = Decimal
QUIET = "[nutrients.energy]\nday_within = 100\nstay_within = 100\n[nutrients.reference]\nuse = false\n"

MAY = {**dict.fromkeys(ALLERGENS, "free"), "milk": "may_contain"}
STEW = item("stew", NA_mg="400", VITC_mg="10")
SOUP = item("soup", NA_mg="250", VITC_mg="20", allergens=MAY)
MENU = """
ana 1 lunch main stew 1
ana 1 dinner main stew 1
ana 2 lunch main soup 1
ana 2 dinner main stew 1
ana 3 lunch main soup 1
ana 3 dinner main soup 1
"""
"""Sodium 800, 650 and 500 mg on the three days."""


def sheet_of(question, text=MENU, toml=QUIET, missing=()):
    found = tally(question, text)
    measures = list(rule(Nutrients, toml, question).measures(found))
    return person_sheet(question, found, measures, 0, missing)


def prescribed(**windows):
    limits = {"NA_mg": {w: (None, D(v)) for w, v in windows.items()}}
    return problem((STEW, SOUP), people=(person("ana", limits=limits),), days=3)


def test_each_prescribed_limit_stands_beside_its_worst_planned_value():
    # the day most is 800 on day 1; of three dates in a row there is one run, mean (800 + 650 + 500) / 3
    day, three = sheet_of(prescribed(day="700", three_days="650")).limits
    assert (day.what, day.window, day.side, day.limit, day.worst, day.when) == (
        "NA_mg", "day", "at most", D(700), D(800), ("day 1",),
    )  # fmt: skip
    assert (day.outside, day.unit, day.proved, day.soft) == (D(100), "mg", True, False)
    assert (three.window, three.worst, three.outside) == ("three_days", D(650), 0)
    assert three.when == ("day 1", "day 2", "day 3")


def test_a_floor_s_worst_is_its_lowest_and_a_meal_is_named():
    limits = {"NA_mg": {"day": (D(600), None), "meal": (None, D(300))}}
    question = problem((STEW, SOUP), people=(person("ana", limits=limits),), days=3)
    day, meal = sheet_of(question).limits
    assert (day.side, day.worst, day.when, day.outside) == ("at least", D(500), ("day 3",), D(100))
    assert (meal.side, meal.worst, meal.outside) == ("at most", D(400), D(100))
    assert meal.when == ("day 1", "lunch")


def test_unknown_values_leave_a_prescribed_ceiling_open():
    stew = replace(STEW, amounts={**STEW.amounts, "NA_mg": None})
    question = replace(prescribed(day="700"), catalogue=problem((stew, SOUP), days=3).catalogue)
    (day,) = sheet_of(question).limits
    assert not day.proved
    # day 1 is stew alone, nothing of which is known
    assert (day.known, day.worst) == (0, D(500))


def test_a_prescribed_limit_that_nothing_measures_is_said_not_left_out():
    limits = {"FE_mg": {"day": (D(8), None)}}
    (day,) = sheet_of(problem((STEW, SOUP), people=(person("ana", limits=limits),), days=3)).limits
    assert (day.name, day.worst, day.limit, day.proved) == ("Iron", None, D(8), False)


def test_reference_intakes_not_met_come_with_the_amount():
    # vitamin C of a woman of 30: RDA 75 mg (National Academies 2000); planned 20, 30 and 40, mean 30
    question = problem((STEW, SOUP), days=3)
    toml = QUIET.replace("use = false", "use = true")
    unmet = {p.what: p for p in sheet_of(question, toml=toml).unmet}
    assert (unmet["VITC_mg"].worst, unmet["VITC_mg"].limit, unmet["VITC_mg"].outside) == (D(30), D(75), D(45))
    assert unmet["VITC_mg"].window == "stay" and unmet["VITC_mg"].key.endswith(".RDA")
    # sodium: AI 1,500 mg (National Academies 2019), a goal; planned mean 650
    assert unmet["NA_mg"].soft and unmet["NA_mg"].outside == D(850)


def test_supplements_stand_as_prescribed_and_count_in_what_is_planned():
    limits = {"VITC_mg": {"stay": (D(100), None)}}
    who = person("ana", limits=limits, supplements={"VITC_mg": D(60)}, by="crew physician")
    sheet = sheet_of(problem((STEW, SOUP), people=(who,), days=3), missing=("ID_ug",))
    assert sheet.supplements == (("VITC_mg", D(60)),)
    # 30 mg a day eaten and 60 prescribed
    assert [(p.worst, p.outside) for p in sheet.limits] == [(D(90), D(10))]
    assert (sheet.by, sheet.not_assessed) == ("crew physician", ("ID_ug",))


def test_items_that_may_hold_a_milder_allergen_are_named_with_their_days():
    question = problem(
        (STEW, SOUP), people=(person("ana", allergies={"milk": "avoid", "egg": "severe"}),), days=3
    )
    (trace,) = sheet_of(question).traces
    assert (trace.name, trace.allergen, trace.severity, trace.state) == (
        "Soup",
        "milk",
        "avoid",
        "may_contain",
    )
    assert trace.days == ("day 2", "day 3")


def test_an_allergen_nobody_has_stated_is_told_as_unknown():
    plain = item("bun", free=False)
    question = problem((plain,), people=(person("ana", allergies={"milk": "avoid"}),), days=1)
    (trace,) = sheet_of(question, "ana 1 lunch main bun 1").traces
    assert (trace.item, trace.state) == ("bun", "unknown")


def test_energy_is_the_measures_own():
    # 500 kcal a serving, two a day
    energy = sheet_of(problem((STEW, SOUP), days=3)).energy
    assert (energy.mean, energy.low, energy.high, energy.needed) == (
        D(1000),
        D(1000),
        D(1000),
        (("", D(2000)),),
    )


@pytest.mark.parametrize("seed", range(12))
def test_every_number_is_a_measure_s_own(seed):
    rng = Random(f"sheet {seed}")
    question = tiny.make(seed, reserve=1)
    limits = {
        column: {w: (D(5), D(rng.randint(20, 900)))}
        for column, w in (("NA_mg", "day"), ("CA_mg", "three_days"), ("PROCNT_g", "meal"), ("P_mg", "stay"))
    }
    people = tuple(replace(p, prescription=replace(p.prescription, limits=limits)) for p in question.people)
    question = replace(question, people=people)
    program = build(question, [tiny.Extras(question, rng)])
    found = tiny.tally_of(question, program, tiny.random_counts(rng, program, question))
    measures = list(rule(Nutrients, "", question).measures(found))
    for p, who in enumerate(question.people):
        sheet = person_sheet(question, found, measures, p, ())
        assert len(sheet.limits) == 8
        for line in (*sheet.limits, *sheet.unmet):
            own = [
                m
                for m in measures
                if (m.origin.person, m.origin.key, m.origin.what) == (who.id, line.key, line.what)
            ]
            values = [
                m.shown.value for m in own if (m.low if line.side == "at least" else m.high) is not None
            ]
            assert line.worst == (min if line.side == "at least" else max)(values)
            # the limit is kept exactly where every measure keeps it
            assert (line.outside > 0) == any(m.amount > 0 for m in own)


def test_a_prescribed_limit_of_any_rule_is_shown_in_its_own_words():
    question = problem((STEW, SOUP), days=3)
    key = "prescriptions.people.ana.doses.servings_a_day"
    doses = [
        Measure(
            Origin("doses", key, "ana", day, what="milk"),
            f"ana, day {day + 1}: milk",
            "servings",
            D(n),
            D(n),
            high=D(1),
        )
        for day, n in enumerate((0, 1, 2))
    ]
    (line,) = person_sheet(question, tally(question, MENU), doses, 0, ()).limits
    assert (line.name, line.worst, line.limit, line.unit, line.when) == (
        "milk",
        D(2),
        D(1),
        "servings",
        ("day 3",),
    )
    assert (line.window, line.outside) == ("day", D(1))
