"""Stowage: gross mass and volume of whole packs and overwraps."""

from __future__ import annotations

from decimal import Decimal

from optimenu.problem.problem import Party
from optimenu.rules.stowage import Stowage
from tests.rules.hand import broken, faults, item, person, problem, rule, said, tally
from tests.rules.tiny import measured

JAR = item(
    "jar",
    "side",
    servings_per_pack=3,
    gross_g=Decimal("400.5"),
    volume_ml=Decimal(500),
    overwrap_packs=2,
    overwrap_g=Decimal(30),
    overwrap_ml=Decimal(50),
)
PIE = item("pie", gross_g=Decimal(200), volume_ml=Decimal(300))


def near(problem, tally, rng):
    ids = [load.name for load in problem.loads]
    text = "[stowage]\ngross_kg = {}\nvolume_l = {}\n"
    text += "".join(f"[stowage.loads.{name}]\ngross_kg = {{}}\n" for name in ids)
    text += "[stowage.people.ana]\nvolume_l = {}\n"
    found = measured(Stowage, text.format(*["0.001"] * (3 + len(ids))), problem, tally)
    slack = [Decimal(rng.randint(1000, 1060)) / 1000 for _ in found]
    return text.format(*(max(m.shown.value, 1) * s for m, s in zip(found, slack, strict=True))), problem


def test_whole_packs_and_overwraps_of_each_party():
    # Day 1 on two dates. ana: 2 jars a day x 2 = 4 servings, 2 packs of 3, 1 overwrap of 2; pie 1 x 2 = 2
    # packs. bo: 1 jar x 2 = 2 servings, 1 pack, 1 overwrap (each party's packs are wrapped by themselves).
    # ana's reserve: 1 jar, 1 pack, 1 overwrap. Jars 4 x 400.5 = 1602 g and 3 x 30 = 90 g, pies 400 g:
    # 2092 g. Volume 4 x 500 + 3 x 50 + 2 x 300 = 2750 mL.
    question = problem((JAR, PIE), people=(person("ana"), person("bo")), days=1, dates=2, reserve=1)
    menu = tally(
        question,
        """
        ana 1 lunch side jar 2
        ana 1 lunch main pie 1
        bo 1 lunch side jar 1
        ana r1 lunch side jar 1
        """,
    )
    toml = "[stowage]\ngross_kg = 2\nvolume_l = 2.7\n[stowage.people.bo]\ngross_kg = 0.4"
    stowage = rule(Stowage, toml, question)
    # bo: 400.5 + 30
    assert broken(stowage, menu) == [
        ("stowage.gross_kg", "", -1, "92", "g"),
        ("stowage.volume_l", "", -1, "50", "mL"),
        ("stowage.people.bo.gross_kg", "bo", -1, "30.5", "g"),
    ]
    assert said(stowage, menu) == [
        "gross mass, stay: 2.09 kg; at most 2 kg",
        "stowed volume, stay: 2.75 L; at most 2.7 L",
        "gross mass, bo: 0.43 kg; at most 0.4 kg",
    ]


def test_packs_are_counted_whole_in_each_load_and_with_allowances():
    # two dates fed by l0, one by l1: one jar a day is 1 pack of l0 (2 servings) and 1 of l1
    question = problem((JAR, PIE), days=1, dates=3, loads=(0, 2))
    toml = "[stowage]\n[stowage.loads.l1]\ngross_kg = 0.43\n[stowage.loads.l0]\nvolume_l = 0.55"
    stowage = rule(Stowage, toml, question)
    assert broken(stowage, tally(question, "ana 1 lunch side jar 1")) == [
        ("stowage.loads.l1.gross_kg", "", -1, "0.5", "g")
    ]
    assert broken(stowage, tally(question, "ana 1 jar 1?")) == [
        ("stowage.loads.l1.gross_kg", "", -1, "0.5", "g")
    ]


def test_a_shared_dish_is_nobodys_own():
    # and its packs hold servings for each member; a serving of the party feeds both
    people = (person("ana"), person("bo"))
    question = problem((PIE,), people=people, days=1, parties=(Party("table", (0, 1)), Party("ana", (0,))))
    stowage = rule(Stowage, "[stowage]\ngross_kg = 0.1\n[stowage.people.ana]\ngross_kg = 0.1", question)
    assert [b[:1] for b in broken(stowage, tally(question, "table 1 lunch main pie 1"))] == [
        ("stowage.gross_kg",)
    ]


def test_faults():
    toml = "[stowage]\n[stowage.loads.second]\n[stowage.people.ann]"
    assert faults(rule(Stowage, toml, problem((PIE,)))) == [
        ("loads.second", 'no load "second".'),
        ("people", 'no person "ann". Did you mean "ana"?'),
    ]
