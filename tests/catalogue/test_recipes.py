"""Summing recipes: by hand on tiny cases, and the demo catalogue against its composition table."""

from __future__ import annotations

import csv
import os
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest

from optimenu.catalogue.recipes import (
    ORIGIN,
    Part,
    Recipe,
    main,
    nutrient_cells,
    read_composition,
    read_recipes,
    refill,
    round_as_label,
    sum_recipe,
)
from optimenu.errors import InputFaults

ROOT = Path(__file__).parents[2]
HEADER = "item,ingredient,grams,amount,sugars,note\n"


def d(number: str | int) -> Decimal:
    return Decimal(number)


# Invented foods, round numbers per 100 g, so that the sums below can be done in the head.
FOODS = {
    "Grain": {
        "ENERC_KCAL_kcal": d(400),
        "FE_mg": d(4),
        "SUGAR_g": d(2),
        "WATER_g": d(10),
        "NIA_mg": d(5),
        "FOLAC_ug": d(0),
    },
    "Enriched grain": {"ENERC_KCAL_kcal": d(400), "NIA_mg": d(8), "FOLAC_ug": d(150)},
    "Fruit": {
        "ENERC_KCAL_kcal": d(50),
        "SUGAR_g": d(12),
        "WATER_g": d(85),
        "NIA_mg": d(0),
        "FOLAC_ug": d(0),
    },
    "Sugar": {
        "ENERC_KCAL_kcal": d(390),
        "FE_mg": d(0),
        "SUGAR_g": d(100),
        "WATER_g": d(0),
        "NIA_mg": d(0),
        "FOLAC_ug": d(0),
    },
}


def test_sum_is_grams_times_value_per_100_g():
    found = sum_recipe(Recipe((Part("Grain", d(50)), Part("Sugar", d(10)))), FOODS)
    assert found["ENERC_KCAL_kcal"] == d(239)  # 0.5 x 400 + 0.1 x 390
    assert found["FE_mg"] == d(2)


def test_unknown_above_5_percent_of_the_mass_is_unknown():
    # Fruit has no iron value. 5 g of 100 g is not more than 5 %, 6 g is.
    at = sum_recipe(Recipe((Part("Grain", d(95)), Part("Fruit", d(5)))), FOODS)
    over = sum_recipe(Recipe((Part("Grain", d(94)), Part("Fruit", d(6)))), FOODS)
    assert at["FE_mg"] == d("3.8")
    assert "FE_mg" not in over
    assert nutrient_cells(over)["FE_mg"] == ""


def test_unknown_small_parts_count_together():
    parts = (Part("Sugar", d(94)), Part("Fruit", d(3)), Part("Enriched grain", d(3)))
    assert "FE_mg" not in sum_recipe(Recipe(parts), FOODS)


def test_water_removed_leaves_the_solids():
    recipe = Recipe((Part("Fruit", d(100)),), water_out=d(80))
    found = sum_recipe(recipe, FOODS)
    assert recipe.serving_g == d(20)
    assert (found["WATER_g"], found["SUGAR_g"]) == (d(5), d(12))


def test_fortification_carries_over():
    # 1 ug folic acid = 1.7 ug DFE, 1 ug retinol = 1 ug RAE (Institute of Medicine 1998, 2001).
    base = {"Flour": {c: d(0) for c in ("FOL_ug", "FOLAC_ug", "FOLDFE_ug", "VITA_RAE_ug", "RETOL_ug")}}
    base["Flour"] |= {"NIA_mg": d(2), "TOCPHA_mg": d(1), "FE_mg": d(3)}
    added = {
        "FOLAC_ug": d(100),
        "RETOL_ug": d(50),
        "NIA_ADD_mg": d(4),
        "TOCPHA_ADD_mg": d(5),
        "FE_mg": d(6),
    }
    found = sum_recipe(Recipe((Part("Flour", d(100)),), added=added), base)
    assert (found["FOLAC_ug"], found["FOL_ug"], found["FOLDFE_ug"]) == (d(100), d(100), d(170))
    assert (found["RETOL_ug"], found["VITA_RAE_ug"]) == (d(50), d(50))
    assert (found["NIA_ADD_mg"], found["NIA_mg"]) == (d(4), d(6))
    assert (found["TOCPHA_ADD_mg"], found["TOCPHA_mg"]) == (d(5), d(6))
    assert found["FE_mg"] == d(9)


def test_added_to_an_unknown_stays_unknown():
    found = sum_recipe(Recipe((Part("Fruit", d(100)),), added={"FE_mg": d(6)}), FOODS)
    assert "FE_mg" not in found


