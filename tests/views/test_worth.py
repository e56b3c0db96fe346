"""The screens of what limits are worth and of why an item is not there: every sentence appears."""

from __future__ import annotations

import io
from dataclasses import replace
from decimal import Decimal

import pytest
from rich.console import Console

from optimenu.explain.prices import prices_of
from optimenu.explain.reading import Reading
from optimenu.explain.told import Replan, tell
from optimenu.explain.why_not import Use, WhyNot, Without, why_not
from optimenu.explain.worth import SoftCost, Trial
from optimenu.exports.worth import worth_data
from optimenu.program.origin import Origin
from optimenu.views.amounts import percent
from optimenu.views.why_not import item_lines, short_reason
from optimenu.views.worth import worth_page
from tests.explain.larder import larder_case

D = Decimal


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    case = larder_case(tmp_path_factory.mktemp("larder"), "4", fish_pie="6")
    prices = prices_of(case)
    return case, prices, tell(prices, None)


@pytest.fixture(scope="module")
def wide(tmp_path_factory):
    case = larder_case(tmp_path_factory.mktemp("wide"), "5.6", lentil_curry="6")
    prices = prices_of(case)
    return case, prices, tell(prices, None)


def shown(renderable, width=80):
    out = io.StringIO()
    Console(file=out, width=width, color_system=None, markup=False).print(renderable)
    lines = out.getvalue().splitlines()
    assert max(len(line.rstrip()) for line in lines) <= width
    return " ".join(out.getvalue().split())


def item_words(made, why, told=None):
    from rich.console import Group

    return shown(Group(*item_lines(made[0], told or made[2], why)))


@pytest.mark.parametrize("width", [80, 140])
def test_the_page_of_limits(wide, width):
    case, _, told = wide
    text = shown(worth_page(case, told, source="No menu."), width)
    assert "There is no menu to speak of: all that follows is about the relaxation" in text
    assert "stowage.volume_l at" in text
    assert "plan.toml:" in text
    assert "planner" in text
    assert "at most 5.6 L" in text
    assert "They cost the relaxation nothing: all are kept." in text
    assert "places of the meals themselves" in text
    assert "Juno: 1 item liked as well may not be given whatever the score" in text
    assert "Best liked and not in the relaxation" in text


def test_with_a_menu_its_worth_is_told_and_more_parts_find_a_place(wide):
    case, _, told = wide
    text = shown(worth_page(case, replace(told, value=D("0.5")), source="A menu.", more=["BETWEEN"]))
    assert "Worth 50 % of liking, less the price of soft limits; no menu is worth more than" in text
    assert (
        text.index("Where they stand") < text.index("BETWEEN") < text.index("Best liked and not on the menu")
    )


def test_a_limit_that_cannot_be_tighter_and_one_that_is_not_tried(wide):
    case, _, told = wide
    first, second = told.limits[0], replace(told.limits[1], alone=False)
    trials = (Trial(D(1), D("0.01"), D("0.009"), None), None)
    few = replace(told, limits=(first, second), trials=trials)
    text = shown(worth_page(case, few, source=""))
    # the solver may not have decided either
    assert "no answer" in text and "impossible" not in text
    assert "not tried" in text
    assert "more follows from the setting than its rows" in text
    data = worth_data(case, few)
    assert data["limits"][0]["tried"]["tighter_bound_falls"] is None
    assert "tried" not in data["limits"][1]


def test_what_the_menu_gains(wide):
    case, _, told = wide
    replans = (Replan(D("0.1"), D("0.012"), D("0.002")),)
    text = shown(worth_page(case, replace(told, replans=replans), source=""), 100)
    assert "1.2 %" in text
    assert "with nothing changed the same search gains 0.2 %" in text
    assert worth_data(case, replace(told, replans=replans))["limits"][0]["menu_gains"]["gain"] == "0.012"


def test_no_limit_and_long_lists(wide):
    case, _, told = wide
    assert "None: no limit but the shape of the meals" in shown(
        worth_page(case, replace(told, limits=(), items=()), source="")
    )
    many = replace(told, limits=told.limits[:1] * 12)
    assert "Limits worth less than these bind too: 4 more; all of them with --all." in shown(
        worth_page(case, many, source="")
    )
    assert "--all" not in shown(worth_page(case, many, source="", everything=True))


