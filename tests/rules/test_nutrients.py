"""Nutrients: windows, worse ends, unknown amounts, proportions, references and prescriptions."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from random import Random

import numpy as np

from optimenu.menu.menu import Menu
from optimenu.menu.tally import Tally
from optimenu.nutrition.losses import Rate
from optimenu.problem.storage import Storage
from optimenu.program.build import build
from optimenu.program.program import HARD, ORDINARY
from optimenu.rules.nutrients import Nutrients
from tests.rules.hand import broken, faults, item, person, problem, rule, said, tally
from tests.rules.tiny import measured

D = Decimal
WIDE = "[nutrients.energy]\nday_within = 100\nstay_within = 100\n[nutrients.reference]\nuse = false\n"
"""Energy from nothing to twice the requirement, no published intakes: only what a test adds."""


def stored(problem, tally):
    """Return the problem with vitamin C that falls in storage, for about half of them, and its menu anew."""
    rng = Random(f"stored {problem.name}")
    if rng.random() < 0.5 or problem.storage is not None:
        return problem, tally
    items, rates = [], {}
    for i in problem.catalogue.items:
        amount = None if rng.random() < 0.1 else D(rng.randint(0, 900)) / 10
        upper = {**i.upper, "VITC_mg": D(95)} if amount is None and rng.random() < 0.7 else i.upper
        items.append(replace(i, amounts={**i.amounts, "VITC_mg": amount}, upper=upper))
        if rng.random() < 0.8:
            k = D(rng.randint(1, 400)) / 1000
            rates[i.id, "VITC"] = Rate(rng.choice((k, k, None)), k * rng.choice((0, 1)), "", "")
    columns = problem.catalogue.columns | {"VITC_mg"}
    catalogue = replace(problem.catalogue, items=tuple(items), columns=columns, present=columns)
    storage = Storage(D(21), rng.choice((0, 25, 27, 200)), rates)
    problem = replace(problem, catalogue=catalogue, storage=storage)
    return problem, Tally.of(problem, Menu.of(e.line for e in tally.entries))


def near(problem, tally, rng):
    problem, tally = stored(problem, tally)
    energies = {
        p: [
            sum(e.count * e.item.amounts["ENERC_KCAL_kcal"] for e in tally.on(p, d.number))
            for d in problem.cycle
        ]
        for p in range(len(problem.people))
    }
    columns = problem.catalogue.columns
    crew = []
    for p, who in enumerate(problem.people):
        mean = D(round(sum(energies[p]) / len(energies[p]))) or D(1)
        limits = {
            "FAT_g": {"meal": (None, D(rng.randint(150, 420))), "day": (D(0), D(rng.randint(300, 700)))}
        }
        script = replace(who.prescription, limits=limits) if rng.random() < 0.4 else who.prescription
        if rng.random() < 0.3:
            column = "VITC_mg" if "VITC_mg" in columns and p == 0 else rng.choice(("PROCNT_g", "WATER_g"))
            loose = replace(problem, people=(*problem.people[:p], replace(who, prescription=replace(
                script, steps={column: D(0)})), *problem.people[p + 1 :]))  # fmt: skip
            changes = [
                m.shown.value
                for m in measured(Nutrients, WIDE, loose, replace(tally, problem=loose))
                if m.origin.key.endswith(".step")
            ]
            step = max(max(changes, default=D(0)) * rng.randint(105, 150) / 100, D(1))
            script = replace(script, steps={column: step.quantize(D("0.1"))})
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

    if rng.random() < 0.4:
        # a floor of fluid near the least that a day brings
        text = "[nutrients.fluid]\nml_per_kcal = {}\n" + (
            "extra_ml = {{ rest = 50 }}\n" if "rest" in problem.kinds else ""
        )
        found = measured(Nutrients, WIDE + text.format("0.001"), problem, tally)
        ratios = [
            (m.shown.value - (50 if problem.days[m.origin.day].kind == "rest" else 0))
            / problem.people[problem.person_number[m.origin.person]].kcal_on(problem.days[m.origin.day].kind)
            for m in found
            if m.origin.key == "nutrients.fluid.ml_per_kcal"
        ]
        toml += text.format(f"{max(min(ratios) * rng.randint(70, 95) / 100, D('0.001')):.3f}")
        toml += rng.choice(("", "price = 0.0001\n"))
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
    chosen = rng.sample(jobs, 2)
    if "VITC_mg" in columns:
        window, side = rng.choice(windows), rng.choice(("low", "high"))
        vitamin = f"nutrients.limits.VITC_mg.{window}"
        by_energy = "nutrients.per_1000_kcal.VITC_mg"
        ratio = ("[nutrients.ratios.c]\ntop = 'CA_mg'\nbottom = 'VITC_mg'", "nutrients.ratios.c", side)
        chosen[0] = rng.choice(((f"[{vitamin}]", vitamin, side), (f"[{by_energy}]", by_energy, side), ratio))
    for place, key, side in chosen:
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
        "ana, day 1, dinner: Sodium: 500.5 mg; at most 500 mg",
        "ana, the stay: Sodium: 733.67 mg; at most 700 mg",
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
    assert said(window, menu) == ["ana, 2 days, 1, 2: Sodium: 733.67 mg; at most 700 mg"]


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


def test_what_is_free_in_the_day_may_be_eaten_at_any_meal():
    # Planned: a at lunch (Na 300), b at dinner (500.5); free: one a a day. Prescribed at most 550 a meal:
    # lunch 600 with the free a, 50 over; dinner 800.5, 250.5 over. A floor of 301 a meal: none eaten.
    who = person("ana", limits={"NA_mg": {"meal": (None, D(550))}})
    question = problem(ALL, people=(who,), days=1)
    ruled = rule(Nutrients, WIDE + "[nutrients.limits.NA_mg.meal]\nlow = 301", question)
    menu = tally(question, "ana 1 lunch main a 1\nana 1 dinner main b 1\nana 1 a 1?")
    key = "prescriptions.people.ana.limits.NA_mg.meal.high"
    found = {(b.origin.key, b.origin.meal): b.amount for b in ruled.breaches(menu)}
    assert found == {
        (key, "lunch"): 50,
        (key, "dinner"): D("250.5"),
        ("nutrients.limits.NA_mg.meal.low", "lunch"): 1,
    }
    program = build(question, (ruled, Free("a", 1)))
    (free,) = np.flatnonzero(~program.certain)
    rows = {
        program.origins[r].meal: program.row_column[program.row_start[r] : program.row_start[r + 1]]
        for r in range(program.m)
        if program.origins[r].key == key
    }
    assert set(rows) == {"lunch", "dinner"}
    assert all(free in columns for columns in rows.values())
    # a share of the meal's energy likewise: fat of a is 90 of 400 kcal
    share = "[nutrients.shares.FAT_g]\nkcal_per_g = 9\nhigh = 50\nwindow = 'meal'"
    fat = rule(Nutrients, WIDE + share, problem(ALL, days=1))
    # dinner of b alone is 360 of 600: 60 over; a would lower it by 110 and may be left: still 60
    menu = tally(fat.problem, "ana 1 lunch main a 1\nana 1 dinner main b 1\nana 1 a 1?")
    assert [b[3] for b in broken(fat, menu)] == ["60"]


def test_a_share_stated_for_a_day_kind_alone():
    # rest day (day 2) at dinner and lunch all a: fat 180 of 800 kcal is 22.5 %; at most 20 %: 20 over.
    # Day 1 has 450 of 1000 and only a floor, which holds.
    question = problem(ALL, kinds={2: "rest"})
    for base in ("low = 10\n", ""):
        toml = f"[nutrients.shares.FAT_g]\nkcal_per_g = 9\n{base}on = {{ rest = {{ high = 20 }} }}"
        ruled = rule(Nutrients, WIDE + toml, question)
        assert faults(ruled) == []
        assert broken(ruled, tally(question, TWO_DAYS)) == [
            ("nutrients.shares.FAT_g.on.rest.high", "ana", 1, "20", "kcal")
        ]
        # and no ceiling at all is asked of day 1
        asked = [a.origin.day for a in ruled.asks if a.side == "high" and ".shares." in a.origin.key]
        assert asked == [1]


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
    assert "Fat: 60 % of energy" in said(ruled, menu)[0]


def test_names_of_no_published_intake():
    toml = "[nutrients.reference]\nleave_out = ['FE_m']\nsoft_ceilings = { NA = 1, PROCNT_g = 1 }"
    assert faults(rule(Nutrients, toml, problem(ALL))) == [
        ("reference.leave_out", 'no published intake of "FE_m". Did you mean "FE_mg"?'),
        ("reference.soft_ceilings", 'no published ceiling of "NA".'),
        # protein has a recommended intake and no upper level
        ("reference.soft_ceilings", 'no published ceiling of "PROCNT_g".'),
    ]
    good = "[nutrients.reference]\nleave_out = ['PROCNT_g']\nsoft_ceilings = { NA_mg = 1 }"
    assert faults(rule(Nutrients, good, problem(ALL))) == []


def test_a_prescribed_floor_over_a_ceiling_of_the_config_is_told_at_the_ceiling():
    who = person("ana", limits={"NA_mg": {"day": (D(9), None)}})
    ruled = rule(Nutrients, WIDE + "[nutrients.limits.NA_mg.day]\nhigh = 8", problem(ALL, people=(who,)))
    text = "NA_mg over day for ana: low 9 is over high 8"
    assert set(faults(ruled)) == {("limits.NA_mg.day.high", text)}
    # against itself a prescription is told where its own file is read
    who = person("ana", limits={"NA_mg": {"day": (D(9), D(8))}})
    assert faults(rule(Nutrients, WIDE, problem(ALL, people=(who,)))) == []


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


def test_micrograms_are_written_one_way():
    question = problem((item("stew", VITD_ug="1"),))
    own = rule(Nutrients, "[nutrients.limits.VITD_ug.day]\nlow = 15", question)
    # one stew at each of two meals brings 2 of 15
    menu = tally(question, "ana 1 lunch main stew 1\nana 1 dinner main stew 1")
    assert "ana, day 1: Vitamin D: 2 µg; at least 15 µg" in said(own, menu)
    (low,) = (m for m in own.measures(menu) if m.origin.what == "VITD_ug" and m.amount == 13)
    assert [str(e) for (e,) in own.further(low.origin, low.amount, low=True)] == [
        "lower least vitamin D a day from 15 to 2 µg"
    ]
