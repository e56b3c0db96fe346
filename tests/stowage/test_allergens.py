"""The allergen matrix: cells of the catalogue, and ways worked out on paper."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from random import Random

import pytest

from optimenu.catalogue.columns import ALLERGENS
from optimenu.problem.problem import Party
from optimenu.program.build import build
from optimenu.stowage.allergens import matrix
from tests.rules import tiny
from tests.rules.hand import item, person, problem, tally

D = Decimal
NUTTY = {**dict.fromkeys(ALLERGENS, "free"), "peanuts": "contains", "milk": "may_contain"}
POT = item("pot", allergens=NUTTY)
JAR = item("jar", allergens=NUTTY, servings_per_pack=4)
STEW = item("stew")
BUN = item("bun", "side", free=False)
CREW = (person("ana"), person("bo", allergies={"peanuts": "severe"}), person("cy"))
TABLE = (Party("ana", (0,)), Party("bo", (1,)), Party("cy", (2,)), Party("table", (0, 1)))


def reach(text, *, parties=None, crew=CREW, **more):
    """Return what bo's list says: ways, places and kept away, by item."""
    question = problem((POT, JAR, STEW, BUN), people=crew, parties=parties, **more)
    (watched,) = matrix(question, tally(question, text)).people
    assert watched.id == "bo"
    return {r.item: (r.ways, r.at, r.kept_away) for r in watched.reach}


def test_rows_are_the_items_of_the_menu_by_name_against_what_somebody_must_avoid():
    question = problem((STEW, POT, BUN), people=CREW)
    found = matrix(
        question, tally(question, "ana 1 lunch main stew 1\nana 1 lunch side bun 1\ncy 2 dinner main pot 1")
    )
    assert found.allergens == ("peanuts",)
    assert [(r.name, r.states) for r in found.rows] == [
        ("Bun", ("unknown",)), ("Pot", ("contains",)), ("Stew", ("free",)),
    ]  # fmt: skip
    every = matrix(question, tally(question, "cy 2 dinner main pot 1"), every=True)
    assert every.allergens == ALLERGENS
    assert dict(zip(every.allergens, every.rows[0].states, strict=True)) == NUTTY


def test_own_serving():
    assert reach("bo 1 lunch main pot 1") == {"pot": (("own serving",), (("day 1", "lunch"),), False)}


def test_somebody_at_the_same_table_eats_it():
    assert reach("ana 1 lunch main pot 1\nbo 1 lunch main stew 1") == {
        "pot": (("same table",), (("day 1", "lunch"),), True)
    }


def test_at_another_time_there_is_no_table_to_share():
    assert reach("ana 1 lunch main pot 1", clock={(1, "lunch"): 800}) == {"pot": ((), (), True)}
    assert reach("ana 1 lunch main pot 1", away=frozenset({(1, 0, "lunch")})) == {"pot": ((), (), True)}


def test_a_shared_pot_and_a_shared_jar():
    assert reach("table 1 lunch main pot 1", parties=TABLE) == {
        "pot": (("shared pot", "same table"), (("day 1", "lunch"),), False)
    }
    assert reach("table 1 lunch main jar 1", parties=TABLE)["jar"][0] == (
        "shared pot", "shared jar", "same table",
    )  # fmt: skip
    # a jar of one's own is nobody else's
    assert reach("bo 1 dinner main jar 1")["jar"][0] == ("own serving",)
    assert reach("cy 1 dinner main jar 1")["jar"][0] == ("same table",)


def test_what_is_free_in_the_day_may_be_eaten_at_any_meal():
    assert reach("ana 2 pot 1?") == {"pot": (("same table",), (("day 2", "any time"),), True)}
    apart = {(1, "lunch"): 800, (1, "dinner"): 1200}
    assert reach("ana 2 pot 1?", clock=apart) == {"pot": ((), (), True)}


def test_unknown_is_followed_like_contains_and_free_is_not():
    found = reach("bo 1 lunch side bun 1\nana 1 lunch main stew 1")
    assert found == {"bun": (("own serving",), (("day 1", "lunch"),), False)}


def test_nobody_with_an_allergy_no_one_to_watch():
    question = problem((POT,), people=(person("ana"),))
    found = matrix(question, tally(question, "ana 1 lunch main pot 1"))
    assert (found.allergens, found.people, len(found.rows)) == ((), (), 1)


@pytest.mark.parametrize("seed", range(20))
def test_cells_are_the_catalogue_s_and_nothing_served_is_called_kept_away(seed):
    rng = Random(f"matrix {seed}")
    question = tiny.make(seed)
    people = tuple(
        replace(p, prescription=replace(p.prescription, allergies={rng.choice(ALLERGENS): "avoid"}))
        for p in question.people
    )
    question = replace(question, people=people)
    program = build(question, [tiny.Extras(question, rng)])
    menu = tiny.tally_of(question, program, tiny.random_counts(rng, program, question))
    found = matrix(question, menu, every=True)
    assert {r.item for r in found.rows} == {e.item.id for e in menu.entries}
    for row in found.rows:
        own = question.catalogue.by_id[row.item].allergens
        assert row.states == tuple(own[a] for a in found.allergens)
    for p, w in enumerate(found.people):
        eaten = {e.item.id for e in menu.by_person[p]}
        (allergen,) = dict(w.allergies)
        near = {r.item for r in w.reach}
        assert near == {
            r.item for r in found.rows if question.catalogue.by_id[r.item].allergen(allergen) != "free"
        }
        assert {r.item for r in w.reach if not r.kept_away} == near & eaten


def test_an_intolerance_is_looked_out_for_like_an_allergy():
    pot = item("pot", allergens={**dict.fromkeys(ALLERGENS, "free"), "peanuts": "contains"})
    question = problem((pot,), people=(person("ana", intolerances={"peanuts": 1}),), days=1)
    found = matrix(question, tally(question, "ana 1 lunch main pot 1"))
    assert found.allergens == ("peanuts",)
    (ana,) = found.people
    assert ana.allergies == (("peanuts", "at most 1 a day"),)
    assert [r.item for r in ana.reach] == ["pot"]
