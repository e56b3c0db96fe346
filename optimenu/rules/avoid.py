"""Rule: what a person is never given, and how much may rest on an estimated liking."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np
from pydantic import Field

from optimenu.catalogue.columns import ALLERGENS, DIETS
from optimenu.errors import nearest
from optimenu.problem.opening import open_dates
from optimenu.program.origin import Origin
from optimenu.program.page import vector
from optimenu.rules import doses
from optimenu.rules.base import Measure, Refusal, Rule, SettingFault, Shown
from optimenu.rules.edits import Edit, moved, sensible
from optimenu.rules.which import Which, course_faults, meal_faults, people_faults
from optimenu.settings import Flag, Names, Percent, Settings

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from optimenu.catalogue.item import Item
    from optimenu.crew.people import Person
    from optimenu.crew.prescriptions import Prescription
    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits, Wanted

ZERO = Decimal(0)
LOWEST_FLOOR = 5
"""A floor under this needs a reason that only a person can give."""


class PersonAvoidTable(Settings):
    """What one person would rather not be given."""

    items: tuple[str, ...] = ()
    """Item ids."""
    tags: tuple[str, ...] = ()
    """Tags of items."""


class KindTable(Settings):
    """What is served on a day kind: bland food on queasy days, a feast's own dishes."""

    only: Which | None = None
    """Nothing but these."""
    never: Which | None = None
    """None of these."""
    courses: tuple[str, ...] = ()
    """Courses meant; every course when empty."""
    meals: tuple[str, ...] = ()
    """Meals meant; every meal when empty."""

    def refuses(self, meal: str, course: str, item: Item) -> bool:
        """Tell whether an item may not be served here; what is free in the day has no meal or course."""
        if (self.courses and course not in self.courses) or (self.meals and meal not in self.meals):
            return False
        barred = self.never is not None and self.never.matches(item)
        return barred or (self.only is not None and not self.only.matches(item))


class AvoidSettings(Settings):
    """What is never given."""

    estimated: Flag = True
    """May an item be planned that the person has not tasted, on an estimate from the others."""
    estimated_share: Percent = Decimal(10)
    """Most of a person's servings over the dates that may rest on an estimate; common practice, no source."""
    tasted_courses: tuple[str, ...] = ("main",)
    """Courses in which only what the person has tasted is planned."""
    condiment_courses: tuple[str, ...] = ("condiment",)
    """Courses left out of the share."""
    people: Annotated[dict[str, PersonAvoidTable], Names("person")] = Field(default_factory=dict)
    """Dislikes by person."""
    on: dict[str, KindTable] = Field(default_factory=dict)
    """What is served on a day kind, by kind."""


