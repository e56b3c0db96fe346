"""A crew whose heater places are tight: the search against HiGHS on the plain model."""

from __future__ import annotations

from decimal import Decimal
from random import Random

import pytest

from optimenu.menu.menu import from_counts
from optimenu.menu.tally import Tally
from optimenu.problem.calendar import Course, Meal
from optimenu.program.build import build, priced
from optimenu.rules.galley import Galley
from optimenu.rules.meals import Meals
from optimenu.rules.nutrients import Nutrients
from optimenu.rules.repeats import Repeats
from optimenu.solve.bound import relax
from optimenu.solve.components import components
from optimenu.solve.direct import direct
from optimenu.solve.liking import scale_of
from optimenu.solve.search import search
from optimenu.solve.split import crowded
from tests.rules.hand import item, person, problem, rule

D = Decimal
COURSES = {"main": ("1", 380, 600), "soup": ("0.6", 120, 260), "side": ("0.5", 120, 260)}
MEALS = """
[meals.lunch]
at = "12:00"
courses = {}
[meals.dinner]
at = "19:00"
courses = {}
"""


def crew(seed, *, places=4, days=3):
    """Four people, two meals of three courses, 27 items: most dishes are hot, and hot ones are liked more.

    Twelve dishes a meal, and 4 places x 2 rounds heat eight of them.
    """
    rng = Random(f"galley {seed}")
    items = []
    for course, (_, low, high) in COURSES.items():
        for k in range(9):
            heat = D(rng.choice((10, 15, 20))) if k % 4 else D(0)
            kcal = str(rng.randint(low, high))
            items.append(item(f"{course}_{k}", course, heat_min=heat, ENERC_KCAL_kcal=kcal))
    courses = tuple(Course(c, 1, 1, D(w), 1, (c,)) for c, (w, _, _) in COURSES.items())
    people = tuple(person(n, kcal=str(rng.randint(1700, 1800))) for n in ("ana", "bo", "cy", "di"))
    liked = {
        (p.id, i.id): f"{min(max(rng.gauss(7.6 if i.heat_min else 6.1, 0.8), 5.2), 9):.2f}"
        for p in people
        for i in items
    }
    meals = (Meal("lunch", 720, courses), Meal("dinner", 1140, courses))
    question = problem(items, people=people, days=days, dates=2 * days, meals=meals, liked=liked)
    galley = rule(Galley, f"[galley]\nplaces = {places}\nrounds = 2\nround_min = 20", question)
    rules = [
        galley,
        rule(Meals, MEALS, question),
        rule(Repeats, "[repeats.x]\nof = 'item'\nmost_a_day = 1\ngap_days = 2", question),
        rule(
            Nutrients,
            "[nutrients]\nenergy = { day_within = 10, stay_within = 5 }\nreference = { use = false }",
            question,
        ),
    ]
    base = build(question, rules)
    return question, galley, priced(base, scale_of(question, base).prices)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_the_search_comes_near_the_best_menu_of_a_tight_galley(seed):
    question, galley, program = crew(seed)
    relaxation = relax(program)
    assert crowded(program, components(program), relaxation.x, relaxation.multiplier)
    best = direct(program, gap=0.0005, seconds=20)
    assert best.value is not None
    found = search(program, relaxation, moves=400_000, seed=1)
    assert found.counts is not None and found.value is not None
    assert found.value >= 0.99 * best.value
    tally = Tally.of(question, from_counts(question, program, found.counts))
    values = [m.most for m in galley.measures(tally)]
    assert len(values) == 6 and max(values) <= 8
    # tight: nearly every place of every round is taken
    assert sum(values) >= 44


def test_a_roomy_galley_is_no_reason_to_search_together():
    _, _, program = crew(0, places=12)
    relaxation = relax(program)
    assert not crowded(program, components(program), relaxation.x, relaxation.multiplier)
