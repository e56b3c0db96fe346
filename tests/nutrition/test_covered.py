"""Whoever the tables do not cover is refused, by every way in."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.nutrition.adequacy import average_requirement
from optimenu.nutrition.covered import NotCovered
from optimenu.nutrition.energy import basal, estimated_requirement, from_hours
from optimenu.nutrition.intakes import reference_intakes

WAYS_IN = {
    "reference intakes": reference_intakes,
    "average requirement": lambda sex, age, state="": average_requirement(sex, age, "MG_mg", state),
    "basal": lambda sex, age, state="": basal("mifflin", sex, age, Decimal(70), Decimal("1.7"), state),
    "published estimate": lambda sex, age, state="": estimated_requirement(
        "2023", sex, age, Decimal(70), Decimal("1.7"), "active", state
    ),
    "hours": lambda sex, age, state="": from_hours(
        sex, age, Decimal(70), Decimal("1.7"), {"sleep": Decimal(24)}, state=state
    ),
}


@pytest.mark.parametrize("way_in", WAYS_IN.values(), ids=WAYS_IN)
@pytest.mark.parametrize(
    ("person", "message"),
    [
        (("male", 18), "The tables cover adults from 19 years, found 18"),
        (("female", 111), "An age of 111 years looks like a slip; give whole years up to 110."),
        (("", 40), 'The tables are by sex and have "male" and "female", found ""'),
        (("unknown", 40), 'The tables are by sex and have "male" and "female", found "unknown"'),
        (("female", 30, "pregnant"), "The tables here do not cover a person who is pregnant"),
        (("female", 30, "lactating"), "The tables here do not cover a person who is lactating"),
        (("female", 30, "dialysis"), 'The tables here do not cover the state "dialysis"'),
    ],
)
def test_refused(way_in, person, message):
    with pytest.raises(NotCovered) as refusal:
        way_in(*person)
    assert str(refusal.value).startswith(message)


@pytest.mark.parametrize("way_in", WAYS_IN.values(), ids=WAYS_IN)
def test_19_and_over_70_are_covered(way_in):
    for age in (19, 30, 31, 50, 51, 70, 71, 110):
        assert way_in("female", age)


def test_all_reasons_at_once():
    with pytest.raises(NotCovered) as refusal:
        reference_intakes("m", 12, "pregnant")
    text = str(refusal.value)
    assert "by sex" in text
    assert "from 19 years, found 12" in text
    assert "who is pregnant" in text
    assert "dietitian" in text


@pytest.mark.parametrize(
    ("mass", "height", "message"),
    [
        ("80", "180", "Height needs a number from 1.20 to 2.30 m, found 180."),
        ("80", "1.19", "Height needs a number from 1.20 to 2.30 m, found 1.19."),
        ("29.9", "1.80", "Body mass needs a number from 30 to 250 kg, found 29.9."),
        ("80000", "1.80", "Body mass needs a number from 30 to 250 kg, found 80000."),
        ("NaN", "1.80", "Body mass needs a number from 30 to 250 kg, found NaN."),
    ],
)
def test_slips_of_unit_are_refused(mass, height, message):
    calls = (
        lambda: basal("mifflin", "male", 40, Decimal(mass), Decimal(height)),
        lambda: estimated_requirement("2005", "male", 40, Decimal(mass), Decimal(height), "active"),
        lambda: from_hours("male", 40, Decimal(mass), Decimal(height), {"sleep": Decimal(24)}),
    )
    for call in calls:
        with pytest.raises(NotCovered) as refusal:
            call()
        assert str(refusal.value) == message
