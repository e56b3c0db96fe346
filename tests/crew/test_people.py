"""A person's energy requirement: given, by hours, or from the published equation."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.crew.people import EnergyTable, Person, PersonTable, activity_sources, requirement
from optimenu.crew.prescriptions import PrescriptionTable, resolve

D = Decimal


def table(**energy):
    more = {"name": "Ana", "sex": "male", "age": 35, "mass_kg": 80, "height_m": D("1.80")}
    return PersonTable(**more, energy=energy)


def test_given():
    who = table(kcal=2500)
    assert requirement(who, who.energy) == (2500, ("2500 kcal a day, as given",))


def test_hours_of_activity():
    # Basal by Mifflin (1990): 10 x 80 + 6.25 x 180 - 5 x 35 + 5 = 1755 kcal a day.
    who = table(hours={"sleep": D(8), "light_camp_work": D(16)})
    value, steps = requirement(who, who.energy)
    # 8 h of sleep at 1.0: 585; 16 h of light work about the camp at 1.6: 1872; together 2457
    assert abs(value - D(2457)) < 1
    assert steps == (
        "2457 kcal a day, the sum of: sleep 8 h x 1.0 x 1755 kcal / 24 h = 585 kcal; "
        "light_camp_work 16 h x 1.6 x 1755 kcal / 24 h = 1872 kcal",
    )


def test_sources_of_hours_are_told_once():
    hours = table(hours={"sleep": D(8), "light_camp_work": D(8), "polar_hauling": D(8)})
    lines = activity_sources([hours, table(kcal=2500), hours])
    assert [line.split(":")[0] for line in lines] == [
        "sleep", "basal metabolism", "light_camp_work", "polar_hauling",
    ]  # fmt: skip
    assert "Mifflin et al." in lines[1]
    assert lines[2] == "light_camp_work: common practice, no source"
    assert "Halsey et al. 2016" in lines[3] and lines[3].endswith("; read")
    assert activity_sources([table(kcal=2500)]) == ()


def test_the_published_equation():
    who = table(edition="2005", activity="sedentary")
    value, (step,) = requirement(who, who.energy)
    # Institute of Medicine 2005, men 19 and over, sedentary (PA 1.00):
    # 662 - 9.53 x 35 + 15.91 x 80 + 539.6 x 1.80 = 662 - 333.55 + 1272.8 + 971.28 = 2572.53
    assert abs(value - D("2572.53")) < 1
    assert step == f"{value} kcal a day: estimated energy requirement, 2005 edition, sedentary"


@pytest.mark.parametrize(
    ("energy", "text"),
    [
        ({"edition": "2005", "activity": "lazy"}, "lazy"),
        ({"edition": "2005"}, "activity"),
        ({"hours": {"sleep": D(8)}}, "24"),
        ({"hours": {"flying": D(24)}}, "flying"),
    ],
)
def test_what_cannot_be_worked_out_says_why(energy, text):
    who = table(**energy)
    with pytest.raises(ValueError, match=text):
        requirement(who, who.energy)


def test_a_person_outside_the_tables_is_refused():
    young = PersonTable(
        name="Bo",
        sex="female",
        age=18,
        mass_kg=60,
        height_m=D("1.7"),
        energy={"edition": "2005", "activity": "sedentary"},
    )
    with pytest.raises(ValueError, match="19"):
        requirement(young, young.energy)


def test_one_way_is_right():
    assert EnergyTable(kcal=1).ways() == 1
    assert EnergyTable().ways() == 0
    assert EnergyTable(kcal=1, edition="2005").ways() == 2


def test_a_day_kind_may_have_its_own_requirement():
    who = Person("ana", "Ana", "female", 30, D(60), D("1.7"), D(5), {"": D(2000), "rest": D(1800)})
    assert (who.kcal_on("rest"), who.kcal_on("work")) == (1800, 2000)


def test_supplements_are_added_up_for_a_day():
    script = resolve(
        PrescriptionTable(
            by="physician",
            date="2031-01-01",
            allergies={"milk": "severe"},
            limits={"NA_mg": {"day": {"high": 2000}, "stay": {"low": 500}}},
            supplements={
                "one": {"name": "A", "per_day": 2, "amounts": {"VITD_ug": D("2.5"), "CA_mg": 100}},
                "two": {"name": "B", "amounts": {"VITD_ug": 10}},
            },
        )
    )
    assert script.supplements == {"VITD_ug": D(15), "CA_mg": D(200)}
    assert script.limits == {"NA_mg": {"day": (None, D(2000)), "stay": (D(500), None)}}
    assert script.allergies == {"milk": "severe"}
