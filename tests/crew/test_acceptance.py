"""From scores to acceptance, by hand."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from optimenu.crew.acceptance import Acceptance, acceptances
from optimenu.crew.tasting import Score

D = Decimal


def score(person, item, value, kind="serving"):
    return Score(person, item, kind, date(2031, 1, 1), D(value), "", 1)


def own(value):
    return Acceptance(D(value), estimated=False)


def test_a_full_serving_weighs_three_samples():
    scores = [score("ana", "stew", 4, "sample"), score("ana", "stew", 7), score("ana", "stew", 8)]
    # (4 + 3 x 7 + 3 x 8) / 7 = 49 / 7 = 7
    assert acceptances(scores, ["ana"], ["stew"]) == {("ana", "stew"): own("7.00")}
    # equal weights: 19 / 3 = 6.333
    equal = acceptances(scores, ["ana"], ["stew"], serving=D(1))
    assert equal == {("ana", "stew"): own("6.33")}
    # samples left out: 15 / 2
    without = acceptances(scores, ["ana"], ["stew"], sample=D(0))
    assert without == {("ana", "stew"): own("7.50")}


def test_a_sample_of_no_weight_is_no_score():
    found = acceptances([score("ana", "stew", 4, "sample")], ["ana"], ["stew"], sample=D(0))
    assert found == {}


SCORES = [
    # means: ana (8 + 5) / 2 = 6.5; bo (9 + 6) / 2 = 7.5; cy 6
    score("ana", "stew", 8),
    score("ana", "rice", 5),
    score("bo", "stew", 9),
    score("bo", "rice", 6),
    score("cy", "oats", 6),
]


def test_an_estimate_from_two_others():
    found = acceptances(SCORES, ["ana", "bo", "cy"], ["stew", "rice", "oats"])
    # stew is 1.5 above ana's mean and 1.5 above bo's: cy's 6 + 1.5; rice 1.5 below both
    assert found["cy", "stew"] == Acceptance(D("7.50"), estimated=True)
    assert found["cy", "rice"] == Acceptance(D("4.50"), estimated=True)
    # one other alone is no ground for an estimate
    assert ("ana", "oats") not in found
    assert ("bo", "oats") not in found
    assert found["ana", "stew"] == own("8.00")


def test_who_has_scored_nothing_gets_no_estimate():
    assert not any(p == "dan" for p, _ in acceptances(SCORES, ["dan"], ["stew"]))


def test_an_estimate_stays_on_the_scale():
    extreme = [
        score("ana", "stew", 9), score("ana", "rice", 1), score("bo", "stew", 9), score("bo", "rice", 1),
        score("cy", "oats", 8),
    ]  # fmt: skip
    found = acceptances(extreme, ["cy"], ["stew", "rice"])
    # 8 + 4 = 12 is held to 9; 8 - 4 = 4
    assert found["cy", "stew"].value == 9
    assert found["cy", "rice"].value == 4
    low = [*extreme[:4], score("cy", "oats", 2)]
    assert acceptances(low, ["cy"], ["rice"])["cy", "rice"].value == 1
