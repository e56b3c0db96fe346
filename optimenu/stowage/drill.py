"""Failure and lateness, asked of a signed menu: what is left, who can eat it, how to ration it.

Sums are exact and are the menu's own. Energy counts what is planned for certain; what is free in the day
is left out, an unknown energy counts as none, and packs in stock beyond the menu are not counted.
"""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from optimenu.errors import AuditFailed
from optimenu.menu.tally import Tally
from optimenu.problem.opening import drawers
from optimenu.stowage.drill_answer import Answer, Dish, Gone, PersonDate, Store, counted
from optimenu.stowage.drill_audit import faults_of
from optimenu.stowage.drill_board import Portion, on_board, portions
from optimenu.stowage.drill_bound import Food, coarse, most_level
from optimenu.stowage.drill_ceilings import Ceilings
from optimenu.stowage.drill_loss import how_now, needs_fridge, why_lost
from optimenu.stowage.drill_question import FREEZER, Horizon
from optimenu.stowage.drill_ration import LEVEL, Pack, Ration, Unit, keeps, last_sure
from optimenu.stowage.drill_safe import Safety

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import date

    from optimenu.catalogue.item import Item
    from optimenu.menu.menu import Menu
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Rule
    from optimenu.stowage.drill_board import Held
    from optimenu.stowage.drill_question import Question
    from optimenu.stowage.drill_ration import PersonDay

ENERGY = "ENERC_KCAL_kcal"
ZERO = Decimal(0)


def drill(problem: Problem, rules: Sequence[Rule[Any]], menu: Menu, question: Question) -> Answer:
    """Answer a question about a menu that keeps its hard limits.

    Raises
    ------
    AuditFailed
        When the ration does not agree with the menu; a fault of ours, never of the input.
    """
    return _Drill(problem, rules, menu, question).answer()


