"""What the inputs leave to choose from, and what they still wait for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimenu.config.open_points import OpenPoint, open_points
from optimenu.crew.people import activity_sources
from optimenu.program.build import offered, refusal

if TYPE_CHECKING:
    from optimenu.config.case import Case
    from optimenu.problem.calendar import Course, Meal, PlanDay

FEW = 5
"""Items left for a course under which a person's choice is told as thin; common practice, no source."""


@dataclass(frozen=True)
class Choice:
    """Items a person may be given in one course of one meal, of those the catalogue offers there."""

    block: str
    meal: str
    course: str
    left: int
    offered: int
    kind: str = ""
    """Day kind, where it leaves another choice than the first."""

    @property
    def thin(self) -> bool:
        """True when a course that must be served has few items left."""
        return self.left < FEW


@dataclass(frozen=True)
class PersonView:
    """One person's inputs.

    Attributes
    ----------
    kcal : dict of str to str
        Requirement by day kind.
    steps : list of str
        How it was reached, with sources.
    tasted, estimated, unjudged : int
        Items with own scores, with an estimate, with neither.
    """

    id: str
    name: str
    kcal: dict[str, str]
    steps: list[str]
    floor: str
    avoids: list[str]
    tasted: int
    estimated: int
    unjudged: int
    choices: list[Choice]


@dataclass(frozen=True)
class Inspection:
    """What a check found."""

    people: list[PersonView]
    open_points: list[OpenPoint]
    files: list[str]
    activity_sources: list[str]


def inspect(case: Case) -> Inspection:
    """Look at what a case leaves to choose from."""
    return Inspection(
        people=[_person(case, p, mine) for p, mine in enumerate(_choices(case))],
        open_points=open_points(case),
        files=[p.relative_to(case.root).as_posix() for p in case.files],
        activity_sources=list(activity_sources(case.settings.people.values())),
    )


def _person(case: Case, p: int, choices: list[Choice]) -> PersonView:
    problem = case.problem
    person = problem.people[p]
    liked = [problem.acceptance.get((person.id, i.id)) for i in problem.catalogue.items]
    script = person.prescription
    avoids = script.allergy_words()
    avoids += [f"all but {d.replace('_', ' ')}" for d in script.diets]
    avoids += sorted({*script.never_items, *script.never_tags})
    avoids += [f"texture {t}" for t in sorted(script.never_textures)]
    if script.only_textures:
        avoids.append(f"textures other than {', '.join(sorted(script.only_textures))}")
    return PersonView(
        id=person.id,
        name=person.name,
        kcal={kind or "other days": str(value) for kind, value in person.kcal.items()},
        steps=list(person.steps),
        floor=str(person.floor),
        avoids=avoids,
        tasted=sum(1 for a in liked if a is not None and not a.estimated),
        estimated=sum(1 for a in liked if a is not None and a.estimated),
        unjudged=sum(1 for a in liked if a is None),
        choices=choices,
    )


def _choices(case: Case) -> list[list[Choice]]:
    """Choices of every person, in the same order for all; a day kind stands apart where it differs."""
    problem = case.problem
    places: dict[tuple[str, str, str], dict[str, list[tuple[PlanDay, Meal, Course]]]] = {}
    for day in problem.days:
        for meal in day.meals:
            for course in meal.courses:
                block = "cycle" if day.eaten else "reserve"
                kinds = places.setdefault((block, meal.name, course.name), {})
                kinds.setdefault(day.kind, []).append((day, meal, course))
    found: list[list[Choice]] = [[] for _ in problem.people]
    for (block, meal_name, course_name), kinds in places.items():
        told: list[list[int]] = []
        for kind, where in kinds.items():
            counts = [_left(case, p, where) for p in range(len(problem.people))]
            # stock differs from date to date; a kind stands apart only for what it asks itself
            steady = [whenever for _, _, whenever in counts]
            if steady in told:
                continue
            told.append(steady)
            for mine, (left, here, _) in zip(found, counts, strict=True):
                on = kind if len(told) > 1 else ""
                mine.append(Choice(block, meal_name, course_name, left, here, on))
    return found


def _left(case: Case, p: int, places: list[tuple[PlanDay, Meal, Course]]) -> tuple[int, int, int]:
    """Items left to a person on the first of these places where they eat, offered, left but for dates."""
    problem = case.problem
    # the dish may be a party's; who never eats here is asked as if alone at table
    alone = problem.parties[problem.alone[p]]
    mine = ((x, *w) for w in places for x in problem.parties if p in x.members and problem.serves(x, *w))
    party, day, meal, course = next(mine, (alone, *places[0]))
    here = [i for i in problem.catalogue.items if offered(day, meal, course, i) is None]
    steady = [r for r in case.rules if not r.by_date]
    dated = [r for r in case.rules if r.by_date]
    whenever = [i for i in here if refusal(steady, party, day, meal, course, i) is None]
    left = sum(1 for i in whenever if all(r.allow(party, day, meal, course, i) is None for r in dated))
    return left, len(here), len(whenever)
