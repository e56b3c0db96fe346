"""What a plan still waits for, on a small invented crew of three."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from optimenu.config.case import load_case
from optimenu.config.inspect import inspect
from optimenu.config.open_points import OpenPoint, open_points
from tests.commands.small import CONFIG, ITEMS, write_project
from tests.views.pair import write_pair

CREW = CONFIG + "".join(
    f'[people.{name}]\nname = "{name.title()}"\nsex = "male"\nage = 40\nmass_kg = 70\nheight_m = 1.8\n'
    "energy = { kcal = 1500 }\n"
    for name in ("bo", "cy")
)
LOTS = "item,load,lot,production_date,use_by,best_before,packs,state\n"


def found(config: Path) -> dict[tuple[str, str], OpenPoint]:
    """Return the open points by kind and what they are about."""
    return {(p.kind, p.about): p for p in open_points(load_case(config))}


def facts(config: Path, kind: str, about: str = "") -> list[dict[str, Any]]:
    point = found(config).get((kind, about))
    return [] if point is None else point.facts


def changed(path: Path, old: str, new: str) -> None:
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new))


def in_stock(folder: Path, *lots: str) -> Path:
    """Write the small project with a stock of everything and some lots more; return its config."""
    path = write_project(folder, CONFIG + '[stock]\nfile = "stock.csv"\n')
    all_of_it = [
        f"{line.split(',')[0]},first,A,2031-01-01,2032-01-01,,60,released" for line in ITEMS.split("\n")[1:-1]
    ]
    (folder / "stock.csv").write_text(LOTS + "\n".join([*all_of_it, *lots]) + "\n")
    return path


def test_nothing_waits_where_all_is_known(tmp_path: Path) -> None:
    assert found(write_project(tmp_path)) == {}


def test_people_of_whom_the_physician_has_said_nothing(tmp_path: Path) -> None:
    point = found(write_project(tmp_path, CREW))["no_prescription", ""]
    assert point.facts == [{"person": "bo"}, {"person": "cy"}]
    assert point.waits_on == "the physician"


def test_unknown_allergens_of_what_could_be_used(tmp_path: Path) -> None:
    config = write_project(tmp_path)
    items = tmp_path / "items.csv"
    changed(items, "cocoa,free", "cocoa,unknown")
    changed(items, "oats,free", "oats,")
    # offered in no course of this config, so nobody need ask
    items.write_text(
        items.read_text() + "pea_soup,Pea soup,soup,dinner,dried,40,1,40,46,90,0,none,peas,,90,5\n"
    )
    assert facts(config, "allergen_unknown", "peanuts") == [
        {"item": "oat_cake", "name": "Oat cake"},
        {"item": "cocoa", "name": "Cocoa"},
    ]
    assert "maker" in found(config)["allergen_unknown", "peanuts"].waits_on
    # what nobody must avoid need not be known
    changed(tmp_path / "prescriptions.toml", 'peanuts = "severe"', "")
    assert facts(config, "allergen_unknown", "peanuts") == []


def test_an_item_not_in_stock_need_not_be_asked_about(tmp_path: Path) -> None:
    config = in_stock(tmp_path)
    changed(tmp_path / "items.csv", "cocoa,free", "cocoa,unknown")
    assert len(facts(config, "allergen_unknown", "peanuts")) == 1
    changed(tmp_path / "stock.csv", "cocoa,first,A,2031-01-01,2032-01-01,,60,released\n", "")
    assert facts(config, "allergen_unknown", "peanuts") == []


def test_dishes_that_others_like_wait_for_a_tasting(tmp_path: Path) -> None:
    config = write_project(tmp_path, CREW + '[avoid.people.juno]\nitems = ["bean_stew"]\n')
    tasting = tmp_path / "tasting.csv"
    mine = [
        line
        for line in tasting.read_text().splitlines()
        if line.split(",")[1] in ("cocoa", "lentil_curry", "item")
    ]
    scores = {
        "fish_pie": (7, 8),
        "egg_hash": (7, "6.9"),  # one of them does not like it
        "groundnut_soup_pot": (9, 9),  # holds what Juno must never have
        "bean_stew": (9, 9),  # on the list of what Juno would rather not have
        "barley_porridge": (7, 7),
        "pear_halves": (9, 9),  # not of a course that takes only tasted items
        "lentil_curry": (9, 9),  # tasted by Juno
    }
    for item, (bo, cy) in scores.items():
        mine += [f"bo,{item},sample,2031-01-10,{bo},", f"cy,{item},serving,2031-01-10,{cy},"]
    tasting.write_text("\n".join(mine) + "\n")
    assert facts(config, "not_tasted", "juno") == [
        {"item": "barley_porridge", "name": "Barley porridge", "liked_by": ["bo", "cy"]},
        {"item": "fish_pie", "name": "Fish pie", "liked_by": ["bo", "cy"]},
    ]
    assert found(config)["not_tasted", "juno"].waits_on == "a tasting by Juno"
    # what is not known to be free of an allergen is not to be tasted
    changed(tmp_path / "items.csv", "cod,free", "cod,unknown")
    assert [f["item"] for f in facts(config, "not_tasted", "juno")] == ["barley_porridge"]
    config.write_text(config.read_text() + "[avoid]\ntasted_courses = []\n")
    assert facts(config, "not_tasted", "juno") == []


def test_lots_by_state_and_who_must_act(tmp_path: Path) -> None:
    config = in_stock(
        tmp_path,
        "cocoa,first,B,2031-01-01,2032-01-01,,5,held",
        "cocoa,first,C,2031-01-01,2032-01-01,,0,held",
        "fish_pie,first,D,2031-01-01,2032-01-01,,7,rejected",
        "egg_hash,first,E,2031-01-01,2032-01-01,,9,ordered",
    )
    lots = {about: (p.waits_on, p.facts) for (kind, about), p in found(config).items() if kind == "lots"}
    assert lots == {
        "held": ("quality", [{"item": "cocoa", "name": "Cocoa", "load": "first", "lot": "B", "packs": 5}]),
        "rejected": (
            "the planner",
            [{"item": "fish_pie", "name": "Fish pie", "load": "first", "lot": "D", "packs": 7}],
        ),
        "ordered": (
            "the supplier",
            [{"item": "egg_hash", "name": "Egg hash", "load": "first", "lot": "E", "packs": 9}],
        ),
    }


def test_dates_that_pass_during_the_stay(tmp_path: Path) -> None:
    # the last date is 4 March: what is good on it does not pass during the stay
    config = in_stock(
        tmp_path,
        "cocoa,first,B,2031-01-01,2031-03-03,,5,released",
        "cocoa,first,C,2031-01-01,2031-03-04,,5,released",
        "fish_pie,first,D,2031-01-01,2032-01-01,2031-03-03,7,released",
        "fish_pie,first,E,2031-01-01,2032-01-01,2031-03-04,7,released",
        "egg_hash,first,F,2031-01-01,2031-03-02,2031-03-01,7,released",
        "egg_hash,first,G,2031-01-01,2031-03-02,2031-03-01,7,held",
    )
    assert [f["lot"] for f in facts(config, "use_by")] == ["B", "F"]
    assert [f["lot"] for f in facts(config, "best_before")] == ["D"]


def test_nutrients_nobody_can_judge(tmp_path: Path) -> None:
    config = write_project(tmp_path, CONFIG.replace("use = false", 'leave_out = ["PROCNT_g"]'))
    assert facts(config, "left_out") == [{"column": "PROCNT_g"}]
    lacking = [f["column"] for f in facts(config, "not_assessed")]
    assert "FE_mg" in lacking and "PROCNT_g" not in lacking


def test_ceilings_that_unknown_values_keep_from_being_proved(tmp_path: Path) -> None:
    config = write_project(tmp_path, CONFIG + "[nutrients.limits.PROCNT_g.day]\nhigh = 200\n")
    assert facts(config, "not_proved") == []
    items = tmp_path / "items.csv"
    changed(items, "cocoa,free,130,7\n", "cocoa,free,130,\n")
    # not on offer to anybody: it holds peanuts
    changed(items, "peanuts,contains,520,21\n", "peanuts,contains,520,\n")
    assert facts(config, "not_proved") == [{"column": "PROCNT_g", "items": 1, "of": 13}]
    # an upper estimate proves it
    text = items.read_text().splitlines()
    rows = [f"{text[0]},PROCNT_g_upper"] + [f"{r},{9 if r.startswith('cocoa') else ''}" for r in text[1:]]
    items.write_text("\n".join(rows) + "\n")
    assert facts(config, "not_proved") == []


def test_a_floor_on_a_proportion_rests_on_what_it_is_measured_by(tmp_path: Path) -> None:
    config = write_project(tmp_path, CONFIG + "[nutrients.per_1000_kcal.PROCNT_g]\nlow = 1\n")
    changed(tmp_path / "items.csv", "cocoa,free,130,7\n", "cocoa,free,,7\n")
    changed(tmp_path / "items.csv", "mint,free,2,0\n", "mint,free,2,\n")
    assert facts(config, "not_proved") == [{"column": "ENERC_KCAL_kcal", "items": 1, "of": 13}]


def test_a_course_for_which_nothing_is_left(tmp_path: Path) -> None:
    config = write_project(tmp_path)
    changed(tmp_path / "items.csv", "rye,free", "rye,unknown")
    assert facts(config, "no_item") == []
    changed(tmp_path / "items.csv", "oats,free", "oats,unknown")
    expected = {"person": "juno", "meal": "dinner", "course": "bread", "reserve": False, "days": []}
    assert facts(config, "no_item") == [expected]
    # it comes before everything else
    assert open_points(load_case(config))[0].kind == "no_item"
    # a course that may stay empty is none of these
    changed(config, "bread = { least = 1,", "bread = { least = 0,")
    assert facts(config, "no_item") == []


def test_a_course_for_which_nothing_is_left_on_some_days_only(tmp_path: Path) -> None:
    config = in_stock(tmp_path)
    assert facts(config, "no_item") == []
    # day 1 serves 1 and 3 March, day 2 serves 2 and 4 March: bread of the 3rd cannot last for day 2
    for item in ("rye_bread", "oat_cake"):
        lot = f"{item},first,A,2031-01-01,2032-01-01"
        changed(tmp_path / "stock.csv", lot, lot.replace("2032-01-01", "2031-03-03"))
    assert [(f["meal"], f["days"]) for f in facts(config, "no_item")] == [("dinner", ["day 2"])]


def test_a_reserve_without_items(tmp_path: Path) -> None:
    config = write_pair(tmp_path)
    changed(
        config, "main = { least = 1, most = 2, weight = 0 }\n", "soup = { least = 1, most = 2, weight = 0 }\n"
    )
    assert facts(config, "no_item") == [
        {"person": p, "meal": "spare", "course": "soup", "reserve": True, "days": []} for p in ("juno", "bo")
    ]


def test_what_was_changed_and_by_whom(tmp_path: Path) -> None:
    write_project(tmp_path)
    (tmp_path / "middle.toml").write_text(
        'extends = "plan.toml"\nrole = "dietitian"\n[people.juno]\nfloor = 5.5\n[repeats.same_dish]\n'
        'courses = ["main", "fruit"]\n'
    )
    config = tmp_path / "child.toml"
    config.write_text('extends = "middle.toml"\n[stowage]\ngross_kg = 9\n')
    points = found(config)
    assert points["changed", "planner"].waits_on == "the planner"
    (mine,) = points["changed", "planner"].facts
    assert (mine["key"], mine["old"], mine["new"], mine["line"]) == ("stowage.gross_kg", "8", "9", 3)
    assert mine["file"].endswith("child.toml")
    assert [(f["key"], f["old"], f["new"]) for f in points["changed", "dietitian"].facts] == [
        ("people.juno.floor", None, "5.5"),
        ("repeats.same_dish.courses", '["main"]', '["main", "fruit"]'),
    ]


@pytest.mark.parametrize("block", ["cycle", "reserve"])
def test_what_is_left_is_counted_for_cycle_and_reserve(tmp_path: Path, block: str) -> None:
    choices = inspect(load_case(write_pair(tmp_path))).people[0].choices
    mains = {c.meal: (c.left, c.offered) for c in choices if c.block == block and c.course == "main"}
    assert mains == ({"breakfast": (3, 3), "dinner": (3, 4)} if block == "cycle" else {"spare": (6, 7)})
