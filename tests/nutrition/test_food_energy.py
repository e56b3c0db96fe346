"""Energy of food by general factors."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.nutrition.food_energy import atwater


@pytest.mark.parametrize(
    ("grams", "kcal"),
    [
        # FAO Food and Nutrition Paper 77, 2003: kcal per g, here for 100 g of each.
        ((100, 0, 0, 0, 0), 400),
        ((0, 100, 0, 0, 0), 900),
        ((0, 0, 100, 0, 0), 400),
        ((0, 0, 0, 100, 0), 700),
        ((0, 0, 100, 0, 100), 200),
    ],
)
def test_general_factors(grams, kcal):
    assert atwater(*map(Decimal, grams)) == kcal


def test_fibre_is_part_of_carbohydrate():
    # 10 x 4 + 5 x 9 + (30 - 6) x 4 + 6 x 2 + 1 x 7, worked by hand.
    assert atwater(Decimal(10), Decimal(5), Decimal(30), Decimal(1), Decimal(6)) == 200


def test_rounded_once():
    assert atwater(Decimal("0.1"), Decimal("0.1"), Decimal(0), Decimal(0), Decimal(0)) == 1  # 0.4 + 0.9 = 1.3
    assert atwater(Decimal("0.625"), Decimal(0), Decimal(0), Decimal(0), Decimal(0)) == 3  # 2.5, halves up


@pytest.mark.parametrize("bad", ["-1", "NaN", "Infinity"])
@pytest.mark.parametrize("place", range(5))
def test_amounts_that_are_none(bad, place):
    grams = [Decimal(0)] * 5
    grams[place] = Decimal(bad)
    name = ("protein", "fat", "carbohydrate", "alcohol", "fibre")[place]
    with pytest.raises(ValueError, match=f"{name}: needs 0 g or more, found {bad}"):
        atwater(*grams)


def test_more_fibre_than_carbohydrate():
    with pytest.raises(ValueError, match="Fibre of 3 g is more than total carbohydrate of 2 g"):
        atwater(Decimal(0), Decimal(0), Decimal(2), Decimal(0), Decimal(3))
