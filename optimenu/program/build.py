"""From Problem and rules to Program; and from worth to liking."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Protocol

import numpy as np

from optimenu.problem.problem import WORTH_DECIMALS
from optimenu.program.builder import Builder, scaled
from optimenu.program.page import GOAL_DECIMALS, Page

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from optimenu.catalogue.item import Item
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party, Problem
    from optimenu.program.program import Program

PRICE_DECIMALS = GOAL_DECIMALS - WORTH_DECIMALS


class Free(Protocol):
    """Servings that are free in the day."""

    @property
    def party(self) -> int:
        """Number of the party."""

    @property
    def item(self) -> str:
        """Item id."""

    @property
    def most(self) -> int:
        """Most servings a day."""


class Writer(Protocol):
    """What this module needs of a rule."""

    @property
    def by_date(self) -> bool:
        """True when ``allow`` may answer differently on two days of one class."""

    def allow(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> str | None:
        """Say why a serving cannot be, or None."""

    def allowances(self) -> Iterable[Free]:
        """Servings free in the day."""

    def write(self, page: Page) -> None:
        """Add rows."""


def offered(day: PlanDay, meal: Meal, course: Course, item: Item) -> str | None:
    """Return why the catalogue does not offer an item in this place, or None.

    A reserve meal has a name of its own, which no item bears; there the course alone decides.
    """
    if not set(course.takes).intersection(item.courses):
        return f"not offered as {course.name}"
    if day.eaten and meal.name not in item.meals:
        return f"not offered at {meal.name}"
    return None


def refusal(
    rules: Sequence[Writer], party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
) -> str | None:
    """Return the first reason why a serving cannot be, or None."""
    if meal is not None and course is not None and (reason := offered(day, meal, course, item)):
        return reason
    return next((why for r in rules if (why := r.allow(party, day, meal, course, item)) is not None), None)


def build(problem: Problem, rules: Sequence[Writer]) -> Program:
    """Write every column and row; gains in worth (six decimals), not yet in liking.

    See Also
    --------
    priced : turns worth into liking.
    """
    builder = Builder(GOAL_DECIMALS, tuple(p.members for p in problem.parties))
    labels = _servings(problem, rules, builder)
    _free(problem, rules, builder, labels)
    page = Page(problem, builder, np.asarray(labels, dtype=np.int32).reshape(-1, 5))
    for rule in rules:
        rule.write(page)
    _worth_groups(problem, page, builder)
    return builder.freeze()


def _servings(
    problem: Problem, rules: Sequence[Writer], builder: Builder
) -> list[tuple[int, int, int, int, int]]:
    # days of one class and the same meals ask the same questions, so each answer is kept; rules that look
    # at dates are asked again on each day
    answers: dict[tuple[object, ...], list[int]] = {}
    dated = [r for r in rules if r.by_date]
    steady = [r for r in rules if not r.by_date]
    labels = []
    for a, party in enumerate(problem.parties):
        for day, m, meal, k, course in problem.places(party):
            kin = problem.day_class[day.number]
            key = (a, kin, meal, course)
            if key not in answers:
                answers[key] = [
                    i
                    for i, item in enumerate(problem.catalogue.items)
                    if refusal(steady, party, day, meal, course, item) is None
                ]
            for i in answers[key]:
                item = problem.catalogue.items[i]
                if any(r.allow(party, day, meal, course, item) for r in dated):
                    continue
                label = (a, day.number, m, k, i)
                labels.append(label)
                builder.column(
                    labels=label, high=min(course.same, course.most), merge=(a, kin, meal.name, k, i)
                )
    return labels


def _free(
    problem: Problem,
    rules: Sequence[Writer],
    builder: Builder,
    labels: list[tuple[int, int, int, int, int]],
) -> None:
    most: dict[tuple[int, str], int] = defaultdict(int)
    for rule in rules:
        for free in rule.allowances():
            most[free.party, free.item] += free.most
    for (a, name), n in sorted(most.items()):
        item = problem.catalogue.by_id[name]
        for day in problem.cycle:
            if refusal(rules, problem.parties[a], day, None, None, item) is None:
                i = problem.catalogue.order[name]
                label = (a, day.number, -1, -1, i)
                labels.append(label)
                builder.column(
                    labels=label,
                    low=n,
                    high=n,
                    certain=False,
                    merge=(a, problem.day_class[day.number], "", -1, i),
                )


def _worth_groups(problem: Problem, page: Page, builder: Builder) -> None:
    """One group per person and item, over the certain servings of the cycle."""
    found: dict[tuple[int, int], list[tuple[int, Decimal]]] = defaultdict(list)
    for c in range(len(page.item)):
        day = problem.days[int(page.day[c])]
        if not day.eaten or not page.certain[c]:
            continue
        course = day.meals[int(page.meal[c])].courses[int(page.course[c])]
        item = problem.catalogue.items[int(page.item[c])]
        for p in problem.parties[int(page.party[c])].members:
            found[p, int(page.item[c])].append((c, problem.worth(p, item, course, day)))
    for (p, i), entries in sorted(found.items()):
        positive = [w for _, w in entries if w > 0]
        room = int(sum(page.high[c] for c, _ in entries))
        uses = page.most_uses(p, i, room)
        deductions = problem.deductions(min(positive, default=Decimal(0)), uses)
        builder.group(
            [(c, scaled(w, WORTH_DECIMALS)) for c, w in entries],
            [scaled(d, WORTH_DECIMALS) for d in deductions],
            person=p,
        )


def own(problem: Problem, program: Program, person: int) -> Program:
    """Program of one person's own rules in worth: other people, shared limits and soft rows left out."""
    parties = [k for k, p in enumerate(problem.parties) if person in p.members]
    mine = np.isin(program.party[: program.n_menu], parties)
    kept = program.keep(mine, soft=False)
    only = kept.group_person == person
    if not only.all():
        # a shared dish is worth to this person only what this person makes of it
        owner = np.repeat(only, np.diff(kept.group_start))
        gain = np.zeros_like(kept.gain)
        weight = np.where(owner, kept.group_gain, 0)
        np.add.at(gain, kept.group_column, weight)
        deduct = np.where(np.repeat(only, np.diff(kept.deduct_start)), kept.deduction, 0)
        kept = replace(kept, gain=gain, group_gain=weight, deduction=deduct)
    return replace(kept, goal_decimals=WORTH_DECIMALS)


def priced(program: Program, prices: Sequence[Decimal]) -> Program:
    """Turn worth into mean liking: each person's worth at that person's price (twelve decimals)."""
    whole = np.asarray([scaled(p, PRICE_DECIMALS) for p in prices], dtype=np.int64)
    of_group = whole[program.group_person]
    gains = program.group_gain * np.repeat(of_group, np.diff(program.group_start))
    deductions = program.deduction * np.repeat(of_group, np.diff(program.deduct_start))
    gain = np.zeros(program.n, dtype=np.int64)
    np.add.at(gain, program.group_column, gains)
    return replace(program, gain=gain, group_gain=gains, deduction=deductions)
