"""The score at which the relaxation begins to use an item, and what it costs until then."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.explain.prices import closed, columns_of, scored
from optimenu.explain.reading import Alike
from optimenu.program.program import CEIL, LINK

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import NDArray

    from optimenu.explain.prices import Prices
    from optimenu.problem.problem import Problem
    from optimenu.program.origin import Origin
    from optimenu.program.program import Program
    from optimenu.solve.again import Again
    from optimenu.solve.bound import Relaxation

MOST = Decimal(9)
"""Top of the scale of acceptance."""
TENTH, HUNDREDTH = Decimal("0.1"), Decimal("0.01")
_SAME = 1e-8
"""Difference in mean liking that is the solver's rounding."""
USED = 1e-4
"""Dates under which an item counts as not used by a relaxation."""
_STEPS = 30
_NOISE = Decimal("0.00001")
"""Part of a point of a score that is the solver's rounding."""


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


def dates_served(program: Program, problem: Problem, x: NDArray[np.float64], group: int) -> float:
    """Dates on which a choice serves a group's item."""
    columns = columns_of(program, group)
    weight = np.asarray([problem.days[d].weight for d in program.day[columns].tolist()], dtype=np.float64)
    return float(x[columns] @ weight)


def liking_counts(program: Program, problem: Problem, group: int) -> bool:
    """Tell whether any place of a group has a course with a weight."""
    for c in columns_of(program, group).tolist():
        day = problem.days[int(program.day[c])]
        if day.meals[int(program.meal[c])].courses[int(program.course[c])].weight:
            return True
    return False


def entry_of(
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
        return dates_served(program, problem, relaxation.x, group)

    score = _newton(at, none.value, group, person.floor)
    just = at(MOST if score is None else score)[1]
    above = below = 0.0
    if score is not None and not briefly:
        above = dates(at(score + TENTH)[1])
        below = dates(at(score - TENTH)[1]) if score - TENTH >= person.floor else 0.0
    column = _best(program, just, group)
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
        # where the item comes in, what it earns and what it costs are the same
        costs=_costs(prices, program, just, column),
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
    return None if score == MOST else (score - _NOISE).quantize(HUNDREDTH, ROUND_CEILING)


def _earned(program: Program, relaxation: Relaxation, group: int) -> float:
    """What a group earns in a relaxation, less deductions for its uses."""
    at = slice(int(program.group_start[group]), int(program.group_start[group + 1]))
    x = relaxation.x[program.group_column[at]]
    deduction = program.deduction[program.deduct_start[group] : program.deduct_start[group + 1]]
    used = np.clip(x.sum() - np.arange(len(deduction)), 0, 1)
    return float(program.group_gain[at] @ x - deduction @ used) / 10.0**program.goal_decimals


def _best(program: Program, just: Relaxation, group: int) -> int:
    """Column where the item is used most, or would lose least."""
    columns = columns_of(program, group)
    x = just.x[columns]
    if x.max(initial=0.0) > USED / 10:
        return int(columns[int(np.argmax(x))])
    entries = [_entries(program, int(c)) for c in columns]
    lost = [sum(a * float(just.multiplier[r]) for r, a in e) for e in entries]
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
    total: dict[Alike, float] = defaultdict(float)
    rows: dict[Alike, list[int]] = defaultdict(list)
    for r, a in _entries(program, column):
        y = float(relaxation.multiplier[r])
        if y and a:
            alike = Alike.of(program.origins[r], low_side=y < 0)
            total[alike] += y * a / 10.0**program.goal_decimals
            rows[alike].append(r)
    found = []
    for alike, amount in total.items():
        origins = [program.origins[r] for r in rows[alike]]
        reading = prices.readings.of(origins, low_side=alike.low_side)
        shape = prices.readings.shapes(origins[0])
        found.append(Cost(origins[0], alike.low_side, reading.label, shape, amount))
    return tuple(sorted(found, key=lambda c: (-abs(c.amount), c.origin)))
