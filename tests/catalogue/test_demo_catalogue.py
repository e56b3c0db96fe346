"""The demo catalogue: complete, within its own words, physically possible, and wide enough."""

from __future__ import annotations

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from optimenu.catalogue.columns import (
    ALL_COLUMNS,
    ALLERGEN_COLUMNS,
    ALLERGEN_STATES,
    DIET_COLUMNS,
    FORMS,
    ITEM_COLUMNS,
    LOSS_COLUMNS,
)
from optimenu.catalogue.read import read_catalogue
from optimenu.nutrition.nutrients import BY_COLUMN

CATALOGS = Path(__file__).parents[2] / "catalogs"
ITEMS = CATALOGS / "items.csv"
COURSES = {
    *("main", "side", "fruit", "bread", "soup", "vegetable"),
    *("dessert", "drink", "snack", "spread", "condiment"),
}
MEALS = {"breakfast", "lunch", "dinner", "snack"}

with ITEMS.open(encoding="utf-8", newline="") as _lines:
    ROWS = list(csv.DictReader(_lines))


def words(row: dict[str, str], column: str) -> set[str]:
    return set(row[column].split(";")) - {""}


def number(row: dict[str, str], column: str) -> Decimal:
    return Decimal(row[column])


def wrong(test) -> list[str]:
    return [row["id"] for row in ROWS if not test(row)]


def test_reads_without_a_fault():
    assert len(read_catalogue(ITEMS).items) == len(ROWS)


def test_counts():
    assert len(ROWS) >= 280
    assert len({row["id"] for row in ROWS}) == len(ROWS)
    assert len({row["name"].lower() for row in ROWS}) == len(ROWS)
    assert sum("condiment" in words(row, "courses") for row in ROWS) >= 24
    assert sum(words(row, "courses") & {"main"} == {"main"} for row in ROWS) >= 115


def test_only_declared_columns_and_all_of_the_needed():
    columns = set(ROWS[0])
    assert columns <= set(ALL_COLUMNS)
    needed = {c.name for c in (*ITEM_COLUMNS, *ALLERGEN_COLUMNS, *DIET_COLUMNS, *LOSS_COLUMNS)}
    assert needed <= columns
    assert len(columns & set(BY_COLUMN)) >= 42


def test_courses_and_meals_are_ours():
    assert wrong(lambda row: words(row, "courses") and words(row, "courses") <= COURSES) == []
    assert wrong(lambda row: words(row, "meals") and words(row, "meals") <= MEALS) == []


def test_every_form_and_allergen_state_occurs():
    assert {row["form"] for row in ROWS} == set(FORMS)
    states = {row[c.name] for row in ROWS for c in ALLERGEN_COLUMNS}
    assert states == set(ALLERGEN_STATES)


def test_tags_say_what_rules_need():
    assert wrong(lambda r: ("spread" in words(r, "courses")) <= ("spread" in words(r, "tags"))) == []
    assert wrong(lambda r: ("bread" in words(r, "courses")) <= ("bread_base" in words(r, "tags"))) == []
    fortified = {
        line.split(",")[0]
        for line in (CATALOGS / "recipes.csv").read_text(encoding="utf-8").splitlines()
        if ",add:" in line
    }
    assert fortified
    assert wrong(lambda r: (r["id"] in fortified) == ("fortified" in words(r, "tags"))) == []


def test_masses_agree():
    servings = "servings_per_pack"
    assert wrong(lambda r: number(r, "net_g") == number(r, "serving_g") * number(r, servings)) == []
    assert wrong(lambda r: number(r, "gross_g") == number(r, "net_g") + number(r, "tare_g")) == []
    # Packed food is never denser than 1.6 g/mL (granulated salt or sugar, common practice, no source)
    # nor fluffier than 0.1 g/mL.
    least, most = Decimal("0.1"), Decimal("1.6")
    assert wrong(lambda r: least <= number(r, "net_g") / number(r, "volume_ml") <= most) == []


def test_water_is_part_of_the_serving():
    known = [r for r in ROWS if r["WATER_g"]]
    assert [r["id"] for r in known if number(r, "WATER_g") > number(r, "serving_g")] == []
    # Freeze-dried food keeps a few per cent of moisture.
    dry = [r for r in known if r["form"] == "freeze-dried"]
    assert [r["id"] for r in dry if number(r, "WATER_g") > Decimal("0.08") * number(r, "serving_g")] == []


