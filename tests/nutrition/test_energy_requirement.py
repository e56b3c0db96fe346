"""Published energy figures, each with its source, against our equations."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.nutrition.energy import basal, estimated_requirement

# Institute of Medicine, Dietary Reference Intakes for Energy, Carbohydrate, Fiber, Fat, Fatty Acids,
# Cholesterol, Protein, and Amino Acids (2002/2005): estimated energy requirements for men and women
# 30 years of age. Height in m, activity, men at BMI 18.5 and 24.99, women at BMI 18.5 and 24.99.
TABLE_2005 = """
1.50 sedentary   1848 2080 1625 1762
1.50 low_active  2009 2267 1803 1956
1.50 active      2215 2506 2025 2198
1.50 very_active 2554 2898 2291 2489
1.65 sedentary   2068 2349 1816 1982
1.65 low_active  2254 2566 2016 2202
1.65 active      2490 2842 2267 2477
1.65 very_active 2880 3296 2567 2807
1.80 sedentary   2301 2635 2015 2211
1.80 low_active  2513 2884 2239 2459
1.80 active      2782 3200 2519 2769
1.80 very_active 3225 3720 2855 3141
"""
CELLS_2005 = [
    (Decimal(height), activity, sex, Decimal(bmi), Decimal(kcal))
    for height, activity, *cells in (line.split() for line in TABLE_2005.strip().splitlines())
    for (sex, bmi), kcal in zip(
        [("male", "18.5"), ("male", "24.99"), ("female", "18.5"), ("female", "24.99")], cells, strict=True
    )
]


@pytest.mark.parametrize(("height", "activity", "sex", "bmi", "kcal"), CELLS_2005)
def test_2005_table_is_reproduced_within_1_kcal(height, activity, sex, bmi, kcal):
    found = estimated_requirement("2005", sex, 30, bmi * height**2, height, activity)
    assert abs(found - kcal) <= 1


def test_2005_table_was_read_in_full():
    assert len(CELLS_2005) == 48


def test_2023_worked_example():
    # National Academies, Dietary Reference Intakes for Energy (2023), worked example, from a
    # second-hand: woman of 22 years, 165 cm, 63 kg, low active: 2,275 kcal a day.
    assert estimated_requirement("2023", "female", 22, Decimal(63), Decimal("1.65"), "low_active") == 2275


@pytest.mark.parametrize(
    ("sex", "activity", "kcal"),
    [
        # Table S-1 of the 2023 report worked by hand: 40 years, 170 cm, 70 kg.
        ("male", "inactive", "2411.87"),  # 753.07 - 433.20 + 1105.00 + 987.00
        ("male", "low_active", "2605.07"),  # 581.47 - 433.20 + 1411.00 + 1045.80
        ("male", "active", "2793.72"),  # 1004.82 - 433.20 + 1108.40 + 1113.70
        ("male", "very_active", "3040.32"),  # -517.88 - 433.20 + 2653.70 + 1337.70
        ("female", "inactive", "2096.60"),  # 584.90 - 280.40 + 972.40 + 819.70
        ("female", "low_active", "2267.17"),  # 575.77 - 280.40 + 1122.00 + 849.80
        ("female", "active", "2405.45"),  # 710.25 - 280.40 + 1111.80 + 863.80
        ("female", "very_active", "2652.53"),  # 511.83 - 280.40 + 1541.90 + 879.20
    ],
)
def test_2023_equations_by_hand(sex, activity, kcal):
    assert abs(
        estimated_requirement("2023", sex, 40, Decimal(70), Decimal("1.70"), activity) - Decimal(kcal)
    ) <= Decimal("0.5")


@pytest.mark.parametrize(
    ("sex", "mass", "basal_kcal", "level", "kcal"),
    [
        # FAO/WHO/UNU, Human energy requirements, 2001, section 5.4.1: people of 20 to 30 years;
        # the kcal printed there come from rounded MJ, hence 0.2 %.
        ("female", 55, 1302, "1.85", 2410),
        ("male", 70, 1745, "2.25", 3925),
    ],
)
def test_fao_worked_examples(sex, mass, basal_kcal, level, kcal):
    found = basal("schofield", sex, 25, Decimal(mass), Decimal("1.70"))
    assert abs(found - basal_kcal) <= Decimal("0.002") * basal_kcal
    assert abs(found * Decimal(level) - kcal) <= Decimal("0.002") * kcal


@pytest.mark.parametrize(
    ("sex", "age", "kcal"),
    [
        # Table 5.2 of the same report worked by hand for 60 kg.
        ("male", 29, "1595.6"),  # 15.057 x 60 + 692.2
        ("male", 30, "1561.4"),  # 11.472 x 60 + 873.1
        ("male", 60, "1290.4"),  # 11.711 x 60 + 587.7
        ("female", 29, "1375.7"),  # 14.818 x 60 + 486.6
        ("female", 30, "1333.2"),  # 8.126 x 60 + 845.6
        ("female", 60, "1203.4"),  # 9.082 x 60 + 658.5
    ],
)
def test_schofield_bands_begin_at_30_and_60(sex, age, kcal):
    found = basal("schofield", sex, age, Decimal(60), Decimal("1.70"))
    assert abs(found - Decimal(kcal)) <= Decimal("0.55")
    assert basal("schofield", sex, age, Decimal(60), Decimal("1.90")) == found


@pytest.mark.parametrize(
    ("sex", "age", "mass", "height_cm", "kcal"),
    [
        # Mifflin et al. 1990, simplified, by hand.
        ("male", 35, 80, 180, 1755),  # 800 + 1125 - 175 + 5
        ("female", 30, 68, 165, 1400),  # 680 + 1031.25 - 150 - 161 = 1400.25
    ],
)
def test_mifflin_simplified(sex, age, mass, height_cm, kcal):
    assert basal("mifflin", sex, age, Decimal(mass), Decimal(height_cm) / 100) == kcal


@pytest.mark.parametrize(
    ("sex", "age", "mass", "height_cm"),
    [("male", 25, 70, 175), ("male", 70, 95, 190), ("female", 40, 60, 165), ("female", 60, 90, 155)],
)
def test_mifflin_is_near_the_full_equation(sex, age, mass, height_cm):
    # Mifflin et al. 1990, the equation before it was simplified.
    full = (
        Decimal("9.99") * mass
        + Decimal("6.25") * height_cm
        - Decimal("4.92") * age
        + 166 * (sex == "male")
        - 161
    )
    assert abs(basal("mifflin", sex, age, Decimal(mass), Decimal(height_cm) / 100) - full) <= 6


def test_halves_are_rounded_up():
    # 10 x 60.05 + 6.25 x 160 - 5 x 40 + 5 = 1405.5
    assert basal("mifflin", "male", 40, Decimal("60.05"), Decimal("1.60")) == 1406


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: basal("miflin", "male", 40, Decimal(80), Decimal("1.8")),
            'No basal equation "miflin"; there is "mifflin", "schofield". Did you mean "mifflin"?',
        ),
        (
            lambda: estimated_requirement("2002", "male", 40, Decimal(80), Decimal("1.8"), "active"),
            'No edition "2002"; there is "2005", "2023". Did you mean',
        ),
        (
            lambda: estimated_requirement("2023", "male", 40, Decimal(80), Decimal("1.8"), "sedentary"),
            'No activity level of the 2023 edition "sedentary"; there is "inactive", "low_active"',
        ),
        (
            lambda: estimated_requirement("2005", "male", 40, Decimal(80), Decimal("1.8"), "inactive"),
            'No activity level of the 2005 edition "inactive"; there is "sedentary", "low_active"',
        ),
    ],
)
def test_unknown_words_name_what_there_is(call, message):
    with pytest.raises(ValueError) as fault:
        call()
    assert str(fault.value).startswith(message)
