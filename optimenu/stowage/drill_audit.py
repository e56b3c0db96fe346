"""Checks a ration against the menu and the tables, by other code than made it."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING

from optimenu.stowage.drill_board import RESERVE
from optimenu.stowage.drill_loss import why_lost

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from optimenu.menu.tally import Tally
    from optimenu.stowage.drill_answer import Dish
    from optimenu.stowage.drill_question import Horizon, Question
    from optimenu.stowage.drill_safe import Safety


def faults_of(
    tally: Tally,
    safety: Safety,
    horizon: Horizon,
    question: Question,
    dishes: Sequence[Dish],
    water_ml: Mapping[date, Decimal] | None,
) -> list[str]:
    """Return what is wrong with a ration, in words; none when it holds.

    Every serving comes from a line of the menu that has come and is not lost, none is eaten twice, nobody
    is given what they must not have, and nobody's water is drawn twice.
    """
    problem, faults = tally.problem, []
    taken: dict[tuple[int, str, date | None], int] = defaultdict(int)
    drawn: dict[date, Decimal] = defaultdict(Decimal)
    dates = set(horizon.dates)
    for d in dishes:
        who, words = problem.people[d.person].id, f"{d.item.id} on {d.when}"
        taken[d.owner, d.item.id, d.planned] += d.count
        drawn[d.when] += d.count * d.item.water_ml
        if d.when not in dates:
            faults.append(f"{who}: {words}: not a date of the ration")
        if why_lost(d.item, question.lost):
            faults.append(f"{who}: {words}: lost")
        as_planned = d.owner == d.person and d.planned == d.when
        may = safety.may(d.person, d.item, horizon.plan_day(d.when), d.when)
        if not as_planned and not (may and safety.from_pack(d.person, d.owner, d.item)):
            faults.append(f"{who}: {words}: must not be given")
        if (d.source == RESERVE) != (d.planned is None):
            faults.append(f"{who}: {words}: neither of the menu nor of the reserve")
        if d.planned is not None:
            arrives = problem.loads[problem.load_on(d.planned)].arrives
            if d.planned in horizon.gap or not arrives <= d.when or d.planned < question.start:
                faults.append(f"{who}: {words}: not on board")
    for (owner, item, planned), n in taken.items():
        if planned is None:
            days = [day.number for day in problem.reserve]
        else:
            days = [problem.sequence[(planned - problem.dates[0]).days]]
        there = sum(e.count for day in days for e in tally.on(owner, day) if e.item.id == item and e.certain)
        if n > there:
            faults.append(
                f"{n} servings of {item} of {problem.people[owner].id}, {planned}; there are {there}"
            )
    for when, ml in drawn.items():
        if water_ml is not None and ml > water_ml[when]:
            faults.append(f"{when}: {ml} mL of water for food; there are {water_ml[when]}")
    return faults
