"""Why an item is not on a person's menu, or what it would cost to take it away.

Three answers. Something refuses it: a rule's own words. Nobody has scored it well enough: the score that
would bring it in. Or it costs more than it is worth: its places, volume, sodium are worth more to the crew
with something else. The last is a statement about the relaxation: it begins to use the item at a score at
which the rest of the plan gives up just what the item earns. That score is found by solving again, with the
person's score of the item alone changed, and a tenth of a point above it must be used and a tenth below not.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

from optimenu.explain.entry import MOST, USED, Entry, dates_served, entry_of, liking_counts
from optimenu.explain.prices import closed, group_of, rescored, rules_for
from optimenu.menu.tally import Tally
from optimenu.program.build import build, offered, priced
from optimenu.program.page import GOAL_DECIMALS
from optimenu.solve.again import Again
from optimenu.solve.bound import proved_bound, relax
from optimenu.solve.cuts import ROUNDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from typing import Any

    from optimenu.explain.prices import Prices
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party, Problem
    from optimenu.rules.base import Refusal, Rule
    from optimenu.solve.bound import Relaxation

Status = Literal["not offered", "refused", "not scored", "weightless", "dear", "used", "planned"]
"""No course of the plan takes it; rules refuse it everywhere; only its score does; liking counts in none of
its courses; the relaxation leaves it out; the relaxation uses it and the menu does not; it is on the menu."""


@dataclass(frozen=True)
class Reason:
    """Why an item cannot be had in some places.

    Attributes
    ----------
    places : int
        Courses of plan days of the cycle that take it and where this refuses it.
    meals : tuple of str
        Meals of those.
    """

    refusal: Refusal
    places: int
    meals: tuple[str, ...]


@dataclass(frozen=True)
class Use:
    """Servings of the item on the menu: plan day, meal, course, dates, and who shares the dish."""

    day: str
    meal: str
    course: str
    count: int
    dates: int
    party: str


@dataclass(frozen=True)
class Without:
    """What taking an item off a person's menu does to the bound.

    Attributes
    ----------
    bound, before : Decimal or None
        Proved bound without the item and with it, both with cuts; None when the relaxation without it has no
        answer (as HiGHS finds).
    """

    bound: Decimal | None
    before: Decimal


@dataclass(frozen=True)
class WhyNot:
    """All that is to be said of an item and a person.

    Attributes
    ----------
    score : Decimal or None
        Acceptance, nine-point scale; None when it cannot even be estimated.
    places, allowed : int
        Courses of plan days of the cycle that take the item for this person, and those where no rule refuses
        it.
    relaxed : float
        Dates on which the relaxation serves it.
    """

    person: str
    item: str
    status: Status
    score: Decimal | None
    estimated: bool
    floor: Decimal
    places: int
    allowed: int
    reasons: tuple[Reason, ...] = ()
    uses: tuple[Use, ...] = ()
    relaxed: float = 0.0
    entry: Entry | None = None
    without: Without | None = None


def why_not(prices: Prices, person: int, item: str, *, briefly: bool = False) -> WhyNot:
    """Explain an item that is not, or is, on a person's menu.

    Parameters
    ----------
    briefly : bool
        Do without what takes seconds: the bound without a planned item, the score that would bring in one
        that nobody scored well enough, the checks beside the score found.
    """
    problem = prices.case.problem
    number = problem.catalogue.order[item]
    places, allowed, reasons = refusals(problem, prices.case.rules, person, item)
    liked = problem.acceptance.get((problem.people[person].id, item))
    group = group_of(prices.program, person, number)
    found = WhyNot(
        person=problem.people[person].id,
        item=item,
        status="not offered",
        score=None if liked is None else liked.value,
        estimated=liked is not None and liked.estimated,
        floor=problem.people[person].floor,
        places=places,
        allowed=allowed,
        reasons=reasons,
        uses=uses_of(prices, person, item),
        relaxed=0.0 if group is None else dates_served(prices.program, problem, prices.relaxation.x, group),
    )
    if not places:
        return found
    if found.uses:
        without = None if briefly or group is None else _without(prices, group)
        return replace(found, status="planned", without=without)
    if allowed and group is not None:
        if not liking_counts(prices.program, problem, group):
            return replace(found, status="weightless")
        status: Status = "dear" if found.relaxed < USED else "used"
        none = prices.relaxation if status == "dear" else None
        entry = entry_of(prices, prices.again, group, problem, none, briefly=briefly)
        return replace(found, status=status, entry=entry)
    other = rescored(problem, person, item, MOST)
    _, open_then, _ = refusals(other, rules_for(prices.case, other), person, item)
    if not open_then:
        return replace(found, status="refused")
    newly = None if briefly else _newly_scored(prices, person, number, other)
    return replace(found, status="not scored", entry=newly)


def refusals(
    problem: Problem, rules: Sequence[Rule[Any]], person: int, item: str
) -> tuple[int, int, tuple[Reason, ...]]:
    """Places that take an item for a person on days of the cycle, those left, and what refuses the others."""
    places = allowed = 0
    times: Counter[Refusal] = Counter()
    meals: dict[Refusal, dict[str, None]] = defaultdict(dict)
    one = problem.catalogue.by_id[item]
    for party, day, meal, course in _places(problem, person, item):
        places += 1
        why = {r for rule in rules for r in rule.refusals(party, day, meal, course, one)}
        allowed += not why
        times.update(why)
        for r in why:
            meals[r][meal.name] = None
    order = sorted(times.items(), key=lambda kv: (-kv[1], kv[0]))
    return places, allowed, tuple(Reason(r, n, tuple(meals[r])) for r, n in order)


def _places(problem: Problem, person: int, item: str) -> Iterator[tuple[Party, PlanDay, Meal, Course]]:
    for party in problem.parties:
        if person in party.members:
            for day, _, meal, _, course in problem.places(party):
                if day.eaten and offered(day, meal, course, problem.catalogue.by_id[item]) is None:
                    yield party, day, meal, course


def uses_of(prices: Prices, person: int, item: str) -> tuple[Use, ...]:
    """Planned servings of an item on a person's menu, days of the cycle only."""
    if prices.menu is None:
        return ()
    tally = Tally.of(prices.case.problem, prices.menu)
    return tuple(
        Use(e.day.label, e.meal.name, e.course.name, e.count, e.day.weight, e.party.id)
        for e in tally.by_person.get(person, ())
        if e.item.id == item and e.day.eaten and e.certain and e.meal is not None and e.course is not None
    )


def served(prices: Prices, relaxation: Relaxation, group: int) -> float:
    """Dates on which a relaxation of the case's own program serves a group's item."""
    return dates_served(prices.program, prices.case.problem, relaxation.x, group)


def _newly_scored(prices: Prices, person: int, number: int, other: Problem) -> Entry | None:
    """Ask the program with the item's columns, which the case has not for want of a score."""
    program = priced(build(other, rules_for(prices.case, other)), prices.scale.prices)
    group = group_of(program, person, number)
    if group is None or not liking_counts(program, other, group):
        return None
    return entry_of(prices, Again(program), group, other)


# ---- taking it away


def _without(prices: Prices, group: int) -> Without:
    """Bound with the item taken away from the person, beside the bound with it: both with cuts."""
    both = []
    for program in (prices.program, closed(prices.program, group)):
        found = relax(program, rounds=ROUNDS)
        known = found.status == "solved"
        both.append(Decimal(proved_bound(program, found)).scaleb(-GOAL_DECIMALS) if known else None)
    before = both[0]
    assert before is not None, "the relaxation of the whole is solved"
    return Without(both[1], before)