def test_added_sugars_are_known_unless_a_bought_mixture_is_in():
    plain = sum_recipe(Recipe((Part("Grain", d(90)), Part("Sugar", d(10), "added"))), FOODS)
    mixed = sum_recipe(Recipe((Part("Grain", d(80)), Part("Fruit", d(20), "mixed"))), FOODS)
    assert plain["SUGAD_g"] == d(10)
    cells = nutrient_cells(mixed)
    assert (cells["SUGAR_g"], cells["SUGAD_g"], cells["SUGAD_g_upper"]) == ("4", "", "4")
    assert nutrient_cells(plain)["SUGAD_g_upper"] == ""


def test_added_niacin_of_an_enriched_grain_is_unknown_but_at_most_all_of_it():
    cells = nutrient_cells(sum_recipe(Recipe((Part("Enriched grain", d(50)),)), FOODS))
    assert (cells["NIA_mg"], cells["NIA_ADD_mg"], cells["NIA_ADD_mg_upper"]) == ("4", "", "4")
    plain = nutrient_cells(sum_recipe(Recipe((Part("Grain", d(50)),)), FOODS))
    assert (plain["NIA_ADD_mg"], plain["NIA_ADD_mg_upper"]) == ("0", "")


# FDA, A Food Labeling Guide, Appendix H, for 21 CFR 101.9(c): read. Vitamins and minerals: FDA guidance
# on the 2016 rule, 0.1 / 1 / 10 by size of the Daily Value, finer to reach 2 % of it: partly from memory.
@pytest.mark.parametrize(
    ("column", "value", "label"),
    [
        ("ENERC_KCAL_kcal", "4.9", "0"),  # under 5: 0
        ("ENERC_KCAL_kcal", "47.5", "50"),  # 5 to 50: nearest 5, halves up
        ("ENERC_KCAL_kcal", "50", "50"),
        ("ENERC_KCAL_kcal", "54.9", "50"),  # above 50: nearest 10
        ("ENERC_KCAL_kcal", "55", "60"),
        ("FAT_g", "0.49", "0"),  # under 0.5: 0
        ("FAT_g", "2.24", "2"),  # under 5: nearest 0.5
        ("FAT_g", "2.25", "2.5"),
        ("FAT_g", "4.8", "5"),  # 4.75 to 4.99 rounds to 5
        ("FASAT_g", "5.49", "5"),  # above: nearest 1
        ("CHOLE_mg", "1.9", "0"),  # under 2: 0
        ("CHOLE_mg", "3.4", "3"),  # 2 to 5, "less than 5 mg": own decimals
        ("CHOLE_mg", "12.5", "15"),  # above 5: nearest 5
        ("NA_mg", "4.9", "0"),  # under 5: 0
        ("NA_mg", "138", "140"),  # 5 to 140: nearest 5
        ("NA_mg", "146", "150"),  # above 140: nearest 10
        ("PROCNT_g", "0.4", "0"),  # under 0.5: 0
        ("PROCNT_g", "0.62", "0.6"),  # "less than 1 g": own decimals
        ("CHOCDF_g", "12.5", "13"),  # from 1: nearest 1, halves up
        ("FE_mg", "2.25", "2.3"),  # Daily Value 18 mg: 0.1
        ("VITC_mg", "12.4", "12"),  # 90 mg: 1
        ("CA_mg", "114.9", "110"),  # 1300 mg: 10
        ("MG_mg", "37.4", "37"),  # 420 mg: 10 exceeds 2 % (8.4), so 1
        ("THIA_mg", "0.126", "0.13"),  # 1.2 mg: 0.1 exceeds 2 %, so 0.01
        ("CU_mg", "0.126", "0.13"),  # 0.9 mg: likewise
        ("K_mg", "344", "340"),  # 4700 mg: 10
        ("NIA_ADD_mg", "3.96", "4"),  # as niacin
        ("F22D6_g", "0.4444", "0.444"),  # on no label: own decimals
        ("WATER_g", "12.35", "12.4"),
    ],
)
def test_rounded_as_on_a_label(column, value, label):
    assert round_as_label(column, d(value)) == d(label)


