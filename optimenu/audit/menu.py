"""Audits a menu from the Problem's tables alone: every rule's breaches, liking and value, exactly.

Never sees the Program: the rows the search worked with are computed a second time, by other code.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from optimenu.menu.tally import Tally
from optimenu.program.build import offered
from optimenu.program.origin import Origin
from optimenu.program.page import GOAL_DECIMALS
from optimenu.rules.base import Breach, Measure, unit_word

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from optimenu.menu.menu import Menu
    from optimenu.menu.tally import Entry
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Rule
    from optimenu.solve.liking import Scale

ZERO = Decimal(0)


@dataclass(frozen=True)
class Liked:
    """What one person thinks of the menu.

    Attributes
    ----------
    worth, best : Decimal
        Worth of the menu to this person, and the best their own limits allow.
    acceptance : Decimal
        Mean acceptance of the scored servings over the dates, nine-point scale.
    """

    person: str
    worth: Decimal
    best: Decimal
    acceptance: Decimal

    @property
    def liking(self) -> Decimal:
        """Worth as a part of the best."""
        return self.worth / self.best


@dataclass(frozen=True)
class Report:
    """What an audit found.

    Attributes
    ----------
    breaches : tuple of Breach
        Hard promises broken.
    soft : tuple of Breach
        Soft promises broken; their price is in the value.
    value : Decimal
        Mean liking less the price of soft breaches, computed from the menu, exact.
    """

    breaches: tuple[Breach, ...]
    soft: tuple[Breach, ...]
    measures: tuple[Measure, ...]
    liked: tuple[Liked, ...]
    price: Decimal
    value: Decimal

    @property
    def holds(self) -> bool:
        """True when every hard promise is kept."""
        return not self.breaches

    @property
    def least(self) -> Decimal:
        """Liking of whoever likes it least, less the price of soft breaches, rounded down to 18 decimals."""
        least = min(Fraction(liked.worth) / Fraction(liked.best) for liked in self.liked)
        return Decimal(math.floor(least * 10**GOAL_DECIMALS)).scaleb(-GOAL_DECIMALS) - self.price


def audit_menu(problem: Problem, rules: Sequence[Rule[Any]], menu: Menu, scale: Scale) -> Report:
    """Audit a menu, hand-edited ones included."""
    tally = Tally.of(problem, menu)
    hard: list[Breach] = [
        Breach(Origin("menu", "menu", line.party, what=line.item), Decimal(1), "lines", f"{line.item}: {why}")
        for line, why in tally.strange
    ]
    hard += _refused(problem, rules, tally)
    hard += _crowded(tally)
    hard += _allowances(problem, rules, tally)
    soft: list[Breach] = []
    measures: list[Measure] = []
    for rule in rules:
        for measure in rule.measures(tally):
            measures.append(measure)
            if measure.amount > 0:
                breach = Breach(
                    measure.origin, measure.amount, measure.unit, rule.say(measure), measure.soft is not None
                )
                (soft if breach.soft else hard).append(breach)
    price = sum((m.cost for m in measures), ZERO)
    liked = tuple(_liked(problem, rules, tally, p, scale) for p in range(len(problem.people)))
    total = sum((w.worth * c for w, c in zip(liked, scale.prices, strict=True)), ZERO)
    return Report(tuple(hard), tuple(soft), tuple(measures), liked, price, total - price)


def _refused(problem: Problem, rules: Sequence[Rule[Any]], tally: Tally) -> Iterator[Breach]:
    """Lines that could not have been planned at all, with every reason."""
    for e in tally.entries:
        reasons: list[tuple[str, str | None]] = []
        if e.meal is not None and e.course is not None:
            reasons.append(("meals", offered(e.day, e.meal, e.course, e.item)))
        reasons += [(rule.table, rule.allow(e.party, e.day, e.meal, e.course, e.item)) for rule in rules]
        for table, reason in reasons:
            if reason is not None:
                meal = e.meal.name if e.meal else ""
                origin = Origin(table, table, e.party.id, e.day.number, meal, e.item.id)
                text = f"{e.party.id}, {e.day.label}, {meal or 'any time'}: {e.item.name}: {reason}"
                yield Breach(origin, Decimal(e.count), "servings", text)


def _crowded(tally: Tally) -> Iterator[Breach]:
    """More servings of one item in one course than the course may hold."""
    found: dict[tuple[Any, ...], tuple[int, Entry]] = {}
    for e in tally.entries:
        if e.course is not None:
            key = (e.party.id, e.day.number, e.line.meal, e.course.name, e.item.id)
            found[key] = (found.get(key, (0, e))[0] + e.count, e)
    for n, e in found.values():
        most = min(e.course.same, e.course.most) if e.course is not None else 0
        if n > most:
            key_text = f"meals.{e.line.meal}.courses.{e.line.course}.same"
            origin = Origin("meals", key_text, e.party.id, e.day.number, e.line.meal, e.item.id)
            where = f"{e.party.id}, {e.day.label}, {e.line.meal}, {e.line.course}"
            words = f"{n} {unit_word('servings', Decimal(n))} of {e.item.name}"
            text = f"{where}: {words}; at most {most} of one item"
            yield Breach(origin, Decimal(n - most), "servings", text)


def _allowances(problem: Problem, rules: Sequence[Rule[Any]], tally: Tally) -> Iterator[Breach]:
    """Allowances must stand in the menu exactly as the config gives them; nothing else is optional."""
    due: dict[tuple[str, int, str], int] = defaultdict(int)
    key_of: dict[str, str] = {}
    for rule in rules:
        for free in rule.allowances():
            party = problem.parties[free.party]
            item = problem.catalogue.by_id[free.item]
            key_of[free.item] = free.key
            for day in problem.cycle:
                if all(r.allow(party, day, None, None, item) is None for r in rules):
                    due[party.id, day.number, free.item] += free.most
    for e in tally.entries:
        if not e.certain:
            due[e.party.id, e.day.number, e.item.id] -= e.count
    for (party_id, number, item_id), n in due.items():
        if n:
            key = key_of.get(item_id, "condiments.free")
            origin = Origin(key.split(".")[0], key, party_id, number, what=item_id)
            word = "missing" if n > 0 else "too many"
            servings = f"{abs(n)} free {unit_word('servings', Decimal(abs(n)))} of {item_id}"
            text = f"{party_id}, {problem.days[number].label}: {servings} {word}"
            yield Breach(origin, Decimal(abs(n)), "servings", text)


def _liked(problem: Problem, rules: Sequence[Rule[Any]], tally: Tally, p: int, scale: Scale) -> Liked:
    worth = ZERO
    uses: dict[str, int] = defaultdict(int)
    scored = weight = ZERO
    person = problem.people[p]
    for e in tally.by_person.get(p, ()):
        if not e.certain or not e.day.eaten or e.course is None:
            continue
        worth += e.count * problem.worth(p, e.item, e.course, e.day)
        uses[e.item.id] += e.count
        liking = problem.acceptance.get((person.id, e.item.id))
        if e.course.weight > 0 and liking is not None:
            scored += liking.value * e.count * e.day.weight
            weight += e.count * e.day.weight
    for item_id, n in uses.items():
        if n > 1:
            smallest = _smallest(problem, rules, p, item_id)
            worth -= sum(problem.deductions(smallest, n), ZERO)
    return Liked(person.id, worth, scale.best[p], scored / weight if weight else ZERO)


def _smallest(problem: Problem, rules: Sequence[Rule[Any]], p: int, item_id: str) -> Decimal:
    """Smallest positive worth the item could have for this person anywhere in the cycle."""
    item = problem.catalogue.by_id[item_id]
    found: list[Decimal] = []
    for party in problem.parties:
        if p not in party.members:
            continue
        for day, _, meal, _, course in problem.places(party):
            if not day.eaten or offered(day, meal, course, item) is not None:
                continue
            value = problem.worth(p, item, course, day)
            if value > 0 and all(r.allow(party, day, meal, course, item) is None for r in rules):
                found.append(value)
    return min(found, default=ZERO)
