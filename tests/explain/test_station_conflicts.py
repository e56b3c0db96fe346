"""Conflicts at the size of the shipped station, each put there on purpose."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

from optimenu.config.case import Case
from optimenu.config.variant import variant
from optimenu.explain.conflict import conflict_of

STATION = Path(__file__).parents[2] / "configs" / "station.toml"


def told(got):
    """Return (key, person) of every limit of a conflict."""
    return [(m.limit.key, m.limit.person) for m in got.members]


def prescribed(case: Case, person: str, **more) -> Case:
    """Return the case with further entries in a person's prescription."""

    def script(p):
        own = {field: {**getattr(p.prescription, field), **entries} for field, entries in more.items()}
        return replace(p, prescription=replace(p.prescription, **own)) if p.id == person else p

    problem = replace(case.problem, people=tuple(script(p) for p in case.problem.people))
    return replace(case, problem=problem, rules=tuple(type(r)(r.settings, problem) for r in case.rules))


def test_a_hold_too_small_against_what_everybody_needs():
    got = conflict_of(variant(STATION, {"stowage.volume_l": 300}))
    assert (got.status, got.proof, got.person, got.patterns) == ("conflict", "exact", "", ())
    rows = [m for m in got.members if m.limit.key != "stock.first" and m.limit.origins]
    assert (rows[0].limit.key, rows[0].limit.person) == ("stowage.volume_l", "")
    # one person's least energy may go without being missed, where the lots in stock are told instead
    energy = {("nutrients.energy.stay_within", p) for p in ("ines", "tomas", "bram", "yuki")}
    assert {(m.limit.key, m.limit.person) for m in rows[1:]} < energy
    assert len(rows) == 4
    hold = rows[0].limit
    assert (hold.low, hold.high, hold.unit, hold.written) == (None, 300, "L", "300")
    assert "station-changed.toml:" in hold.where
    assert hold.who == "planner"
    least = {m.limit.person: (m.limit.low, m.limit.unit) for m in rows[1:]}
    # 97 % of Tomas's requirement, the same on every date
    assert least["tomas"] == (Decimal("2472.53"), "kcal")
    (stock,) = (m.limit for m in got.members if m.limit.key == "stock.first")
    assert stock.origins and stock.refusals and stock.reason.startswith("no released pack")
    assert stock.who == "planner"
    assert len(got.members) == 5
    assert not got.refusals_given
    assert {"menu", "relaxation"} >= {m.without for m in got.members}


def test_a_ceiling_of_iron_against_its_floor():
    most = {"FE_mg": {"seven_days": (None, Decimal(10))}}
    got = conflict_of(prescribed(variant(STATION, {}), "ines", limits=most))
    assert (got.status, got.proof, got.person, got.patterns) == ("conflict", "exact", "ines", ())
    assert got.irreducible
    floor, ceiling = (m.limit for m in sorted(got.members, key=lambda m: m.limit.low is None))
    # RDA of a woman of 30: DRI tables of the National Academies, 2001
    assert (floor.key, floor.what, floor.low, floor.unit) == ("nutrients.reference.RDA", "FE_mg", 18, "mg")
    assert (floor.label, floor.days) == ("ines, the stay: Iron", ())
    assert (ceiling.key, ceiling.high) == ("prescriptions.people.ines.limits.FE_mg.seven_days.high", 10)
    assert ceiling.label == "ines, 7 days in a row: Iron"
    # one day of the cycle is in every run of seven dates somewhere, so every day matters
    assert ceiling.days == tuple(range(16))


def test_an_allergen_that_leaves_no_breakfast():
    station = variant(STATION, {})
    free = [
        i.id
        for i in station.problem.catalogue.items
        if "main" in i.courses and "breakfast" in i.meals and i.allergen("milk") == "free"
    ]
    assert free
    case = variant(STATION, {"avoid.people.yuki.items": free}, role="dietitian")
    got = conflict_of(prescribed(case, "yuki", allergies={"milk": "severe"}))
    assert (got.status, got.proof, got.person) == ("conflict", "exact", "yuki")
    assert got.irreducible
    keys = {("prescriptions.people.yuki.allergies.milk", "yuki"), ("avoid.people.yuki", "yuki")}
    assert set(told(got)) == keys
    allergy, dislike = (m.limit for m in sorted(got.members, key=lambda m: m.limit.who, reverse=True))
    assert (allergy.who, dislike.who) == ("physician", "dietitian")
    assert allergy.reason.startswith("yuki: ") and allergy.reason.endswith("milk")
    assert set(dislike.items) == set(free)
    assert not set(allergy.items) & set(free)
    (course,) = got.patterns
    assert (course.key, course.person) == ("meals.breakfast.courses.main", "yuki")
    assert course.label == "yuki, a day, breakfast: main"
