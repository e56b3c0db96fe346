"""What the inputs leave to choose from, and what they still wait for."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from optimenu.config.open_points import OpenPoint, open_points
from optimenu.crew.people import activity_sources
from optimenu.nutrition.losses import stored_nutrients
from optimenu.program.build import offered, refusal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.catalogue.item import Item
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
class OfferLoss:
    """What storage takes from a nutrient in all items a person may be given, one serving of each.

    Attributes
    ----------
    first, last : Decimal
        Part of the amount at production gone on the first and on the last date, 0 to 1; what nobody states a
        loss of counts as gone once it is old.
    """

    column: str
    first: Decimal
    last: Decimal


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
    losses: list[OfferLoss]


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
        people=[_person(case, p, *mine) for p, mine in enumerate(_choices(case))],
        open_points=open_points(case),
        files=[p.relative_to(case.root).as_posix() for p in case.files],
        activity_sources=list(activity_sources(case.settings.people.values())),
    )


def _person(case: Case, p: int, choices: list[Choice], items: dict[str, Item]) -> PersonView:
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
        losses=list(_losses(case, list(items.values()))),
    )


def _losses(case: Case, items: list[Item]) -> Iterator[OfferLoss]:
    """Losses of every nutrient the catalogue states and storage may touch; vitamin A as a whole."""
    problem = case.problem
    if problem.retention is None:
        return
    for nutrient in stored_nutrients().values():
        column = next((c for c in nutrient.columns if c in problem.catalogue.columns), None)
        if column is None or nutrient.tag in ("RETOL", "CARTB"):
            continue
        whole = first = last = Decimal(0)
        for item in items:
            amount = problem.amount(item, column) or Decimal(0)
            whole += amount
            first += amount * problem.retention.on(item, column, problem.dates[0])[0]
            last += amount * problem.retention.on(item, column, problem.dates[-1])[0]
        if whole and last < whole:
            yield OfferLoss(column, 1 - first / whole, 1 - last / whole)


def _choices(case: Case) -> list[tuple[list[Choice], dict[str, Item]]]:
    """Choices of every person, in the same order for all, and the items left to them.

    A day kind stands apart where it differs.
    """
    problem = case.problem
    places: dict[tuple[str, str, str], dict[str, list[tuple[PlanDay, Meal, Course]]]] = {}
    for day in problem.days:
        for meal in day.meals:
            for course in meal.courses:
                block = "cycle" if day.eaten else "reserve"
                kinds = places.setdefault((block, meal.name, course.name), {})
                kinds.setdefault(day.kind, []).append((day, meal, course))
    found: list[tuple[list[Choice], dict[str, Item]]] = [([], {}) for _ in problem.people]
    for (block, meal_name, course_name), kinds in places.items():
        told: list[list[int]] = []
        for kind, where in kinds.items():
            counts = [_left(case, p, where) for p in range(len(problem.people))]
            # stock differs from date to date; a kind stands apart only for what it asks itself
            steady = [whenever for _, _, whenever in counts]
            if steady in told:
                continue
            told.append(steady)
            for (mine, items), (left, here, _) in zip(found, counts, strict=True):
                on = kind if len(told) > 1 else ""
                mine.append(Choice(block, meal_name, course_name, len(left), here, on))
                items.update({i.id: i for i in left})
    return found


def _left(case: Case, p: int, places: list[tuple[PlanDay, Meal, Course]]) -> tuple[list[Item], int, int]:
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
    left = [i for i in whenever if all(r.allow(party, day, meal, course, i) is None for r in dated)]
    return left, len(here), len(whenever)
