"""Repeats: so many a day, a cycle, and gaps over the calendar and its seam."""

from __future__ import annotations

import itertools
from dataclasses import replace
from random import Random

import numpy as np
import pytest

from optimenu.program.build import build
from optimenu.program.program import IMPLIED, LINK
from optimenu.rules.repeats import Repeats, most_apart
from tests.rules.hand import MEALS, broken, faults, item, person, problem, rule, said, tally
from tests.rules.tiny import holding, measured

STEW = item("stew", tags=frozenset({"hearty"}), main_ingredient="beef")
PIE = item("pie", main_ingredient="beef")
RICE = item("rice", "main side", main_ingredient="rice")
ALL = (STEW, PIE, RICE)
LUNCH = MEALS[0]


def near(problem, tally, rng):
    kinds = ("item", "main_ingredient", "tag", "form", "cuisine", "texture")
    parts = []
    for name, of in zip("abc", rng.sample(kinds, 3), strict=True):
        course = rng.choice(
            ("", "courses = ['main']\n", "exempt_courses = ['side']\nexempt_tags = ['heavy']\n")
        )
        if rng.random() < 0.3:
            course += "people = ['ana']\n"
        head = f"[repeats.{name}]\nof = '{of}'\n{course}"
        found = measured(Repeats, head + "most_a_day = 1\nmost_a_cycle = 1", problem, tally)
        day = max((m.most for m in found if m.origin.day >= 0), default=1)
        cycle = max((m.most for m in found if m.origin.day < 0), default=1)
        parts.append(f"{head}most_a_day = {day}\nmost_a_cycle = {cycle + rng.randint(0, 1)}\n")
    gaps = []
    for k in range(10):
        of, only = rng.choice((("item", f"i{k % 8}"), ("tag", "heavy"), ("main_ingredient", "soy")))
        if not any(only in (i.id, i.main_ingredient, *i.tags) for i in problem.catalogue.items):
            continue
        daily = "most_a_day = 1\n" if rng.random() < 0.5 else ""
        course = "courses = ['main']\n" if rng.random() < 0.6 else ""
        wrap = str(rng.random() < 0.5).lower()
        gaps.append(
            f"[repeats.g{k}]\nof = '{of}'\nonly = ['{only}']\ngap_days = {rng.randint(2, 3)}\nwrap = {wrap}\n"
            + daily
            + course
        )
    return "\n".join((parts[0], holding(Repeats, problem, tally, gaps, 2))), problem


def test_so_many_a_day_and_a_cycle():
    question = problem(ALL, days=3, dates=9, reserve=1)
    toml = "[repeats.beef]\nof = 'main_ingredient'\nonly = ['beef']\nmost_a_day = 1\nmost_a_cycle = 2"
    beef = rule(Repeats, toml, question)
    # day 1 two, day 3 one: three in a pass of the cycle, however often it returns; the reserve and what
    # is free in the day are not judged
    menu = tally(
        question,
        """
        ana 1 lunch main stew 1
        ana 1 dinner main pie 1
        ana 3 lunch main pie 1
        ana r1 lunch main pie 1
        ana 2 pie 2?
        """,
    )
    assert broken(beef, menu) == [
        ("repeats.beef.most_a_day", "ana", 0, "1", "servings"),
        ("repeats.beef.most_a_cycle", "ana", -1, "1", "servings"),
    ]
    assert said(beef, menu) == [
        "ana, day 1: beef on one day: 2 servings; at most 1 serving",
        "ana: beef in the cycle: 3 servings; at most 2 servings",
    ]


GAP = "[repeats.g]\nof = 'item'\nonly = ['stew']\ngap_days = 3\n"


