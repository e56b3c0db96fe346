"""Papers at 80 and 140 columns; what a card of the crew must never say."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from decimal import Decimal
from random import Random

import pytest
from rich.console import Console

from optimenu.catalogue.columns import ALLERGENS, DIETS
from optimenu.program.build import build
from optimenu.rules.nutrients import Nutrients
from optimenu.stowage.allergens import matrix
from optimenu.stowage.crew_card import card
from optimenu.stowage.person_sheet import person_sheet
from optimenu.views.sheet import person_page
from optimenu.views.sheet_allergens import allergens_page
from optimenu.views.sheet_card import card_page
from tests.rules import tiny
from tests.rules.hand import rule

D = Decimal
WIDTHS = (80, 140)
SEEDS = 15
NEVER = (
    "allerg", "prescri", "diet", "never", "avoid", "severe", "physician", "supplement", "kcal", "liking",
    "score", "contain", "limit", "because",
)  # fmt: skip
"""Words of reasons, diagnoses and figures."""


def draw(page, width):
    out = io.StringIO()
    Console(file=out, width=width, markup=False, highlight=False).print(page)
    return out.getvalue()


def sick(seed):
    """Return a problem in which everybody has a prescription of every kind, and a random menu of it."""
    rng = Random(f"papers {seed}")
    question = tiny.make(seed, reserve=1)
    people = []
    for p in question.people:
        script = replace(
            p.prescription,
            allergies={a: rng.choice(("severe", "avoid")) for a in rng.sample(ALLERGENS, 3)},
            diets=(rng.choice(DIETS),),
            never_items=frozenset({"i1"}),
            never_tags=frozenset({"heavy"}),
            limits={"NA_mg": {"day": (None, D(900)), "stay": (D(100), None)}},
            supplements={"CA_mg": D(120)},
            by="crew physician",
            date=question.dates[0],
        )
        people.append(replace(p, prescription=script))
    question = replace(question, people=tuple(people))
    program = build(question, [tiny.Extras(question, rng)])
    return question, tiny.tally_of(question, program, tiny.random_counts(rng, program, question))


@pytest.mark.parametrize("seed", range(SEEDS))
def test_papers_of_random_menus_fit_the_page_and_cut_nothing(seed):
    question, menu = sick(seed)
    measures = list(rule(Nutrients, "", question).measures(menu))
    for width in WIDTHS:
        pages = [allergens_page(question, matrix(question, menu, every=e), width) for e in (False, True)]
        for p in range(len(question.people)):
            pages.append(person_page(question, person_sheet(question, menu, measures, p, ("ID_ug",))))
            pages.append(card_page(question, card(question, menu, p), width))
        for page in pages:
            text = draw(page, width)
            assert "…" not in text
            assert max(map(len, text.splitlines())) <= width


@pytest.mark.parametrize("seed", range(SEEDS))
def test_a_card_says_no_reason_no_diet_no_allergen_and_no_figure(seed):
    question, menu = sick(seed)
    names = sorted({e.item.name for e in menu.entries}, key=len, reverse=True)
    for p in range(len(question.people)):
        for width in WIDTHS:
            # two columns are read apart: names are taken out line by line, so none may be broken
            text = draw(card_page(question, card(question, menu, p), width), width)
            assert "Ask before swapping: this menu is made for you." in text
            for name in names:
                text = text.replace(name, "")
            low = text.lower()
            for word in (*NEVER, *(a.replace("_", " ") for a in (*ALLERGENS, *DIETS))):
                assert not re.search(rf"\b{re.escape(word)}", low), word
            # digits: clock times, day numbers, dates
            text = re.sub(r"\b\d\d:\d\d\b|\b(day|reserve) \d+\b|\b\d{1,2} (Mar|Apr)( 2031)?\b", "", text)
            assert not re.search(r"\d", text), text


def test_letters_stand_for_states_and_no_two_allergens_share_a_code():
    question, menu = sick(1)
    found = matrix(question, menu, every=True)
    narrow, wide = (draw(allergens_page(question, found, w), w) for w in (80, 200))
    legend = " ".join(narrow.split())
    for name in (a.replace("_", " ") for a in ALLERGENS):
        assert len(re.findall(rf"\b([A-Z][a-z]) {name}\b", legend)) == 1, name
        assert name in wide
    codes = re.findall(
        r"\b([A-Z][a-z]) (?:" + "|".join(a.replace("_", " ") for a in ALLERGENS) + r")\b", legend
    )
    assert len(set(codes)) == len(ALLERGENS)
    row = found.rows[0]
    letters = {"contains": "C", "may_contain": "M", "free": "-", "unknown": "?"}
    line = next(x for x in narrow.splitlines() if x.startswith(row.name))
    assert line.removeprefix(row.name).split()[: len(ALLERGENS)] == [letters[s] for s in row.states]


def test_a_person_s_sheet_says_who_may_read_it_and_what_was_laid_down():
    question, menu = sick(3)
    measures = list(rule(Nutrients, "", question).measures(menu))
    text = " ".join(
        draw(person_page(question, person_sheet(question, menu, measures, 0, ("ID_ug",))), 140).split()
    )
    script = question.people[0].prescription
    assert "not for the mess" in text and "as laid down by crew physician, 1 Mar 2031" in text
    for allergen, severity in script.allergies.items():
        assert f"{allergen.replace('_', ' ')} ({severity})" in text
    assert script.diets[0].replace("_", " ") in text
    for words in (
        "Sodium at most 900 mg, each day",
        "Calcium 120 mg a day",
        "never adds or changes",
        "Iodine",
    ):
        assert words in text
    assert "A licensed dietitian and a physician judge this plan" in text
