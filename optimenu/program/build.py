"""From Problem and rules to Program; and from worth to liking."""

from __future__ import annotations

import gc
from collections import defaultdict
from contextlib import contextmanager
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Protocol

import numpy as np

from optimenu.problem.problem import WORTH_DECIMALS
from optimenu.program.builder import Builder, scaled
from optimenu.program.page import GOAL_DECIMALS, Page

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from optimenu.catalogue.item import Item
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party, Problem
    from optimenu.program.origin import Origin
    from optimenu.program.program import Program

PRICE_DECIMALS = GOAL_DECIMALS - WORTH_DECIMALS
_MOST_WORTH = 2.0**63 * 0.999
"""Whole goal units of a column or a use, by floating point that rounds far less than the margin."""


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
    with _uncollected():
        _servings(problem, rules, builder)
        _free(problem, rules, builder)
        page = Page(problem, builder, builder.labels)
        for rule in rules:
            rule.write(page)
        _worth_groups(problem, page, builder)
        return builder.freeze()


def limits(
    problem: Problem,
    rules: Sequence[Writer],
    *,
    refused: bool = False,
    writing: Sequence[Writer] | None = None,
    wanted: Callable[[Origin], bool] | None = None,
) -> Program:
    """Write columns and hard limits only: a program worth nothing, to ask what holds together.

    How often an item may be used at all, which ``build`` keeps as the length of worth groups, becomes an
    implied row of the limit it follows from.

    Parameters
    ----------
    refused : bool
        Whether servings that a rule refuses get a column too. What is free in the day is never given then.
    writing : sequence of Writer, optional
        Rules that write rows; all of them by default.
    wanted : callable of Origin, optional
        Whether a row is written.
    """
    builder = Builder(GOAL_DECIMALS, tuple(p.members for p in problem.parties))
    with _uncollected():
        _servings(problem, () if refused else rules, builder)
        _free(problem, rules, builder)

        def sift(origin: Origin, soft: bool) -> bool:
            return not soft and (wanted is None or wanted(origin))

        page = Page(problem, builder, builder.labels, sift)
        for rule in rules if writing is None else writing:
            rule.write(page)
        _caps(problem, page)
        return builder.freeze()


def _caps(problem: Problem, page: Page) -> None:
    days = [d.number for d in problem.cycle]
    mine: dict[int, tuple[NDArray[np.int32], NDArray[np.int64]]] = {}
    numbers = np.arange(len(problem.catalogue.items) + 1)
    for p, item, most, origin in page.capped:
        if p not in mine:
            cols = page.of(p, days, certain=True)
            cols = cols[np.argsort(page.item[cols], kind="stable")]
            mine[p] = cols, np.searchsorted(page.item[cols], numbers)
        cols, starts = mine[p]
        page.row(origin, cols[starts[item] : starts[item + 1]], 1, high=Decimal(most), implied=True)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Keep Python from looking for dead cycles: hundreds of thousands of origins live on, and none is one."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _servings(problem: Problem, rules: Sequence[Writer], builder: Builder) -> None:
    # days of one class and the same meals ask the same questions, so each answer is kept; rules that look
    # at dates are asked again on each day
    answers: dict[tuple[object, ...], list[int]] = {}
    dated = [r for r in rules if r.by_date]
    steady = [r for r in rules if not r.by_date]
    catalogue = problem.catalogue.items
    offers: dict[tuple[object, ...], list[int]] = {}
    for a, party in enumerate(problem.parties):
        for day, m, meal, k, course in problem.places(party):
            kin = problem.day_class[day.number]
            place = (day.eaten, meal.name, course.takes)
            if place not in offers:
                offers[place] = [i for i, t in enumerate(catalogue) if offered(day, meal, course, t) is None]
            key = (a, kin, meal, course)
            if key not in answers:
                answers[key] = _allowed(steady, party, day, meal, course, catalogue, offers[place])
            items = _allowed(dated, party, day, meal, course, catalogue, answers[key])
            builder.columns(
                (a, day.number, m, k), items, min(course.same, course.most), (a, kin, meal.name, k)
            )


