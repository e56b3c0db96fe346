"""Retention by age: which packs, which dates, which table; worked by hand on a few dates."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from optimenu.catalogue.stock import StockRow
from optimenu.nutrition.losses import Rate, left
from optimenu.problem.storage import Storage
from tests.rules.hand import FIRST, item, problem

D = Decimal
JUICE = item("juice", VITC_mg="100", NA_mg="10", TOCPHA_mg="5")
K = D("0.05776")


def rate(fast, slow=None):
    return Rate(None if fast is None else D(fast), D(fast if slow is None else slow), "paper", "read")


def stored(question, days=0, **rates):
    """Return a problem with a loss of every nutrient named, in every item."""
    found = {
        (i.id, tag): r if isinstance(r, Rate) else rate(r)
        for i in question.catalogue.items
        for tag, r in rates.items()
    }
    return replace(question, storage=Storage(D(21), days, found))


def lot(made, until=date(2040, 1, 1), *, load="l0", state="released", name="juice"):
    return StockRow(name, load, f"{made}", made, until, None, 9, state, 2)


def test_two_dates_by_hand():
    # Made 365 days before the first date: of 100 mg of C 100 exp(-0.05776 x 365 / 30.4375) = 50.0250... mg
    # are left on it and 49.9302... on the second; four decimals of the part, floors down, ceilings up.
    question = stored(problem((JUICE,), days=1, dates=2, stock=(lot(FIRST - timedelta(365)),)), VITC=K)
    kept = question.retention
    assert kept.on(JUICE, "VITC_mg", question.dates[0]) == (D("0.5002"), D("0.5003"), True)
    assert kept.on(JUICE, "VITC_mg", question.dates[1]) == (D("0.4993"), D("0.4994"), True)
    share = kept.share(JUICE, "VITC_mg", 0)
    # a floor reads the last date, a ceiling the first, the mean of the stay both
    assert (share.low, share.high) == (D("0.4993"), D("0.5003"))
    assert (share.low_sum, share.high_sum) == (D("0.9995"), D("0.9997"))
    assert question.eaten(JUICE, "VITC_mg", 0, up=False) == D("49.93")
    assert question.eaten(JUICE, "VITC_mg", 0, up=True) == D("50.03")
    assert question.eaten(JUICE, "VITC_mg", 0, up=False, mean=True) == D("99.95")


def test_what_never_changes_and_what_has_no_storage():
    plain = problem((JUICE,), days=1, dates=2)
    question = stored(plain, 900, VITC=K)
    for column, amount in (("NA_mg", 10), ("ENERC_KCAL_kcal", 500)):
        assert not question.changes(column)
        assert question.eaten(JUICE, column, 0, up=False) == amount
        assert question.eaten(JUICE, column, 0, up=False, mean=True) == 2 * amount
    assert not plain.changes("VITC_mg") and plain.retention is None
    assert plain.eaten(JUICE, "VITC_mg", 0, up=False) == 100
    assert plain.eaten(JUICE, "IRON_mg", 0, up=False) is None


def test_floors_take_the_oldest_lot_still_in_date_and_ceilings_the_youngest():
    old, new = FIRST - timedelta(400), FIRST - timedelta(100)
    lots = (
        lot(old, FIRST + timedelta(1)),
        lot(new),
        lot(FIRST - timedelta(900), FIRST - timedelta(1)),
        lot(FIRST - timedelta(800), state="held"),
        lot(FIRST - timedelta(700), name="rice"),
    )
    question = stored(problem((JUICE, item("rice")), days=4, stock=lots), VITC=K)
    kept = question.retention
    # the third lot is past its use-by on arrival, the fourth on hold; the first may be eaten up to 2 March
    assert [kept.ages(JUICE, 0, w) for w in question.dates] == [
        (400, 100),
        (401, 101),
        (102, 102),
        (103, 103),
    ]


def test_later_loads_are_younger_and_the_reserve_is_of_the_first():
    lots = (lot(FIRST - timedelta(300)), lot(FIRST - timedelta(10), load="l1"))
    question = stored(problem((JUICE,), days=4, loads=(0, 2), reserve=1, stock=lots), VITC=K)
    kept = question.retention
    assert [kept.ages(JUICE, question.load_on(w), w)[0] for w in question.dates] == [300, 301, 12, 13]
    reserve = kept.share(JUICE, "VITC_mg", question.reserve[0].number)
    assert reserve.low == left(K, 303, up=False)
    assert reserve.high == left(K, 300, up=True)


def test_what_no_lot_lists_is_as_old_as_the_config_says_or_younger():
    question = stored(problem((JUICE,), days=3, loads=(-10,)), 50, VITC=K)
    assert question.retention.ages(JUICE, 0, question.dates[2]) == (62, 12)


def test_days_of_one_class_share_the_extreme_of_all_their_dates():
    # two days of one kind over five dates, day 1 on dates 1, 3, 5, day 2 on 2 and 4: two classes
    lots = (lot(FIRST - timedelta(100)),)
    question = stored(problem((JUICE,), days=2, dates=5, stock=lots), VITC=K)
    kept = question.retention
    assert kept.share(JUICE, "VITC_mg", 0).low == left(K, 104, up=False)
    assert kept.share(JUICE, "VITC_mg", 1).low == left(K, 103, up=False)
    # over four dates they weigh alike: both read the last date of either, and the lesser of the two sums
    question = stored(problem((JUICE,), days=2, dates=4, stock=lots), VITC=K)
    kept = question.retention
    first, second = (kept.share(JUICE, "VITC_mg", d) for d in (0, 1))
    assert first == second
    assert first.low == left(K, 103, up=False)
    assert first.high == left(K, 100, up=True)
    assert first.low_sum == left(K, 101, up=False) + left(K, 103, up=False)
    assert first.high_sum == left(K, 100, up=True) + left(K, 102, up=True)


@pytest.mark.parametrize(
    ("days", "low", "known"), [(0, 1, True), (28, 1, True), (29, 0, False), (400, 0, False)]
)
def test_a_loss_that_nobody_states_counts_as_unknown_beyond_thirty_days(days, low, known):
    # on the second date the food is a day older: 30 days are the last that count
    question = stored(problem((JUICE,), days=1, dates=3), days)
    share = question.retention.share(JUICE, "VITC_mg", 0)
    assert (share.low, share.high, share.known) == (low, 1, known)
    assert question.surely(JUICE, "VITC_mg", 0) == known
    # vitamin E falls only where somebody says so
    assert question.retention.share(JUICE, "TOCPHA_mg", 0).low == 1


def test_a_rate_unknown_in_the_warmth_counts_for_nothing_in_floors_only():
    question = stored(problem((JUICE,), days=1), 365, VITC=Rate(None, D("0.01"), "paper", "read"))
    share = question.retention.share(JUICE, "VITC_mg", 0)
    assert (share.low, share.high, share.known) == (0, 1, False)


def vitamin_a(whole, retinol, **rates):
    food = item("liver", VITA_RAE_ug=whole, RETOL_ug=retinol, CARTB_ug="1")
    question = stored(problem((food,), days=1, stock=(lot(FIRST - timedelta(365), name="liver"),)), **rates)
    share = question.retention.share(food, "VITA_RAE_ug", 0)
    return share.low, share.high, share.known


def test_vitamin_a_is_lost_as_retinol_and_carotene():
    # 600 of 800 ug are retinol of which half is left (0.5002, 0.5003), the rest carotene that stays:
    # 0.75 x 0.5002 + 0.25 = 0.62515 and 0.75 x 0.5003 + 0.25 = 0.625225
    assert vitamin_a("800", "600", RETOL=K, CARTB=0) == (D("0.6251"), D("0.6253"), True)
    # no rate of retinol: a quarter stays for floors, all for ceilings
    assert vitamin_a("800", "600", CARTB=0) == (D("0.2500"), 1, False)
    # no retinol in it, so its rate does not matter; a rounded label may have the part above the whole
    assert vitamin_a("800", "0", CARTB=0) == (1, 1, True)
    assert vitamin_a("800", "801", RETOL=K) == (D("0.5002"), D("0.5003"), True)
    # retinol not stated: each end takes the worse of the two
    assert vitamin_a("800", "unknown", RETOL=K, CARTB=0) == (D("0.5002"), 1, True)
    # a loss stated for vitamin A as a whole
    assert vitamin_a("800", "600", VITA_RAE=K) == (D("0.5002"), D("0.5003"), True)