def test_water_heat_and_shelf_life_agree():
    assert wrong(lambda r: (r["water_kind"] == "none") == (number(r, "water_ml") == 0)) == []
    added = [r for r in ROWS if r["water_kind"] != "none"]
    assert [r["id"] for r in added if not 50 <= number(r, "water_ml") <= 250] == []
    assert wrong(lambda r: number(r, "use_by_months") >= number(r, "best_before_months")) == []
    opened = [r for r in ROWS if number(r, "servings_per_pack") > 1]
    assert len(opened) >= 20
    assert [r["id"] for r in opened if not r["open_hours"]] == []


@pytest.mark.parametrize(
    ("part", "whole", "slack"),  # both sides are rounded as on a label: slack is half an increment each
    [
        ("SUGAR_g", "CHOCDF_g", 1),
        ("FIBTG_g", "CHOCDF_g", 1),
        ("SUGAD_g", "SUGAR_g", 0),
        ("FASAT_g", "FAT_g", 1),
        ("RETOL_ug", "VITA_RAE_ug", 5),
        ("FOLAC_ug", "FOL_ug", 0),
        ("NIA_ADD_mg", "NIA_mg", 0),
        ("TOCPHA_ADD_mg", "TOCPHA_mg", 0),
    ],
)
def test_parts_are_not_more_than_the_whole(part, whole, slack):
    both = [r for r in ROWS if r[part] and r[whole]]
    assert len(both) > len(ROWS) * 0.9
    assert [r["id"] for r in both if number(r, part) > number(r, whole) + slack] == []


def test_energy_agrees_with_the_general_factors():
    # FAO Food and Nutrition Paper 77, 2003: 4, 9, 4, 7 kcal/g for protein, fat, carbohydrate, alcohol,
    # fibre 2. The table behind the recipes uses factors of each food, hence 25 %.
    def close(row: dict[str, str]) -> bool:
        fibre = number(row, "FIBTG_g")
        factors = (
            4 * number(row, "PROCNT_g")
            + 9 * number(row, "FAT_g")
            + 4 * (number(row, "CHOCDF_g") - fibre)
            + 2 * fibre
            + 7 * Decimal(row["ALC_g"] or 0)
        )
        energy = number(row, "ENERC_KCAL_kcal")
        return energy <= 40 or abs(factors - energy) <= energy / 4

    assert wrong(close) == []


def test_unknown_values_stay_unknown():
    assert any(not row["CHOLN_mg"] for row in ROWS)
    assert wrong(lambda r: r["ENERC_KCAL_kcal"] and r["NA_mg"] and r["PROCNT_g"]) == []
    # An unknown added part has the whole as its upper estimate, a known one has none.
    for part in ("SUGAD_g", "NIA_ADD_mg"):
        assert wrong(lambda r, part=part: not (r[part] and r[f"{part}_upper"])) == []


def test_gelatine_and_flesh_are_not_vegetarian():
    assert wrong(lambda r: not (r["diet_vegan"] == "yes" and r["diet_vegetarian"] != "yes")) == []
    assert wrong(lambda r: not (r["diet_no_gelatine"] == "no" and r["diet_vegetarian"] != "no")) == []
    flesh = ("allergen_fish", "allergen_crustaceans", "allergen_molluscs")
    assert wrong(lambda r: not ("contains" in {r[a] for a in flesh} and r["diet_vegetarian"] != "no")) == []
    animal = ("allergen_milk", "allergen_egg")
    assert wrong(lambda r: not ("contains" in {r[a] for a in animal} and r["diet_vegan"] == "yes")) == []


@pytest.mark.parametrize(
    ("course", "meals"),
    [
        ("main", "breakfast lunch dinner"),
        ("side", "breakfast lunch dinner"),
        ("fruit", "breakfast lunch snack"),
        ("bread", "breakfast lunch dinner"),
        ("soup", "lunch dinner"),
        ("vegetable", "lunch dinner"),
        ("dessert", "lunch dinner"),
        ("drink", "breakfast lunch dinner snack"),
        ("snack", "snack"),
        ("spread", "breakfast lunch snack"),
        ("condiment", "breakfast lunch dinner"),
    ],
)
def test_a_coeliac_with_a_nut_allergy_has_a_choice(course, meals):
    free = ("allergen_gluten", "allergen_wheat", "allergen_tree_nuts", "allergen_peanuts")
    for meal in meals.split():
        here = [r for r in ROWS if course in words(r, "courses") and meal in words(r, "meals")]
        assert sum(all(r[a] == "free" for a in free) for r in here) >= 10
        assert sum(r["diet_vegetarian"] == "yes" for r in here) >= 10
