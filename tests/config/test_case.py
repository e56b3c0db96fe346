"""A tiny project on disk: what it becomes, and every fault with its file and line."""

from __future__ import annotations

import re
from dataclasses import fields
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from optimenu.config.case import load_case
from optimenu.errors import InputFaults
from tests.commands import small

ITEMS = """\
id,name,courses,meals,form,serving_g,servings_per_pack,net_g,gross_g,volume_ml,water_ml,water_kind,\
allergen_milk,ENERC_KCAL_kcal,NA_mg
stew,Stew,main,lunch,canned,300,1,300,330,400,0,none,free,500,600
rice,Rice,main,lunch,canned,300,1,300,330,400,0,none,free,450,5
"""
TASTING = """\
person,item,kind,date,score,remark
ana,stew,serving,2030-12-01,8,
ana,rice,serving,2030-12-01,7,
"""
STOCK = """\
item,load,lot,production_date,use_by,packs,state
stew,first,1,2030-11-01,2032-01-01,9,released
rice,first,1,2030-11-01,2032-01-01,9,released
"""
PRESCRIPTIONS = """\
[people.ana]
by = "physician"
date = 2030-12-24
[people.ana.limits.NA_mg.day]
high = 2000
"""
CONFIG = """\
name = "Tiny"
[catalogue]
file = "items.csv"
[tasting]
file = "tasting.csv"
[prescriptions]
file = "prescriptions.toml"
[stock]
file = "stock.csv"
[stay]
first_date = 2031-01-01
last_date = 2031-01-05
cycle_days = 2
kinds = { rest = [2] }
[stay.loads.first]
arrives = 2030-12-20
[people.ana]
name = "Ana"
sex = "female"
age = 40
mass_kg = 60
height_m = 1.65
floor = 5.5
energy = { kcal = 500 }
energy_on = { rest = { kcal = 450 } }
[meals.lunch]
at = "12:00"
courses = { main = {} }
[nutrients.reference]
use = false
[water]
plain_ml = 900
plain_ml_on = { rest = 800 }
"""


def write(tmp_path, config=CONFIG, **files):
    """Write the project with some files replaced; return the config's path."""
    (tmp_path / ".optimenu-root").touch()
    texts = {
        "items.csv": ITEMS,
        "tasting.csv": TASTING,
        "stock.csv": STOCK,
        "prescriptions.toml": PRESCRIPTIONS,
    }
    texts |= {name.replace("_", ".", 1): text for name, text in files.items()}
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    path = tmp_path / "plan.toml"
    path.write_text(config)
    return path


def told(path):
    """Return the faults of a project as "file:line message"."""
    with pytest.raises(InputFaults) as caught:
        load_case(path)
    return [f"{f.file.rsplit('/', 1)[-1]}:{f.line} {f.message}" for f in caught.value.faults]


def changed(old, new, text=CONFIG):
    assert text.count(old) == 1, old
    return text.replace(old, new)


def line_of(text, start):
    """Return the number of the line that starts so."""
    return next(n for n, line in enumerate(text.splitlines(), 1) if line.startswith(start))


def test_a_project_becomes_a_case(tmp_path):
    case = load_case(write(tmp_path))
    question = case.problem
    assert question.name == "Tiny"
    assert question.dates[0] == date(2031, 1, 1)
    assert len(question.dates) == 5
    assert [(d.kind, d.weight) for d in question.days] == [("work", 3), ("rest", 2)]
    assert question.sequence == (0, 1, 0, 1, 0)
    (ana,) = question.people
    assert (ana.floor, ana.kcal_on("work"), ana.kcal_on("rest")) == (Decimal("5.5"), 500, 450)
    assert ana.prescription.limits["NA_mg"]["day"] == (None, 2000)
    assert question.acceptance["ana", "stew"].value == 8
    assert (question.plain_water("work"), question.plain_water("rest")) == (900, 800)
    assert [p.members for p in question.parties] == [(0,)]
    assert len(question.stock) == 2
    assert [f.name for f in case.files] == [
        "plan.toml",
        "items.csv",
        "tasting.csv",
        "stock.csv",
        "prescriptions.toml",
    ]
    assert case.root == tmp_path.resolve()
    place = case.where("stay.cycle_days")
    assert place.endswith(f"plan.toml:{line_of(CONFIG, 'cycle_days')}")
    assert case.where("stay.cycle_days.nothing") == place