def _allowed(
    rules: Sequence[Writer],
    party: Party,
    day: PlanDay,
    meal: Meal,
    course: Course,
    catalogue: Sequence[Item],
    items: list[int],
) -> list[int]:
    """Numbers of the items that no rule refuses."""
    for rule in rules:
        items = [i for i in items if rule.allow(party, day, meal, course, catalogue[i]) is None]
    return items


def _free(
    problem: Problem,
    rules: Sequence[Writer],
    builder: Builder,
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
                builder.column(
                    labels=(a, day.number, -1, -1, i),
                    low=n,
                    high=n,
                    certain=False,
                    merge=(a, problem.day_class[day.number], "", -1, i),
                )


def _worth_groups(problem: Problem, page: Page, builder: Builder) -> None:
    """One group per person and item, over the certain servings of the cycle."""
    days = [d.number for d in problem.cycle]
    for p in range(len(problem.people)):
        cols = page.of(p, days, certain=True)
        worth = _worth(problem, page, p, cols)
        order = np.argsort(page.item[cols], kind="stable")
        for own in np.split(order, np.flatnonzero(np.diff(page.item[cols[order]])) + 1):
            if not len(own):
                continue
            i = int(page.item[cols[own[0]]])
            positive = worth[own][worth[own] > 0]
            least = Decimal(int(positive.min())).scaleb(-WORTH_DECIMALS) if len(positive) else Decimal(0)
            uses = page.most_uses(p, i, int(page.high[cols[own]].sum()))
            deductions = [scaled(d, WORTH_DECIMALS) for d in problem.deductions(least, uses)]
            builder.array_group(cols[own], worth[own], deductions, person=p)


def _worth(problem: Problem, page: Page, p: int, cols: NDArray[np.int32]) -> NDArray[np.int64]:
    """Worth of servings to a person at six decimals; asked once for each item, course and kind of day."""
    places = np.stack([page.day[cols], page.meal[cols], page.course[cols]], axis=1)
    table: dict[tuple[Decimal, int], int] = {}
    alike, of_place = np.unique(places, axis=0, return_inverse=True)
    kind = []
    for d, m, k in alike.tolist():
        day = problem.days[d]
        kind.append(table.setdefault((day.meals[m].courses[k].weight, day.weight), len(table)))
    of_column = np.asarray(kind, dtype=np.int64)[of_place.reshape(-1)]
    key = page.item[cols].astype(np.int64) * max(len(table), 1) + of_column
    _, first, back = np.unique(key, return_index=True, return_inverse=True)
    found = []
    for d, m, k, c in np.column_stack([places[first], cols[first]]).tolist():
        day = problem.days[d]
        item = problem.catalogue.items[int(page.item[c])]
        found.append(scaled(problem.worth(p, item, day.meals[m].courses[k], day), WORTH_DECIMALS))
    worth: NDArray[np.int64] = np.asarray(found, dtype=np.int64)[back.reshape(-1)]
    return worth


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
    """Turn worth into mean liking: each person's worth at that person's price (twelve decimals).

    Raises
    ------
    OverflowError
        When a price is so high that 64 bits do not hold what a column is worth.
    """
    whole = np.asarray([scaled(p, PRICE_DECIMALS) for p in prices], dtype=np.int64)
    of_group = whole[program.group_person]
    of_entry = np.repeat(of_group, np.diff(program.group_start))
    of_use = np.repeat(of_group, np.diff(program.deduct_start))
    # whole numbers would turn over silently, so floating point looks first
    size = np.zeros(program.n)
    np.add.at(size, program.group_column, np.abs(program.group_gain.astype(np.float64) * of_entry))
    cost = np.abs(program.deduction.astype(np.float64) * of_use)
    if max(size.max(initial=0.0), cost.max(initial=0.0)) >= _MOST_WORTH:
        msg = "a price of worth is too high for whole numbers of 64 bits"
        raise OverflowError(msg)
    gains = program.group_gain * of_entry
    deductions = program.deduction * of_use
    gain = np.zeros(program.n, dtype=np.int64)
    np.add.at(gain, program.group_column, gains)
    return replace(program, gain=gain, group_gain=gains, deduction=deductions)
