"""A day's energy from hours of activity."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.nutrition.activities import activities
from optimenu.nutrition.energy import HoursFault, from_hours

# Nutrition Journal 2009;8:19, Table 1 (multiples of basal); the camp figure has no source.
TIMES_BASAL = """
sleep 1.0, light_camp_work 1.6, riding_vehicle 1.2, light_leisure 1.4, office_work 1.5, eating 1.5,
driving 2.0, cooking 2.1, standing_light_loads 2.2, personal_care 2.3, household_work 2.8, walking_about 3.2
"""
# Ainsworth et al., Compendium of Physical Activities 2011, with its codes.
MET = """
sitting_quietly 1.3 07021, desk_work 1.3 09040, seated_light_work 1.5 11580, standing_quietly 1.3 07040,
light_lab_work 3.0 11600, maintenance_work 3.0 11610, lifting_work 4.5 11615, light_manual_work 2.8 11475,
moderate_manual_work 4.5 11476, cleaning_work 3.8 11126, galley_work 3.3 05035, slow_walking 3.0 17170,
walking 3.5 17190, brisk_walking 4.3 17200, fast_walking 5.0 17220, carrying_light_loads 4.5 11800,
carrying_heavy_loads 5.0 11820, backpacking 7.0 17010, hiking 7.8 17012, ski_walking 6.8 19080,
ski_touring 9.0 19090, fast_skiing 12.5 19100, snowshoeing 5.3 19190, hard_snowshoeing 10.0 19192,
snowmobile_driving 3.5 19200, dog_sledging 7.5 19005, snow_shovelling 5.3 08195 / 19252,
hard_snow_shovelling 7.5 08202 / 19254, strength_exercise 3.5 02054, hard_strength_exercise 6.0 02050,
easy_cycling 3.5 02011, cycling_exercise 6.8 02012, hard_cycling 8.8 02013, treadmill_running 8.3 12030,
fast_treadmill_running 9.8 12050
"""
# Halsey et al., Antarctica on foot, Polar Biology 2016;39:627, abstract.
KJ_PER_MIN = "polar_walking 24.9, polar_outdoor_work 21.9, polar_skiing 30.0, polar_hauling 31.1"


def day(**hours: str) -> dict[str, Decimal]:
    return {name: Decimal(spent) for name, spent in hours.items()}


def test_published_costs():
    expected = {}
    for unit, table in (("times_basal", TIMES_BASAL), ("met", MET), ("kj_per_min", KJ_PER_MIN)):
        for entry in table.split(","):
            name, value, *code = entry.split()
            expected[name] = (Decimal(value), unit, " ".join(code))
    assert {row.id: (row.value, row.unit, row.code) for row in activities().values()} == expected


def test_every_row_has_a_source_and_says_how_sure_it_is():
    for row in activities().values():
        assert row.read in ("read", "second-hand", "no source")
        assert (row.read == "no source") == (row.source == "common practice, no source")
        assert row.id == row.id.lower().replace(" ", "_")


def test_traverse_day():
    # Man of 35 years, 80 kg, 1.80 m. Basal 1,755 (Mifflin et al. 1990). 8 h sleep at 1.0 and 8 h camp
    # at 1.6 times basal, 8 h hauling at 31.1 kJ/min (Halsey et al. 2016): 585 + 936 + 3,568 = 5,089.
    found = from_hours(
        "male", 35, Decimal(80), Decimal("1.80"), day(sleep="8", light_camp_work="8", polar_hauling="8")
    )
    assert found.basal == 1755
    assert [part.kcal for part in found.parts] == [585, 936, 3568]
    assert found.total == 5089
    assert [part.working for part in found.parts] == [
        "8 h x 1.0 x 1755 kcal / 24 h",
        "8 h x 1.6 x 1755 kcal / 24 h",
        "8 h x 60 min x 31.1 kJ/min / 4.184 kJ/kcal",
    ]
    assert "Mifflin" in found.equation_source
    assert "Halsey" in found.parts[2].source
    # No source stands behind the camp figure, and the sum says so.
    assert [part.read for part in found.parts] == ["second-hand", "no source", "read"]


def test_a_part_prints_as_one_line_with_its_source():
    found = from_hours(
        "male",
        35,
        Decimal(80),
        Decimal("1.80"),
        day(sleep="8", light_camp_work="8", polar_hauling="8"),
    )
    assert str(found.parts[1]) == (
        "light_camp_work: 8 h x 1.6 x 1755 kcal / 24 h = 936 kcal (common practice, no source)"
    )
    line = str(found.parts[2])
    assert line.startswith("polar_hauling: 8 h x 60 min x 31.1 kJ/min / 4.184 kJ/kcal = 3568 kcal (Halsey")
    assert line.endswith("abstract; read)")


def test_fao_day_of_light_activity():
    # FAO/WHO/UNU, Human energy requirements, 2001, Table 5.1, sedentary or light activity lifestyle,
    # from memory: 36.7 / 24 = a physical activity level of 1.53.
    hours = day(
        sleep="8", personal_care="1", eating="1", cooking="1", office_work="8", household_work="1",
        driving="1", walking_about="1", light_leisure="2",
    )  # fmt: skip
    found = from_hours("female", 25, Decimal(55), Decimal("1.60"), hours, "schofield")
    assert abs(found.total / found.basal - Decimal("1.53")) < Decimal("0.005")


def test_met_goes_by_body_mass_only():
    # Compendium of Physical Activities 2011: 1 MET is 1 kcal/kg/h, so 2 h at 4.3 and 80 kg are 688.
    found = from_hours("male", 35, Decimal(80), Decimal("1.80"), day(brisk_walking="2", sleep="22"))
    assert found.parts[0].kcal == 688
    assert found.parts[0].working == "2 h x 4.3 kcal/kg/h x 80 kg"
    older = from_hours("female", 65, Decimal(80), Decimal("1.60"), day(brisk_walking="2", sleep="22"))
    assert older.parts[0].kcal == 688


def test_absolute_cost_ignores_the_person():
    parts = [
        from_hours(sex, age, Decimal(mass), Decimal("1.70"), day(polar_hauling="8", sleep="16")).parts[0].kcal
        for sex, age, mass in (("male", 25, 100), ("female", 60, 50))
    ]
    assert parts == [3568, 3568]


def test_multiple_of_basal_goes_by_the_chosen_equation():
    # 60 kg man of 30 years: 11.472 x 60 + 873.1 = 1561.42 (FAO/WHO/UNU 2001, Table 5.2).
    found = from_hours("male", 30, Decimal(60), Decimal("1.70"), day(sleep="24"), "schofield")
    assert found.total == 1561
    assert found.equation == "schofield"


def test_printed_parts_add_up():
    hours = day(sleep="7.5", desk_work="7.3", light_leisure="5.1", strength_exercise="1.2", eating="2.9")
    found = from_hours("female", 41, Decimal("63.4"), Decimal("1.67"), hours)
    assert found.total == sum(part.kcal for part in found.parts)
    assert all(part.kcal == part.kcal.to_integral_value() for part in found.parts)


@pytest.mark.parametrize(
    ("hours", "messages"),
    [
        (day(sleep="8", polar_hauling="15.5"), ["The hours of a day add up to 24, found 23.5."]),
        ({}, ["The hours of a day add up to 24, found 0."]),
        (
            day(sleep="16", polar_haulin="8"),
            ['No activity "polar_haulin" in the table. Did you mean "polar_hauling"?'],
        ),
        (day(sleep="16", xylophone="8"), ['No activity "xylophone" in the table.']),
        (day(sleep="25", eating="-1"), ["eating: needs hours from 0 to 24, found -1."]),
        (day(sleep="NaN"), ["sleep: needs hours from 0 to 24, found NaN."]),
        (day(sleep="Infinity"), ["sleep: needs hours from 0 to 24, found Infinity."]),
        (
            day(slep="8", desk_wrk="8"),
            [
                'No activity "slep" in the table. Did you mean "sleep"?',
                'No activity "desk_wrk" in the table. Did you mean "desk_work"?',
                "The hours of a day add up to 24, found 16.",
            ],
        ),
    ],
)
def test_faults_in_hours_all_at_once(hours, messages):
    with pytest.raises(HoursFault) as fault:
        from_hours("male", 35, Decimal(80), Decimal("1.80"), hours)
    assert list(fault.value.messages) == messages
    assert str(fault.value) == "\n".join(messages)


def test_unknown_equation():
    with pytest.raises(ValueError, match='No basal equation "harris"'):
        from_hours("male", 35, Decimal(80), Decimal("1.80"), day(sleep="24"), "harris")