@pytest.mark.parametrize(
    ("days", "dates", "wrap", "served", "runs"),
    [
        # five days once: 1 and 3 are two days apart, 1 and 4 three; 1 and 5 only over the seam
        (5, 5, True, (1, 3), [(0, 1, 2)]),
        (5, 5, True, (1, 4), [(0, 3, 4)]),
        (5, 5, False, (1, 4), []),
        (5, 5, True, (1, 5), [(0, 3, 4), (0, 1, 4)]),
        (5, 5, False, (1, 5), []),
        # the same cycle on seven dates: 1 2 3 4 5 1 2 meets day 5 followed by 1, with or without the seam
        (5, 7, False, (1, 5), [(0, 3, 4), (0, 1, 4)]),
        # on six dates the calendar holds 4 5 1 and not 5 1 2
        (5, 6, False, (1, 5), [(0, 3, 4)]),
        (5, 6, False, (2, 5), []),
        (5, 6, True, (2, 5), [(0, 1, 4)]),
    ],
)
def test_gaps(days, dates, wrap, served, runs):
    question = problem(ALL, days=days, dates=dates)
    gap = rule(Repeats, f"{GAP}wrap = {str(wrap).lower()}", question)
    menu = tally(question, "\n".join(f"ana {d} lunch main stew 1" for d in served))
    assert sorted(b.origin.run for b in gap.breaches(menu)) == sorted(runs)
    assert all((b.amount, b.unit) == (1, "days") for b in gap.breaches(menu))


def test_servings_on_one_day_are_no_repetition_unless_one_a_day_is_the_most():
    question = problem(ALL, days=5)
    menu = tally(question, "ana 1 lunch main stew 1\nana 1 dinner main stew 1")
    assert broken(rule(Repeats, GAP, question), menu) == []
    # one a day: the day itself, and each of the three runs that hold it
    daily = rule(Repeats, GAP + "most_a_day = 1", question)
    assert [b[0].split(".")[-1] for b in broken(daily, menu)] == ["most_a_day"] + 3 * ["gap_days"]


def test_how_a_gap_is_said_and_loosened():
    question = problem(ALL, days=4)
    gap = rule(Repeats, GAP + "wrap = false", question)
    menu = tally(question, "ana 1 lunch main stew 1\nana 3 lunch main stew 1")
    assert said(gap, menu) == ["ana: stew within 3 days (days 1, 2, 3): 2 days; at most 1 day"]


def test_courses_tags_and_people_left_out():
    question = problem(ALL, people=(person("ana"), person("bo")), days=2)
    menu = tally(
        question,
        """
        ana 1 lunch side rice 2
        ana 1 lunch main stew 1
        ana 1 dinner main stew 1
        bo 1 lunch main rice 1
        bo 1 dinner main rice 1
        """,
    )

    def who(more):
        found = rule(Repeats, f"[repeats.r]\nof = 'item'\nmost_a_day = 1\n{more}", question)
        return [(b.origin.person, b.origin.what) for b in found.breaches(menu)]

    assert who("") == [("ana", "rice"), ("ana", "stew"), ("bo", "rice")]
    assert who("courses = ['main']") == [("ana", "stew"), ("bo", "rice")]
    assert who("exempt_courses = ['side']") == [("ana", "stew"), ("bo", "rice")]
    assert who("exempt_tags = ['hearty']") == [("ana", "rice"), ("bo", "rice")]
    assert who("people = ['bo']") == [("bo", "rice")]
    assert who("only = ['stew']") == [("ana", "stew")]


def uses_allowed(toml, days=6, **more):
    question = problem(ALL, days=days, **more)
    program = build(question, (rule(Repeats, toml, question),))
    lengths = np.diff(program.deduct_start).tolist()
    names = [
        question.catalogue.items[program.item[program.group_column[s]]].id for s in program.group_start[:-1]
    ]
    return dict(zip(names, lengths, strict=True))


def test_use_groups_are_as_long_as_the_limits_leave():
    # stew can stand at two meals of six days, rice also as a side of two servings: 12 and 24
    assert uses_allowed("") == {"stew": 12, "pie": 12, "rice": 24}
    assert uses_allowed("[repeats.r]\nof = 'item'\nmost_a_cycle = 4") == {"stew": 4, "pie": 4, "rice": 4}
    # 6 days, a gap of 3 over the seam: two uses, and one if the gap is 4
    gap = "[repeats.r]\nof = 'item'\nmost_a_day = 1\ngap_days = {}"
    assert uses_allowed(gap.format(3)) == {"stew": 2, "pie": 2, "rice": 2}
    assert uses_allowed(gap.format(4)) == {"stew": 1, "pie": 1, "rice": 1}
    # without the seam, and on a calendar that does not come round, days 1 and 5 are both free to have it
    assert uses_allowed(gap.format(4) + "\nwrap = false")["stew"] == 12
    assert uses_allowed(gap.format(4) + "\nwrap = false", dates=9)["stew"] == 1