def test_stock_and_prescriptions_may_be_left_out(tmp_path):
    config = re.sub(r"\[prescriptions\]\n.*\n\[stock\]\n.*\n", "", CONFIG)
    config = re.sub(r"\[stay\.loads\.first\]\n.*\n", "", config)
    case = load_case(write(tmp_path, config))
    assert case.problem.stock is None
    assert case.problem.loads[0].arrives == date(2031, 1, 1)
    assert case.problem.people[0].prescription.limits == {}


def test_eight_faults_at_once(tmp_path):
    config = changed("rest = [2] }", "rest = [2], feast = [2, 9] }")
    config = changed("arrives = 2030-12-20", "arrives = 2031-01-02", config)
    config = changed("floor = 5.5", "floor = 3", config)
    config = changed("energy = { kcal = 500 }", 'energy = { kcal = 500, edition = "2023" }', config)
    config = changed("energy_on = { rest ", "energy_on = { rets ", config)
    config = changed(
        "courses = { main = {} }", "courses = { main = {} }\non = { fest = { main = {} } }", config
    )
    script = PRESCRIPTIONS + '[people.bo]\nby = "physician"\ndate = 2030-12-24\n'
    at = {k: line_of(config, k) for k in ("kinds", "arrives", "floor", "energy ", "energy_on", "on =")}
    load, one = "[stay.loads.first] arrives", "needs exactly one of kcal, hours, or edition with activity"
    assert told(write(tmp_path, config, prescriptions_toml=script)) == [
        f"plan.toml:{at['kinds']} [stay.kinds] feast: day 2 is already of kind rest",
        f"plan.toml:{at['kinds']} [stay.kinds] feast: day 9 is not in the cycle of 2 days",
        f"plan.toml:{at['arrives']} {load}: no load has arrived on the first date 2031-01-01",
        f"plan.toml:{at['floor']} [people.ana] floor: a floor under 5 needs a floor_reason",
        f"plan.toml:{at['energy ']} [people.ana] energy: {one}",
        f'plan.toml:{at["energy_on"]} [people.ana.energy_on] rets: no day kind "rets". Did you mean "rest"?',
        f'plan.toml:{at["on ="]} [meals.lunch.on] fest: no day kind "fest". Did you mean "feast"?',
        f'prescriptions.toml:{line_of(script, "[people.bo]")} [people.bo] no person "bo" in the config.',
    ]


def test_faults_of_every_file_come_together(tmp_path):
    path = write(
        tmp_path,
        changed("cycle_days = 2", "cycle_days = 0"),
        tasting_csv=TASTING + "ann,stew,serving,2030-12-01,8,\n",
        stock_csv=STOCK + "stwe,first,1,2030-11-01,2032-01-01,9,released\n",
        prescriptions_toml=PRESCRIPTIONS.replace("high", "hihg"),
    )
    found = told(path)
    assert [f.split()[0] for f in found] == [
        "plan.toml:13",
        "prescriptions.toml:5",
        "stock.csv:4",
        "tasting.csv:4",
    ]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "last_date = 2031-01-05",
            "last_date = 2030-01-05",
            "plan.toml:12 [stay] last_date: 2030-01-05 is before first_date 2031-01-01",
        ),
        (
            "[stay.loads.first]",
            "[stay.loads.second]\narrives = 2030-12-20\n[stay.loads.first]",
            "plan.toml:15 [stay] loads: 2 loads arrive on 2030-12-20; make them one",
        ),
        (
            "[stay.loads.first]",
            "[stay.loads.one]",
            'stock.csv:2 load: no load "first" in [stay.loads].',
        ),
        (
            "energy = { kcal = 500 }",
            'energy = { edition = "2023", activity = "lazy" }',
            'plan.toml:24 [people.ana] energy: No activity level of the 2023 edition "lazy"',
        ),
        (
            "energy = { kcal = 500 }",
            "energy = { hours = { sleep = 8 } }",
            "plan.toml:24 [people.ana] energy: The hours of a day add up to 24, found 8.",
        ),
        (
            'file = "items.csv"',
            'file = "itmes.csv"',
            'plan.toml:3 [catalogue] file: there is no file "itmes.csv". Did you mean "items.csv"?',
        ),
        (
            'file = "tasting.csv"',
            'file = "../tasting.csv"',
            'plan.toml:5 [tasting] file: "../tasting.csv" lies outside the project',
        ),
        (
            "use = false",
            "use = false\n[repeats.x]\nof = 'item'",
            "plan.toml:31 [repeats] x: set most_a_day, most_a_cycle or gap_days",
        ),
        (
            "use = false",
            "use = false\n[nutrients.limits.FE_mg.day]\nlow = 1",
            "plan.toml:31 [nutrients.limits] FE_mg: the catalogue has no nutrient column FE_mg.",
        ),
        ("use = false", "use = false\nlow = 1", 'plan.toml:31 [nutrients.reference] no setting "low"'),
    ],
)
def test_a_fault_of_the_config(tmp_path, old, new, message):
    found = told(write(tmp_path, changed(old, new)))
    assert any(f.startswith(message) for f in found), found


