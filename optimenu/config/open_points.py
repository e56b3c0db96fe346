"""Open points: what a plan still waits for, and who must act on each."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING, Any

from optimenu.crew.acceptance import Acceptance
from optimenu.measures import found as as_written
from optimenu.nutrition.losses import stored_nutrients
from optimenu.program.build import offered, refusal
from optimenu.rules.nutrient_settings import not_assessed
from optimenu.rules.nutrients import Nutrients

if TYPE_CHECKING:
    from optimenu.catalogue.item import Item
    from optimenu.catalogue.stock import StockRow
    from optimenu.config.case import Case
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party
    from optimenu.rules.base import Rule

LIKED = Decimal(7)
"""Own acceptance from which somebody likes an item: "like moderately" on the nine-point scale."""
LIKED_BY = 2
"""Others who must like an item before a tasting of it is proposed; common practice, no source."""
LOTS_WAIT_ON = {"held": "quality", "ordered": "the supplier", "rejected": "the planner"}


@dataclass(frozen=True)
class OpenPoint:
    """One thing a plan waits for.

    Attributes
    ----------
    kind : str
        What it is: ``no_item``, ``no_prescription``, ``allergen_unknown``, ``may_contain``,
        ``fast_energy``, ``fast_outside``, ``not_tasted``, ``lots``,
        ``use_by``, ``best_before``, ``not_assessed``, ``left_out``, ``not_proved``, ``loss_unknown``,
        ``changed``.
    waits_on : str
        Who must act; for a change, who made it.
    about : str
        Allergen, person or state of lots meant; empty otherwise.
    facts : list of dict
        What is meant, one entry each.
    """

    kind: str
    waits_on: str
    about: str
    facts: list[dict[str, Any]]


def open_points(case: Case) -> list[OpenPoint]:
    """Return what a case waits for; what keeps any menu from being first, changes last."""
    look = _Look(case)
    points = [
        OpenPoint("no_item", "the dietitian", "", list(look.without_item())),
        OpenPoint("no_prescription", "the physician", "", list(look.without_prescription())),
        *look.unknown_allergens(),
        *look.traces(),
        *look.fasts(),
        *look.strayed(),
        *look.untasted(),
        *look.lots(),
        *look.nutrients(),
        *look.changed(),
    ]
    return [p for p in points if p.facts]


def bare_courses(case: Case) -> list[dict[str, Any]]:
    """Courses that must be served and for which nothing is left, as the facts of ``no_item`` give them."""
    return list(_Look(case).without_item())


class _Look:
    def __init__(self, case: Case) -> None:
        self.case = case
        self.problem = case.problem

    def places(self, p: int) -> Iterator[tuple[Party, PlanDay, Meal, Course]]:
        """Every course a person has a dish in, and the party that has it."""
        for party in (x for x in self.problem.parties if p in x.members):
            for day, _, meal, _, course in self.problem.places(party):
                yield party, day, meal, course

    @cached_property
    def here(self) -> Mapping[tuple[bool, str, tuple[str, ...]], list[Item]]:
        """Items the catalogue offers, by reserve or not, meal and what the course takes."""
        found: dict[tuple[bool, str, tuple[str, ...]], list[Item]] = {}
        for day in self.problem.days:
            for meal in day.meals:
                for course in meal.courses:
                    key = day.eaten, meal.name, course.takes
                    if key not in found:
                        items = self.problem.catalogue.items
                        found[key] = [i for i in items if offered(day, meal, course, i) is None]
        return found

    def without_item(self) -> Iterator[dict[str, Any]]:
        """Courses that must be served and for which nothing is left, with the days."""
        rules = self.case.rules
        for p, person in enumerate(self.problem.people):
            days: dict[tuple[bool, str, str], list[str]] = defaultdict(list)
            empty: dict[tuple[bool, str, str], list[str]] = defaultdict(list)
            for party, day, meal, course in self.places(p):
                if not course.least:
                    continue
                key = not day.eaten, meal.name, course.name
                items = self.here[day.eaten, meal.name, course.takes]
                days[key].append(day.label)
                if all(refusal(rules, party, day, meal, course, i) is not None for i in items):
                    empty[key].append(day.label)
            for (reserve, meal_name, course_name), labels in empty.items():
                every = len(labels) == len(days[reserve, meal_name, course_name])
                yield {
                    "person": person.id, "meal": meal_name, "course": course_name, "reserve": reserve,
                    "days": [] if every else labels,
                }  # fmt: skip

    def without_prescription(self) -> Iterator[dict[str, Any]]:
        """People of whom the physician has said nothing."""
        for person in self.problem.people:
            if not person.prescription.by:
                yield {"person": person.id}

    @cached_property
    def could_be_used(self) -> frozenset[str]:
        """Items offered in some course and to be had from the stock, whoever may eat them."""
        stock = [r for r in self.case.rules if r.table == "stock"]
        return frozenset(self.given(stock))

    @cached_property
    def on_offer(self) -> frozenset[str]:
        """Items that somebody may be given in some course."""
        return frozenset(self.given(self.case.rules))

    def given(self, rules: Any, people: tuple[int, ...] = (), courses: tuple[str, ...] = ()) -> set[str]:
        """Items that these rules let somebody among the people have in one of the courses; all when empty."""
        found: set[str] = set()
        for p in people or range(len(self.problem.people)):
            for party, day, meal, course in self.places(p):
                if courses and course.name not in courses:
                    continue
                for i in self.here[day.eaten, meal.name, course.takes]:
                    if i.id not in found and refusal(rules, party, day, meal, course, i) is None:
                        found.add(i.id)
        return found

    def unknown_allergens(self) -> Iterator[OpenPoint]:
        """Items that do not state an allergen somebody must avoid."""
        named = dict.fromkeys(a for p in self.problem.people for a in p.prescription.named)
        for allergen in named:
            items = [i for i in self.problem.catalogue.items if i.allergen(allergen) == "unknown"]
            facts = [{"item": i.id, "name": i.name} for i in items if i.id in self.could_be_used]
            yield OpenPoint("allergen_unknown", "the maker, through the dietitian", allergen, facts)

    def traces(self) -> Iterator[OpenPoint]:
        """Items on offer that may contain what a milder allergy than a severe one lets pass."""
        for p, person in enumerate(self.problem.people):
            milder = [a for a, severity in person.prescription.allergies.items() if severity != "severe"]
            offered = self.given(self.case.rules, (p,)) if milder else set()
            for allergen in milder:
                facts = [
                    {"item": i.id, "name": i.name, "person": person.id}
                    for i in self.problem.catalogue.items
                    if i.id in offered and i.allergen(allergen) != "free"
                ]
                yield OpenPoint("may_contain", "the physician", allergen, facts)

    def fasts(self) -> Iterator[OpenPoint]:
        """Fasts that take meals while the day asks for as much energy as any other of its kind."""
        for p, person in enumerate(self.problem.people):
            for day in self.problem.cycle:
                missed = sum((p, day.number, m.name) in self.problem.away for m in day.meals)
                if missed and day.kind not in person.kcal:
                    facts = {
                        "person": person.id, "date": day.dates[0], "missed": missed, "meals": len(day.meals),
                        "kcal": person.kcal_on(day.kind) * day.share,
                    }  # fmt: skip
                    yield OpenPoint("fast_energy", "the dietitian", person.id, [facts])

    def strayed(self) -> Iterator[OpenPoint]:
        """Fasts on dates outside the stay: meant for another, or a slip of the year."""
        stay = set(self.problem.dates)
        for person in self.problem.people:
            dates = sorted({w for f in person.prescription.fasts for w in f.dates if w not in stay})
            facts = [{"person": person.id, "date": w} for w in dates]
            yield OpenPoint("fast_outside", "the physician", person.id, facts)

    def untasted(self) -> Iterator[OpenPoint]:
        """Dishes of the courses for tasted items that others like and a person has not tasted."""
        avoid: Any = getattr(self.case.settings, "avoid")  # noqa: B009  the rules' tables are added by name
        known = self.problem.acceptance
        own = {pair: a.value for pair, a in known.items() if not a.estimated}
        for p, person in enumerate(self.problem.people):
            liked: dict[str, list[str]] = {}
            for i in self.problem.catalogue.items:
                fans = [x.id for x in self.problem.people if own.get((x.id, i.id), Decimal(0)) >= LIKED]
                if (person.id, i.id) not in own and len(fans) >= LIKED_BY:
                    liked[i.id] = fans
            # what would not be given even if it were liked is not to be tasted either: allergies come first
            best = {(person.id, name): Acceptance(Decimal(9), estimated=False) for name in liked}
            asked = replace(self.problem, acceptance={**known, **best})
            rules = [type(r)(r.settings, asked) for r in self.case.rules]
            safe = self.given(rules, (p,), avoid.tasted_courses) if liked and avoid.tasted_courses else set()
            facts = [
                {"item": i.id, "name": i.name, "liked_by": liked[i.id]}
                for i in self.problem.catalogue.items
                if i.id in liked and i.id in safe
            ]
            yield OpenPoint("not_tasted", f"a tasting by {person.name}", person.id, facts)

    def lots(self) -> Iterator[OpenPoint]:
        """Lots that are not released, and released ones that pass a date during the stay."""
        stock, last = self.problem.stock or (), self.problem.dates[-1]
        for state, who in LOTS_WAIT_ON.items():
            facts = [self._lot(row) for row in stock if row.state == state and row.packs]
            yield OpenPoint("lots", who, state, facts)
        released = [row for row in stock if row.state == "released" and row.packs]
        spoil = [r for r in released if r.use_by is not None and r.use_by < last]
        fade = [r for r in released if r.best_before is not None and r.best_before < last and r not in spoil]
        yield OpenPoint("use_by", "the planner", "", [self._lot(r) | {"use_by": r.use_by} for r in spoil])
        yield OpenPoint(
            "best_before", "quality", "", [self._lot(r) | {"best_before": r.best_before} for r in fade]
        )

    def _lot(self, row: StockRow) -> dict[str, Any]:
        name = self.problem.catalogue.by_id[row.item].name
        return {"item": row.item, "name": name, "load": row.load, "lot": row.lot, "packs": row.packs}

    def nutrients(self) -> Iterator[OpenPoint]:
        """Nutrients nobody can judge, and ceilings that unknown values keep from being proved."""
        settings: Any = self.case.settings
        columns = self.problem.catalogue.columns
        missing = not_assessed(settings.nutrients, self.problem)
        lacking = [{"column": c} for c in missing if c not in columns]
        yield OpenPoint("not_assessed", "the maker, through the dietitian", "", lacking)
        yield OpenPoint("left_out", "the dietitian", "", [{"column": c} for c in missing if c in columns])
        items = [i for i in self.problem.catalogue.items if i.id in self.on_offer]
        facts = []
        for column in _capped(self.case.rules):
            count = sum(1 for i in items if self.problem.amount(i, column) is None and column not in i.upper)
            if count:
                facts.append({"column": column, "items": count, "of": len(items)})
        yield OpenPoint("not_proved", "the maker, through the dietitian", "", facts)
        yield OpenPoint(
            "loss_unknown", "the maker, through the dietitian", "", list(self._unknown_losses(items))
        )

    def _unknown_losses(self, items: list[Item]) -> Iterator[dict[str, Any]]:
        """Nutrients that count for nothing in floors, with the number of items on offer they do so in."""
        kept, last = self.problem.retention, self.problem.dates[-1]
        for nutrient in stored_nutrients().values() if kept is not None else ():
            column = next((c for c in nutrient.columns if c in self.problem.catalogue.columns), None)
            if column is None or nutrient.tag in ("RETOL", "CARTB"):
                continue
            bearing = [i for i in items if self.problem.amount(i, column)]
            count = sum(kept is not None and not kept.on(i, column, last)[2] for i in bearing)
            if count:
                yield {"column": column, "items": count, "of": len(bearing)}

    def changed(self) -> Iterator[OpenPoint]:
        """What files changed in those they extend, by the role of the writer."""
        by_role: dict[str, list[dict[str, Any]]] = defaultdict(list)
        for c in self.case.changes:
            by_role[c.role].append({
                "key": ".".join(c.keys), "old": _written(c.old), "new": _written(c.new),
                "file": c.file, "line": c.line,
            })  # fmt: skip
        for role, facts in by_role.items():
            yield OpenPoint("changed", f"the {role}", role, facts)


def _capped(rules: tuple[Rule[Any], ...]) -> list[str]:
    """Columns whose unknown values keep a ceiling, or a floor on a proportion, from being proved."""
    found: dict[str, None] = {}
    for rule in rules:
        if isinstance(rule, Nutrients):
            for ask in rule.asks:
                if ask.side == "high":
                    found[ask.top] = None
                elif ask.bottom:
                    found[ask.bottom] = None
    return list(found)


def _written(value: object) -> str | None:
    """Return a value as a config would have it, an array with its entries; None where there was none."""
    if value is None:
        return None
    if isinstance(value, list):
        return "[" + ", ".join(as_written(v) for v in value) + "]"
    return as_written(value)
