"""Dates, plan days, loads and runs."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from optimenu.problem.calendar import (
    Load,
    Meal,
    PlanDay,
    cycle_days,
    passes,
    runs,
    stay_dates,
    with_dated,
)
from tests.rules.hand import FIRST, item, problem

FEBRUARY = date(2027, 2, 1)
APRIL = date(2027, 4, 1)


def test_a_stay_holds_both_of_its_ends():
    # 28 days of February, 31 of March and the first of April
    stay = stay_dates(FEBRUARY, APRIL)
    assert (len(stay), stay[0], stay[-1]) == (60, FEBRUARY, APRIL)
    assert stay_dates(APRIL, APRIL) == (APRIL,)


def test_sixteen_days_over_sixty_dates():
    # 60 = 3 x 16 + 12: the first twelve days come four times, the last four three times
    stay = stay_dates(FEBRUARY, APRIL)
    days = cycle_days(stay, 16, {}, {"work": ()}, "work")
    assert [d.weight for d in days] == 12 * [4] + 4 * [3]
    assert days[0].dates == tuple(FEBRUARY + timedelta(days=k) for k in (0, 16, 32, 48))
    assert days[15].dates == tuple(FEBRUARY + timedelta(days=k) for k in (15, 31, 47))
    assert sorted(d for day in days for d in day.dates) == list(stay)


def test_kinds_labels_and_days_that_get_no_date():
    rest = (Meal("brunch", 600, ()),)
    days = cycle_days(
        stay_dates(APRIL, APRIL + timedelta(days=1)), 3, {2: "rest"}, {"work": (), "rest": rest}, "work"
    )
    assert [(d.number, d.label, d.kind, d.meals, d.block) for d in days] == [
        (0, "day 1", "work", (), "cycle"),
        (1, "day 2", "rest", rest, "cycle"),
    ]


@pytest.mark.parametrize(
    ("sequence", "length", "wrap", "expected"),
    [
        # a pass and nothing else
        ((0, 1, 2, 3), 2, False, [(0, 1), (1, 2), (2, 3)]),
        # the seam: 3 is followed by 0
        ((0, 1, 2, 3), 2, True, [(0, 1), (1, 2), (2, 3), (0, 3)]),
        ((0, 1, 2, 3), 3, True, [(0, 1, 2), (1, 2, 3), (0, 2, 3), (0, 1, 3)]),
        # a calendar that comes round has the seam by itself
        ((0, 1, 2, 0, 1, 2), 2, False, [(0, 1), (1, 2), (0, 2)]),
        ((0, 1, 2, 0, 1, 2), 2, True, [(0, 1), (1, 2), (0, 2)]),
        # a run may hold a plan day twice
        ((0, 1, 0, 1, 0), 3, False, [(0, 0, 1), (0, 1, 1)]),
        # a stay no longer than the run is one run
        ((0, 1), 7, False, [(0, 1)]),
        ((0, 1, 2), 3, True, [(0, 1, 2)]),
        ((0, 0), 1, True, [(0,)]),
    ],
)
def test_runs(sequence, length, wrap, expected):
    assert list(runs(sequence, length, wrap=wrap)) == expected


def test_every_run_of_the_calendar_is_there_once():
    sequence = [k % 16 for k in range(60)]
    found = runs(sequence, 7, wrap=False)
    every = {tuple(sorted(sequence[k : k + 7])) for k in range(54)}
    assert set(found) == every
    assert len(found) == len(every) == 16


def test_loads_feed_the_dates_from_their_arrival():
    question = problem((item("stew"),), days=2, dates=5, loads=(0, 3), reserve=1)
    assert [question.load_on(d) for d in question.dates] == [0, 0, 0, 1, 1]
    # day 1 falls on dates 1, 3, 5 and day 2 on 2, 4; the first load carries the reserve
    assert question.load_weights == ((2, 1), (1, 1), (1, 0))
    assert question.loads[1] == Load("l1", FIRST + timedelta(days=3))


def test_days_of_one_class_differ_in_nothing_that_counts_over_the_stay():
    question = problem((item("stew"),), days=4, dates=10, loads=(0, 8), kinds={2: "rest"}, reserve=2)
    # weights 3 3 2 2; the third dates of days 1 and 2 are fed by the second load
    assert question.day_class == (
        ("cycle", "work", 3, (2, 1), ()),
        ("cycle", "rest", 3, (2, 1), ()),
        ("cycle", "work", 2, (2, 0), ()),
        ("cycle", "work", 2, (2, 0), ()),
        ("reserve", "reserve", 1, (1, 0), ()),
        ("reserve", "reserve", 1, (1, 0), ()),
    )
    assert question.kinds == ("work", "rest")
    assert [d.number for d in question.reserve] == [4, 5]


def test_days_planned_by_themselves_take_their_dates_from_the_cycle():
    stay = stay_dates(FEBRUARY, FEBRUARY + timedelta(days=4))
    days = cycle_days(stay, 3, {}, {"work": ()}, "work")
    # 1 to 5 February: days 1 2 3 1 2; the feast on 3 February leaves day 3 without a date
    feast = PlanDay(9, "dated", "feast", "feast", (stay[2],), ())
    assert [(d.number, d.label, d.weight) for d in with_dated(days, [feast])] == [
        (0, "day 1", 2),
        (1, "day 2", 2),
        (2, "feast", 1),
    ]


def test_the_seam_is_that_of_the_cycle_alone():
    # four dates, the last planned by itself (3): after the cycle day 2 the cycle day 0 would come
    assert runs((0, 1, 2, 3), 2, wrap=True, cycle=(0, 1, 2)) == ((0, 1), (1, 2), (2, 3), (0, 2))


@pytest.mark.parametrize(
    ("sequence", "length", "expected"),
    [
        ((0, 1, 2, 0, 1, 2, 0), 3, ((0, 1, 2),)),
        # the second pass holds a day of its own: two passes; the last date alone is part of the first
        ((0, 1, 2, 0, 3, 2, 0), 3, ((0, 1, 2), (0, 2, 3))),
        # one planned day on two dates of one pass counts twice
        ((0, 3, 3, 0, 1, 2), 3, ((0, 3, 3), (0, 1, 2))),
        ((0, 1), 5, ((0, 1),)),
    ],
)
def test_passes(sequence, length, expected):
    assert passes(sequence, length) == expected


def test_a_hole_in_the_cycle_keeps_its_place_in_the_seam():
    # seven days, the last without a date: days 5 (4) and 1 (0) are three apart, so no run of three holds both
    found = runs((0, 1, 2, 3, 4, 5, 7), 3, wrap=True, cycle=(0, 1, 2, 3, 4, 5, None))
    assert (0, 4, 5) not in found
    assert (0, 5) in found