class _Drill:
    def __init__(self, problem: Problem, rules: Sequence[Rule[Any]], menu: Menu, question: Question) -> None:
        self.problem, self.rules, self.menu, self.question = problem, rules, menu, question
        self.horizon = Horizon.of(problem, question)
        self.tally = Tally.of(problem, menu)
        self.safety = Safety(problem, rules)
        self.people = range(len(problem.people))
        self.portions: list[Portion] = [x for p in self.people for x in portions(self.tally, p)]
        used = [x.item for x in self.portions]
        self.energy_scale = _scale(problem.amount(i, ENERGY) or ZERO for i in used)
        self.water_scale = _scale(i.water_ml for i in used)
        self._lots: dict[tuple[str, int], list[date | None]] = defaultdict(list)
        names = {load.name: k for k, load in enumerate(problem.loads)}
        for row in problem.stock or ():
            if row.state == "released" and row.load in names:
                self._lots[row.item, names[row.load]].append(row.use_by)

    # ---- what there is

    def _kcal(self, item: Item) -> Decimal:
        return self.problem.amount(item, ENERGY) or ZERO

    def _why(self, item: Item) -> str:
        return why_lost(item, self.question.lost)

    def _comes(self, x: Portion) -> bool:
        """Tell whether a portion is there on a date of the ration."""
        if x.when is None:
            return True
        return self.question.start <= x.when <= self.horizon.dates[-1] and x.when not in self.horizon.gap

    def _aboard(self, x: Portion) -> bool:
        """Tell whether a portion is on board at the start, of a menu date still to come or the reserve."""
        if x.when is None:
            return True
        arrived = self.problem.loads[x.load].arrives <= self.question.start
        return x.when >= self.question.start and arrived

    def _store(self, p: int) -> Store:
        mine = [x for x in self.portions if x.person == p and x.entry.certain and self._aboard(x)]
        menu = sum((x.count * self._kcal(x.item) for x in mine if x.when is not None), ZERO)
        reserve = sum((x.count * self._kcal(x.item) for x in mine if x.when is None), ZERO)
        lost = sum((x.count * self._kcal(x.item) for x in mine if self._why(x.item)), ZERO)
        cover = [w for w in self.horizon.cover if self.horizon.here(p, w)]
        need = sum((self.horizon.requirement(p, w) for w in cover), ZERO)
        return Store(p, menu, reserve, lost, need, len(cover))

    def _gone(self, held: Sequence[Held]) -> tuple[Gone, ...]:
        kcal: dict[str, Decimal] = defaultdict(lambda: ZERO)
        for x in self.portions:
            if x.entry.certain and self._aboard(x):
                kcal[x.item.id] += x.count * self._kcal(x.item)
        found: dict[str, tuple[dict[str, int], dict[str, int]]] = {}
        for h in held:
            if self._why(h.item):
                packs, servings = found.setdefault(h.item.id, ({}, {}))
                packs[h.holder] = packs.get(h.holder, 0) + h.packs
                servings[h.holder] = servings.get(h.holder, 0) + h.servings
        by_id = self.problem.catalogue.by_id
        return tuple(
            Gone(by_id[i], self._why(by_id[i]), packs, servings, kcal[i])
            for i, (packs, servings) in found.items()
        )

    def _apart(self) -> Mapping[int, tuple[Item, ...]]:
        day = self.horizon.plan_day(self.question.start)
        found: dict[int, tuple[Item, ...]] = {}
        for p in self.people:
            others = {
                x.item.id
                for x in self.portions
                if x.person != p and self._aboard(x) and x.entry.certain and not self._why(x.item)
            }
            found[p] = tuple(
                i
                for i in self.problem.catalogue.items
                if i.id in others and not self.safety.may(p, i, day, self.question.start)
            )
        return found

    # ---- the ration

    def _units(self) -> tuple[list[Unit], list[Unit]]:
        """Servings that can be eaten, one by one; and whether a lot says how long each keeps."""
        units: list[Unit] = []
        silent: list[Unit] = []
        last = self.problem.dates[-1]
        packs = self._reserve_packs()
        for x in self.portions:
            if not x.entry.certain or not self._comes(x) or self._why(x.item):
                continue
            single = x.item.servings_per_pack == 1
            sure = last_sure(self._lots.get((x.item.id, x.load), ()), x.when or last)
            for _ in range(x.count):
                first = self.problem.loads[x.load].arrives
                if x.when is None and not single:
                    pack = next(packs[drawers(self.problem, x.entry.party, x.item), x.item.id])
                    pack.last = sure
                else:
                    pack = Pack(first, sure, fixed=not single, single=single)
                energy = int(self._kcal(x.item) * self.energy_scale)
                water = int(x.item.water_ml * self.water_scale)
                meal = x.entry.line.meal
                units.append(Unit(x.item, energy, water, x.person, x.when, meal, pack))
                if sure is None and not pack.fixed:
                    silent.append(units[-1])
        return units, silent

    def _reserve_packs(self) -> dict[tuple[tuple[int, ...], str], Iterator[Pack]]:
        """Packs of several servings in the reserve, dealt out in turn to what people draw of them."""
        wanted: dict[tuple[tuple[int, ...], str], int] = defaultdict(int)
        for x in self.portions:
            if x.when is None and x.entry.certain:
                wanted[drawers(self.problem, x.entry.party, x.item), x.item.id] += x.count
        found = {}
        for (people, item_id), n in wanted.items():
            item = self.problem.catalogue.by_id[item_id]
            made: list[Pack] = []
            for k in range(n):
                if k % item.servings_per_pack == 0:
                    arrives = self.problem.loads[0].arrives
                    made.append(Pack(arrives, None, keeps(item), single=False))
            found[people, item_id] = iter([made[k // item.servings_per_pack] for k in range(n)])
        return found

    def _planned(self) -> Mapping[PersonDay, tuple[Decimal, Decimal]]:
        """Energy and water of the menu as signed, by person and date."""
        found: dict[PersonDay, tuple[Decimal, Decimal]] = defaultdict(lambda: (ZERO, ZERO))
        for x in self.portions:
            if x.when is not None and x.entry.certain:
                kcal, ml = found[x.person, x.when]
                found[x.person, x.when] = (
                    kcal + x.count * self._kcal(x.item),
                    ml + x.count * x.item.water_ml,
                )
        return found

    def _ceilings(self) -> Ceilings:
        """Ceilings with what the ration does not decide: other dates, what is free in the day."""
        made = Ceilings(self.problem, self.horizon)
        inside = set(self.horizon.dates)
        for x in self.portions:
            if x.when is not None and (x.when not in inside or not x.entry.certain):
                made.put(x.person, x.when, x.item, x.count)
        return made

    def _water(self) -> dict[date, Decimal] | None:
        """Water of the whole crew for food on each date, mL; plain water is drunk first."""
        if self.question.water_l is None:
            return None
        there = self.question.water_l * 1000
        return {w: max(there - self.horizon.plain_ml(w), ZERO) for w in self.horizon.dates}

    def answer(self) -> Answer:
        """Work everything out, and check the ration against the menu."""
        held = on_board(self.problem, self.menu, self.question.start)
        planned, horizon = self._planned(), self.horizon
        units, silent = self._units()
        water = self._water()
        places = [(p, w) for w in horizon.dates for p in self.people if horizon.here(p, w)]
        need = {k: horizon.requirement(*k) for k in places if horizon.requirement(*k) > 0}
        scale = self.energy_scale * _scale(need.values())
        for u in units:
            u.energy *= scale // self.energy_scale
        need_int = {k: int(v * scale) for k, v in need.items()}
        goal = {
            k: min(LEVEL, int(planned[k][0] * scale) * LEVEL // n) if planned[k][0] else LEVEL
            for k, n in need_int.items()
        }
        ration = Ration(
            horizon, self.safety, self._ceilings(), units, need_int, goal,
            None if water is None else {w: int(ml * self.water_scale) for w, ml in water.items()},
        )  # fmt: skip
        ration.make()
        dishes = self._dishes(units)
        days = self._days(need, planned, dishes)
        faults = faults_of(self.tally, self.safety, horizon, self.question, dishes, water)
        if faults:
            raise AuditFailed("the ration does not agree with the menu: " + "; ".join(faults))
        gone = self._gone(held)
        lost = {g.item.id for g in gone}
        water_rules = (r.settings for r in self.rules if r.table == "water")
        return Answer(
            melted=any(s.melt_g_per_l > 0 for s in water_rules),
            question=self.question,
            horizon=horizon,
            held=held,
            stores=tuple(self._store(p) for p in self.people),
            gone=gone,
            later=self._unique(
                x.item
                for x in self.portions
                if self._comes(x) and self._why(x.item) and x.item.id not in lost
            ),
            apart=self._apart(),
            days=days,
            dishes=dishes,
            bound=self._bound(units, days, water),
            plain_ml={w: horizon.plain_ml(w) for w in horizon.dates},
            left_over=self._left_over(units),
            stranded=sum(u.at is None and u.pack.opened is not None for u in units),
            unknown_energy=self._unique(
                x.item
                for x in self.portions
                if self._comes(x) and self.problem.amount(x.item, ENERGY) is None
            ),
            no_use_by=self._unique(
                u.item for u in silent if u.at is not None and u.at != (u.owner, u.planned)
            ),
            fridge=self._unique(
                x.item
                for x in self.portions
                if FREEZER in self.question.lost and self._comes(x) and needs_fridge(x.item)
            ),
        )

    def _unique(self, items: Iterable[Item]) -> tuple[Item, ...]:
        ids = {i.id for i in items}
        return tuple(i for i in self.problem.catalogue.items if i.id in ids)

    def _dishes(self, units: Sequence[Unit]) -> tuple[Dish, ...]:
        found: dict[tuple[Any, ...], int] = defaultdict(int)
        by_id, order = self.problem.catalogue.by_id, self.problem.catalogue.order
        for u in units:
            if u.at is not None:
                p, when = u.at
                as_planned = u.planned == when and u.owner == p
                # a meal is that of the plan only where the serving stands where the plan has it
                meal = u.meal if as_planned else ""
                found[when, p, meal, u.item.id, u.source, u.owner, u.planned] += 1
        keys = sorted(
            found,
            key=lambda k: (k[0], k[1], k[2] == "", k[2], order[k[3]], k[4], k[5], k[6] or k[0]),
        )
        return tuple(
            Dish(
                when, p, meal, by_id[i], found[when, p, meal, i, source, owner, planned], source, owner,
                planned, how_now(by_id[i], self.question.lost),
            )
            for when, p, meal, i, source, owner, planned in keys
        )  # fmt: skip

    def _days(
        self,
        need: Mapping[PersonDay, Decimal],
        planned: Mapping[PersonDay, tuple[Decimal, Decimal]],
        dishes: Sequence[Dish],
    ) -> tuple[PersonDate, ...]:
        left: dict[PersonDay, list[Decimal]] = defaultdict(lambda: [ZERO, ZERO])
        ration: dict[PersonDay, list[Decimal]] = defaultdict(lambda: [ZERO, ZERO])
        for x in self.portions:
            if x.when is not None and x.entry.certain and self._comes(x) and not self._why(x.item):
                left[x.person, x.when][0] += x.count * self._kcal(x.item)
                left[x.person, x.when][1] += x.count * x.item.water_ml
        for d in dishes:
            ration[d.person, d.when][0] += d.count * self._kcal(d.item)
            ration[d.person, d.when][1] += d.count * d.item.water_ml
        return tuple(
            PersonDate(
                p, w, n, planned[p, w][0], left[p, w][0], ration[p, w][0],
                planned[p, w][1], left[p, w][1], ration[p, w][1],
            )
            for (p, w), n in need.items()
        )  # fmt: skip

    def _bound(
        self, units: Sequence[Unit], days: Sequence[PersonDate], water: Mapping[date, Decimal] | None
    ) -> Fraction:
        """Bound on the worst counted person-day; packs of several stay on their dates."""
        foods: dict[tuple[tuple[int, ...], date, date, Fraction], Decimal] = defaultdict(lambda: ZERO)
        last = self.horizon.dates[-1]
        people: dict[tuple[int, str], tuple[int, ...]] = {}
        for u in units:
            kcal = self._kcal(u.item)
            if not kcal:
                continue
            if u.pack.fixed and u.planned is not None:
                who: tuple[int, ...] = (u.owner,)
                first = end = u.planned
            else:
                key = (u.owner, u.item.id)
                if key not in people:
                    people[key] = tuple(p for p in self.people if p == u.owner or self._ever(p, u.item))
                who, first = people[key], max(u.pack.first, self.question.start)
                end = min(max(u.pack.last or last, u.planned or self.question.start), last)
            ratio = Fraction(0) if water is None else coarse(Fraction(u.item.water_ml) / Fraction(kcal))
            foods[who, first, end, ratio] += kcal
        made = [Food(*key, kcal) for key, kcal in foods.items()]
        return most_level({(d.person, d.when): d.need for d in days if counted(d)}, made, water)

    def _ever(self, p: int, item: Item) -> bool:
        h = self.horizon
        return any(self.safety.may(p, item, h.plan_day(w), w) for w in h.dates)

    def _left_over(self, units: Sequence[Unit]) -> Mapping[tuple[int, str], Decimal]:
        found: dict[tuple[int, str], Decimal] = defaultdict(lambda: ZERO)
        for u in units:
            if u.at is None:
                found[u.owner, u.source] += self._kcal(u.item)
        return dict(found)


def _scale(values: Iterable[Decimal]) -> int:
    """Return the power of ten that makes every value whole."""
    places = 0
    for v in values:
        exponent = v.as_tuple().exponent
        places = max(places, -exponent if isinstance(exponent, int) else 0)
    return int(10**places)
