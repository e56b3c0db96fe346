"""Probability that a usual intake is adequate."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.nutrition.adequacy import average_requirement, probability_adequate
from optimenu.nutrition.covered import NotCovered

# National Academies, Dietary Reference Intakes, summary table of EARs (2011, 2019), in the unit printed
# there, with the CV of the requirement in percent from the reports ("-": none published). Men 19-30,
# 31-50, 51-70, over 70, women the same.
PUBLISHED = """
CHOCDF_g    15  100  100  100  100  100  100  100  100
PROCNT_g    12  0.66 0.66 0.66 0.66 0.66 0.66 0.66 0.66
VITA_RAE_ug 20  625  625  625  625  500  500  500  500
VITC_mg     10  75   75   75   75   60   60   60   60
VITD_ug     -   10   10   10   10   10   10   10   10
TOCPHA_mg   10  12   12   12   12   12   12   12   12
THIA_mg     10  1.0  1.0  1.0  1.0  0.9  0.9  0.9  0.9
RIBF_mg     10  1.1  1.1  1.1  1.1  0.9  0.9  0.9  0.9
NIAEQ_mg    15  12   12   12   12   11   11   11   11
VITB6A_mg   10  1.1  1.1  1.4  1.4  1.1  1.1  1.3  1.3
FOLDFE_ug   10  320  320  320  320  320  320  320  320
VITB12_ug   10  2.0  2.0  2.0  2.0  2.0  2.0  2.0  2.0
ID_ug       20  95   95   95   95   95   95   95   95
FE_mg       -   6    6    6    6    8.1  8.1  5    5
MG_mg       10  330  350  350  350  255  265  265  265
MO_ug       15  34   34   34   34   34   34   34   34
P_mg        10  580  580  580  580  580  580  580  580
SE_ug       10  45   45   45   45   45   45   45   45
ZN_mg       10  9.4  9.4  9.4  9.4  6.8  6.8  6.8  6.8
CA_mg       -   800  800  800  1000 800  800  1000 1000
"""
PEOPLE = [(sex, age) for sex in ("male", "female") for age in (25, 40, 60, 75)]


@pytest.mark.parametrize("line", PUBLISHED.strip().splitlines())
def test_published_requirements(line):
    column, cv, *amounts = line.split()
    found = [average_requirement(sex, age, column) for sex, age in PEOPLE]
    assert [one.amount for one in found] == [Decimal(amount) for amount in amounts]
    assert {one.cv_percent for one in found} == {None if cv == "-" else Decimal(cv)}
    assert all(one.source and (cv == "-") == (one.cv_source == "") for one in found)


def test_copper_is_printed_in_ug_and_kept_in_mg():
    for sex, age in PEOPLE:
        found = average_requirement(sex, age, "CU_mg")
        assert (found.amount, found.cv_percent) == (Decimal("0.7"), 15)  # printed: 700 ug


@pytest.mark.parametrize(("young", "old"), [(19, 30), (31, 50), (51, 70), (71, 110)])
@pytest.mark.parametrize("sex", ["male", "female"])
def test_age_bands_hold_from_end_to_end(young, old, sex):
    for column in [line.split()[0] for line in PUBLISHED.strip().splitlines()]:
        need = average_requirement(sex, young, column)
        assert need is not None
        assert need == average_requirement(sex, old, column)


@pytest.mark.parametrize("column", ["VITC_mg", "MG_mg", "VITA_RAE_ug", "CHOCDF_g"])
def test_half_are_covered_at_the_average_requirement(column):
    # Its definition: Institute of Medicine 2000.
    need = average_requirement("female", 40, column)
    assert probability_adequate(need, need.amount) == Decimal("0.5")


@pytest.mark.parametrize(("column", "rda"), [("VITC_mg", 90), ("MG_mg", 420), ("VITA_RAE_ug", 900)])
def test_97_to_98_percent_are_covered_at_the_rda(column, rda):
    # The definition of an RDA, "97 to 98 percent" (Institute of Medicine 2000); men of 40 years.
    # The RDA of vitamin A is rounded up from 875.
    need = average_requirement("male", 40, column)
    assert Decimal("0.97") <= probability_adequate(need, Decimal(rda)) <= Decimal("0.987")


def test_spread_follows_the_published_cv():
    # One standard deviation above the mean covers 84.1 % (normal table).
    vitamin_c = average_requirement("male", 40, "VITC_mg")
    vitamin_a = average_requirement("male", 40, "VITA_RAE_ug")
    assert probability_adequate(vitamin_c, Decimal("82.5")) == Decimal("0.841")  # 75 x 1.10
    assert probability_adequate(vitamin_a, Decimal(750)) == Decimal("0.841")  # 625 x 1.20


def test_protein_goes_by_body_mass():
    need = average_requirement("male", 40, "PROCNT_g")
    # EAR 0.66 g/kg: 52.8 g at 80 kg.
    assert probability_adequate(need, Decimal("52.8"), Decimal(80)) == Decimal("0.5")
    with pytest.raises(NotCovered, match="requirement of Protein is per kg; give body mass in kg"):
        probability_adequate(need, Decimal("52.8"))


@pytest.mark.parametrize(
    ("column", "name"), [("FE_mg", "Iron"), ("CA_mg", "Calcium"), ("VITD_ug", "Vitamin D")]
)
def test_without_a_published_cv_nothing_is_claimed(column, name):
    need = average_requirement("female", 40, column)
    assert need.cv_percent is None
    with pytest.raises(NotCovered, match=f"No CV of the requirement is published for {name}"):
        probability_adequate(need, Decimal(1000))


@pytest.mark.parametrize("column", ["K_mg", "FIBTG_g", "CHOLN_mg", "NO_SUCH_mg"])
def test_nutrients_without_one_are_not_assessed(column):
    assert average_requirement("female", 40, column) is None
