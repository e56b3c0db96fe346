"""A card of the crew: order, times, who shares, how to serve, and nothing it must not say."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from optimenu.problem.problem import Party
from optimenu.stowage.crew_card import card, in_words, serving_words, with_words
from tests.rules.hand import item, person, problem, tally

D = Decimal
CREW = (person("ana"), person("bo"), person("cy"))
STEW = item("stew", heat_min=D(8))
BUN = item("bun", "side", heat_min=D(0))
SALT = item("salt", "condiment", pack_kind="sachet", heat_min=D(0))


def made(text, who=0, **more):
    question = problem((STEW, BUN, SALT), people=CREW, **more)
    return card(question, tally(question, text), who)


def test_days_carry_their_dates_and_meals_stand_by_this_person_s_clock():
    text = (
        "ana 1 lunch side bun 2\nana 1 lunch main stew 1\nana 1 dinner main stew 1\nana 2 lunch main stew 1"
    )
    found = made(text, dates=5, clock={(0, "dinner"): 60})
    # a two-day cycle over five dates
    assert [(d.title, [x.day for x in d.dates]) for d in found.days] == [
        ("day 1", [1, 3, 5]),
        ("day 2", [2, 4]),
    ]
    assert (found.first, found.last) == (date(2031, 3, 1), date(2031, 3, 5))
    dinner, lunch = found.days[0].meals
    assert [(m.at, m.name) for m in (dinner, lunch)] == [("01:00", "dinner"), ("12:00", "lunch")]
    # courses in their order, not the menu's
    assert [(d.name, d.servings, d.serve) for d in lunch.dishes] == [
        ("Stew", "", "heat"), ("Bun", "two servings", "as it is"),
    ]  # fmt: skip


def test_who_shares_a_dish_is_named_and_nobody_else_s_food_is_on_the_card():
    parties = (*(Party(p.id, (k,)) for k, p in enumerate(CREW)), Party("table", (0, 1, 2)))
    text = "table 1 lunch main stew 1\nbo 1 dinner main stew 1"
    found = made(text, 1, parties=parties)
    assert [d.shared_with for m in found.days[0].meals for d in m.dishes] == [("Ana", "Cy"), ()]
    assert [m.name for m in made(text, 0, parties=parties).days[0].meals] == ["lunch"]
    assert [with_words(n) for n in ((), ("Ana",), ("Ana", "Cy"), ("Ana", "Bo", "Cy"))] == [
        "", "Ana", "Ana and Cy", "Ana, Bo and Cy",
    ]  # fmt: skip


def test_what_is_free_and_the_reserve_stand_at_their_places():
    found = made("ana 1 salt 1?\nana 2 salt 3?\nana r1 lunch main stew 1", reserve=1)
    assert [d.any_time for d in found.days] == [
        (("Salt", "up to one sachet"),),
        (("Salt", "up to three sachets"),),
    ]
    (spare,) = found.reserve
    assert (spare.title, spare.dates, spare.meals[0].dishes[0].name) == ("reserve 1", (), "Stew")


@pytest.mark.parametrize(
    ("fields", "words", "cold"),
    [
        ({"heat_min": D(0)}, "as it is", "as it is"),
        ({"heat_min": D(5), "unheated": "good"}, "heat", "heat, without heat: as it is"),
        ({"heat_min": D(5), "unheated": "no"}, "heat", "heat"),
        ({"heat_min": D(5), "unheated": "unknown"}, "heat", "heat"),
        ({"heat_min": D(0), "water_ml": D(90), "water_kind": "chilled"}, "cold water", "cold water"),
        (
            {
                "heat_min": D(0),
                "water_ml": D(90),
                "water_kind": "hot",
                "unheated": "safe only",
                "cold_min": D(9),
            },
            "hot water",
            "hot water, without heat: cold water",
        ),
        # not known to take cold water
        (
            {"heat_min": D(0), "water_ml": D(90), "water_kind": "hot", "unheated": "good"},
            "hot water",
            "hot water",
        ),
        ({}, "see the pack", "see the pack"),
    ],
)
def test_serving_is_told_without_amounts(fields, words, cold):
    dish = item("dish", **fields)
    assert serving_words(dish) == words
    assert serving_words(dish, reserve=True) == cold


@pytest.mark.parametrize(
    ("n", "words"),
    [
        (1, "one"), (13, "thirteen"), (20, "twenty"), (42, "forty-two"), (100, "one hundred"),
        (115, "one hundred and fifteen"), (1000, "one thousand"),
    ],
)  # fmt: skip
def test_numbers_in_words(n, words):
    assert in_words(n) == words


def test_a_day_of_its_own_is_told_by_its_dates_alone():
    question = problem((STEW,), people=CREW, dates=4)
    first, second = question.days
    # the second date's own day takes it from the cycle; what the day is called may say why
    own = replace(first, number=2, block="dated", label="fast of the equinox", dates=(question.dates[1],))
    second = replace(second, dates=question.dates[3:])
    question = replace(question, days=(first, second, own), sequence=(0, 2, 0, 1))
    found = card(question, tally(question, "ana 1 lunch main stew 1"), 0)
    assert [(d.title, [x.day for x in d.dates]) for d in found.days] == [
        ("day 1", [1, 3]),
        ("", [2]),
        ("day 2", [4]),
    ]
