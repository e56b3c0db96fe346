"""What storage takes from a menu: worked by hand, and what the screens say of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from rich.console import Console, Group

from optimenu.nutrition.losses import left
from optimenu.problem.storage import Storage
from optimenu.rules.nutrients import Nutrients
from optimenu.stowage.losses import losses, losses_of_all
from optimenu.views.losses import lost_lines, lost_table
from optimenu.views.summary import cautions, not_counted
from tests.problem.test_storage import K, lot, rate
from tests.rules.hand import FIRST, item, person, problem, rule, tally
from tests.rules.test_nutrients import WIDE

D = Decimal
JUICE = item("juice", VITC_mg="100", FIBTG_g="10")
FRUIT = item("fruit", "side", VITC_mg="40", FIBTG_g="4")
MENU = "ana 1 lunch main juice 1\nana 1 dinner main juice 1\nana 1 lunch side fruit 1"


def lost(floor, *, given="0", window="stay", price="", dates=2, made=365):
    """Return what a menu of 240 mg of vitamin C a day loses, of which 40 have no known loss."""
    who = person("ana", supplements={"VITC_mg": D(given)})
    lots = tuple(lot(FIRST - timedelta(made), name=n) for n in ("juice", "fruit"))
    kept = Storage(D(21), 0, {("juice", "VITC"): rate(K)})
    q = problem((JUICE, FRUIT), people=(who,), days=1, dates=dates, stock=lots, storage=kept)
    toml = f"{WIDE}[nutrients.limits.VITC_mg.{window}]\nlow = {floor}\n{price}"
    menu = tally(q, MENU)
    (found,) = losses(menu, (rule(Nutrients, toml, q),), 0)
    return q, found


def drawn(*parts, width=100):
    console = Console(width=width, color_system=None, highlight=False)
    with console.capture() as captured:
        console.print(Group(*parts))
    text = captured.get()
    assert max(map(len, text.splitlines())) <= width
    return " ".join(text.split())


def test_at_production_as_eaten_and_on_the_last_date():
    # of 200 mg 100.04 are left on the first date, 99.86 on the second; of the other 40 nothing counts
    _, found = lost("90")
    assert (found.produced, found.eaten, found.last) == (240, D("99.95"), D("99.86"))
    assert found.unknown == D(40) / 240
    assert found.part == (240 - D("99.86")) / 240
    assert (found.floor, found.soft, found.state) == (90, False, "")


def test_supplements_do_not_fall():
    _, found = lost("100", given="30")
    assert (found.produced, found.eaten, found.last, found.given) == (270, D("129.95"), D("129.86"), 30)
    assert found.part == (240 - D("99.86")) / 240


@pytest.mark.parametrize(
    ("floor", "state"), [("90", ""), ("98.5", "binds"), ("100", "below"), ("239", "below"), ("241", "short")]
)
def test_which_floors_losses_make_bind(floor, state):
    assert lost(floor)[1].state == state


def test_until_when_the_whole_menu_would_reach_its_floor():
    # the last age in days at which 200 exp(-0.05776 t / 30.4375) is 90 or more is 420, 55 after the first
    _, found = lost("90")
    last = max(t for t in range(365, 600) if 200 * left(K, t, up=False) >= 90)
    assert last == 420
    assert found.until == FIRST + timedelta(days=last - 365)
    # on the second of two dates 199.72 of 200 are gone under a floor of 100.0: only the first reaches it
    assert lost("99.9")[1].until == FIRST
    assert lost("1")[1].until is None
    assert lost("241")[1].until is None


def test_without_storage_nothing_is_told():
    q, _ = lost("90")
    plain = replace(q, storage=None)
    assert losses_of_all(tally(plain, MENU), (rule(Nutrients, WIDE, plain),)) == [()]
    assert lost_lines(plain, [()]) == []


@pytest.mark.parametrize("width", [80, 140])
def test_the_table_and_the_closing_lines(width):
    q, found = lost("99.9", price="price = 0.001")
    text = drawn(*lost_table(q, 0, [found]), width=width)
    assert "Losses in storage, mean of a day with supplements" in text
    assert "240 100 99.86 59 % 17 % 99.9 goal day 1" in text
    assert "= Ana: losses make the floor or goal bind: Vitamin C 100 of 99.9 mg (240 at production, " in text
    assert "under it after day 1)" in text
    assert "wide spread" in text and "dietitian" in text and "physician" in text
    closing = drawn(*lost_lines(q, [(found,)]), width=width)
    assert "[A] Ana: Vitamin C 59 %" in closing
    below = drawn(*lost_table(q, 0, [lost("110")[1]]), width=width)
    assert "▼ Ana: losses bring below the floor or goal: Vitamin C 100 of 110 mg (240 at production)" in below
    assert lost_table(q, 0, []) == []


def test_cautions_say_whether_losses_are_counted():
    q, _ = lost("90")
    assert "count after losses in storage" in drawn(cautions(q))
    plain = replace(q, storage=None)
    assert "are those at production" in drawn(cautions(plain))


def test_a_long_plan_that_counts_no_losses_says_so_loudly():
    short, _ = lost("1", dates=89)
    long, _ = lost("1", dates=90)
    assert not_counted(long) == [] == not_counted(replace(short, storage=None))
    text = drawn(*not_counted(replace(long, storage=None)))
    assert "▼ LOSSES IN STORAGE ARE NOT COUNTED, and this stay has 90 dates." in text
    assert "[storage]" in text