def test_reads_recipes(tmp_path):
    path = tmp_path / "recipes.csv"
    path.write_text(
        HEADER + "mash,Potato,100,,,\nmash,Sugar,2.5,,added,\nmash,add:FE_mg,,4,,\n"
        "mash,remove:WATER,,70,,dried\nmash,remove:WATER,,1,,\n"
    )
    recipe = read_recipes(path)["mash"]
    assert recipe.parts == (Part("Potato", d(100)), Part("Sugar", d("2.5"), "added"))
    assert recipe.added == {"FE_mg": d(4)}
    assert recipe.serving_g == d("31.5")


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("mash,Potato,n.a.,,,", 'mash, Potato: grams needs a number of 0 or more, found "n.a."'),
        ("mash,Potato,-1,,,", 'mash, Potato: grams needs a number of 0 or more, found "-1"'),
        ("mash,Potato,nan,,,", 'mash, Potato: grams needs a number of 0 or more, found "nan"'),
        ("mash,add:FE_mg,,,,", 'mash, add:FE_mg: amount needs a number of 0 or more, found ""'),
        ("mash,Potato,1,,some,", 'mash, Potato: sugars must be empty, added or mixed, found "some"'),
        ("mash,remove:FAT,,1,,", 'mash: only WATER can be removed, found "FAT"'),
        ("mash,add:FE_gm,,1,,", 'mash: no nutrient column "FE_gm". Did you mean "FE_mg"?'),
    ],
)
def test_faulty_recipe_line(tmp_path, line, message):
    path = tmp_path / "recipes.csv"
    path.write_text(HEADER + "mash,Potato,100,,,\n" + line + "\n")
    with pytest.raises(InputFaults) as caught:
        read_recipes(path)
    assert [(f.line, f.message) for f in caught.value.faults] == [(3, message)]


def test_wrong_recipe_columns(tmp_path):
    path = tmp_path / "recipes.csv"
    path.write_text("item,ingredient,mass\n")
    with pytest.raises(InputFaults, match="columns must be item, ingredient, grams, amount, sugars, note"):
        read_recipes(path)


def test_refill_names_every_mismatch():
    recipes = {
        "a": Recipe((Part("Grain", d(50)),)),
        "b": Recipe((Part("Fruits", d(50)),)),
        "x": Recipe((Part("Grain", d(50)),)),
    }
    items = [
        {"id": "a", "serving_g": "60"},
        {"id": "b", "serving_g": "50"},
        {"id": "c", "serving_g": "50"},
    ]
    with pytest.raises(InputFaults) as caught:
        refill(items, recipes, FOODS)
    assert [f.message for f in caught.value.faults] == [
        "a: serving_g is 60, the recipe makes 50 g",
        'b: the table has no "Fruits". Did you mean "Fruit"?',
        "c: has no recipe",
        "x: no such item in the catalogue",
    ]


def table(tmp_path: Path) -> Path:
    path = tmp_path / "composition.parquet"
    columns = {"description": ["Grain"], "ENERC_KCAL[kcal]": [361.0], "FLD[ug]": [12.3], "NA[mg]": [None]}
    pd.DataFrame(columns).to_parquet(path)
    return path


def test_reads_a_composition_table(tmp_path):
    # The shortest decimal of a double; FLD is FD here; an empty cell is unknown.
    assert read_composition(table(tmp_path)) == {"Grain": {"ENERC_KCAL_kcal": d(361), "FD_ug": d("12.3")}}


def test_command_refills_in_place(tmp_path):
    items, recipes = tmp_path / "items.csv", tmp_path / "recipes.csv"
    items.write_text("id,serving_g,value_origin,ENERC_KCAL_kcal\nporridge,50,,999\n")
    recipes.write_text(HEADER + "porridge,Grain,50,,,\n")
    main([str(items), str(recipes), str(table(tmp_path)), str(items)])
    with items.open(newline="") as lines:
        (row,) = csv.DictReader(lines)
    assert (row["ENERC_KCAL_kcal"], row["FD_ug"], row["NA_mg"]) == ("180", "6", "")
    assert row["value_origin"] == ORIGIN


def test_command_says_what_is_wrong_and_writes_nothing(tmp_path):
    items, recipes, out = (tmp_path / name for name in ("items.csv", "recipes.csv", "out.csv"))
    items.write_text("id,serving_g\nporridge,55\n")
    recipes.write_text(HEADER + "porridge,Grain,50,,,\n")
    with pytest.raises(SystemExit, match="serving_g is 55, the recipe makes 50 g\nNothing was written"):
        main([str(items), str(recipes), str(table(tmp_path)), str(out)])
    assert not out.exists()
    with pytest.raises(SystemExit, match="usage: python -m optimenu.catalogue.recipes"):
        main(["items.csv"])


def composition_at_hand() -> Path | None:
    named = os.environ.get("OPTIMENU_COMPOSITION")
    if named:
        return Path(named)
    return next(iter(sorted(ROOT.parent.glob("*/reference/composition_per_100g.parquet"))), None)


def test_every_recipe_sums_to_the_demo_catalogue():
    path = composition_at_hand()
    if path is None:
        pytest.skip("the composition table (SR28) is not at hand: name its file in OPTIMENU_COMPOSITION")
    with (ROOT / "catalogs" / "items.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    filled = refill(rows, read_recipes(ROOT / "catalogs" / "recipes.csv"), read_composition(path))
    wrong = [
        (row["id"], column, row.get(column), value)
        for row, again in zip(rows, filled, strict=True)
        for column, value in again.items()
        if row.get(column) != value
    ]
    assert wrong == []