def test_soft_limits_missed(wide):
    case, _, told = wide
    cost = SoftCost(
        Origin("stowage", "stowage.volume_l", "juno"), 3, True, Reading("fluid", "g", D(1), D(1)), 0.002
    )
    text = shown(worth_page(case, replace(told, soft=(cost,) * 9, value=D(1)), source=""))
    assert "Soft limits cost the menu 1.8 % of liking" in text
    assert "fluid: too little, 3 times; costs 0.2 %" in text
    assert "and 1 more, 0.2 % together" in text


@pytest.mark.parametrize(
    ("item", "sentences"),
    [
        (
            "groundnut_soup_pot",
            [
                "2 places in the cycle could take it; rules leave 0.",
                "contains: peanuts; prescriptions.people.juno.allergies.peanuts at",
                "prescriptions.toml:",
                "physician",
                "No score would bring it in: other rules refuse it everywhere.",
            ],
        ),
        (
            "plum_compote",
            ["scored 4.00, under the floor of 5", "begins to use it at a score of"],
        ),
        (
            "apple_rings",
            ["no score; floor 5", "not tasted, and too few others", "at a score of 9"],
        ),
        ("rye_bread", ["Liking counts in none of its courses (weight 0)"]),
        (
            "fish_pie",
            [
                "scored 6.00; floor 5.",
                "begins to use it at a score of 6.50. Solved again: a tenth of a point above, on",
                "a tenth below, on 0.",
                "the place, which other items want (meals.dinner.courses.main)",
            ],
        ),
        ("egg_hash", ["The relaxation serves it on 2 dates."]),
    ],
)
def test_one_item_in_full(made, item, sentences):
    text = item_words(made, why_not(made[1], 0, item))
    for sentence in sentences:
        assert sentence in text
    assert (
        worth_data(made[0], replace(made[2], items=(why_not(made[1], 0, item),)))["items"][0]["item"] == item
    )


def test_an_item_not_offered_or_out_of_reach(made):
    why = why_not(made[1], 0, "fish_pie")
    text = item_words(made, replace(why, status="not offered"))
    assert "The catalogue offers it as main at dinner; no course of this person's plan takes it." in text
    out = replace(why, entry=replace(why.entry, needed=None))
    assert "Not even a score of 9 brings it into the relaxation" in item_words(made, out)
    assert short_reason(out).startswith("not even a score of 9 brings it in: at dinner, main it earns")
    assert short_reason(why).startswith("needs 6.50: at dinner, main it earns")
    estimated = replace(why, estimated=True)
    assert "not tasted, estimated 6.00 from the others' scores" in item_words(made, estimated)
    used = replace(why, status="used", relaxed=2.0, entry=None)
    told = replace(made[2], value=D("0.9"))
    assert "this menu on none: by the bound it would fit about as well" in item_words(made, used, told)
    assert "Without it the relaxation has no answer" in item_words(made, used)
    assert short_reason(used) == "the relaxation serves it on 2 dates: it would fit about as well"
    assert short_reason(replace(why, entry=None)) == "HiGHS finds no answer to the limits without it"
    unscored = replace(why, status="not scored", entry=None)
    assert "no score of this person's would matter" in item_words(made, unscored)


def test_a_planned_item(made):
    use = Use("day 1", "dinner", "main", 1, 2, "table")
    why = WhyNot("juno", "fish_pie", "planned", D(6), False, D(5), 2, 2, uses=(use,))
    told = replace(made[2], value=D("0.8"))

    def words(without):
        return item_words(made, replace(why, without=without), told)

    assert "On the menu 1 time in the cycle, 2 dates: day 1, dinner, main." in words(None)
    assert "Shared by table: taken away from one, it is taken from all at the table." in words(None)
    assert "no answer (HiGHS's finding, no proof)." in words(Without(None, D("0.9")))
    least = words(Without(D("0.79"), D("0.81")))
    assert "Without it the bound falls by 2 % of liking, from 81 %." in least
    assert "No menu without it comes within 1 % of this one: so much it earns at least." in least
    assert "the bound does not tell them apart" in words(Without(D("0.805"), D("0.81")))


def test_parts_of_liking():
    assert [percent(v) for v in (0, 1e-7, D("0.01234567"), 1, None)] == [
        "0 %", "under 0.001 %", "1.235 %", "100 %", "?",
    ]  # fmt: skip
