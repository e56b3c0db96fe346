"""Reading losses of items: what becomes of a row, and every fault by example."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.catalogue.losses import read_losses
from optimenu.errors import InputFaults
from tests.catalogue.test_stock import CATALOGUE

HEADER = "item,nutrient,per_month,least_per_month,temperature_c,activation_kj_per_mol,source,how_sure\n"


def read(tmp_path, rows):
    path = tmp_path / "losses.csv"
    path.write_text(HEADER + rows)
    return read_losses(path, CATALOGUE)


def test_rows_become_losses(tmp_path):
    found = read(tmp_path, "stew,VITC,0.05,,21,60,report 7,read\ntea,THIA,0.1461,0.01,20,,a paper,\n")
    assert set(found) == {("stew", "VITC"), ("tea", "THIA")}
    stew, tea = found["stew", "VITC"], found["tea", "THIA"]
    assert (stew.fast, stew.slow, stew.temperature_c, stew.activation) == (
        Decimal("0.05"),
        Decimal("0.05"),
        Decimal(21),
        Decimal(60),
    )
    assert (tea.fast, tea.slow, tea.activation, tea.how_sure) == (
        Decimal("0.1461"),
        Decimal("0.01"),
        None,
        "",
    )


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("stw,VITC,0.05,,21,,x,", 'item: no item "stw" in list.csv. Did you mean "stew"?'),
        ("stew,VITCC,0.05,,21,,x,", 'nutrient: no nutrient "VITCC". Did you mean "VITC"?'),
        ("stew,NA,0.05,,21,,x,", "nutrient: NA (Sodium) takes no loss of its own; those that do: VITA_RAE"),
        ("stew,VITC_mg,0.05,,21,,x,", "nutrient: VITC_mg (Vitamin C) takes no loss of its own"),
        ("stew,VITC,-0.05,,21,,x,", "per_month: "),
        (
            "stew,VITC,0.05,0.06,21,,x,",
            "least_per_month: 0.06 is more than per_month, 0.05; correct one of them",
        ),
        ("stew,VITC,0.05,,95,,x,", "temperature_c: "),
        ("stew,VITC,0.05,,,,x,", "temperature_c: is empty"),
        ("stew,VITC,0.05,,21,-3,x,", "activation_kj_per_mol: "),
        ("stew,VITC,0.05,,21,,,", "source: is empty"),
    ],
)
def test_a_fault_at_its_line(tmp_path, row, message):
    with pytest.raises(InputFaults) as caught:
        read(tmp_path, f"tea,VITC,0.01,,21,,x,\n{row}\n")
    (fault,) = caught.value.faults
    assert fault.line == 3
    assert fault.message.startswith(message), fault.message


def test_all_faults_at_once_and_no_loss_twice(tmp_path):
    with pytest.raises(InputFaults) as caught:
        read(tmp_path, "stew,VITC,0.05,,21,,x,\nstew,VITC,0.06,,21,,x,\nstw,X,9,,21,,x,\n")
    assert [f.line for f in caught.value.faults] == [3, 4, 4, 4]
