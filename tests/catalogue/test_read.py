"""Reading a catalogue: typed items, unknown kept unknown, and what must agree between cells."""

from __future__ import annotations

import pickle
from decimal import Decimal

import pytest

from optimenu.catalogue.columns import ALLERGENS, DIETS
from optimenu.catalogue.read import read_catalogue
from optimenu.errors import InputFaults

NEEDED = {
    "id": "stew",
    "name": "Beef stew",
    "courses": "main",
    "meals": "lunch;supper",
    "form": "retorted",
    "serving_g": "250",
    "servings_per_pack": "2",
    "net_g": "500",
    "gross_g": "530",
    "volume_ml": "620",
    "water_ml": "0",
    "water_kind": "none",
}


def table(*rows):
    columns = list(dict.fromkeys(name for row in rows for name in row))
    return "\n".join([",".join(columns), *(",".join(row.get(c, "") for c in columns) for row in rows)]) + "\n"


def read(tmp_path, *rows):
    path = tmp_path / "list.csv"
    path.write_text(table(*rows))
    return read_catalogue(path)


def faults(tmp_path, **cells):
    with pytest.raises(InputFaults) as caught:
        read(tmp_path, {**NEEDED, **cells})
    return [f.message for f in caught.value.faults]


def test_an_item_with_needed_columns_only_is_unknown_elsewhere(tmp_path):
    catalogue = read(tmp_path, NEEDED)
    (item,) = catalogue.items
    assert (item.id, item.name, item.courses, item.meals) == (
        "stew",
        "Beef stew",
        ("main",),
        ("lunch", "supper"),
    )
    assert (item.serving_g, item.servings_per_pack, item.water_kind) == (250, 2, "none")
    assert dict(item.allergens) == dict.fromkeys(ALLERGENS, "unknown")
    assert dict(item.diets) == dict.fromkeys(DIETS, "unknown")
    assert item.allergen("lupin") == item.suits("vegan") == item.unheated == item.may_freeze == "unknown"
    assert item.amounts == {} and item.losses == {} and item.upper == {}
    assert item.heat_min is None and item.main_ingredient is None and item.tags == frozenset()
    assert item.line == 2


def test_an_item_with_all_kinds_of_column(tmp_path):
    more = {
        "NA_mg": "",
        "NA_mg_upper": "900",
        "FE_mg": "3.20",
        "allergen_milk": "free",
        "diet_vegan": "no",
        "loss_VITC_per_month": "0.05",
        "tags": "spicy;bread",
        "overwrap_packs": "6",
        "overwrap_g": "20",
        "overwrap_ml": "30",
    }
    catalogue = read(tmp_path, {**NEEDED, **more})
    (item,) = catalogue.items
    assert dict(item.amounts) == {"NA_mg": None, "FE_mg": Decimal("3.20")}
    assert str(item.amounts["FE_mg"]) == "3.20"
    assert dict(item.upper) == {"NA_mg": 900} and dict(item.losses) == {"VITC": Decimal("0.05")}
    assert item.allergen("milk") == "free" and item.suits("vegan") == "no"
    assert item.tags == {"spicy", "bread"} and item.overwrap_packs == 6
    assert catalogue.columns == {"NA_mg", "FE_mg"}
    assert catalogue.present == {*NEEDED, *more}


def test_a_catalogue_finds_items_by_id_and_keeps_their_order(tmp_path):
    catalogue = read(tmp_path, NEEDED, {**NEEDED, "id": "apple"})
    assert catalogue.by_id["apple"].line == 3
    assert catalogue.order == {"stew": 0, "apple": 1}
    assert catalogue.file == str(tmp_path / "list.csv")


def test_items_can_be_hashed_and_sent_to_another_process(tmp_path):
    catalogue = read(tmp_path, {**NEEDED, "FE_mg": "1"})
    assert pickle.loads(pickle.dumps(catalogue)) == catalogue
    assert len({*catalogue.items, *catalogue.items}) == 1


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ({"gross_g": "499"}, "gross_g: 499 g is less than net_g, 500 g; the gross mass includes the pack"),
        (
            {"net_g": "506"},
            "net_g: 506 g is not 2 servings of 250 g, which make 500 g; correct serving_g, "
            "servings_per_pack or net_g (1 % apart is accepted)",
        ),
        (
            {"use_by_months": "18", "best_before_months": "24"},
            "use_by_months: 18 is less than best_before_months, 24; safety ends after quality",
        ),
        ({"water_ml": "120"}, "water_kind: is none, but water_ml is 120; say hot or chilled, or give 0 mL"),
        (
            {"overwrap_packs": "6"},
            "overwrap_g, overwrap_ml: is empty; give overwrap_packs, overwrap_g, overwrap_ml together or "
            "none of them",
        ),
        (
            {"NA_mg": "20", "NA_mg_upper": "10"},
            "NA_mg_upper: 10 is less than NA_mg, 20; correct one of them",
        ),
        ({"allergen_milk": "fre"}, 'allergen_milk: no word "fre". Did you mean "free"?'),
    ],
)
def test_cells_that_do_not_agree(tmp_path, cells, message):
    assert faults(tmp_path, **cells) == [message]


def test_one_percent_apart_is_accepted(tmp_path):
    assert read(tmp_path, {**NEEDED, "net_g": "505"}).items[0].net_g == 505
    assert read(tmp_path, {**NEEDED, "net_g": "495"}).items[0].net_g == 495


def test_all_faults_come_at_once_and_a_faulty_cell_is_not_compared(tmp_path):
    assert faults(tmp_path, gross_g="1 kg", water_ml="5", NA_mg="n.a.", overwrap_g="x") == [
        'NA_mg: "n.a." is not a number; leave it empty if unknown, or give mg per serving',
        'gross_g: "1 kg" is not a number; give g',
        'overwrap_g: "x" is not a number; leave it empty if unknown, or give g',
        "water_kind: is none, but water_ml is 5; say hot or chilled, or give 0 mL",
    ]


def test_missing_columns_are_named_with_their_meaning(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text(table({k: v for k, v in NEEDED.items() if k != "net_g"}))
    with pytest.raises(InputFaults) as caught:
        read_catalogue(path)
    assert str(caught.value) == f'{path}:1  column "net_g" is missing: Net mass of one pack, in g'


def test_how_an_item_is_ordered_may_be_stated(tmp_path):
    stated = {"order_unit_packs": "12", "smallest_batch_packs": "50", "lead_days": "0"}
    full, silent = read(tmp_path, {**NEEDED, **stated}, {**NEEDED, "id": "pie", "name": "Pie"}).items
    assert (full.order_unit_packs, full.smallest_batch_packs, full.lead_days) == (12, 50, 0)
    assert (silent.order_unit_packs, silent.smallest_batch_packs, silent.lead_days) == (None, None, None)


@pytest.mark.parametrize(
    ("column", "text", "message"),
    [
        ("order_unit_packs", "0", "order_unit_packs: needs a number in packs, 1 to 1000000, found 0"),
        ("smallest_batch_packs", "2.5", "smallest_batch_packs: needs a whole number, found 2.5"),
        ("lead_days", "-1", "lead_days: needs a number in days, 0 to 3650, found -1"),
        ("lead_days", "soon", 'lead_days: "soon" is not a number; leave it empty if unknown, or give days'),
    ],
)
def test_how_an_item_is_ordered_must_be_a_number(tmp_path, column, text, message):
    assert faults(tmp_path, **{column: text}) == [message]
