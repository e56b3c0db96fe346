"""Opened packs by hand: spans of dates, who draws on one, what is eaten at once."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from random import Random

import pytest

from optimenu.menu.packs import opened, packs_of
from optimenu.problem.opening import drawers, kept_apart, open_dates, spans
from optimenu.problem.problem import Party
from tests.rules.hand import FIRST, item, person, problem, tally

D = Decimal


def jar(hours, size=4):
    return item("jar", "main side", servings_per_pack=size, open_hours=hours)


def packs(question, text):
    return packs_of(tally(question, text), question.catalogue.by_id["jar"], 0)


def test_five_uses_of_a_jar_of_four_open_two():
    question = problem((jar(D(240)),), days=5)
    assert packs(question, "\n".join(f"ana {d} lunch main jar 1" for d in range(1, 6))) == 2
    assert packs(question, "\n".join(f"ana {d} lunch main jar 1" for d in range(1, 5))) == 1


def test_a_jar_past_its_open_life_is_not_counted_on():
    # 48 hours: spans of two dates, 1-2, 3-4, 5; a serving on date 1 and one on date 3 open two
    question = problem((jar(D(48)),), days=5)
    assert packs(question, "ana 1 lunch main jar 1\nana 2 lunch main jar 1") == 1
    assert packs(question, "ana 1 lunch main jar 1\nana 3 lunch main jar 1") == 2
    # the cycle comes twice: date 1 and 3 of ten, and 6 and 8: spans 1-2, 3-4, 5-6, 7-8, 9-10
    twice = problem((jar(D(48)),), days=5, dates=10)
    assert packs(twice, "ana 1 lunch main jar 1\nana 3 lunch main jar 1") == 4


def test_a_pack_may_cross_from_one_pass_of_the_cycle_to_the_next():
    # two days, six dates, three-day spans: dates 1 2 3 | 4 5 6; day 1 on dates 1 3 5, so 2 and 1 servings
    question = problem((jar(D(72)),), days=2, dates=6)
    found = spans(question, question.catalogue.by_id["jar"], 0, "stay")
    assert [s.weights for s in found] == [(2, 1), (1, 2)]
    assert packs(question, "ana 1 lunch main jar 2") == 2


@pytest.mark.parametrize("hours", [None, D(23)])
def test_what_keeps_for_no_whole_day_is_eaten_at_once(hours):
    # hours that are not stated are hours that nobody knows
    question = problem((jar(hours),), days=1, dates=3)
    assert open_dates(question.catalogue.by_id["jar"]) == 0
    # one at lunch as a main, one beside it: one pack a lunch; dinner another; three dates
    menu = "ana 1 lunch main jar 1\nana 1 lunch side jar 1\nana 1 dinner main jar 1"
    assert packs(question, menu) == 6
    assert packs(question, "ana 1 jar 2?") == 6  # two free in the day, each by itself


def test_reserve_days_have_packs_of_their_own():
    question = problem((jar(D(48), 2),), days=1, reserve=3)
    menu = "ana 1 lunch main jar 1\nana r1 lunch main jar 1\nana r2 lunch main jar 1\nana r3 lunch main jar 1"
    # one for the stay; two days of the reserve and then the third
    assert dict(opened(tally(question, menu))) == {
        ((0,), "jar", 0, "stay"): 1,
        ((0,), "jar", 0, "reserve"): 2,
    }


def test_people_who_share_a_pack():
    people = (person("ana"), person("bo"), person("cy"))
    question = problem((jar(D(240)),), people=people, days=1, shared_packs={"jar": ((0, 1),)})
    menu = "ana 1 lunch main jar 1\nbo 1 lunch main jar 1\ncy 1 lunch main jar 1"
    assert dict(opened(tally(question, menu))) == {
        ((0, 1), "jar", 0, "stay"): 1,
        ((2,), "jar", 0, "stay"): 1,
    }


def test_a_shared_dish_draws_on_a_shared_pack_only_when_all_of_its_people_may():
    people = (person("ana"), person("bo"), person("cy"))
    parties = (Party("ana", (0,)), Party("bo", (1,)), Party("cy", (2,)), Party("table", (0, 1, 2)))
    food = jar(D(240))
    question = problem((food,), people=people, parties=parties, shared_packs={"jar": ((0, 1),)})
    assert drawers(question, parties[3], food) == (0, 1, 2)
    assert drawers(question, parties[0], food) == (0, 1)
    # a pack eaten at once is nobody's jar
    assert drawers(question, parties[0], replace(food, open_hours=None)) == (0,)
    # one dish for three is three servings
    assert packs(question, "table 1 lunch main jar 1\ntable 2 lunch main jar 1") == 2


def greedy(dates, size, days):
    """Fewest packs when each may be opened at will: open one when none is left in time."""
    count, left, last = 0, 0, None
    for when in sorted(dates):
        if not left or when > last:
            count, left, last = count + 1, size, when + timedelta(days=days - 1)
        left -= 1
    return count


def test_spans_are_safe_and_never_fewer_than_opening_at_will():
    more = 0
    for seed in range(200):
        rng = Random(seed)
        n, size, days = rng.randint(1, 12), rng.randint(2, 5), rng.randint(1, 6)
        question = problem((jar(D(24 * days), size),), days=n)
        eaten = [d for d in range(1, n + 1) for _ in range(rng.choice((0, 0, 1)))]
        got = packs(question, "\n".join(f"ana {d} lunch main jar 1" for d in eaten)) if eaten else 0
        fewest = greedy([FIRST + timedelta(days=d) for d in eaten], size, days)
        assert got >= fewest
        more += got > fewest
        for s in spans(question, question.catalogue.by_id["jar"], 0, "stay"):
            held = [k for k, w in enumerate(s.weights) if w]
            assert held[-1] - held[0] < days
    assert more > 10


def test_who_has_packs_apart_from_those_that_others_share():
    people = (person("ana"), person("bo"), person("cy"))
    food = jar(D(240))
    question = problem((food,), people=people, days=1, shared_packs={"jar": ((0, 1),)})
    assert [kept_apart(question, p, food) for p in question.parties] == [False, False, True]
    # where nobody shares, everybody's pack is their own and needs no mark
    alone = problem((food,), people=people, days=1)
    assert not any(kept_apart(alone, p, food) for p in alone.parties)