class Avoid(Rule[AvoidSettings]):
    """What a person is never given.

    What
        Allergies, diets and exclusions as prescribed; items scored or estimated under the person's
        floor of acceptance; items nobody can judge for them. Unknown is unsafe: a severe allergy
        excludes what contains, may contain or is not known to be free of the allergen, and every pack
        that is kept open and shared with others; an intolerance bears so many servings a day of them.
        Where textures are prescribed, an item without a stated texture is excluded. A shared dish must
        suit everybody at its table. Fasts hold on their dates; on a day kind only what suits it is served.
        Check the allergens on the pack itself.
    Maths
        Such servings have no column. Estimated servings:
        sum of dates x estimated <= share x sum of dates x servings, condiments left out. Intolerances:
        sum of servings that are not free of the allergen <= servings_a_day, for each person and day,
        what is free in the day included.
    When
        Everywhere, the reserve included; the share over the dates of the stay.
    Source
        Allergens: FALCPA 2004, FASTER 2021, Regulation (EU) 1169/2011 Annex II. Floor and share: common
        practice, no source.
    """

    table: ClassVar[str] = "avoid"
    model: ClassVar[type[Settings]] = AvoidSettings
    example: ClassVar[str] = """
[avoid]
estimated_share = 10
tasted_courses = ["main"]
[avoid.people.ines]
tags = ["liver"]
[avoid.on.rest]
never = { tags = ["spicy"] }
"""

    def faults(self) -> Iterable[SettingFault]:
        """Unknown people, items, tags and courses; prescriptions that name unknown allergens and diets."""
        catalogue = self.problem.catalogue
        yield from people_faults(self.problem, tuple(self.settings.people), ("people",))
        tags = sorted({t for i in catalogue.items for t in i.tags})
        for name, table in self.settings.people.items():
            for field, names in (("items", sorted(catalogue.by_id)), ("tags", tags)):
                for word in getattr(table, field):
                    if word not in names:
                        text = catalogue.absent(field[:-1], word, names)
                        yield SettingFault(("people", name, field), text)
        for kind, own in self.settings.on.items():
            yield from self._kind_faults(kind, own)
        for field in ("tasted_courses", "condiment_courses"):
            if field in self.settings.model_fields_set:
                yield from course_faults(self.problem, getattr(self.settings, field), (field,))

    def _kind_faults(self, kind: str, table: KindTable) -> Iterator[SettingFault]:
        keys = ("on", kind)
        if kind not in self.problem.every_kind:
            yield SettingFault(keys, f'no day kind "{kind}".{nearest(kind, self.problem.every_kind)}')
        if table.only is None and table.never is None:
            yield SettingFault(keys, "set only or never")
        for field in ("only", "never"):
            which = getattr(table, field)
            if which is not None:
                yield from which.faults(self.problem.catalogue, (*keys, field))
        yield from course_faults(self.problem, table.courses, (*keys, "courses"))
        yield from meal_faults(self.problem, table.meals, (*keys, "meals"))

    def refusals(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> Iterator[Refusal]:
        """Say why this person, or any member of the party, must not be given the item."""
        free = meal is None
        for p in party.members:
            person = self.problem.people[p]
            script = f"prescriptions.people.{person.id}"
            for key, what, reason in (
                *_unsafe(person.prescription, item),
                *self._kept_open(party, person, item),
                *_fasting(person, day, item, free=free),
            ):
                yield Refusal(f"{script}.{key}", f"{person.id}: {reason}", person.id, what, "physician")
            for key, reason in self._unliked(person, course, item, free=free):
                yield Refusal(key, f"{person.id}: {reason}", person.id)
        own = self.settings.on.get(day.kind) if day.eaten else None
        if own and own.refuses(meal.name if meal else "", course.name if course else "", item):
            yield Refusal(f"avoid.on.{day.kind}", f"not served on {day.kind} days")

    def _kept_open(self, party: Party, person: Person, item: Item) -> Iterator[tuple[str, str, str]]:
        """A jar that other hands have been in is as unknown as their plates."""
        if len(party.members) > 1 and open_dates(item):
            for allergen, severity in person.prescription.allergies.items():
                if severity == "severe":
                    reason = "from a pack kept open and shared, and severely allergic"
                    yield f"allergies.{allergen}", allergen, reason

    def _unliked(
        self, person: Person, course: Course | None, item: Item, *, free: bool
    ) -> Iterator[tuple[str, str]]:
        table = self.settings.people.get(person.id)
        if table and (item.id in table.items or not item.tags.isdisjoint(table.tags)):
            yield f"avoid.people.{person.id}", "on the list of what this person would rather not have"
        liked = self.problem.acceptance.get((person.id, item.id))
        if liked is None:
            # what is free in the day is the person's own choice; what is planned must be known to be liked
            if not free:
                yield "tasting.file", "not tasted, and too few others have tasted it for an estimate"
            return
        if liked.value < person.floor:
            word = "estimated" if liked.estimated else "scored"
            yield f"people.{person.id}.floor", f"{word} {liked.value}, under the floor of {person.floor}"
        if liked.estimated and not free:
            if not self.settings.estimated:
                yield "avoid.estimated", "not tasted by this person"
            if course is not None and course.name in self.settings.tasted_courses:
                reason = f"not tasted by this person, and course {course.name} takes only tasted items"
                yield "avoid.tasted_courses", reason

    def write(self, page: Page) -> None:
        """One row per person: the share of servings that rests on an estimate; and doses of allergens."""
        doses.write(page)
        part, places = vector([self.settings.estimated_share / 100])
        stay = [d.number for d in self.problem.cycle]
        weight = np.asarray([d.weight for d in self.problem.days], dtype=np.int64)
        for p, person in enumerate(self.problem.people):
            guessed = np.asarray(
                [self._estimated(person, i) for i in self.problem.catalogue.items], dtype=np.int64
            )
            counted = page.of(p, stay, certain=True)
            left_out = page.of(p, stay, courses=self.settings.condiment_courses)
            cols = counted[~np.isin(counted, left_out)]
            vals = (guessed[page.item[cols]] * 10**places - part[0]) * weight[page.day[cols]]
            page.row(self._origin(person), cols, vals, high=ZERO, decimals=places)

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Let more of a person's servings rest on an estimate; doses of an allergen stay as prescribed."""
        if origin.key != "avoid.estimated_share":
            return
        p = self.problem.person_number[origin.person]
        every = sum(
            (d.weight * c.least for d in self.problem.cycle for m in d.meals for c in m.courses
             if self.problem.attends(p, d, m) and c.name not in self.settings.condiment_courses), 0,
        )  # fmt: skip
        old = self.settings.estimated_share
        words = "the part of a person's servings that may rest on an estimate"
        yield (moved(origin.key, old, old + amount / max(every, 1) * 100, words, "%"),)

    def admit(self, refusal: Refusal, wanted: Sequence[Wanted]) -> Iterator[Edits]:
        """Take items off a list of dislikes, lower a floor (not under 5), plan what was not tasted."""
        items = sorted({w.item for w in wanted})
        key, person = refusal.key, refusal.person
        if key == f"avoid.people.{person}":
            yield self._off_list(person, items)
        elif key == f"people.{person}.floor":
            old = self.problem.people[self.problem.person_number[person]].floor
            scores = [self.problem.acceptance[person, i].value for i in items]
            new = sensible(min(scores, default=old), down=True)
            if LOWEST_FLOOR <= new < old:
                yield (Edit(key, old, new, f"the floor of acceptance of {person}"),)
        elif key == "avoid.estimated":
            yield (Edit(key, False, True, "", said="plan items on an estimate of the person's score"),)
        elif key == "avoid.tasted_courses":
            courses = {w.course for w in wanted}
            left = tuple(c for c in self.settings.tasted_courses if c not in courses)
            said = f"plan untasted items, on an estimate, in {', '.join(sorted(courses))} too"
            yield (Edit(key, self.settings.tasted_courses, left, "", said=said),)

    def _off_list(self, person: str, items: list[str]) -> Edits:
        """Changes that take items off a person's list, and tags of theirs that stand there."""
        table = self.settings.people[person]
        tags = {t for i in items for t in self.problem.catalogue.by_id[i].tags}
        edits = []
        for field, gone in (("items", set(items)), ("tags", tags)):
            old = getattr(table, field)
            left = tuple(w for w in old if w not in gone)
            if left != old:
                off = ", ".join(w for w in old if w in gone)
                said = f"take {off} off what {person} would rather not have"
                edits.append(Edit(f"avoid.people.{person}.{field}", old, left, "", said=said))
        return tuple(edits)

    def _origin(self, person: Person) -> Origin:
        return Origin("avoid", "avoid.estimated_share", person.id)

    def _estimated(self, person: Person, item: Item) -> bool:
        liked = self.problem.acceptance.get((person.id, item.id))
        return liked is not None and liked.estimated

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Weigh estimated servings against all, over the dates; count doses of allergens."""
        yield from doses.measures(tally)
        for p, person in enumerate(self.problem.people):
            entries = [e for e in tally.by_person.get(p, ()) if self._counts(e)]
            every = sum((Decimal(e.count * e.day.weight) for e in entries), ZERO)
            guess = sum((e.count * e.day.weight for e in entries if self._estimated(person, e.item)), ZERO)
            share = self.settings.estimated_share
            over = guess - share / 100 * every
            yield Measure(
                self._origin(person),
                f"{person.id}: servings not yet tasted",
                "servings",
                over,
                over,
                high=ZERO,
                section="liking",
                shown=Shown(guess / every * 100 if every else ZERO, None, share, "% of servings"),
            )

    def _counts(self, e: Entry) -> bool:
        condiment = e.course is not None and e.course.name in self.settings.condiment_courses
        return e.day.eaten and e.certain and not condiment


def _unsafe(script: Prescription, item: Item) -> Iterator[tuple[str, str, str]]:
    """Key inside the prescription, what it names there, and why an item does not suit it."""
    for allergen, severity in script.allergies.items():
        state = item.allergen(allergen)
        if state == "contains" or state == "unknown" or (severity == "severe" and state != "free"):
            reason = f"{state.replace('_', ' ')}: {allergen.replace('_', ' ')}"
            yield f"allergies.{allergen}", allergen, reason
    for diet in script.diets:
        if item.suits(diet) != "yes":
            yield "diets", diet, f"not known to suit the diet {diet.replace('_', ' ')}"
    if item.id in script.never_items:
        yield "never_items", "", "excluded by prescription"
    if not item.tags.isdisjoint(script.never_tags):
        yield "never_tags", "", "excluded by prescription"
    if item.texture is None:
        if script.only_textures or script.never_textures:
            key = "only_textures" if script.only_textures else "never_textures"
            yield key, "", "texture not stated, and only some textures may be given"
    elif item.texture in script.never_textures:
        yield "never_textures", "", f"texture {item.texture}, excluded by prescription"
    elif script.only_textures and item.texture not in script.only_textures:
        yield "only_textures", "", f"texture {item.texture}, excluded by prescription"


def _fasting(person: Person, day: PlanDay, item: Item, *, free: bool) -> Iterator[tuple[str, str, str]]:
    for fast in person.prescription.fasts_on(day.dates):
        key = f"fasts.{fast.name}"
        if free and fast.hours is not None:
            yield key, "", "free in the day, and could be eaten in the hours of a fast"
        elif any(item.suits(diet) != "yes" for diet in fast.diets):
            yield key, "", "not known to suit the fast on that date"
        elif item.id in fast.never_items or not item.tags.isdisjoint(fast.never_tags):
            yield key, "", "not eaten in the fast on that date"


def prescription_faults(person: Person) -> Iterator[SettingFault]:
    """Allergens and diets of a prescription that no catalogue can state."""
    for allergen in person.prescription.allergies:
        if allergen not in ALLERGENS:
            keys = ("people", person.id, "allergies", allergen)
            yield SettingFault(keys, f'no allergen "{allergen}".{nearest(allergen, ALLERGENS)}')
    for diet in person.prescription.diets:
        if diet not in DIETS:
            yield SettingFault(("people", person.id, "diets"), f'no diet "{diet}".{nearest(diet, DIETS)}')
    for fast in person.prescription.fasts:
        for diet in fast.diets:
            if diet not in DIETS:
                text = f'no diet "{diet}".{nearest(diet, DIETS)}'
                yield SettingFault(("people", person.id, "fasts", fast.name, "diets"), text)
