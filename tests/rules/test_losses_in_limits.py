"""Limits of nutrients that fall in storage, worked by hand on two dates, in rows and in measures alike."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from optimenu.problem.storage import Storage
from optimenu.program.build import build
from optimenu.program.program import ORDINARY
from optimenu.rules.nutrients import Nutrients
from tests.problem.test_storage import K, lot, rate
from tests.rules import test_contract
from tests.rules.hand import FIRST, broken, item, person, problem, reason, rule, tally
from tests.rules.test_nutrients import WIDE

D = Decimal
# made 365 days before the first date: 0.5002 to 0.5003 is left on it, 0.4993 to 0.4994 on the second
JUICE = item("juice", VITC_mg="100", FIBTG_g="10")
# nobody states a loss of these
FRUIT = item("fruit", "side", VITC_mg="40", FIBTG_g="4")
BLANK = item("blank", "side", VITC_mg="unknown", FIBTG_g="0", upper={"VITC_mg": "30"})
FOODS = (JUICE, FRUIT, BLANK)
MENU = "ana 1 lunch main juice 1\nana 1 dinner main juice 1"


def question(dates=2, foods=FOODS, **more):
    lots = [lot(FIRST - timedelta(365), name=i.id) for i in foods]
    kept = Storage(D(21), 0, {("juice", "VITC"): rate(K)})
    return problem(foods, days=1, dates=dates, stock=tuple(lots), storage=kept, **more)


def amounts(toml, menu, q):
    """Return {key: amount} of the promises a menu breaks, which rows and measures must agree on."""
    ruled = rule(Nutrients, WIDE + toml, q)
    measured = {key: D(amount) for key, _, _, amount, _ in broken(ruled, tally(q, menu))}
    program = build(q, (ruled,))
    counts = program.low[: program.n_menu].copy()
    for e in tally(q, menu).entries:
        label = (e.day.meals.index(e.meal), e.meal.courses.index(e.course), e.item.id)
        for c in range(program.n_menu):
            name = q.catalogue.items[program.item[c]].id
            if (program.meal[c], program.course[c], name) == label:
                counts[c] = e.count
    excess = program.excess(program.complete(counts))
    rows = {
        program.origins[r].key: D(int(excess[r])).scaleb(-int(program.row_decimals[r]))
        for r in range(program.m)
        if excess[r] and program.row_kind[r] == ORDINARY
    }
    assert measured == rows
    return measured


@pytest.mark.parametrize(
    ("window", "low", "short", "high", "over"),
    [
        # a floor of a day reads the last date: 2 x 49.93 = 99.86; a ceiling the first: 2 x 50.03 = 100.06
        ("day", "100", "0.14", "100", "0.06"),
        ("meal", "50", "0.07", "50", "0.03"),
        # two dates of a run of three: 2 x 99.86 = 199.72, 2 x 100.06 = 200.12
        ("three_days", "100", "0.28", "100", "0.12"),
        # the mean of the stay counts each date by itself: 2 x (50.02 + 49.93) = 199.90, 2 x 99.97 = 199.94
        ("stay", "100", "0.10", "99.9", "0.14"),
    ],
)
def test_floors_and_ceilings_on_two_dates(window, low, short, high, over):
    toml = f"[nutrients.limits.VITC_mg.{window}]\nlow = {low}\nhigh = {high}"
    found = amounts(toml, MENU, question())
    base = f"nutrients.limits.VITC_mg.{window}"
    assert found == {f"{base}.low": D(short), f"{base}.high": D(over)}


def test_without_storage_the_same_menu_has_what_was_produced():
    plain = problem(FOODS, days=1, dates=2)
    toml = "[nutrients.limits.VITC_mg.day]\nlow = 201\nhigh = 199"
    base = "nutrients.limits.VITC_mg.day"
    assert amounts(toml, MENU, plain) == {f"{base}.low": 1, f"{base}.high": 1}


def test_a_loss_that_nobody_states_counts_at_the_worse_end():
    # fruit is a year old: nothing of its 40 in the floor, all in the ceiling; blank at its estimate of 30.
    # Floor 2 x 49.93 = 99.86, ceiling 2 x 50.03 + 40 + 30 = 170.06.
    menu = MENU + "\nana 1 lunch side fruit 1\nana 1 lunch side blank 1"
    q = question()
    toml = "[nutrients.limits.VITC_mg.day]\nlow = 100\nhigh = 170"
    base = "nutrients.limits.VITC_mg.day"
    assert amounts(toml, menu, q) == {f"{base}.low": D("0.14"), f"{base}.high": D("0.06")}
    ruled = rule(Nutrients, WIDE + toml, q)
    low, high = (m for m in ruled.measures(tally(q, menu)) if m.origin.key.startswith(base))
    # four servings of 100 g: two known in the floor; three bounded by what was produced in the ceiling
    assert (low.known, high.known, high.proved) == (D("0.5"), D("0.75"), True)


def test_energy_fibre_and_ratios():
    # fibre does not fall: 20 a day. Vitamin C per 1000 kcal at 1000 kcal a day: floor 99.86, ceiling 100.06.
    q = question()
    fibre = "[nutrients.limits.FIBTG_g.day]\nlow = 20\nhigh = 20"
    assert amounts(fibre, MENU, q) == {}
    density = "[nutrients.per_1000_kcal.VITC_mg]\nlow = 100\nhigh = 100\nwindow = 'day'"
    base = "nutrients.per_1000_kcal.VITC_mg"
    assert amounts(density, MENU, q) == {f"{base}.low": D("0.14"), f"{base}.high": D("0.06")}
    # as the lower part of a ratio it counts at its most for a floor: 20 - 0.2 x 100.06 = -0.012
    ratio = "[nutrients.ratios.r]\ntop = 'FIBTG_g'\nbottom = 'VITC_mg'\nlow = 0.2\nwindow = 'day'"
    assert amounts(ratio, MENU, q) == {"nutrients.ratios.r.low": D("0.012")}
    # over the stay: 40 - 0.2 x 199.94 = 0.012 to spare, 40 - 0.2001 x 199.94 = -0.007994 + ...
    stay = "[nutrients.ratios.r]\ntop = 'FIBTG_g'\nbottom = 'VITC_mg'\nlow = 0.2001"
    assert amounts(stay, MENU, q) == {"nutrients.ratios.r.low": D("0.2001") * D("199.94") - 40}


def test_a_prescribed_step_reads_the_upper_table_on_one_date_and_the_lower_on_the_next():
    # one plan day after itself: 2 x 50.03 - 2 x 49.93 = 0.20
    who = person("ana", steps={"VITC_mg": D("0.15")})
    q = question(people=(who,))
    assert amounts("", MENU, q) == {"prescriptions.people.ana.limits.VITC_mg.step": D("0.05")}


def test_an_old_pack_of_unknown_loss_is_not_refused_under_a_prescribed_ceiling():
    # what was there at production bounds what is left; an amount never stated does not
    who = person("ana", limits={"VITC_mg": {"day": (None, D(300))}})
    never = item("never", "side", VITC_mg="unknown")
    q = question(people=(who,), foods=(JUICE, FRUIT, never))
    ruled = rule(Nutrients, WIDE, q)
    assert reason(ruled, q, "fruit", course=1) is None
    assert "unknown" in reason(ruled, q, "never", course=1)


def test_the_contract_is_held_with_losses_on_too():
    kinds = [
        (question.storage is not None, any(rule.problem.changes(a.top) for a in rule.asks))
        for question, rule, *_ in test_contract.cases("nutrients")
    ]
    assert sum(lost for on, lost in kinds if on) >= 8
    assert sum(not on for on, _ in kinds) >= 8