@pytest.mark.parametrize(("most", "rows"), [(1, 1), (2, 0)])
@pytest.mark.parametrize("line", ["most_a_day", "most_a_cycle"])
def test_a_row_is_left_out_only_where_the_columns_cannot_break_it(line, most, rows):
    # one day on which stew has two places, lunch and dinner
    question = problem((STEW,), days=1)
    program = build(question, (rule(Repeats, f"[repeats.r]\nof = 'item'\n{line} = {most}", question),))
    assert program.n_menu == int(program.high.sum()) == 2
    assert len(program.broken(program.complete(program.high[: program.n_menu]))) == rows
    assert program.m == rows


def test_use_groups_of_what_a_limit_leaves_out_stay_as_they_were():
    only = "[repeats.r]\nof = 'item'\nonly = ['stew']\nmost_a_cycle = 1"
    assert uses_allowed(only) == {"stew": 1, "pie": 12, "rice": 24}
    tags = "[repeats.r]\nof = 'item'\nexempt_tags = ['hearty']\nmost_a_cycle = 1"
    assert uses_allowed(tags) == {"stew": 12, "pie": 1, "rice": 1}
    courses = "[repeats.r]\nof = 'item'\ncourses = ['main']\nmost_a_cycle = 1"
    assert uses_allowed(courses) == {"stew": 1, "pie": 1, "rice": 24}


def test_one_a_day_needs_no_column_of_its_own():
    question = problem(ALL, days=4)
    daily = build(question, (rule(Repeats, GAP + "most_a_day = 1", question),))
    free = build(question, (rule(Repeats, GAP, question),))
    assert daily.n == daily.n_menu
    # one column "stew on this day" for each day, each tied by two rows
    assert free.n - free.n_menu == 4
    assert int((free.row_kind == LINK).sum()) == 8


def implied(toml, question):
    """Limits of implied rows, after trying every menu on all rows."""
    program = build(question, (rule(Repeats, toml, question),))
    rows = np.flatnonzero(program.row_kind == IMPLIED)
    for days in itertools.product((0, 1), repeat=program.n_menu):
        x = program.complete(np.asarray(days, dtype=np.int64))
        broken = {int(r) for r in program.broken(x)}
        # it may never cut off a menu that the other rows leave
        assert not broken or broken - set(rows.tolist())
    return [int(program.row_high[r]) for r in rows]


DAILY = "[repeats.r]\nof = 'item'\nmost_a_day = 1\ngap_days = 3\n"


def test_what_the_runs_round_the_cycle_leave_together_is_said_to_the_bound():
    # seven days in a ring, three apart: two uses; nine: three; the last date is a day of its own
    for days, uses in ((7, [2]), (9, [3])):
        ring = problem((STEW,), days=days, dates=days + 1, meals=(LUNCH,))
        assert implied(DAILY, by_themselves(ring, (days,))) == uses
        # without the seam days 1, 4 and 7 may all have it, and nothing is said
        assert implied(DAILY + "wrap = false", by_themselves(ring, (days,))) == []
        # where there is no such day the worth groups are as long; the days that come once, all but the
        # first, are a class and hold as many
        assert implied(DAILY, ring) == uses


def test_a_cycle_shorter_than_the_gap_says_nothing():
    # days 3 and 4 never come: on the eight dates day 1 and 2 stand four dates apart
    question = by_themselves(problem((STEW,), days=4, dates=8, meals=(LUNCH,)), (2, 3, 6, 7))
    assert len(question.repeating) == 2
    assert implied(DAILY, question) == []


