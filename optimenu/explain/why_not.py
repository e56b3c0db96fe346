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
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING, Literal

import numpy as np

from optimenu.explain.prices import closed, columns_of, group_of, rescored, rules_for, scored
from optimenu.menu.tally import Tally
from optimenu.program.build import build, offered, priced
from optimenu.program.page import GOAL_DECIMALS
from optimenu.program.program import CEIL, LINK
from optimenu.solve.again import Again
from optimenu.solve.bound import proved_bound, relax
from optimenu.solve.cuts import ROUNDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from typing import Any

    from numpy.typing import NDArray

    from optimenu.explain.prices import Prices
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party, Problem
    from optimenu.program.origin import Origin
    from optimenu.program.program import Program
    from optimenu.rules.base import Refusal, Rule
    from optimenu.solve.bound import Relaxation

Status = Literal["not offered", "refused", "not scored", "weightless", "dear", "used", "planned"]
"""No course of the plan takes it; rules refuse it everywhere; only its score does; liking counts in none of
its courses; the relaxation leaves it out; the relaxation uses it and the menu does not; it is on the menu."""
MOST = Decimal(9)
"""Top of the scale of acceptance."""
TENTH, HUNDREDTH = Decimal("0.1"), Decimal("0.01")
_SAME = 1e-8
"""Difference in mean liking that is the solver's rounding."""
_USED = 1e-4
"""Dates under which an item counts as not used by a relaxation."""
_STEPS = 30


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
class Cost:
    """What one serving takes of one limit, at its multiplier.

    Attributes
    ----------
    amount : float
        Mean liking; negative where the serving helps to keep the limit.
    """

    origin: Origin
    low_side: bool
    label: str
    shape: bool
    amount: float


@dataclass(frozen=True)
class Entry:
    """What the relaxation makes of an item for a person.

    Attributes
    ----------
    needed : Decimal or None
        Score at which the relaxation begins to use it, no lower than the floor, rounded up to hundredths;
        None when not even the top of the scale brings it in.
    above, below : float
        Dates on which the relaxation serves it a tenth of a point above and below that score.
    place : str
        Where it does so most: meal and course.
    dates : int
        Dates that one planned serving there is for.
    worth : float
        Mean liking that one planned serving there earns at the person's own score, or at 9 without one.
    costs : tuple of Cost
        What it costs at the multipliers with which it comes in (or stays out, at the top of the scale), the
        dearest first; packs are counted in parts.
    """

    needed: Decimal | None
    above: float
    below: float
    place: str
    dates: int
    worth: float
    costs: tuple[Cost, ...]

    @property
    def cost(self) -> float:
        """Sum of the costs."""
        return sum(c.amount for c in self.costs)


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
        relaxed=0.0 if group is None else _dates(prices.program, problem, prices.relaxation.x, group),
    )
    if not places:
        return found
    if found.uses:
        without = None if briefly or group is None else _without(prices, group)
        return replace(found, status="planned", without=without)
    if allowed and group is not None:
        if not _liking_counts(prices.program, problem, group):
            return replace(found, status="weightless")
        status: Status = "dear" if found.relaxed < _USED else "used"
        none = prices.relaxation if status == "dear" else None
        entry = _entry(prices, prices.again, group, problem, none, briefly=briefly)
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
    return _dates(prices.program, prices.case.problem, relaxation.x, group)


def _dates(program: Program, problem: Problem, x: NDArray[np.float64], group: int) -> float:
    """Dates on which a choice serves a group's item."""
    columns = columns_of(program, group)
    weight = np.asarray([problem.days[d].weight for d in program.day[columns].tolist()], dtype=np.float64)
    return float(x[columns] @ weight)


def _liking_counts(program: Program, problem: Problem, group: int) -> bool:
    """Tell whether any place of a group has a course with a weight."""
    for c in columns_of(program, group).tolist():
        day = problem.days[int(program.day[c])]
        if day.meals[int(program.meal[c])].courses[int(program.course[c])].weight:
            return True
    return False


# ---- the score that brings it in


def _newly_scored(prices: Prices, person: int, number: int, other: Problem) -> Entry | None:
    """Ask the program with the item's columns, which the case has not for want of a score."""
    program = priced(build(other, rules_for(prices.case, other)), prices.scale.prices)
    group = group_of(program, person, number)
    if group is None or not _liking_counts(program, other, group):
        return None
    return _entry(prices, Again(program), group, other)


