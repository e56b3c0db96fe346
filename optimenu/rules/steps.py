"""Steps: how far the amount of a nutrient may change from one date to the next; part of ``nutrients``."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.menu.tally import span
from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.program.origin import Origin
from optimenu.program.page import vector
from optimenu.rules.base import Measure, Shown

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.problem import Problem
    from optimenu.program.page import Page

ZERO = Decimal(0)


@dataclass(frozen=True)
class Step:
    """One promise: the sum of a nutrient on plan day ``more`` less that on ``less`` is at most ``limit``.

    Attributes
    ----------
    given : Decimal
        What plain water brings more on the one day than on the other; supplements are the same on both.
    """

    origin: Origin
    person: int
    column: str
    more: int
    less: int
    limit: Decimal
    given: Decimal


def pairs(problem: Problem) -> tuple[tuple[int, int], ...]:
    """Plan days of any two dates in a row, each pair once and both ways.

    Days that bring only a part of a day's food are left out: they differ because they are short.
    """
    found: dict[tuple[int, int], None] = {}
    for a, b in zip(problem.sequence, problem.sequence[1:], strict=False):
        if problem.days[a].share == 1 and problem.days[b].share == 1:
            found[a, b] = found[b, a] = None
    return tuple(found)


def steps(problem: Problem) -> Iterator[Step]:
    """Every promise, each way."""
    for p, person in enumerate(problem.people):
        for column, limit in person.prescription.steps.items():
            if column not in problem.catalogue.columns:
                continue
            key = f"prescriptions.people.{person.id}.limits.{column}.step"
            for more, less in pairs(problem):
                origin = Origin("nutrients", key, person.id, what=column, run=(more, less), who="physician")
                given = ZERO
                if column == "WATER_g":
                    kinds = problem.days[more].kind, problem.days[less].kind
                    given = problem.plain_water(kinds[0]) - problem.plain_water(kinds[1])
                yield Step(origin, p, column, more, less, limit, given)


def _upper(problem: Problem, item: Item, column: str, day: int) -> Decimal:
    known = problem.eaten(item, column, day, up=True)
    return item.upper.get(column, ZERO) if known is None else known


def _lower(problem: Problem, item: Item, column: str, day: int) -> Decimal:
    return problem.eaten(item, column, day, up=False) or ZERO


def write(page: Page) -> None:
    """One row per promise."""
    problem = page.problem
    items = problem.catalogue.items
    for step in steps(problem):
        each, places = vector(
            [_upper(problem, i, step.column, step.more) for i in items]
            + [_lower(problem, i, step.column, step.less) for i in items]
        )
        high, low = each[: len(items)], each[len(items) :]
        cols = page.of(step.person, {step.more, step.less})
        vals = np.where(page.day[cols] == step.more, high[page.item[cols]], 0)
        # on a plan day that follows itself, what is free may be eaten on the one date and not on the other
        off = (page.day[cols] == step.less) & (page.certain[cols] | (step.more != step.less))
        vals = vals - np.where(off, low[page.item[cols]], 0)
        page.row(step.origin, cols, vals, high=step.limit - step.given, decimals=places)


def measures(tally: Tally) -> Iterator[Measure]:
    """Weigh each date against the next, from the catalogue's own decimals."""
    problem = tally.problem
    for step in steps(problem):
        more, less = tally.on(step.person, step.more), tally.on(step.person, step.less)
        column = step.column

        def up(e: Entry, column: str = column) -> Decimal:
            return _upper(problem, e.item, column, e.day.number)

        def down(e: Entry, column: str = column) -> Decimal:
            return _lower(problem, e.item, column, e.day.number)

        high, low = span(more, up), span(less, down)
        nutrient = BY_COLUMN[column]
        who, names = problem.people[step.person].id, [problem.days[d].label for d in (step.more, step.less)]
        change = high.most - low.least
        mass = sum((e.count * e.item.serving_g for e in (*more, *less)), ZERO)
        sure = [e for e in (*more, *less) if problem.surely(e.item, column, e.day.number)]
        known = sum((e.count * e.item.serving_g for e in sure), ZERO)
        yield Measure(
            origin=step.origin,
            label=f"{who}, {names[0]} beside {names[1]}: {nutrient.name}",
            unit=nutrient.unit,
            least=change,
            most=change,
            high=step.limit - step.given,
            known=known / mass if mass else Decimal(1),
            section="nutrients",
            shown=Shown(change + step.given, None, step.limit, f"{nutrient.unit} more than the date beside"),
        )
