"""Reference intakes against published figures, and the traps in them."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.nutrition.intakes import Intake, energy_shares, reference_intakes
from optimenu.nutrition.nutrients import BY_COLUMN

# National Academies, Dietary Reference Intakes, summary tables (RDA, AI, UL; vitamin D and calcium 2011,
# sodium and potassium 2019), in the unit printed there. Column, kind, men 19-30, 31-50, 51-70, over 70,
# women the same.
PUBLISHED = """
CHOCDF_g    RDA  130  130  130  130  130  130  130  130
FIBTG_g     AI   38   38   30   30   25   25   21   21
F18D2_g     AI   17   17   14   14   12   12   11   11
F18D3_g     AI   1.6  1.6  1.6  1.6  1.1  1.1  1.1  1.1
VITA_RAE_ug RDA  900  900  900  900  700  700  700  700
VITC_mg     RDA  90   90   90   90   75   75   75   75
VITD_ug     RDA  15   15   15   20   15   15   15   20
TOCPHA_mg   RDA  15   15   15   15   15   15   15   15
VITK1_ug    AI   120  120  120  120  90   90   90   90
THIA_mg     RDA  1.2  1.2  1.2  1.2  1.1  1.1  1.1  1.1
RIBF_mg     RDA  1.3  1.3  1.3  1.3  1.1  1.1  1.1  1.1
NIAEQ_mg    RDA  16   16   16   16   14   14   14   14
VITB6A_mg   RDA  1.3  1.3  1.7  1.7  1.3  1.3  1.5  1.5
FOLDFE_ug   RDA  400  400  400  400  400  400  400  400
VITB12_ug   RDA  2.4  2.4  2.4  2.4  2.4  2.4  2.4  2.4
PANTAC_mg   AI   5    5    5    5    5    5    5    5
BIOT_ug     AI   30   30   30   30   30   30   30   30
CHOLN_mg    AI   550  550  550  550  425  425  425  425
CA_mg       RDA  1000 1000 1000 1200 1000 1000 1200 1200
CR_ug       AI   35   35   30   30   25   25   20   20
ID_ug       RDA  150  150  150  150  150  150  150  150
FE_mg       RDA  8    8    8    8    18   18   8    8
MG_mg       RDA  400  420  420  420  310  320  320  320
MN_mg       AI   2.3  2.3  2.3  2.3  1.8  1.8  1.8  1.8
MO_ug       RDA  45   45   45   45   45   45   45   45
P_mg        RDA  700  700  700  700  700  700  700  700
SE_ug       RDA  55   55   55   55   55   55   55   55
ZN_mg       RDA  11   11   11   11   8    8    8    8
K_mg        AI   3400 3400 3400 3400 2600 2600 2600 2600
"""
PEOPLE = [(sex, age) for sex in ("male", "female") for age in (25, 40, 60, 75)]

# The tolerable upper intake levels of the same tables, men and women alike: 19-30, 31-50, 51-70, over 70.
PUBLISHED_UPPER = """
VITC_mg   2000 2000 2000 2000
VITD_ug   100  100  100  100
VITB6A_mg 100  100  100  100
CHOLN_mg  3500 3500 3500 3500
CA_mg     2500 2500 2000 2000
FE_mg     45   45   45   45
ID_ug     1100 1100 1100 1100
MN_mg     11   11   11   11
MO_ug     2000 2000 2000 2000
P_mg      4000 4000 4000 3000
SE_ug     400  400  400  400
ZN_mg     40   40   40   40
"""


def rows(column: str, sex: str = "male", age: int = 40) -> list[Intake]:
    return [row for row in reference_intakes(sex, age) if row.column == column]


def row(column: str, sex: str = "male", age: int = 40) -> Intake:
    (found,) = rows(column, sex, age)
    return found


def everyone(column: str) -> list[Intake]:
    return [row(column, sex, age) for sex, age in PEOPLE]


@pytest.mark.parametrize("line", PUBLISHED.strip().splitlines())
def test_published_amounts(line):
    column, kind, *amounts = line.split()
    found = everyone(column)
    assert [one.amount for one in found] == [Decimal(amount) for amount in amounts]
    assert {one.kind for one in found} == {kind}


@pytest.mark.parametrize("line", PUBLISHED_UPPER.strip().splitlines())
def test_published_upper_levels_on_totals(line):
    column, *levels = line.split()
    for sex in ("male", "female"):
        found = [row(column, sex, age) for age in (25, 40, 60, 75)]
        assert [one.upper for one in found] == [Decimal(level) for level in levels]
        assert {(one.upper_kind, one.upper_form, one.upper_column) for one in found} == {
            ("UL", "total", column)
        }


@pytest.mark.parametrize(("young", "old"), [(19, 30), (31, 50), (51, 70), (71, 110)])
@pytest.mark.parametrize("sex", ["male", "female"])
def test_age_bands_hold_from_end_to_end(young, old, sex):
    assert reference_intakes(sex, young) == reference_intakes(sex, old)
    if old < 110:
        assert reference_intakes(sex, old) != reference_intakes(sex, old + 1)


def test_every_row_has_its_source():
    for sex, age in PEOPLE:
        for one in reference_intakes(sex, age):
            assert one.amount is None or one.source
            assert one.upper is None or one.upper_source
            assert (one.amount is None) == (one.kind == "none")
            assert (one.upper is None) == (one.upper_kind == "") == (one.upper_form == "")
            assert one.upper is not None or one.upper_column == ""


def test_no_person_lacks_a_row():
    columns = {tuple(one.column for one in reference_intakes(sex, age)) for sex, age in PEOPLE}
    assert len(columns) == 1
    assert len(columns.pop()) == 39


def test_nutrients_a_catalogue_cannot_carry_still_come_out():
    columns = {one.column for one in reference_intakes("male", 40)}
    assert columns - set(BY_COLUMN) == {
        "BIOT_ug",
        "CR_ug",
        "MO_ug",
        "CLD_mg",
        "B_mg",
        "NI_mg",
        "V_mg",
    }


def test_upper_columns_and_stand_ins_are_catalogue_columns():
    for one in reference_intakes("male", 40):
        if one.column in BY_COLUMN:
            assert one.upper_column in ("", *BY_COLUMN)
            assert one.floor_stand_in in ("", *BY_COLUMN)


def test_magnesium_ceiling_is_for_supplements_only():
    for found in everyone("MG_mg"):
        assert (found.upper, found.upper_form, found.upper_column) == (Decimal(350), "supplement", "")
        assert "supplements" in found.note
    # The RDA of men is more than the "ceiling", which is no limit on food.
    assert row("MG_mg", "male").amount == 420


@pytest.mark.parametrize(
    ("column", "upper", "form", "upper_column"),
    [
        ("VITA_RAE_ug", 3000, "preformed", "RETOL_ug"),
        ("NIAEQ_mg", 35, "added", "NIA_ADD_mg"),
        ("FOLDFE_ug", 1000, "added", "FOLAC_ug"),
        ("TOCPHA_mg", 1000, "added", "TOCPHA_ADD_mg"),
    ],
)
def test_ceilings_that_are_not_on_food_totals(column, upper, form, upper_column):
    for found in everyone(column):
        assert (found.upper, found.upper_form, found.upper_column) == (Decimal(upper), form, upper_column)
        assert "UL is" in found.note


def test_niacin_floor_is_in_equivalents_with_a_safe_stand_in():
    found = row("NIAEQ_mg")
    assert found.floor_stand_in == "NIA_mg"
    assert "safe lower estimate" in found.note
    assert not rows("NIA_mg")


def test_copper_is_printed_in_ug_and_kept_in_mg():
    # Printed: RDA 900 ug, UL 10,000 ug.
    for found in everyone("CU_mg"):
        assert (found.amount, found.upper) == (Decimal("0.9"), Decimal(10))


def test_water_is_printed_in_litres_and_kept_in_g():
    assert [one.amount for one in everyone("WATER_g")] == [3700] * 4 + [2700] * 4


def test_fluoride_is_printed_in_mg_and_kept_in_ug():
    # Printed: AI 4 and 3 mg, UL 10 mg.
    assert [one.amount for one in everyone("FD_ug")] == [4000] * 4 + [3000] * 4
    assert {one.upper for one in everyone("FD_ug")} == {10000}


def test_chloride_is_printed_in_g_and_kept_in_mg():
    # Printed: AI 2.3, 2.3, 2.0, 1.8 g, UL 3.6 g.
    assert [one.amount for one in everyone("CLD_mg")] == [2300, 2300, 2000, 1800] * 2
    assert {one.upper for one in everyone("CLD_mg")} == {3600}


@pytest.mark.parametrize(("sex", "age"), PEOPLE)
def test_sodium_has_two_rows(sex, age):
    floor, ceiling = rows("NA_mg", sex, age)
    assert (floor.amount, floor.kind, floor.upper, floor.upper_kind) == (1500, "AI", None, "")
    assert (ceiling.amount, ceiling.kind) == (None, "none")
    assert (ceiling.upper, ceiling.upper_kind, ceiling.upper_column) == (2300, "CDRR", "NA_mg")


def test_potassium_has_no_upper_level():
    assert row("K_mg").upper is None


def test_protein_is_per_kg_of_the_person():
    assert {one.per_kg_body_mass for one in everyone("PROCNT_g")} == {Decimal("0.8")}
    assert [one.amount for one in everyone("PROCNT_g")] == [56] * 4 + [46] * 4
    assert {one.column for one in reference_intakes("male", 40) if one.per_kg_body_mass} == {"PROCNT_g"}


@pytest.mark.parametrize("column", ["F18D2_g", "F18D3_g"])
def test_fatty_acid_stand_ins_say_so(column):
    assert "stands in" in row(column).note


def test_no_upper_level_is_no_promise():
    assert "does not make every amount safe" in row("THIA_mg").note


def test_elements_with_a_ceiling_only():
    # UL of boron 20 mg, nickel 1.0 mg, vanadium 1.8 mg; no RDA or AI.
    for column, level in (("B_mg", "20"), ("NI_mg", "1.0"), ("V_mg", "1.8")):
        found = everyone(column)
        assert {one.upper for one in found} == {Decimal(level)}
        assert {one.kind for one in found} == {"none"}


def test_energy_shares():
    # National Academies, AMDR of adults; kcal per g: FAO Food and Nutrition Paper 77, 2003.
    assert [(one.column, one.low, one.high, one.kcal_per_g) for one in energy_shares()] == [
        ("PROCNT_g", 10, 35, 4),
        ("FAT_g", 20, 35, 9),
        ("CHOCDF_g", 45, 65, 4),
        ("F18D2_g", 5, 10, 9),
        ("F18D3_g", Decimal("0.6"), Decimal("1.2"), 9),
    ]
    assert all(one.column in BY_COLUMN and one.source and one.kcal_source for one in energy_shares())
