"""Stock: packs that are released and in date, load by load, against trying every dealing of packs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import product
from random import Random

import pytest

from optimenu.catalogue.stock import StockRow
from optimenu.program.build import build
from optimenu.rules.stock import Stock
from tests.rules.hand import FIRST, broken, faults, item, person, problem, reason, rule, said, tally
from tests.rules.tiny import measured

STEW, JAR = item("stew"), item("jar", "main side", servings_per_pack=3)
LATE = FIRST + timedelta(days=300)


def lot(name, packs, use_by=LATE, *, load="l0", state="released", number=1):
    return StockRow(
        name, load, f"{name} {number}", FIRST - timedelta(days=90), use_by, None, packs, state, number
    )


def near(problem, tally, rng):
    stock = []
    plenty = replace(
        problem,
        stock=tuple(
            StockRow(i.id, load.name, "x", FIRST, LATE, None, 0, "ordered", 1)
            for i in problem.catalogue.items
            for load in problem.loads
        ),
    )
    need = {}
    for m in measured(Stock, "[stock]\nunlisted = 'order'", plenty, tally):
        need[m.origin.what, m.origin.key.removeprefix("stock.")] = int(m.most)
    for (name, load), n in sorted(need.items()):
        if rng.random() < 0.5:
            soon = FIRST + timedelta(days=rng.randint(0, len(problem.dates)))
            part = rng.randint(0, n // 4)
            stock.append(StockRow(name, load, "a", FIRST, soon, None, part, "released", 1))
            stock.append(
                StockRow(name, load, "b", FIRST, LATE, None, n - part + rng.randint(0, 2), "released", 2)
            )
            stock.append(StockRow(name, load, "c", FIRST, LATE, None, 5, "held", 3))
    missing = problem.catalogue.items[-1].id
    stock = [row for row in stock if row.item != missing] + [
        StockRow(missing, "first", "d", FIRST, None, None, 9, "released", 4)
    ]
    return "[stock]\nunlisted = 'order'", replace(problem, stock=tuple(stock))


def test_packs_are_whole_for_each_party_load_and_block():
    # three dates, two fed by l0 and one by l1; jars hold three servings.
    # ana: 1 a day: l0 2 servings, 1 pack; l1 1 pack. bo: 2 a day: l0 4 servings, 2 packs; l1 1 pack.
    # ana's reserve: 1 serving, 1 pack of l0. So l0 needs 4 packs and l1 2.
    question = problem(
        (JAR,),
        people=(person("ana"), person("bo")),
        days=1,
        dates=3,
        loads=(0, 2),
        reserve=1,
        stock=(lot("jar", 3), lot("jar", 1, load="l1")),
    )
    stock = rule(Stock, "[stock]", question)
    menu = tally(question, "ana 1 lunch main jar 1\nbo 1 lunch side jar 2\nana r1 lunch main jar 1")
    assert broken(stock, menu) == [("stock.l0", "", -1, "1", "packs"), ("stock.l1", "", -1, "1", "packs")]
    assert said(stock, menu) == [
        "Jar, load l0: 4 packs; at most 3 packs",
        "Jar, load l1: 2 packs; at most 1 pack",
    ]


def test_use_by_dates_inside_the_stay():
    # four dates; 3 packs good to the second date (it is the last on which they may be eaten), 1 later.
    # One stew a date: two dates after it need 2 packs, one is there.
    soon = FIRST + timedelta(days=1)
    question = problem((STEW,), days=1, dates=4, stock=(lot("stew", 3, soon), lot("stew", 1)))
    stock = rule(Stock, "[stock]", question)
    menu = tally(question, "ana 1 lunch main stew 1")
    assert broken(stock, menu) == [("stock.l0", "", -1, "1", "packs")]
    assert said(stock, menu) == ["Stew after 2031-03-02: 2 packs; at most 1 pack"]


def test_the_reserve_must_last_to_the_end_of_the_stay():
    last = FIRST + timedelta(days=1)
    question = problem((STEW,), days=1, dates=2, reserve=1, stock=(lot("stew", 5, FIRST),))
    menu = tally(question, "ana r1 lunch main stew 1")
    assert broken(rule(Stock, "[stock]", question), menu) == [("stock.l0", "", -1, "1", "packs")]
    good = replace(question, stock=(lot("stew", 5, last),))
    assert broken(rule(Stock, "[stock]", good), tally(good, "ana r1 lunch main stew 1")) == []


def test_the_first_loads_reserve_lasts_longer_than_its_own_dates():
    # the first load feeds one date of three, and carries the reserve to the last one
    soon = FIRST + timedelta(days=1)
    lots = (lot("stew", 5, soon), lot("stew", 5, load="l1"))
    question = problem((STEW,), days=1, dates=3, loads=(0, 1), reserve=1, stock=lots)
    stock = rule(Stock, "[stock]", question)
    assert broken(stock, tally(question, "ana 1 lunch main stew 1")) == []
    assert broken(stock, tally(question, "ana r1 lunch main stew 1")) == [("stock.l0", "", -1, "1", "packs")]


@pytest.mark.parametrize(
    ("rows", "ok"),
    [
        ([lot("stew", 1)], True),
        ([lot("stew", 0)], False),
        ([lot("stew", 1, state="held")], False),
        ([lot("stew", 1, state="rejected")], False),
        ([lot("stew", 1, state="ordered")], False),
        ([lot("stew", 1, None)], False),
        ([lot("stew", 1, FIRST - timedelta(days=1))], False),
        ([lot("stew", 1, load="l9")], False),
        ([], False),
    ],
)
def test_what_may_not_be_eaten_is_refused(rows, ok):
    question = problem((STEW,), stock=tuple(rows))
    text = None if ok else "no released pack within its use-by date in load l0"
    stock = rule(Stock, "[stock]", question)
    assert reason(stock, question, "stew") == text
    assert reason(stock, question, "stew", meal=None) == text
    if not ok:
        # a hand-edited menu breaks the row too
        assert broken(stock, tally(question, "ana 1 lunch main stew 1")) == [
            ("stock.l0", "", -1, "1", "packs")
        ]


def test_a_day_with_a_date_past_every_use_by_is_refused_and_the_others_are_not():
    # two plan days over three dates: day 1 on the 1st and 3rd, day 2 on the 2nd; stew keeps to the 2nd
    question = problem((STEW,), days=2, dates=3, stock=(lot("stew", 5, FIRST + timedelta(days=1)),))
    stock = rule(Stock, "[stock]", question)
    after = (FIRST + timedelta(days=1)).isoformat()
    assert reason(stock, question, "stew", day=0) == (
        f"no released pack within its use-by date in load l0 after {after}"
    )
    assert reason(stock, question, "stew", day=1) is None
    # so the program has the serving on day 2 alone, although both days might have been of one class
    program = build(question, [stock])
    assert set(program.day.tolist()) == {1}


def test_unlisted_items_may_be_ordered_and_held_ones_not():
    question = problem((STEW, JAR), stock=(lot("jar", 5, state="held"),))
    order = rule(Stock, "[stock]\nunlisted = 'order'", question)
    assert reason(order, question, "stew") is None
    assert reason(order, question, "jar") is not None
    assert broken(order, tally(question, "ana 1 lunch main stew 1")) == []


def test_without_a_stock_list_everything_can_be_had():
    question = problem((STEW,))
    stock = rule(Stock, "[stock]", question)
    assert reason(stock, question, "stew") is None
    assert list(stock.measures(tally(question, "ana 1 lunch main stew 1"))) == []
    assert faults(stock) == []


def test_a_load_that_comes_later_feeds_only_its_own_dates():
    question = problem((STEW,), days=2, dates=2, loads=(0, 1), stock=(lot("stew", 9),))
    stock = rule(Stock, "[stock]", question)
    assert reason(stock, question, "stew", day=0) is None
    assert reason(stock, question, "stew", day=1) == "no released pack within its use-by date in load l1"


def can_be_dealt(served, size, lots):
    """Tell whether packs can be dealt so that every serving is eaten in date; every dealing is tried.

    Parameters
    ----------
    served : list of lists
        Dates of a party's servings, one entry a serving.
    lots : list of (last date, packs)
    """
    packs = [use_by for use_by, n in lots for _ in range(n)]
    for owners in product(range(-1, len(served)), repeat=len(packs)):
        good = True
        for party, dates in enumerate(served):
            room = sorted(
                u for u, owner in zip(packs, owners, strict=True) if owner == party for _ in range(size)
            )
            # the latest servings take the packs that keep longest
            wanted = sorted(dates)
            if len(room) < len(wanted):
                good = False
                break
            tail = room[len(room) - len(wanted) :]
            good = good and all(u >= d for u, d in zip(tail, wanted, strict=True))
        if good:
            return True
    return False


def test_rows_agree_with_trying_every_dealing_of_packs():
    found = {True: 0, False: 0}
    for seed in range(300):
        rng = Random(seed)
        size, dates = rng.randint(1, 3), rng.randint(2, 5)
        food = replace(JAR, servings_per_pack=size)
        lots = [
            (FIRST + timedelta(days=rng.choice((0, 1, 2, 3, 300))), rng.randint(0, 2))
            for _ in range(rng.randint(1, 3))
        ]
        stock = tuple(lot("jar", n, u, number=k) for k, (u, n) in enumerate(lots))
        people = (person("ana"), person("bo"))
        question = problem((food,), people=people, days=2, dates=dates, stock=stock)
        menu, served = [], []
        for who in people:
            eaten: list[date] = []
            for day in question.days:
                n = rng.choice((0, 0, 1, 2))
                if n:
                    menu.append(f"{who.id} {day.number + 1} lunch side jar {n}")
                    eaten += [d for d in day.dates for _ in range(n)]
            served.append(eaten)
        if not menu:
            continue
        ruled = rule(Stock, "[stock]", question)
        holds = not broken(ruled, tally(question, "\n".join(menu)))
        assert holds == can_be_dealt(served, size, lots), (seed, menu, lots)
        found[holds] += 1
    assert min(found.values()) >= 30
