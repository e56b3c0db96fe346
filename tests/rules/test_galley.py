"""Galley: heater places, rounds, hot water and work by hand at each sitting, for the crew together."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from random import Random

import pytest
from pydantic import ValidationError

from optimenu.problem.problem import Party
from optimenu.program.build import build
from optimenu.rules.galley import Galley
from optimenu.rules.galley_limits import Sitting, groups, packs_heated, rounds_needed, words_of
from tests.rules.hand import MEALS, broken, faults, item, person, problem, reason, rule, said, tally
from tests.rules.tiny import measured

D = Decimal


def near(problem, tally, rng):
    own = Random(problem.name)
    items = tuple(
        replace(
            i,
            heat_min=None if own.random() < 0.05 else D(own.choice((0, 5, 12, 20, 30))),
            prep_min=None if own.random() < 0.05 else D(own.choice((0, 2, D("7.5")))),
        )
        for i in problem.catalogue.items
    )
    # late at 19:00, or with a watch: near enough to share, or not
    clock = {
        (p, "late"): 1140 + own.choice((0, 15, 90)) for p in range(len(problem.people)) if own.random() < 0.4
    }
    question = replace(problem, catalogue=replace(problem.catalogue, items=items), clock=clock)
    seen = replace(tally, problem=question, entries=tuple(_again(e, question) for e in tally.entries))
    wide = "[galley]\nplaces = 99\nrounds = 1\nround_min = 20\nprep_min = 45\n"
    wide += "hot_ready_l = 1\nhot_l_per_min = 0.05\nhot_minutes = 10"
    most = {}
    for m in measured(Galley, wide, question, seen):
        key = m.origin.key.removeprefix("galley.")
        most[key] = max(most.get(key, D(0)), m.most)
    rounds, per = rng.choice((1, 2)), rng.choice((1, 2))
    places = max(1, (int(most["rounds"]) + rng.randint(-2, 1)) // (rounds * per))
    lines = [
        f"places = {places}\npacks_per_place = {per}",
        f"rounds = {rounds}\nround_min = 20" if rng.random() < 0.7 else "minutes = 24.5",
    ]
    if rng.random() < 0.6:
        lines.append(f"prep_min = {max(most['prep_min'] + rng.randint(-4, 4), 0)}")
    if rng.random() < 0.6:
        ready = max(most["hot_ready_l"] + rng.randint(-99, 99), D(0)) / 1000
        lines.append(f"hot_ready_l = {ready}\nhot_l_per_min = 0.05\nhot_minutes = {rng.choice((0, 2))}")
    if rng.random() < 0.3:
        lines.append('meals = ["late"]')
    if rng.random() < 0.5:
        kind = question.kinds[-1]
        lines.append(f"[galley.on.{kind}]\nplaces = {places + 1}")
    return "[galley]\n" + "\n".join(lines), question


def _again(entry, question):
    return replace(entry, item=question.catalogue.by_id[entry.item.id])


HOT = item("stew", heat_min=D(20), prep_min=D(2))
PIE = item("pie", heat_min=D(12), prep_min=D(5))
PEAS = item("peas", "side", heat_min=D(10), prep_min=D(0))
NUTS = item("nuts", "side", heat_min=D(0), prep_min=D(0))
POT = item("pot", servings_per_pack=4, net_g=D(400), heat_min=D(20), prep_min=D(10))
EIGHT = tuple(person(name) for name in ("ana", "bo", "cy", "di", "ed", "flo", "gil", "hu"))
HEATERS = "[galley]\nplaces = 4\nrounds = 2\nround_min = 20\n"


def eight(later, **more):
    """Eight people; the last four have lunch some minutes after the first at 12:00."""
    clock = {(p, "lunch"): 720 + later for p in range(4, 8)}
    return problem((HOT, PIE, PEAS, NUTS), people=EIGHT, days=1, clock=clock, **more)


def lunch(mains=8, peas=0):
    """Return lines: a hot main for so many, in order, and peas for so many from the last."""
    names = [p.id for p in EIGHT]
    lines = [f"{n} 1 lunch main stew 1" for n in names[:mains]]
    lines += [f"{n} 1 lunch side peas 1" for n in names[::-1][:peas]]
    return "\n".join(lines)


def test_two_sittings_an_hour_apart_have_eight_packs_each():
    # 4 places x 2 rounds = 8 packs. The rounds take 40 min, the sittings are 60 min apart: 4 stews at
    # each, and 4 peas at the second make 8 there; the fifth peas is of the first sitting.
    question = eight(60)
    galley = rule(Galley, HEATERS, question)
    assert broken(galley, tally(question, lunch(8, 4))) == []
    values = [(m.label, m.most, m.high, m.note) for m in galley.measures(tally(question, lunch(8, 5)))]
    assert values == [
        ("day 1, lunch 12:00: packs in heater places", 5, 8, "4 places, 1 pack each: 5 packs in 2 rounds"),
        ("day 1, lunch 13:00: packs in heater places", 8, 8, "4 places, 1 pack each: 8 packs in 2 rounds"),
        ("day 1, dinner 19:00: packs in heater places", 0, 8, ""),
    ]
    nine = lunch(8, 4) + "\nhu 1 lunch main pie 1"
    assert broken(galley, tally(question, nine)) == [("galley.rounds", "", 0, "1", "packs")]
    assert said(galley, tally(question, nine)) == [
        "day 1, lunch 13:00: packs in heater places: 9 packs; at most 8 packs"
    ]


def test_two_sittings_half_an_hour_apart_share_eight_packs():
    # heating for 12:30 begins at 11:50, ten minutes before 12:00 is served: one group, 8 packs for both
    question = eight(30)
    galley = rule(Galley, HEATERS, question)
    assert broken(galley, tally(question, lunch(8))) == []
    assert said(galley, tally(question, lunch(8, 1))) == [
        "day 1, lunch 12:00 and 12:30: packs in heater places: 9 packs; at most 8 packs"
    ]
    program = build(question, (galley,))
    (row,) = [r for r, o in enumerate(program.origins) if o.meal == "lunch"]
    assert program.row_high[row] == 8
    # stew, pie and peas of eight people; nuts need no heat
    assert program.row_start[row + 1] - program.row_start[row] == 24


def test_sittings_as_far_apart_as_the_heating_takes_do_not_share():
    seats = [Sitting(720, "lunch", (0,)), Sitting(760, "lunch", (1,)), Sitting(799, "late_lunch", (2,))]
    assert [words_of(g) for g in groups(seats, D(40))] == ["lunch 12:00", "lunch 12:40, late lunch 13:19"]
    assert [words_of(g) for g in groups(seats, D("40.5"))] == ["lunch 12:00 and 12:40, late lunch 13:19"]
    # at one time they share, however quick the work is
    assert len(groups([seats[0], Sitting(720, "tea", (3,))], D(0))) == 1


def test_meals_that_overlap_share_and_those_not_meant_are_not_looked_at():
    soon = (MEALS[0], replace(MEALS[1], at=750))
    question = problem((HOT,), people=EIGHT[:4], days=1, meals=soon)
    menu = tally(
        question, "\n".join(f"{p.id} 1 {m} main stew 1" for p in EIGHT[:4] for m in ("lunch", "dinner"))
    )
    tight = "[galley]\nplaces = 2\nrounds = 2\nround_min = 20\n"
    galley = rule(Galley, tight, question)
    (breach,) = galley.breaches(menu)
    assert (breach.origin.meal, breach.amount) == ("", 4)
    assert breach.text.startswith("day 1, lunch 12:00, dinner 12:30: packs in heater places: 8 packs")
    assert broken(rule(Galley, tight + 'meals = ["dinner"]', question), menu) == []


def test_a_shared_pot_takes_one_place_where_single_packs_take_four():
    table = (*(Party(p.id, (k,)) for k, p in enumerate(EIGHT[:4])), Party("table", (0, 1, 2, 3)))
    question = problem((HOT, POT), people=EIGHT[:4], days=1, parties=table)
    galley = rule(Galley, "[galley]\nplaces = 1\nrounds = 1\nround_min = 20\nprep_min = 10", question)
    assert broken(galley, tally(question, "table 1 lunch main pot 1")) == []
    assert broken(galley, tally(question, "table 1 lunch main stew 1")) == [
        ("galley.rounds", "", 0, "3", "packs")
    ]
    # apart at dinner, each opens a pot: 4 places, and 4 x 10 min of work
    apart = "\n".join(f"{p.id} 1 dinner main pot 1" for p in EIGHT[:4])
    assert broken(galley, tally(question, apart)) == [
        ("galley.rounds", "", 0, "3", "packs"),
        ("galley.prep_min", "", 0, "30", "min"),
    ]
    assert (
        said(galley, tally(question, apart))[1] == "day 1, dinner 19:00: work by hand: 40 min; at most 10 min"
    )
    assert [packs_heated(POT, n) for n in (1, 4, 5)] == [1, 1, 2]
    assert [packs_heated(NUTS, n) for n in (1, 4)] == [0, 0]


def test_a_dish_for_people_at_two_times_counts_at_both():
    table = (*(Party(p.id, (k,)) for k, p in enumerate(EIGHT[:2])), Party("table", (0, 1)))
    question = problem((HOT,), people=EIGHT[:2], days=1, parties=table, clock={(1, "lunch"): 800})
    galley = rule(Galley, "[galley]\nplaces = 1\nrounds = 1\nround_min = 20", question)
    menu = tally(question, "table 1 lunch main stew 1")
    assert [(m.most, m.over) for m in galley.measures(menu)] == [(2, 1), (2, 1), (0, 0)]
    program = build(question, (galley,))
    x = program.complete((program.meal[: program.n_menu] == 0).astype("int64"))
    assert len(program.broken(x)) == 2


def test_minutes_of_the_heaters():
    # 2 places x 1 pack x 25 min = 50 min; two stews of 20 min and a pie of 12 min make 52
    question = eight(0)
    galley = rule(Galley, "[galley]\nplaces = 2\nminutes = 25", question)
    menu = tally(question, "ana 1 lunch main stew 1\nbo 1 lunch main stew 1\ncy 1 lunch main pie 1")
    assert said(galley, menu) == [
        "day 1, lunch 12:00: minutes of packs in heater places: 52 min; at most 50 min"
    ]


SOUP = item("soup", water_ml=D(250), water_kind="hot")
TEA = item("tea", "side", water_ml=D(200), water_kind="hot")
JUICE = item("juice", "side", water_ml=D(200), water_kind="chilled")


def test_hot_water_ready_and_made_while_it_is_drawn():
    # 1 L ready + 0.02 L/min x 10 min = 1.2 L; four soups and a tea: 1.2 L; another tea is 0.2 L too much
    question = problem((SOUP, TEA, JUICE), people=EIGHT[:4], days=1)
    galley = rule(Galley, "[galley]\nhot_ready_l = 1\nhot_l_per_min = 0.02\nhot_minutes = 10", question)
    soups = "\n".join(f"{p.id} 1 lunch main soup 1" for p in EIGHT[:4]) + "\nbo 1 lunch side juice 1\n"
    assert broken(galley, tally(question, soups + "ana 1 lunch side tea 1")) == []
    more = tally(question, soups + "ana 1 lunch side tea 2")
    assert broken(galley, more) == [("galley.hot_ready_l", "", 0, "200", "mL")]
    assert said(galley, more) == ["day 1, lunch 12:00: hot water: 1.4 L; at most 1.2 L"]


@pytest.mark.parametrize(("later", "times"), [(60, ["12:00", "13:00"]), (59, ["12:00 and 12:59"])])
def test_hot_water_must_be_made_again_before_the_next_sitting(later, times):
    # 1 L at 0.02 L/min takes 50 min, and the next sitting draws for 10 min: 60 min
    question = eight(later)
    galley = rule(Galley, "[galley]\nhot_ready_l = 1\nhot_l_per_min = 0.02\nhot_minutes = 10", question)
    found = [m.label for m in galley.measures(tally(question, lunch(1))) if "lunch" in m.label]
    assert found == [f"day 1, lunch {t}: hot water" for t in times]


def test_what_is_free_in_the_day_counts_at_every_sitting():
    question = problem((HOT, PEAS), days=1)
    galley = rule(Galley, "[galley]\nplaces = 1\nrounds = 1\nround_min = 20", question)
    menu = tally(question, "ana 1 lunch main stew 1\nana 1 peas 2?")
    # at lunch 1 + 2 packs, at dinner 2
    assert broken(galley, menu) == [
        ("galley.rounds", "", 0, "2", "packs"),
        ("galley.rounds", "", 0, "1", "packs"),
    ]


def test_a_day_kind_has_figures_of_its_own_line_by_line():
    question = problem((HOT, PEAS), people=EIGHT[:2], days=2, kinds={2: "rest"}, reserve=1)
    toml = "[galley]\nplaces = 1\nrounds = 2\nround_min = 20\n"
    toml += "[galley.on.rest]\nplaces = 2\npacks_per_place = 2\n"
    galley = rule(Galley, toml, question)
    menu = "\n".join(
        f"{p} {d} lunch {c} {i} 1" for p in ("ana", "bo") for d in ("1", "2", "r1")
        for c, i in (("main", "stew"), ("side", "peas"))
    )  # fmt: skip
    # day 1: 4 packs in 1 x 2; day 2: 4 in 2 x 2 x 2; the reserve is another rule's
    assert said(galley, tally(question, menu)) == [
        "day 1, lunch 12:00: packs in heater places: 4 packs; at most 2 packs"
    ]
    shut = rule(Galley, toml.replace("places = 2\npacks_per_place = 2", "rounds = 1"), question)
    assert (
        said(shut, tally(question, menu))[1]
        == "day 2, lunch 12:00: packs in heater places: 4 packs; at most 1 pack"
    )


@pytest.mark.parametrize(
    ("toml", "fields", "text"),
    [
        (
            "places = 1\nrounds = 9\nround_min = 15",
            {"heat_min": D(20)},
            "needs 20 min in a heater place, a round is 15 min",
        ),
        (
            "places = 1\nminutes = 15",
            {"heat_min": D(20)},
            "needs 20 min in a heater place, the heaters run 15 min",
        ),
        ("places = 1\nminutes = 20", {"heat_min": D(20)}, None),
        ("places = 1\nminutes = 20", {"heat_min": None}, "heating time unknown"),
        ("places = 0\nminutes = 20", {"heat_min": D(1)}, "needs a heater place, and there is none"),
        ("places = 0\nminutes = 20", {"heat_min": D(0)}, None),
        ("prep_min = 9", {"heat_min": None, "prep_min": None}, "time of preparation unknown"),
        ("prep_min = 9", {"heat_min": None, "prep_min": D(99)}, None),
        ('places = 0\nminutes = 20\nmeals = ["dinner"]', {"heat_min": None}, None),
        ("", {}, None),
    ],
)
def test_what_cannot_be_heated_in_time_is_left_out(toml, fields, text):
    question = problem((item("dish", **fields),), days=1, reserve=1)
    galley = rule(Galley, f"[galley]\n{toml}", question)
    assert reason(galley, question, "dish") == text
    assert reason(galley, question, "dish", day=1) is None
    # free in the day: at any meal, so also at those meant
    free = "heating time unknown" if "meals" in toml else text
    assert reason(galley, question, "dish", meal=None) == free


def test_faults():
    items = (HOT, PEAS)
    question = problem(items, days=2, kinds={2: "rest"})

    def told(toml):
        return faults(rule(Galley, f"[galley]\n{toml}", question))

    assert told("") == []
    assert told("places = 4") == [
        ("places", "limits nothing alone; set rounds and round_min, or minutes"),
    ]
    assert told("rounds = 2") == [("rounds", "needs round_min as well"), ("rounds", "needs places as well")]
    assert told("minutes = 20") == [("minutes", "needs places as well")]
    assert told("hot_ready_l = 2") == [("hot_ready_l", "needs hot_l_per_min and hot_minutes as well")]
    assert told("hot_minutes = 2\nhot_l_per_min = 1") == [("hot_l_per_min", "needs hot_ready_l as well")]
    assert told('prep_min = 9\nmeals = ["diner"]') == [("meals", 'no meal "diner". Did you mean "dinner"?')]
    assert told("[galley.on.rst]\nplaces = 4\n[galley.on.rest]") == [
        ("on.rst", 'no day kind "rst". Did you mean "rest"?'),
        ("on.rest", "set at least one figure"),
    ]
    assert told("[galley.on.rest]\nrounds = 4") == [
        ("on.rest.rounds", "needs round_min as well"),
        ("on.rest.rounds", "needs places as well"),
    ]


@pytest.mark.parametrize("field", ["packs_per_place", "rounds"])
def test_no_round_and_no_pack_a_place_are_refused(field):
    with pytest.raises(ValidationError, match="1 or more, found 0"):
        rule(Galley, f"[galley]\n{field} = 0", problem((HOT,)))


def test_faults_of_a_catalogue_that_states_no_minutes():
    question = problem((item("dish"),), days=1)
    assert faults(rule(Galley, HEATERS + "prep_min = 9", question)) == [
        ("places", "no item of the catalogue states heat_min, so nothing could be served; add that column"),
        ("prep_min", "no item of the catalogue states prep_min, so nothing could be served; add that column"),
    ]


def test_faults_of_sittings_too_close_over_midnight():
    # dinner of the last watch at 23:50, lunch of the first at 00:15 the next date: 25 min, rounds take 40
    clock = {(0, "dinner"): 1430, (1, "lunch"): 15}
    question = problem((HOT,), people=EIGHT[:2], days=2, clock=clock)
    assert faults(rule(Galley, HEATERS, question)) == [
        (
            "rounds",
            "dinner 23:50 and lunch 00:15 of the next date are 25 min apart; a sitting may need the galley "
            "for 40 min, so move one of them",
        )
    ]
    assert faults(rule(Galley, HEATERS.replace("20", "12.5"), question)) == []


def test_rounds_needed():
    # 4 places, 2 packs each: 12 packs in 2 rounds
    assert rounds_needed(12, 4, 2) == 2
    assert [rounds_needed(n, 4, 2) for n in (0, 1, 8, 9, 16, 17)] == [0, 1, 1, 2, 2, 3]
    assert rounds_needed(0, 0, 1) == 0
    with pytest.raises(ValueError, match="no place"):
        rounds_needed(1, 0, 1)