def test_days_planned_by_themselves_stand_apart_in_the_bound():
    # eleven dates: two by themselves, a ring of four, which comes twice and a day of its own again
    question = by_themselves(problem((STEW,), days=4, dates=11, meals=(LUNCH,)), (0, 1, 10))
    assert [d.weight for d in question.cycle] == [2, 2, 2, 2, 1, 1, 1]
    assert implied(DAILY, question) == [1]
    program = build(question, (rule(Repeats, DAILY, question),))
    kin = {}
    for r, origin in enumerate(program.origins):
        own = tuple(d for d in origin.run if question.days[d].block == "dated")
        if origin.run:
            kin.setdefault(int(program.row_kin[r]), set()).add(own)
    # runs of the ring alone are one kin, every set of days of their own another
    assert sorted(kin.values(), key=sorted) == [{()}, {(4, 5)}, {(5,)}, {(6,)}]


def by_themselves(question, places):
    """Take dates out of the cycle, each a plan day of its own."""
    own = [question.dates[k] for k in places]
    ring = [replace(d, dates=tuple(w for w in d.dates if w not in own)) for d in question.days]
    ring = [d for d in ring if d.dates]
    more = [
        replace(ring[0], number=len(ring) + k, block="dated", label=f"own {k + 1}", dates=(w,))
        for k, w in enumerate(own)
    ]
    number = {w: d.number for d in (*ring, *more) for w in d.dates}
    days = (*ring, *more)
    return replace(question, days=days, sequence=tuple(number[w] for w in question.dates))


def test_faults():
    toml = """
    [repeats.a]
    of = "main_ingredient"
    only = ["beeff"]
    courses = ["mian"]
    exempt_courses = ["sid"]
    exempt_tags = ["heart"]
    people = ["ann"]
    gap_days = 3
    [repeats.b]
    of = "item"
    """
    assert faults(rule(Repeats, toml, problem(ALL))) == [
        ("a.people", 'no person "ann". Did you mean "ana"?'),
        ("a.courses", 'no course "mian" in any meal. Did you mean "main"?'),
        ("a.exempt_courses", 'no course "sid" in any meal. Did you mean "side"?'),
        ("a.exempt_tags", 'no tag "heart" in the catalogue. Did you mean "hearty"?'),
        ("a.only", 'no main ingredient "beeff" in the catalogue. Did you mean "beef"?'),
        ("a.gap_days", "a gap of 3 days is longer than the cycle of 2 days"),
        ("b", "set most_a_day, most_a_cycle or gap_days"),
    ]


def test_one_menu_on_two_dates_within_the_gap_is_a_fault():
    question = problem((item("stew"),), days=4)
    first, second, *rest = question.days
    own = replace(first, block="dated", label="camp", dates=(first.dates[0], second.dates[0]))
    question = replace(question, days=(own, *rest), sequence=(0, 0, 2, 3))
    found = faults(rule(Repeats, '[repeats.x]\nof = "item"\ngap_days = 3', question))
    assert found == [
        ("x.gap_days", "camp serves dates within 3 days, up to 2031-03-02; plan them as two days in [dates]")
    ]


def test_the_most_of_some_days_round_a_cycle_by_trying_every_choice():
    for seed in range(400):
        rng = Random(seed)
        length = rng.randint(2, 9)
        gap = rng.randint(1, length)
        places = sorted(rng.sample(range(length), rng.randint(1, length)))
        fits = [
            len(chosen)
            for n in range(len(places) + 1)
            for chosen in itertools.combinations(places, n)
            if all(
                min((b - a) % length, (a - b) % length) >= gap for a, b in itertools.combinations(chosen, 2)
            )
        ]
        assert most_apart(places, length, gap) == max(fits)


def test_the_bound_knows_how_few_uses_the_days_of_one_class_hold():
    # eight days, day 7 of another kind, eleven dates: days 1 to 3 come twice. Gap 3: the three hold one use,
    # and days 4, 5, 6 and 8 hold two
    question = problem((STEW,), days=8, dates=11, kinds={7: "rest"})
    ruled = rule(Repeats, '[repeats.x]\nof = "item"\nmost_a_day = 1\ngap_days = 3', question)
    program = build(question, (ruled,))
    implied = np.flatnonzero(program.row_kind == IMPLIED)
    held = {
        tuple(sorted(set(program.day[program.row_column[a:z]].tolist()))): int(program.row_high[r])
        for r in implied
        for a, z in [program.row_start[r : r + 2]]
    }
    assert held == {(0, 1, 2): 1, (3, 4, 5, 7): 2, (3, 4, 5, 6, 7): 2}
