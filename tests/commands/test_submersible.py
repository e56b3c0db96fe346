"""The shipped submersible as its inputs say it: watches, pots, dates by themselves, what is stowed."""

from __future__ import annotations

import csv
from collections import Counter
from datetime import date
from pathlib import Path

import pytest

from optimenu.config.case import Case, load_case
from optimenu.config.inspect import inspect

ROOT = Path(__file__).parents[2]
PORT, STARBOARD = ("alma", "bjarne", "celia", "dmitri"), ("edda", "femi", "greta", "henk")


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(ROOT / "configs" / "submersible.toml")


def refused(case: Case, party: str, day: str, meal: str, course: str, item: str) -> list[str]:
    """Every reason why a party is not served an item."""
    problem = case.problem
    plan = next(d for d in problem.days if d.label == day)
    table = next(m for m in plan.meals if m.name == meal)
    found = next(c for c in table.courses if c.name == course)
    served = problem.party_by_id[party], plan, table, found, problem.catalogue.by_id[item]
    return [text for rule in case.rules if (text := rule.allow(*served))]


def test_fourteen_dates_are_two_passes_of_seven_and_seven_stand_by_themselves(case: Case) -> None:
    problem = case.problem
    assert [d.weight for d in problem.repeating] == [2] * 7
    own = [(d.label, d.kind, d.dates[0].day) for d in problem.cycle if d.block == "dated"]
    assert own == [
        ("arrival", "arrival", 8),
        ("queasy 1", "queasy", 9),
        ("queasy 2", "queasy", 10),
        ("late 1", "late", 25),
        ("eve", "dive", 26),
        ("late 2", "late", 27),
        ("feast", "feast", 28),
    ]
    # the fourteen between run on: a cycle day comes back after a week
    assert {b - a for d in problem.repeating for a, b in [[w.day for w in d.dates]]} == {7}


def test_the_boat_arrives_for_dinner(case: Case) -> None:
    arrival = next(d for d in case.problem.days if d.label == "arrival")
    assert [m.name for m in arrival.meals] == ["dinner"]
    assert str(arrival.share) == "0.4"


def test_a_watch_eats_together_and_all_at_noon(case: Case) -> None:
    problem = case.problem
    times = {m.name: problem.sittings(problem.days[0], m) for m in problem.days[0].meals}
    port, starboard = (0, 1, 2, 3), (4, 5, 6, 7)
    hours = {name: [(f"{at // 60}:{at % 60:02d}", who) for at, who in found] for name, found in times.items()}
    assert hours == {
        "breakfast": [("5:15", port), ("6:15", starboard)],
        "lunch": [("12:00", port + starboard)],
        "dinner": [("17:15", port), ("18:35", starboard)],
        "snack": [("0:15", port), ("23:15", starboard)],
    }


def test_each_watch_has_its_pot_and_everybody_the_feast(case: Case) -> None:
    problem = case.problem
    pots = {
        (party.id, day.label, meal.name, course.name)
        for party in problem.parties
        if len(party.members) > 1
        for day, _, meal, _, course in problem.places(party)
    }
    feast = {("everyone", "feast", "lunch", "main")}
    by_watch = {
        (watch, day.label, "dinner", course)
        for watch in ("port", "starboard")
        for day in problem.cycle
        if day.kind != "queasy"
        for course in ("soup", "main")
    }
    assert pots == by_watch | feast
    # who eats from a pot has no dish of their own in that course
    alone = {
        (day.label, meal.name, course.name)
        for p in problem.alone
        for day, _, meal, _, course in problem.places(problem.parties[p])
    }
    assert ("feast", "lunch", "main") not in alone
    assert ("day 1", "dinner", "main") not in alone and ("queasy 1", "dinner", "main") in alone


def test_at_least_fifteen_dishes_are_left_for_every_pot(case: Case) -> None:
    left = {
        (p.id, c.course): c.left
        for p in inspect(case).people
        for c in p.choices
        if c.meal == "dinner" and c.course in ("soup", "main") and c.block == "cycle" and not c.kind
    }
    assert len(left) == 16
    assert min(left.values()) >= 15


def test_the_pot_suits_whoever_eats_from_it(case: Case) -> None:
    # macaroni with cheese: wheat for Bjarne; shrimps: no dish for a vegetarian; milk: nothing for Edda
    reasons = refused(case, "port", "day 1", "dinner", "main", "macaroni_cheese")
    assert len(reasons) == 1 and reasons[0].startswith("bjarne")
    assert refused(case, "port", "day 1", "dinner", "main", "shrimp_rice_tomato_okra")[0].startswith("alma")
    assert refused(case, "starboard", "day 1", "dinner", "main", "macaroni_cheese")[0].startswith("edda")
    assert refused(case, "starboard", "day 1", "dinner", "main", "shrimp_rice_tomato_okra") == []
    assert refused(case, "everyone", "feast", "lunch", "main", "lentil_shepherds_pie") == []
    assert refused(case, "everyone", "feast", "lunch", "main", "lentil_dal_rice") == [
        "not served on feast days"
    ]


def test_greta_keeps_her_fasts(case: Case) -> None:
    problem = case.problem
    missed = {(problem.people[p].id, problem.days[d].label, meal) for p, d, meal in problem.away}
    assert missed == {("greta", f"late {k}", meal) for k in (1, 2) for meal in ("breakfast", "lunch")}
    # her watch's pot is without meat on the day before the last
    assert refused(case, "starboard", "eve", "dinner", "main", "shrimp_rice_tomato_okra") == [
        "greta: not known to suit the fast on that date"
    ]
    # papers never say why a day stands apart
    assert not any("fast" in word for d in problem.days for word in (d.label, d.kind))


def test_the_queasy_are_given_what_stays_down(case: Case) -> None:
    spicy, mild = "lentil_dal_rice", "macaroni_cheese"
    assert "not served on queasy days" in refused(case, "celia", "queasy 1", "dinner", "main", spicy)
    assert refused(case, "celia", "queasy 1", "dinner", "main", mild) == []


def test_no_coffee_within_four_hours_of_sleep(case: Case) -> None:
    barred = {
        (who, meal)
        for who in ("celia", "greta")
        for meal in ("breakfast", "lunch", "dinner", "snack")
        if refused(case, who, "day 1", meal, "drink", "coffee_black")
    }
    # port sleeps at 00:30 and 13:30, starboard at 07:00 and 19:45
    assert barred == {("celia", "snack"), ("celia", "lunch"), ("greta", "breakfast"), ("greta", "dinner")}


def test_what_is_stowed(case: Case) -> None:
    stock, items = case.problem.stock or (), case.problem.catalogue.by_id
    assert Counter(r.state for r in stock)["held"] == 2
    chilled = {r.item for r in stock if items[r.item].form == "chilled"}
    first = {i: min(r.use_by or date.max for r in stock if r.item == i) for i in chilled}
    assert len(chilled) >= 6 and max(first.values()) <= date(2028, 5, 20)
    # one galley, one severe allergy: nothing is made of peanuts
    assert not any(items[r.item].allergens["peanuts"] == "contains" for r in stock)


def test_tastes_differ() -> None:
    with (ROOT / "configs" / "submersible" / "tasting.csv").open() as f:
        rows = list(csv.DictReader(f))
    assert 2000 <= len(rows) <= 3000
    low = Counter(r["person"] for r in rows if float(r["score"]) < 5)
    assert set(low) == {*PORT, *STARBOARD} and min(low.values()) >= 3
    assert {r["kind"] for r in rows} == {"sample", "serving"}
