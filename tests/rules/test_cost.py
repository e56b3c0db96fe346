"""Cost of whole packs."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from optimenu.rules.cost import Cost
from tests.rules.hand import broken, faults, item, person, problem, reason, rule, said, tally
from tests.rules.tiny import measured

JAR = item("jar", "side", servings_per_pack=3, cost=Decimal("4.05"))
PIE = item("pie", cost=Decimal(2))


def near(problem, tally, rng):
    costs = [
        None if rng.random() < 0.03 else Decimal(rng.randint(10, 900)) / 100 for _ in problem.catalogue.items
    ]
    items = tuple(replace(i, cost=c) for i, c in zip(problem.catalogue.items, costs, strict=True))
    if all(c is None for c in costs):
        items = (replace(items[0], cost=Decimal(1)), *items[1:])
    question = replace(problem, catalogue=replace(problem.catalogue, items=items))
    (m,) = measured(Cost, "[cost]\nat_most = 0.001", question, replace(tally, problem=question))
    most = max(m.most, Decimal(1)) * rng.randint(1000, 1060) / 1000
    return f"[cost]\nat_most = {most}", question


def test_whole_packs_of_each_party():
    # Day 1 on two dates. ana: 2 jars a day x 2 = 4 servings, 2 packs of 3; pie 2 packs. bo: 2 servings of the
    # jar, 1 pack. ana's reserve: 1 pack. Jars 4 x 4.05 = 16.20, pies 2 x 2 = 4: 20.20.
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
    cost = rule(Cost, "[cost]\nat_most = 20", question)
    assert broken(cost, menu) == [("cost.at_most", "", -1, "0.2", "currency units")]
    assert said(cost, menu) == ["cost of packs, stay: 20.2 currency units; at most 20 currency units"]
    assert broken(rule(Cost, "[cost]\nat_most = 20.2", question), menu) == []
    assert list(rule(Cost, "[cost]", question).measures(menu)) == []


def test_what_has_no_cost_is_left_out_while_cost_is_limited():
    question = problem((JAR, replace(PIE, cost=None)))
    limited = rule(Cost, "[cost]\nat_most = 20", question)
    assert reason(limited, question, "pie") == "its cost is not stated, and cost is limited"
    assert reason(limited, question, "jar", course=1) is None
    assert reason(rule(Cost, "", question), question, "pie") is None


def test_faults():
    question = problem((replace(PIE, cost=None),))
    text = "the catalogue states no cost; fill its column cost, or leave this limit out"
    assert faults(rule(Cost, "[cost]\nat_most = 3", question)) == [("at_most", text)]
    assert faults(rule(Cost, "", question)) == []
