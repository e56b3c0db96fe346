"""Nobody with a severe allergy is given what holds, may hold or is not known to be free of the allergen."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from optimenu.catalogue.columns import ALLERGENS
from optimenu.config.table_plan import severe_apart
from optimenu.program.build import build
from optimenu.rules.avoid import Avoid
from optimenu.stowage.allergens import SERVED, matrix
from tests.rules import tiny
from tests.rules.hand import rule


@pytest.mark.parametrize("seed", range(60))
def test_no_plan_serves_it_by_plate_pot_or_jar(seed):
    rng = Random(f"severe {seed}")
    question = tiny.make(seed, people=3, shared=seed % 2 == 0)
    allergic = rng.randrange(3)
    people = tuple(
        replace(p, prescription=replace(p.prescription, allergies={rng.choice(ALLERGENS): "severe"}))
        if k == allergic
        else p
        for k, p in enumerate(question.people)
    )
    shared = {i.id: severe_apart(people, ((0, 1, 2),)) for i in question.catalogue.items}
    question = replace(question, people=people, shared_packs=shared)
    extras = tiny.Extras(question, rng)
    program = build(question, [rule(Avoid, "", question), extras])
    for _ in range(5):
        menu = tiny.tally_of(question, program, tiny.random_counts(rng, program, question))
        watched = next(w for w in matrix(question, menu).people if w.id == people[allergic].id)
        reached = [r for r in watched.reach if set(r.ways) & set(SERVED)]
        assert not reached
        for e in menu.by_person.get(allergic, ()):
            states = {e.item.allergen(a) for a in people[allergic].prescription.allergies}
            assert states == {"free"}


def test_the_severely_allergic_leave_every_group():
    people = tuple(tiny.make(1, people=3).people)
    severe = replace(people[1], prescription=replace(people[1].prescription, allergies={"egg": "severe"}))
    plain = [replace(p, prescription=replace(p.prescription, allergies={})) for p in people]
    assert severe_apart((plain[0], severe, plain[2]), ((0, 1, 2), (0, 1))) == ((0, 2),)
