"""What is laid down, in words for the physician and the dietitian."""

from __future__ import annotations

from datetime import date

from optimenu.crew.fasts import Fast
from optimenu.views.check import laid_down
from tests.rules.hand import person


def test_a_fast_says_its_dates_hours_and_food():
    first = Fast("a", frozenset({date(2031, 3, 2)}), (330, 1110))
    second = Fast("b", frozenset({date(2031, 3, 3)}), None, ("vegetarian",), frozenset(), frozenset({"egg"}))
    assert laid_down(person("ana", fasts=(first, second))) == [
        "fast: 2 Mar, nothing from 05:30 to 18:30",
        "fast: 3 Mar, vegetarian only, no egg",
    ]


def test_a_milder_severity_says_what_it_lets_pass():
    script = person("ana", allergies={"milk": "avoid", "egg": "severe"}).prescription
    assert script.allergy_words() == ["milk (avoid: what only may contain it is given)", "egg (severe)"]