def _entry(
    prices: Prices,
    again: Again,
    group: int,
    problem: Problem,
    none: Relaxation | None = None,
    *,
    briefly: bool = False,
) -> Entry | None:
    """Find the score at which the relaxation begins to use a group's item, and what it costs until then.

    ``none`` is the relaxation without the item, where it is known.
    """
    program = again.program
    person = problem.people[int(program.group_person[group])]
    item = problem.catalogue.items[int(program.item[columns_of(program, group)[0]])]
    none = again.solve(closed(program, group)) if none is None else none
    if none.status != "solved":
        # without it nothing is possible: whatever its score, it is served
        return None

    def at(score: Decimal) -> tuple[Program, Relaxation]:
        other = scored(program, problem, prices.scale, group, score)
        return other, again.solve(other)

    def dates(relaxation: Relaxation) -> float:
        return _dates(program, problem, relaxation.x, group)

    score = _newton(at, none.value, group, person.floor)
    just = at(MOST if score is None else score)[1]
    above = below = 0.0
    if score is not None and not briefly:
        above = dates(at(score + TENTH)[1])
        below = dates(at(score - TENTH)[1]) if score - TENTH >= person.floor else 0.0
    column = _best(program, none, just, group)
    liked = prices.case.problem.acceptance.get((person.id, item.id))
    own = scored(program, problem, prices.scale, group, MOST if liked is None else liked.value)
    day = problem.days[int(program.day[column])]
    meal = day.meals[int(program.meal[column])]
    return Entry(
        needed=score,
        above=above,
        below=below,
        place=f"{meal.name}, {meal.courses[int(program.course[column])].name}",
        dates=day.weight,
        worth=_gain(own, group, column),
        # as the item comes in, what it earns and what it costs are the same
        costs=_costs(prices, program, none if score is None else just, column),
    )


def _gain(program: Program, group: int, column: int) -> float:
    at = int(program.group_start[group]) + int(np.flatnonzero(columns_of(program, group) == column)[0])
    return float(program.group_gain[at]) / 10.0**program.goal_decimals


def _newton(at: Any, none: float, group: int, floor: Decimal) -> Decimal | None:
    """Lowest score, in hundredths, above which the relaxation is worth more than without the item.

    Its worth is convex in the score, and level until the item comes in; so tangents from the top of the scale
    meet the level no lower than where it ends, and the last of them there.
    """
    score = MOST
    for _ in range(_STEPS if floor < MOST else 0):
        program, relaxation = at(score)
        over = relaxation.value - none
        per_point = _earned(program, relaxation, group) / float(score - floor)
        if over <= _SAME or per_point <= 0:
            break
        lower = Decimal(over / per_point)
        # scores are told in hundredths, so a tenth of that is near enough
        if score - lower <= floor:
            return floor
        score -= lower
        if lower <= HUNDREDTH / 10:
            break
    return None if score == MOST else score.quantize(HUNDREDTH, ROUND_CEILING)


def _earned(program: Program, relaxation: Relaxation, group: int) -> float:
    """What a group earns in a relaxation, less deductions for its uses."""
    at = slice(int(program.group_start[group]), int(program.group_start[group + 1]))
    x = relaxation.x[program.group_column[at]]
    deduction = program.deduction[program.deduct_start[group] : program.deduct_start[group + 1]]
    used = np.clip(x.sum() - np.arange(len(deduction)), 0, 1)
    return float(program.group_gain[at] @ x - deduction @ used) / 10.0**program.goal_decimals


def _best(program: Program, none: Relaxation, above: Relaxation, group: int) -> int:
    """Column where the item is used most, or would lose least."""
    columns = columns_of(program, group)
    x = above.x[columns]
    if x.max(initial=0.0) > _USED / 10:
        return int(columns[int(np.argmax(x))])
    entries = [_entries(program, int(c)) for c in columns]
    lost = [sum(a * float(none.multiplier[r]) for r, a in e) for e in entries]
    gains = program.group_gain[program.group_start[group] : program.group_start[group + 1]]
    return int(columns[int(np.argmax(gains - np.asarray(lost)))])


def _entries(program: Program, column: int) -> list[tuple[int, float]]:
    """Rows that a use of a column counts in; packs and the like in parts, without the rows that define them.

    A pack of n servings is opened by an n-th for each, as the relaxation does.
    """
    held = np.flatnonzero(program.row_column == column)
    out = [(int(program.row_of_entry[k]), float(program.row_coef[k])) for k in held]
    sources = np.flatnonzero(program.extra_column == column)
    owner = np.searchsorted(program.extra_start, sources, side="right") - 1
    for k, e in zip(sources.tolist(), owner.tolist(), strict=True):
        part = float(program.extra_coef[k])
        part = part / float(program.extra_divisor[e]) if program.extra_kind[e] == CEIL else 1.0
        held = np.flatnonzero(program.row_column == program.n_menu + e)
        out += [(int(program.row_of_entry[k]), part * float(program.row_coef[k])) for k in held]
    return [(r, a) for r, a in out if program.row_kind[r] != LINK]


def _costs(prices: Prices, program: Program, relaxation: Relaxation, column: int) -> tuple[Cost, ...]:
    """What a use of a column costs, by limit, at a relaxation's multipliers; the dearest first."""
    total: dict[tuple[str, str, str, str, bool], float] = defaultdict(float)
    rows: dict[tuple[str, str, str, str, bool], list[int]] = defaultdict(list)
    for r, a in _entries(program, column):
        y = float(relaxation.multiplier[r])
        if y and a:
            o = program.origins[r]
            key = (o.rule, o.key, o.person, o.what, y < 0)
            total[key] += y * a / 10.0**program.goal_decimals
            rows[key].append(r)
    found = []
    for key, amount in total.items():
        origins = [program.origins[r] for r in rows[key]]
        reading = prices.readings.of(origins, low_side=key[-1])
        shape = prices.readings.shapes(origins[0])
        found.append(Cost(origins[0], key[-1], reading.label, shape, amount))
    return tuple(sorted(found, key=lambda c: (-abs(c.amount), c.origin)))


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
