"""What a point of one person's liking costs the others, against every menu of a table that quarrels."""

from __future__ import annotations

import io
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from types import SimpleNamespace

import numpy as np
from rich.console import Console

from optimenu.explain.exchange import Exchange, exchanges
from optimenu.program.build import priced
from optimenu.program.page import GOAL_DECIMALS
from optimenu.solve.liking import Scale
from optimenu.solve.standing import Crew
from optimenu.views.exchange import exchange_page
from tests.quarrel import quarrel
from tests.solve.programs import judge

D = Decimal
PEOPLE = ("ana", "bo", "cy")


def best_of_others(crew: Crew, menus: np.ndarray, p: int, level: Decimal) -> Fraction | None:
    """Greatest mean of the others, less the soft price, of menus that give p at least a level."""
    worth, found = crew.worth, []
    for x in menus:
        worths = crew.worths(x)
        if Fraction(worths[p], crew.best[p]) < Fraction(level):
            continue
        likes = [Fraction(w, b) for w, b in zip(worths, crew.best, strict=True)]
        soft = crew.standing(x, worth.excess(x)).mean
        mean = sum(w * c for w, c in zip(worths, crew.price, strict=True))
        others = (sum(likes) - likes[p]) / (len(likes) - 1)
        found.append(others - Fraction(mean - soft, 10**GOAL_DECIMALS))
    return max(found, default=None)


def test_both_bounds_hold_for_every_menu_and_the_rate_is_the_slope() -> None:
    costly = 0
    for seed in range(12):
        worth, menus, scale = quarrel(seed)
        crew = Crew(worth, scale)
        menus = menus[judge(priced(worth, scale.prices), menus).holds]
        got = exchanges(PEOPLE, worth, scale, step=D("0.02"))
        assert [e.person for e in got] == list(PEOPLE)
        for p, e in enumerate(got):
            # prices of the others' worth have twelve decimals
            slack = Fraction(1, 10**10)
            for level, bound in ((e.liking, e.others), (e.liking + e.step, e.raised)):
                if bound is None:
                    continue
                found = best_of_others(crew, menus, p, level)
                assert found is None or Fraction(bound) + slack >= found
            assert e.rate >= 0
            if e.cost is not None:
                # concave: the slope only grows with the level, and lies on the first bound's side
                assert float(e.cost) >= e.rate * float(e.step) - 1e-4
                costly += e.cost > 0
    assert costly >= 20


def test_more_than_anybody_can_have_is_no_answer() -> None:
    worth, _, scale = quarrel(0)
    high = [D("0.5"), D("9"), D("0.5")]
    got = exchanges(PEOPLE, worth, scale, liking=high)
    assert [e.person for e in got] == ["ana", "cy"]
    far = exchanges(PEOPLE, worth, scale, step=D(5))
    assert all(e.raised is None and e.cost is None for e in far)


def test_one_alone_exchanges_nothing_and_a_stop_is_heeded() -> None:
    worth, _, scale = quarrel(0)
    assert exchanges(("ana",), worth, Scale(scale.best[:1])) == ()
    told: list[str] = []
    stop = SimpleNamespace(is_set=lambda: bool(told))
    got = exchanges(PEOPLE, worth, scale, stop=stop, progress=told.append)
    assert told == ["ana"]
    assert len(got) == 1


def test_impossible_limits_give_no_exchange() -> None:
    worth, _, scale = quarrel(0)
    hard = replace(worth, row_high=np.where(worth.row_decimals == 1, 0, worth.row_high))
    assert exchanges(PEOPLE, hard, scale) == ()


def page(found: tuple[Exchange, ...], width: int) -> str:
    people = [SimpleNamespace(id=p, name=f"{p.title()}[b]", mark="", colour="") for p in PEOPLE]
    out = io.StringIO()
    Console(file=out, width=width, markup=False, highlight=False).print(
        exchange_page(SimpleNamespace(people=people), found)
    )
    return out.getvalue()


def test_the_page_reads_at_both_widths_and_says_what_is_proved() -> None:
    found = (
        Exchange("ana", D("0.912345"), D("0.01"), 0.4321, D("0.9400001"), D("0.9350001")),
        Exchange("bo", D("0.95"), D("0.01"), 0.0, D("0.93"), None),
    )
    for width in (80, 140):
        text = page(found, width)
        assert max(map(len, text.splitlines())) <= width
        flat = " ".join(text.split())
        assert "[A] Ana[b] 91.23 % 94.001 % 93.501 % 0.500 0.432" in flat
        assert "[B] Bo[b] 95.00 % 93.000 % no answer - 0.000" in flat
        assert "proved, no menu within these limits gives the others a greater mean liking" in flat
        assert "no proof about menus" in flat
    assert "there is one person" in page((), 80)
