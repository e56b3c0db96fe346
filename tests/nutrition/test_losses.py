"""Losses in storage against published figures and worked examples."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from optimenu.catalogue.columns import FORMS, VITAMINS_LOST
from optimenu.nutrition.losses import (
    ROOM_C,
    Stated,
    at_temperature,
    left,
    published_losses,
    stored_nutrients,
    tag_of,
)
from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.nutrition.tables import rows

D = Decimal
YEAR = 365.25
SURE = ("read", "secondary", "memory", "table")


def stated(fast="0.05", celsius="20", activation=None, slow=None):
    return Stated(D(fast), D(slow or fast), D(celsius), activation and D(activation), "paper", "read")


@pytest.mark.parametrize(
    ("k", "months", "part"),
    [
        # arithmetic: half is left after 12 months at ln 2 / 12 = 0.05776 a month, an eighth after 36
        ("0.05776", 12, 0.5),
        ("0.05776", 36, 0.125),
        # thiamin of retorted beef: 3 % after 24 months (npj Microgravity 2017;3:17, secondary source)
        ("0.1461", 24, 0.03),
        # Coad and Bui, Foods 2020;9(1):39: 94, 97, 86, 77 % of B1, B2, B6 and E left, freeze-dried, 24 months
        ("0.002578", 24, 0.94),
        ("0.001269", 24, 0.97),
        ("0.006284", 24, 0.86),
        ("0.01089", 24, 0.77),
        # Moschette, Hinman and Halliday 1947: 78 % of vitamin C after 12 months at 77 deg F, canned
        ("0.02071", 12, 0.78),
        # Institute of Medicine 1995: half of vitamin C after 24 months at 38 deg C, field rations
        ("0.02888", 24, 0.5),
    ],
)
def test_published_parts_left(k, months, part):
    days = round(months * YEAR / 12)
    assert float(left(D(k), days, up=False)) == pytest.approx(part, abs=0.0006)


def test_the_published_table_holds_those_rates():
    rate = {key: float(s.fast) for key, s in published_losses().items()}
    assert rate["retorted", "THIA"] == 0.1461
    assert rate["freeze-dried", "VITB6A"] == 0.006284
    assert rate["canned", "VITC"] == 0.02071
    assert rate["retorted", "CARTB"] == 0


def test_every_figure_has_a_source_and_how_sure():
    for name in ("storage_losses.csv", "storage_nutrients.csv"):
        for row in rows(name):
            assert row["source"].strip() and row["how_sure"].strip(), row
    for (form, tag), found in published_losses().items():
        assert form in FORMS and tag in stored_nutrients()
        assert 0 <= found.slow <= found.fast <= 5
        assert -80 <= found.temperature_c <= 60


def test_only_vitamins_may_change():
    columns = set(tag_of())
    assert columns <= set(BY_COLUMN)
    never = {
        "ENERC_KCAL_kcal",
        "WATER_g",
        "PROCNT_g",
        "FAT_g",
        "CHOCDF_g",
        "FIBTG_g",
        "NA_mg",
        "FE_mg",
        "CA_mg",
    }
    assert not columns & never
    # whatever a catalogue may state a loss of, and the parts of vitamin A, are unknown without one
    strict = {tag for tag, s in stored_nutrients().items() if s.strict}
    assert strict == {*VITAMINS_LOST, "RETOL", "CARTB"} - {"VITA_RAE"}
    assert [tag for tag, s in stored_nutrients().items() if s.parts] == ["VITA_RAE"]


def test_what_is_left_is_rounded_once_down_for_floors_and_up_for_ceilings():
    exact = math.exp(-0.05 * 100 / 30.4375)
    low, high = left(D("0.05"), 100, up=False), left(D("0.05"), 100, up=True)
    assert (low, high) == (D("0.8485"), D("0.8486"))
    assert float(low) < exact < float(high)
    assert left(D("0.05"), 0, up=False) == left(D(0), 900, up=True) == 1


def test_arrhenius():
    # 50 kJ/mol from 20 to 30 deg C: exp(-50000/8.314462618 (1/303.15 - 1/293.15)) = exp(0.67667...) = 1.9673
    rate = at_temperature(stated(activation="50"), D(30))
    assert float(rate.fast) == pytest.approx(0.05 * 1.9673, rel=1e-4)
    assert rate.fast == rate.slow
    # 10 degrees colder: exp(-50000/8.314462618 (1/283.15 - 1/293.15)) = 0.4846
    assert float(at_temperature(stated(activation="50"), D(10)).fast) == pytest.approx(
        0.05 * 0.4846, rel=1e-3
    )
    assert at_temperature(stated(activation="50"), D(20)).fast == D("0.05")


def test_folic_acid_on_salt_follows_its_published_activation_energy():
    # Scientific Reports 2021;11:14561, Table 4, salt D: 3.2 % a month at 25, 3.9 at 35, 4.6 at 45 deg C,
    # activation energy 15.7 kJ/mol
    salt = published_losses()["powder", "FOLDFE"]
    assert float(at_temperature(salt, D(35)).fast) == pytest.approx(0.039, abs=0.002)
    assert float(at_temperature(salt, D(45)).fast) == pytest.approx(0.046, abs=0.002)


def test_vitamin_a_of_dried_milk_agrees_with_its_loss_in_warmth():
    # deBoer, deMan and deMan 1984: up to 38 % lost in 16 weeks at 32 deg C, with 20 % at 21 deg C
    milk = published_losses()["powder", "RETOL"]
    rate = at_temperature(milk, D(32)).fast
    assert float(left(rate, 112, up=False)) == pytest.approx(0.62, abs=0.04)


def test_without_an_activation_energy_each_end_takes_what_is_safe():
    warm, own, cold = (at_temperature(stated(slow="0.02"), D(t)) for t in (21, 20, 19))
    assert (warm.fast, warm.slow) == (None, D("0.02"))
    assert (own.fast, own.slow) == (D("0.05"), D("0.02"))
    assert (cold.fast, cold.slow) == (D("0.05"), D(0))
    assert ROOM_C == 21