def test_a_plan_needs_meals(tmp_path):
    config = re.sub(r"\[meals\.lunch\]\n.*\n.*\n", "[meals]\n", CONFIG)
    at = line_of(config, "[meals]")
    assert told(write(tmp_path, config)) == [
        f"plan.toml:{at} meals: no meals; add [meals.NAME] with at and courses"
    ]


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (
            '[people.ana.allergies]\nmlik = "severe"',
            'prescriptions.toml:7 [people.ana.allergies] mlik: no allergen "mlik". Did you mean "milk"?',
        ),
        (
            "[people.bo]\nby = 'physician'\ndate = 2030-12-24\ndiets = ['vegn']",
            'prescriptions.toml:9 [people.bo] diets: no diet "vegn". Did you mean "vegan"?',
        ),
        (
            "[people.ana.limits.K_mg.day]\nhigh = 1",
            "prescriptions.toml:6 [people.ana.limits] K_mg: the catalogue has no nutrient column K_mg, "
            'so the limit cannot be kept. Did you mean "NA_mg"?',
        ),
    ],
)
def test_a_fault_of_a_prescription(tmp_path, more, message):
    found = told(write(tmp_path, prescriptions_toml=f"{PRESCRIPTIONS}{more}\n"))
    assert message in found, found


SLIPS = """\
only_textures = ["soft", "chewey"]
never_textures = ["soft"]
[people.ana.intolerances]
mlik = { servings_a_day = 1 }
soy = { servings_a_day = 1 }
[people.ana.allergies]
soy = "severe"
[people.ana.limits.NA_mg.stay]
[people.ana.limits.ENERC_KCAL_kcal]
[people.ana.limits.VITK1_ug]
step = 40
[people.ana.medicines.one]
at = []
[people.ana.medicines.two]
at = ["07:00"]
apart = [{ tags = ["x"], hours_after = 1 }, { contains = ["nuts"] }]
[people.ana.apart.pair]
these = { items = ["stwe"], most = 3 }
those = { column = "CA_mg" }
hours = 4
"""


