"""Intolerances: servings a day that a person bears of an allergen; part of the rule ``avoid``."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.program.origin import Origin
from optimenu.rules.base import Measure

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.problem import Problem
    from optimenu.program.page import Page


def write(page: Page) -> None:
    """One row per person, day and allergen borne in part."""
    items = page.problem.catalogue.items
    for p, day, allergen, most in _borne(page.problem):
        doses = np.asarray([i.allergen(allergen) != "free" for i in items], dtype=bool)
        cols = page.of(p, (day,), items=doses)
        page.row(_origin(page.problem, p, day, allergen), cols, 1, high=Decimal(most))


def measures(tally: Tally) -> Iterator[Measure]:
    """Count servings that contain, may contain or are not known to be free of the allergen."""
    problem = tally.problem
    for p, day, allergen, most in _borne(problem):
        entries = [e for e in tally.on(p, day) if _is_dose(e, allergen)]
        count = Decimal(sum(e.count for e in entries))
        sure = Decimal(sum(e.count for e in entries if e.certain))
        name = allergen.replace("_", " ")
        label = f"{problem.people[p].id}, {problem.days[day].label}: what may contain {name}"
        yield Measure(_origin(problem, p, day, allergen), label, "servings", sure, count, high=Decimal(most))


def _borne(problem: Problem) -> Iterator[tuple[int, int, str, int]]:
    """Person, plan day (eaten or of the reserve), allergen and most servings a day."""
    for p, person in enumerate(problem.people):
        for allergen, most in person.prescription.intolerances.items():
            for day in problem.days:
                yield p, day.number, allergen, most


def _is_dose(entry: Entry, allergen: str) -> bool:
    return entry.item.allergen(allergen) != "free"


def _origin(problem: Problem, p: int, day: int, allergen: str) -> Origin:
    person = problem.people[p].id
    key = f"prescriptions.people.{person}.intolerances.{allergen}.servings_a_day"
    return Origin("avoid", key, person, day, what=allergen, who="physician")
