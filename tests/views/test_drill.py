"""Words of a drill's page on a case worked out by hand in ``tests/stowage/test_drill.py``."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from rich.console import Console

from optimenu.views.drill import drill_page, tenths
from optimenu.views.drill_words import percent
from tests.rules.hand import D
from tests.stowage.test_drill import BAR, ITEMS, PEOPLE, asked


def page(case, answer, **more):
    console = Console(width=100, markup=False, highlight=False, color_system=None)
    with console.capture() as found:
        console.print(drill_page(case, answer, **more))
    return " ".join(found.get().split())


def test_the_page_of_the_case_by_hand():
    text = page(*asked(start="2031-03-02", lost=("heater", "hot_water", "freezer"), late="1"))
    # packs: ana 4 of the menu and 3 of the reserve, soup lost; bo 5 and 2, roast, ice and soup lost
    assert "[A] Ana 4 3 1 6 7" in text and "[B] Bo 5 2 3 4 4" in text and "crew 9 5 4 10 11" in text
    assert "[A] Ana 3,250 400 2,850 2.8 3" in text and "[B] Bo 2,600 1,300 1,300 1.0 3" in text
    assert "crew 5,850 1,700 4,150 3.9 6" in text
    assert "Soup 2 800 needs hot water: no time stated for cold" in text
    assert "[B] Bo (1 item): Nuts" in text
    assert "4 Mar * 700 70 % ▼ 600 50 %" in text
    assert "Least: Bo, 4 Mar 2031, 600 kcal, 50.0 %." in text
    # 83 / 132 = 62.88 %, rounded up
    assert "No ration of what is left gives every person-day more than 62.9 % of its requirement" in text
    assert "3 person-days under 70 %" in text
    assert "To be put before: a physician (the prescriptions name none)." in text


def test_plain_water_comes_first():
    text = page(*asked(water_l="0.7", more={"plain_water_ml": D(500)}))
    assert (
        "Plain water alone is up to 0.3 L a day short; on such a date nothing that needs water can be made."
        in text
    )
    assert "A physician decides now." in text


def test_a_load_by_name_and_lists_of_a_closer_look():
    silent = replace(BAR, id="silent", name="Silent", amounts={"ENERC_KCAL_kcal": None})
    chill = replace(BAR, id="chill", name="Chill", form="chilled")
    menu = "ana 1 lunch main bar 4\nana 1 dinner main silent 1\nana 2 lunch main bar 5\n"
    menu += "ana 2 dinner main chill 1\nana 2 lunch side ice 1\nana r1 lunch side cracker 2"
    case = asked(
        menu, days=2, dates=4, people=PEOPLE[:1],
        items=(*ITEMS, silent, chill), more={"loads": (0, 2)}, lost=("freezer",), late="l1=1",
    )  # fmt: skip
    text = page(*case)
    assert "load l1 comes 1 day late and leaves 1 date without food of their own" in text
    assert "until the load comes" in text
    assert "Energy not stated, counted as none: Silent." in text
    assert "Kept, but in the fridge at 5 °C or below: Chill." in text
    # a pack of four in the reserve, two of them planned
    assert "nor 2 servings the packs hold beyond the plan" in text
    assert (
        "No lot states a use-by date for what the ration moves, check each pack: Cracker; Bar; Chill." in text
    )


def test_figures_never_say_more_than_there_is():
    assert percent(Decimal("0.69999")) == "69.9 %" and percent(Decimal("0.69999"), up=True) == "70.0 %"
    assert percent(Decimal("0.7"), up=True) == "70.0 %" and tenths(Decimal("1234.56")) == "1,234.5"