def test_slips_of_a_prescription_stand_at_their_lines(tmp_path):
    items = ITEMS.replace("form,", "form,texture,tags,").replace("canned,", "canned,soft,warm,")
    script = PRESCRIPTIONS.replace("[people.ana.limits.NA_mg.day]\nhigh = 2000\n", SLIPS)
    found = told(write(tmp_path, items_csv=items, prescriptions_toml=script))
    medicines, pair, limits = "people.ana.medicines", "people.ana.apart.pair", "people.ana.limits"
    say = "says nothing; set one of meal, day, three_days, seven_days, stay or step"
    columns = "the catalogue has no nutrient column"
    # the first line of the slips is the fourth of the file
    assert {f.removeprefix("prescriptions.toml:") for f in found} == {
        '4 [people.ana] only_textures: no texture "chewey" in the catalogue.',
        '5 [people.ana] never_textures: "soft" is in only_textures too; keep one of the two',
        '7 [people.ana.intolerances] mlik: no allergen "mlik". Did you mean "milk"?',
        "8 [people.ana.intolerances] soy: soy is under allergies already, which exclude it; "
        "keep one of the two",
        f"11 [{limits}.NA_mg] stay: set low or high",
        f"12 [{limits}] ENERC_KCAL_kcal: {say}",
        f"13 [{limits}] VITK1_ug: {columns} VITK1_ug, so the limit cannot be kept.",
        f"15 [{medicines}] one: says nothing: name in apart what is kept away from it",
        f'16 [{medicines}.one] at: a medicine needs the times of its doses, such as ["07:00"]',
        f'19 [{medicines}.two.apart] entry 1 tags: no tag "x" in the catalogue.',
        f'19 [{medicines}.two.apart] entry 2 contains: no allergen "nuts". Did you mean "peanuts"?',
        f"19 [{medicines}.two] apart entry 2: set hours_before or hours_after",
        f'21 [{pair}.these] items: no item "stwe" in the catalogue. Did you mean "stew"?',
        f"21 [{pair}.these] most: speaks of a nutrient; name its column too",
        f'22 [{pair}.those] column: {columns} CA_mg. Did you mean "NA_mg"?',
    }


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (
            "[people.ana.intolerances]\nmilk = { servings_a_day = 0 }",
            "[people.ana.intolerances.milk] servings_a_day: needs a whole number, 1 or more, found 0",
        ),
        (
            "[people.ana.limits.NA_mg]\nstep = -1",
            "[people.ana.limits.NA_mg] step: needs a number, 0 or more, found -1",
        ),
        (
            '[people.ana.medicines.x]\nat = ["7 o\'clock"]',
            '[people.ana.medicines.x] at entry 1: needs a time of day such as "07:30", found "7 o\'clock"',
        ),
        (
            "[people.ana.apart.x]\nthese = {}\nthose = {}\nhours = 25",
            "[people.ana.apart.x] hours: needs a number in h, above 0 and 24 or less, found 25",
        ),
    ],
)
def test_numbers_of_a_prescription(tmp_path, more, message):
    script = PRESCRIPTIONS.replace("[people.ana.limits.NA_mg.day]\nhigh = 2000\n", "") + more + "\n"
    found = told(write(tmp_path, prescriptions_toml=script))
    assert any(f.endswith(message) for f in found), found


@pytest.mark.parametrize("name", ["allergies", "diets", "intolerances", "medicines"])
def test_what_belongs_into_the_prescriptions_file(tmp_path, name):
    # a diet and an allergy that nobody reads would be worse than none
    config = changed("floor = 5.5", f"floor = 5.5\n{name} = {{ milk = 'severe' }}")
    at = line_of(config, f"{name} =")
    (found,) = [f for f in told(write(tmp_path, config)) if name in f]
    assert found == (
        f"plan.toml:{at} [people.ana] {name}: goes into the prescriptions file, the one that "
        "[prescriptions] names, under [people.NAME] there"
    )


def test_an_item_that_a_prescription_names_must_exist(tmp_path):
    script = PRESCRIPTIONS.replace("date", "never_items = ['stwe']\ndate")
    assert told(write(tmp_path, prescriptions_toml=script)) == [
        'prescriptions.toml:3 [people.ana] never_items: no item "stwe" in the catalogue. Did you mean "stew"?'
    ]


def test_a_tag_that_a_prescription_names_must_be_borne_by_an_item(tmp_path):
    # a misspelt exclusion would exclude nothing
    items = ITEMS.replace("form,", "form,tags,").replace("canned,", "canned,nuts,")
    script = PRESCRIPTIONS.replace("date", "never_tags = ['nutz']\ndate")
    path = write(tmp_path, items_csv=items, prescriptions_toml=script)
    assert told(path) == [
        'prescriptions.toml:3 [people.ana] never_tags: no tag "nutz" in the catalogue. Did you mean "nuts"?'
    ]
    good = write(tmp_path, items_csv=items, prescriptions_toml=script.replace("nutz", "nuts"))
    assert load_case(good).problem.people[0].prescription.never_tags == {"nuts"}


def test_a_prescription_that_cannot_be(tmp_path):
    script = PRESCRIPTIONS + "low = 2000.5\n[people.ana.supplements.iron]\nname = 'I'\n"
    script += "per_day = 1\namounts = { FE_m = 7, NA_mg = 2 }\n"
    assert told(write(tmp_path, prescriptions_toml=script)) == [
        "prescriptions.toml:6 [people.ana.limits.NA_mg.day] low: low 2000.5 is over high 2000",
        "prescriptions.toml:10 [people.ana.supplements.iron.amounts] FE_m: "
        'no nutrient column "FE_m". Did you mean "FE_mg"?',
    ]
    negative = script.replace("low = 2000.5\n", "").replace("per_day = 1", "per_day = -1")
    (fault,) = (f for f in told(write(tmp_path, prescriptions_toml=negative)) if "per_day" in f)
    assert fault == (
        "prescriptions.toml:8 [people.ana.supplements.iron] per_day: "
        "needs a number in pieces, 0 or more, found -1"
    )


