"""The table ``storage`` of a config: whose rate counts, at which temperature, and its faults."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.catalogue.item import Catalogue, Item
from optimenu.config.case import load_case
from optimenu.config.keeping import StorageTable, storage_of
from optimenu.nutrition.losses import Stated, published_losses
from tests.config.test_case import CONFIG, line_of, told, write

D = Decimal
STORAGE = CONFIG + "[storage]\ntemperature_c = 21\nproduced_days_before = 90\n"
LOSSES = "item,nutrient,per_month,temperature_c,source\nstew,VITC,0.03,21,report 7\n"


def food(name, form="canned", **more):
    one = D(1)
    return Item(name, name, ("main",), ("lunch",), form, one, 1, one, one, one, one, "none", **more)


def rates(*items, own=None, celsius="21"):
    table = StorageTable(temperature_c=D(celsius), produced_days_before=9)
    return storage_of(table, Catalogue(items, frozenset(), "list.csv"), own or {}).rates


def test_the_config_s_own_file_goes_before_the_catalogue_and_that_before_the_form():
    own = {("a", "VITC"): Stated(D("0.3"), D("0.3"), D(21), None, "report", "")}
    losses = {"VITC": D("0.2")}
    found = rates(food("a", losses=losses), food("b", losses=losses), food("c"), food("d", "baked"), own=own)
    assert found["a", "VITC"].fast == D("0.3")
    assert found["b", "VITC"].fast == D("0.2")
    canned = published_losses()["canned", "VITC"]
    assert 0 < found["c", "VITC"].fast < canned.fast  # colder than where it was found
    assert ("d", "VITC") not in found
    assert ("a", "NA") not in found


def test_a_loss_of_vitamin_a_as_a_whole_stands_for_its_parts():
    (part, whole) = (food("p", "powder"), food("w", "powder", losses={"VITA_RAE": D("0.4")}))
    found = rates(part, whole)
    assert {t for i, t in found if i == "p"} == {"RETOL", "FOLDFE"}
    assert {t for i, t in found if i == "w"} == {"VITA_RAE", "FOLDFE"}


def test_what_is_kept_colder_is_taken_at_its_own_temperature():
    cold, warm = food("cold", store_at_c=D(4)), food("warm", store_at_c=D(30))
    found = rates(cold, warm, celsius="25")
    assert (
        found["cold", "VITC"].fast < found["warm", "VITC"].fast == published_losses()["canned", "VITC"].fast
    )


def test_a_config_brings_its_storage_and_names_its_file(tmp_path):
    case = load_case(write(tmp_path, STORAGE + 'losses = "losses.csv"\n', losses_csv=LOSSES))
    storage = case.problem.storage
    assert (storage.temperature_c, storage.produced_days_before) == (21, 90)
    assert storage.rates["stew", "VITC"].fast == D("0.03")
    assert "losses.csv" in {f.name for f in case.files}
    assert load_case(write(tmp_path, CONFIG)).problem.storage is None


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ("temperature_c = 95\nproduced_days_before = 9", "[storage] temperature_c: needs a number in deg C"),
        ("temperature_c = 21\nproduced_days_before = -1", "[storage] produced_days_before: needs"),
        ("temperature_c = 21", '[storage] setting "produced_days_before" is missing'),
        (
            "temperature_c = '21'\nproduced_days_before = 9",
            "[storage] temperature_c: needs a number in deg C",
        ),
        ("temperature = 21\nproduced_days_before = 9", '[storage] no setting "temperature".'),
    ],
)
def test_a_fault_of_the_table_has_its_line(tmp_path, more, message):
    text = CONFIG + f"[storage]\n{more}\n"
    faults = told(write(tmp_path, text))
    assert any(message in fault for fault in faults), faults
    lines = {line_of(text, "[storage]") + k for k in range(3)}
    assert {int(f.split(":")[1].split(" ")[0]) for f in faults} <= lines


def test_faults_of_the_file_of_losses_come_with_the_others(tmp_path):
    losses = LOSSES + "stw,VITC,0.03,21,x\nstew,IRON,0.03,21,x\nstew,THIA,-1,21,x\n"
    text = STORAGE.replace("mass_kg = 60", "mass_kg = -60") + 'losses = "losses.csv"\n'
    faults = told(write(tmp_path, text, losses_csv=losses))
    assert [f.split(" ")[0] for f in faults] == [
        "losses.csv:3",
        "losses.csv:4",
        "losses.csv:5",
        f"plan.toml:{line_of(text, 'mass_kg')}",
    ]
    (fault,) = told(write(tmp_path, STORAGE + 'losses = "lossses.csv"\n', losses_csv=LOSSES))
    assert (
        '[storage] losses: there is no file "lossses.csv"' in fault and 'Did you mean "losses.csv"?' in fault
    )
