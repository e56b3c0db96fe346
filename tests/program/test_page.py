"""The page rules write on, the builder beneath it and the frozen program."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from optimenu.menu.menu import COLUMNS, Line, Menu, from_counts
from optimenu.menu.packs import opened, overwraps
from optimenu.menu.tally import Tally, span
from optimenu.problem.calendar import Course, Meal
from optimenu.problem.problem import Party
from optimenu.program.build import build, offered, own, priced, refusal
from optimenu.program.builder import Builder, decimals_of, scaled
from optimenu.program.origin import Origin
from optimenu.program.page import GOAL_DECIMALS, vector
from optimenu.program.program import CEIL, HARD, LINK, NO_HIGH, NO_LOW, ORDINARY
from optimenu.program.to_pulp import to_pulp
from tests.rules.hand import item, person, problem, tally
from tests.rules.tiny import Allow

D = Decimal
HERE = Origin("a", "a.b")
STEW, NUT = item("stew"), item("nut", "side", servings_per_pack=3, overwrap_packs=2)


class Writer:
    """A rule that does what a test hands it."""

    by_date = False

    def __init__(self, write=lambda page: None, free=()):
        self.write, self.free = write, free

    def allow(self, party, day, meal, course, item):
        return "no nuts for dinner" if meal and meal.name == "dinner" and item.id == "nut" else None

    def allowances(self):
        return self.free


def written(write, free=(), **more):
    question = problem((STEW, NUT), **{"days": 1, **more})
    return question, build(question, (Writer(write, free),))


def rows(program):
    none = {NO_LOW: None, NO_HIGH: None}
    return [
        (
            program.row_column[a:z].tolist(),
            program.row_coef[a:z].tolist(),
            none.get(int(low), int(low)),
            none.get(int(high), int(high)),
        )
        for a, z, low, high in zip(
            program.row_start[:-1], program.row_start[1:], program.row_low, program.row_high, strict=True
        )
    ]


def test_decimals():
    assert decimals_of([D("1.50"), D("100"), D("0.125")]) == 3
    assert decimals_of([]) == 0
    assert scaled(D("1.5"), 2) == 150
    with pytest.raises(ValueError, match="1.25 has more than 1 decimals"):
        scaled(D("1.25"), 1)
    with pytest.raises(ValueError, match="NaN is not a finite number"):
        decimals_of([D("nan")])
    assert vector([D("1.5"), D(2)])[0].tolist() == [15, 20]


def test_columns_come_from_courses_meals_and_reasons():
    question, program = written(lambda page: None)
    labels = zip(program.meal.tolist(), program.course.tolist(), program.item.tolist(), strict=True)
    # lunch: stew as main, nut as side; dinner: stew as main; nuts have no place there
    assert list(labels) == [(0, 0, 0), (0, 1, 1), (1, 0, 0)]
    # the side may hold two of the same
    assert program.high.tolist() == [1, 2, 1]
    day, party = question.days[0], question.parties[0]
    lunch = day.meals[0]
    assert offered(day, lunch, lunch.courses[1], STEW) == "not offered as side"
    assert offered(day, lunch, lunch.courses[0], item("egg", meals="breakfast")) == "not offered at lunch"
    assert refusal((Writer(),), party, day, day.meals[1], day.meals[1].courses[0], STEW) is None
    assert (
        refusal((Writer(),), party, day, day.meals[1], day.meals[1].courses[0], NUT) == "not offered as main"
    )
    assert Writer().allow(party, day, day.meals[1], None, NUT) == "no nuts for dinner"


def test_a_column_holds_no_more_than_its_course():
    wide = (Meal("lunch", 720, (Course("main", 0, 1, D(0), 3, ("main",)),)),)
    assert build(problem((STEW,), days=1, meals=wide), ()).high.tolist() == [1]


def test_a_reserve_meal_takes_items_by_course_alone():
    question = problem((item("egg", meals="breakfast"),), days=1, reserve=1)
    program = build(question, ())
    assert set(program.day.tolist()) == {1}


def test_a_row_takes_on_the_decimals_of_its_limits():
    _, program = written(lambda page: page.row(HERE, page.of(0), 15, high=D("2.25"), decimals=1))
    assert rows(program) == [([0, 1, 2], [150, 150, 150], None, 225)]
    assert program.row_decimals.tolist() == [2]


def test_the_price_of_a_soft_row_is_that_of_its_last_decimal():
    _, program = written(lambda page: page.row(HERE, page.of(0), 15, high=D(2), decimals=1, soft=D("0.3")))
    # a tenth of a unit costs 0.03, in units of 10^-18
    assert program.row_price.tolist() == [3 * 10 ** (GOAL_DECIMALS - 2)]
    _, hard = written(lambda page: page.row(HERE, page.of(0), 1, high=D(2)))
    assert hard.row_price.tolist() == [HARD]


FREE = (Allow(0, "nut", 2),)


@pytest.mark.parametrize(
    ("coef", "low", "high", "expected"),
    [
        # the free nut (column 3) adds: none eaten for the floor, all for the ceiling
        (1, 0, 5, [([0, 1, 2], 0, None), ([0, 1, 2, 3], None, 5)]),
        # it takes away: all for the floor, none for the ceiling
        (-1, 0, 5, [([0, 1, 2, 3], 0, None), ([0, 1, 2], None, 5)]),
        (1, None, 5, [([0, 1, 2, 3], None, 5)]),
        # it counts nothing: one row
        (0, 0, 5, [([0, 1, 2], 0, 5)]),
    ],
)
def test_what_is_free_counts_at_its_worse_end(coef, low, high, expected):
    def write(page):
        cols = page.of(0)
        vals = np.where(page.certain[cols], 1, coef)
        low_, high_ = (None if v is None else D(v) for v in (low, high))
        page.row(HERE, cols, vals, low=low_, high=high_)

    _, program = written(write, FREE)
    assert [(cols, lo, hi) for cols, _, lo, hi in rows(program)] == expected
    assert (program.low[3], program.high[3], program.certain[3], program.meal[3]) == (2, 2, False, -1)


def test_columns_can_be_asked_for_by_what_they_are():
    seen = {}

    def write(page):
        nuts = np.asarray([False, True])
        seen["all"] = page.of().tolist()
        seen["lunch"] = page.of(0, meal="lunch").tolist()
        seen["main"] = page.of(0, courses=("main",)).tolist()
        seen["nuts"] = page.of(0, items=nuts).tolist()
        seen["certain nuts"] = page.of(0, items=nuts, certain=True).tolist()
        seen["other day"] = page.of(0, (7,)).tolist()
        seen["supper"] = page.of(0, meal="supper").tolist()

    written(write, FREE)
    assert seen == {
        "all": [0, 1, 2, 3], "lunch": [0, 1], "main": [0, 2], "nuts": [1, 3], "certain nuts": [1],
        "other day": [], "supper": [],
    }  # fmt: skip


def test_a_shared_dish_feeds_every_member_once():
    people = (person("ana"), person("bo"))
    parties = (Party("ana", (0,)), Party("table", (0, 1)))
    seen = {}
    written(
        lambda page: seen.update(ana=page.of(0), bo=page.of(1), all=page.of()), people=people, parties=parties
    )
    assert (len(seen["ana"]), len(seen["bo"]), len(seen["all"])) == (3, 1, 3)


def test_packs_and_overwraps_are_whole():
    def write(page):
        for wrap in (False, True):
            cols, items, vals = page.opened(0, "stay", overwraps=wrap)
            page.row(HERE, cols, vals, high=D(100))
            seen.append((items.tolist(), vals.tolist()))

    seen = []
    question, program = written(write, FREE, days=2, dates=5)
    # packs of stew are servings (two meals on two days), packs of nuts one column; stew has no overwrap
    assert seen[0] == ([0, 0, 0, 0, 1], [3, 3, 2, 2, 1])
    assert seen[1] == ([1], [1])
    x = program.low.copy()
    nut = [c for c in range(program.n_menu) if program.item[c] == 1 and program.certain[c]]
    x[nut[0]] = 2
    done = program.complete(x[: program.n_menu])
    # nuts: 2 on day 1, three dates; and 2 free on each of 5 dates: 16 servings, 6 packs of 3, 3 wraps of 2
    assert done[program.n_menu :].tolist() == [6, 3]
    menu = Tally.of(question, from_counts(question, program, done[: program.n_menu]))
    assert dict(opened(menu)) == {((0,), "nut", 0, "stay"): 6}
    assert dict(overwraps(menu)) == {((0,), "nut", 0, "stay"): 3}
    assert not program.excess(done)[program.row_kind == LINK].any()


def test_extra_columns_mean_what_their_links_say():
    b = Builder(0)
    x = b.column(high=9)
    packs = b.extra(CEIL, [x], [1], origin=HERE, divisor=4, high=3)
    program = b.freeze()
    for n in range(10):
        done = program.complete(np.asarray([n]))
        assert done[packs] == -(-n // 4)
        fits = [y for y in range(4) if not program.excess(np.asarray([n, y])).any()]
        assert fits == [done[packs]]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda b: b.extra(CEIL, [0], [0], origin=HERE), "an extra column needs positive coefficients"),
        (lambda b: b.extra(9, [0], [1], origin=HERE), "no such kind of extra column: 9"),
        (lambda b: b.group([(0, 1)], [2, 1]), "deductions must not fall"),
        (
            lambda b: (b.extra(CEIL, [0], [1], origin=HERE), b.column()),
            "serving columns come before extra columns",
        ),
    ],
)
def test_what_the_builder_refuses(call, message):
    b = Builder(0)
    b.column()
    with pytest.raises(ValueError, match=message):
        call(b)


def test_a_column_named_twice_in_a_row_counts_twice():
    b = Builder(0)
    x = b.column(high=3)
    b.row(HERE, [x, x], [1, 2], high=5)
    assert rows(b.freeze()) == [([0], [3], None, 5)]


def test_use_groups_and_prices():
    # acceptance 7, floor 5: a main at lunch is worth 2, at dinner (weight 2) 4, a side nothing;
    # the second use costs 0.2 of the smallest positive worth, 2: 0.4
    question, program = written(lambda page: page.cap_uses(0, 0, 2))
    units = 10**6
    assert program.gain.tolist() == [2 * units, 0, 4 * units]
    stew = slice(*program.deduct_start[:2])
    assert program.deduction[stew].tolist() == [0, 400_000]
    assert program.value(np.asarray([1, 0, 1])) == 6 * units - 400_000
    in_liking = priced(program, [D("0.125")])
    assert in_liking.value(np.asarray([1, 0, 1])) == (6 * units - 400_000) * 125 * 10**9
    assert Decimal(in_liking.value(np.asarray([1, 0, 1]))).scaleb(-GOAL_DECIMALS) == D("5.6") / 8
    assert question.deductions(D(2), 2) == [0, D("0.4")]


@pytest.mark.parametrize("caps", [(1, 2), (2, 1)])
def test_the_least_of_several_caps_on_uses_holds(caps):
    def write(page):
        for most in caps:
            page.cap_uses(0, 0, most)

    _, program = written(write)
    assert np.diff(program.deduct_start).tolist()[0] == 1


def test_one_persons_own_program_keeps_what_is_theirs_alone():
    people = (person("ana"), person("bo"))
    parties = (Party("ana", (0,)), Party("bo", (1,)), Party("table", (0, 1)))

    def write(page):
        page.row(Origin("mine", "m", "ana"), page.of(0), 1, high=D(2))
        page.row(Origin("soft", "s", "ana"), page.of(0), 1, high=D(1), soft=D(1))
        page.row(Origin("crew", "c"), page.of(), 1, high=D(3))

    question, program = written(write, people=people, parties=parties)
    mine = own(question, program, 0)
    assert [o.rule for o in mine.origins] == ["mine"]
    assert set(mine.party.tolist()) == {0, 2}
    assert set(mine.group_person[np.diff(mine.group_start) > 0].tolist()) <= {0, 1}
    # a shared main at lunch is worth 2 to each, and in ana's own program 2, not 4
    column = int(np.flatnonzero((program.party == 2) & (program.item == 0) & (program.meal == 0))[0])
    kept = int(np.flatnonzero((mine.party == 2) & (mine.item == 0) & (mine.meal == 0))[0])
    assert (program.gain[column], mine.gain[kept]) == (4_000_000, 2_000_000)
    assert mine.goal_decimals == 6


def test_the_digest_sees_every_part():
    _, one = written(lambda page: page.row(HERE, page.of(0), 1, high=D(2)))
    _, same = written(lambda page: page.row(HERE, page.of(0), 1, high=D(2)))
    _, other = written(lambda page: page.row(HERE, page.of(0), 1, high=D(3)))
    _, named = written(lambda page: page.row(Origin("a", "x"), page.of(0), 1, high=D(2)))
    assert one.digest == same.digest
    assert len({one.digest, other.digest, named.digest}) == 3


def test_days_of_one_class_share_rows_and_columns():
    def write(page):
        for d in range(4):
            page.row(Origin("a", "a", "ana", d), page.of(0, (d,)), 1, high=D(2))

    _, program = written(write, days=4, dates=6)
    # days 1 and 2 have two dates, days 3 and 4 one
    assert program.row_kin.tolist() == [0, 0, 1, 1]
    assert len(set(program.column_class.tolist())) == 2 * 3


def test_an_implied_row_stays_out_of_the_plain_model():
    def write(implied):
        return lambda page: page.row(HERE, page.of(0), 1, high=D(1), implied=implied)

    sizes = [len(to_pulp(written(write(i))[1]).problem.constraints) for i in (False, True)]
    assert sizes[0] == sizes[1] + 1


def test_menu_lines_and_counts():
    question, program = written(lambda page: None, FREE, reserve=1)
    counts = program.low[: program.n_menu].copy()
    counts[[0, 1]] = 1, 2
    menu = from_counts(question, program, counts)
    assert menu.lines == (
        Line("ana", "cycle", 1, "", "allowance", "nut", 2, certain=False),
        Line("ana", "cycle", 1, "lunch", "main", "stew", 1, certain=True),
        Line("ana", "cycle", 1, "lunch", "side", "nut", 2, certain=True),
    )
    assert menu.rows()[1] == ("ana", "cycle", 1, "lunch", "main", "stew", 1, True)
    assert COLUMNS == ("party", "block", "day", "meal", "course", "item", "count", "certain")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"party": "bo"}, "the plan has no such party"),
        ({"day": 9}, "the plan has no such day"),
        ({"block": "reserve"}, "the plan has no such day"),
        ({"item": "pie"}, "the plan has no such item"),
        ({"meal": "supper"}, "that day has no such meal or course"),
        ({"course": "soup"}, "that day has no such meal or course"),
        ({"meal": "", "course": "allowance"}, "that day has no such meal or course"),
        ({"certain": False}, "only what is free in the day, at no meal, may be left uneaten"),
        ({"count": 0}, "a line needs one serving or more"),
    ],
)
def test_lines_that_name_what_the_plan_has_not(change, message):
    line = replace(Line("ana", "cycle", 1, "lunch", "main", "stew", 1, certain=True), **change)
    found = Tally.of(problem((STEW,)), Menu.of([line]))
    assert found.strange == ((line, message),)
    assert found.entries == ()


def test_a_span_has_two_ends():
    question = problem((STEW, NUT), days=1)
    menu = tally(question, "ana 1 lunch main stew 1\nana 1 nut 3?")
    worth = {"stew": 10, "nut": D("0.5")}
    up = span(menu.entries, lambda e: worth[e.item.id])
    down = span(menu.entries, lambda e: -worth[e.item.id])
    assert (up.least, up.most) == (10, D("11.5"))
    assert (down.least, down.most) == (D("-11.5"), -10)


def test_ordinary_rows_are_the_rules_promises():
    _, program = written(lambda page: page.row(HERE, page.of(0), 1, high=D(2)))
    assert program.row_kind.tolist() == [ORDINARY]
    assert program.broken(np.asarray([1, 2, 0])).tolist() == [0]
    assert not program.feasible(np.asarray([1, 2, 0]))
    assert not program.feasible(np.asarray([2, 0, 0]))
    assert program.feasible(np.asarray([1, 0, 1]))