def test_a_prescription_file_that_cannot_be_read(tmp_path):
    (found,) = told(write(tmp_path, prescriptions_toml="[people"))
    assert found.startswith("prescriptions.toml:1 column")


def test_extending_a_config_changes_one_person_and_nothing_else(tmp_path):
    base = load_case(write(tmp_path))
    other = tmp_path / "other.toml"
    other.write_text(
        'extends = "plan.toml"\nrole = "dietitian"\n[people.ana]\nmass_kg = 66.5\nenergy = { kcal = 620 }\n'
    )
    case = load_case(other)
    (before,), (after,) = base.problem.people, case.problem.people
    differ = {f.name for f in fields(before) if getattr(before, f.name) != getattr(after, f.name)}
    assert differ == {"mass_kg", "kcal", "steps"}
    assert (after.mass_kg, after.kcal_on("work"), after.kcal_on("rest")) == (Decimal("66.5"), 620, 450)
    for f in fields(base.problem):
        if f.name != "people":
            assert getattr(base.problem, f.name) == getattr(case.problem, f.name), f.name
    assert [r.settings for r in base.rules] == [r.settings for r in case.rules]
    assert case.where("people.ana.mass_kg").endswith("other.toml:4")
    assert case.where("people.ana.age").endswith(f"plan.toml:{line_of(CONFIG, 'age')}")


def test_a_floor_under_five_with_a_reason_stands(tmp_path):
    config = changed("floor = 5.5", 'floor = 4\nfloor_reason = "agreed"')
    assert load_case(write(tmp_path, config)).problem.people[0].floor == 4


def test_allowances_worth_more_than_the_energy_range_are_refused_with_the_sum(tmp_path: Path) -> None:
    extra = '[requests.juno_cocoa]\nitems = ["cocoa"]\npeople = ["juno"]\nextra_a_day = 5\n'
    path = small.write_project(tmp_path, small.CONFIG + extra)
    # 5 x 130 = 650 kcal; the range of 20 % either way of 1500 kcal is 600 wide
    with pytest.raises(InputFaults) as caught:
        load_case(path)
    (fault,) = caught.value.faults
    assert "5 x 130 cocoa = 650 kcal a day, more than the day's range of 600 kcal" in fault.message
    assert fault.line == small.CONFIG.count("\n") + 4


def test_two_people_cannot_bear_one_mark(tmp_path: Path) -> None:
    one = small.CONFIG.replace('name = "Juno"', 'name = "Juno"\nmark = "J"')
    two = (
        one
        + """
[people.jo]
name = "Jo"
mark = "j"
sex = "male"
age = 40
mass_kg = 70
height_m = 1.7
energy = { kcal = 2000 }
"""
    )
    with pytest.raises(InputFaults, match='"j" is the mark of juno already'):
        load_case(small.write_project(tmp_path, two))


def test_a_load_without_lots_is_a_fault_of_the_load(tmp_path: Path) -> None:
    text = small.CONFIG.replace(
        "[people.juno]", "loads.first.arrives = 2031-03-01\nloads.late.arrives = 2031-03-03\n[people.juno]", 1
    )
    path = small.write_project(tmp_path, text + '[stock]\nfile = "stock.csv"\n')
    (tmp_path / "stock.csv").write_text(
        "item,load,lot,production_date,use_by,packs,state\nbean_stew,first,a,2031-01-01,2032-01-01,9,released\n"
    )
    with pytest.raises(InputFaults, match='no lot of load "late" in the stock table'):
        load_case(path)
    path.write_text(path.read_text() + 'unlisted = "order"\n')
    assert len(load_case(path).problem.loads) == 2


def test_prescribed_keys_are_found_in_the_prescriptions() -> None:
    case = load_case(Path(__file__).parents[2] / "configs" / "station.toml")
    key = "prescriptions.people.yuki.allergies.peanuts"
    assert case.where(key).endswith("station/prescriptions.toml:15")
    assert case.where("prescriptions.people.yuki.allergies.peanuts.never") == case.where(key)
    assert case.written(key) == "severe"
    assert case.where("prescriptions.file").endswith("station.toml:13")
    assert case.written("stowage.volume_l") == 505
    assert case.written("stowage.volume_l.more") is None
    assert case.written("stowage.nothing") is None
