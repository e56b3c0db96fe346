"""What a check found, on the screen."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table

from optimenu.config.inspect import FEW
from optimenu.rules.base import plain
from optimenu.settings import clock_words
from optimenu.views.console import BELOW, STYLES, cell, dates_of, heading, marked, marks, sign
from optimenu.views.losses import offered_lines
from optimenu.views.nutrient_words import WINDOWS
from optimenu.views.open_points import open_page
from optimenu.views.summary import cautions, column_name, many, not_counted
from optimenu.views.totals import amount, limit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimenu.catalogue.item import Catalogue
    from optimenu.config.case import Case
    from optimenu.config.inspect import Inspection, PersonView
    from optimenu.crew.people import Person
    from optimenu.problem.problem import Problem
    from optimenu.views.console import Mark


def check_page(case: Case, found: Inspection, *, every: bool = False) -> RenderableType:
    """Return the page of a check: calendar, people, what each may choose from, open points."""
    problem = case.problem
    kinds = ", ".join(f"{sum(d.kind == k for d in problem.cycle)} {k}" for k in problem.kinds)
    served = Counter(d.weight for d in problem.cycle)
    weights = ", ".join(
        f"{many(n, 'day')} {'serves' if n == 1 else 'serve'} {many(w, 'date')}"
        for w, n in sorted(served.items())
    )
    loads = ", ".join(f"{load.name} from {dates_of([load.arrives])}" for load in problem.loads)
    lines = [
        f"{dates_of(problem.dates[:1])} {problem.dates[0].year} to {dates_of(problem.dates[-1:])} "
        f"{problem.dates[-1].year}: {len(problem.dates)} dates.",
        f"Cycle of {problem.cycle_length} days: {kinds}; {weights}.",
        *_staying(case),
        *_apart(problem),
        f"Reserve days: {len(problem.reserve)}. Loads: {loads}.",
        f"Items in the catalogue: {_kept(problem.catalogue)}. Files: {', '.join(found.files)}.",
    ]
    letters = marks(problem.people)
    parts: list[RenderableType] = [heading(problem.name), *map(cell, lines)]
    parts += [_person(case, p, letters[p.id]) for p in found.people]
    if found.activity_sources:
        parts.append(heading("Where the costs of activities come from"))
        words = [line.replace("_", " ") for line in found.activity_sources]
        parts += [Padding(cell(line), (0, 0, 0, 2)) for line in words]
    parts += [_choices(found, letters), *offered_lines(problem, found)]
    parts += [*open_page(case, found.open_points, every=every), *not_counted(problem), cautions(problem)]
    return Group(*parts)


def _staying(case: Case) -> list[str]:
    """Who is in the config and does not go: one line, none when everybody goes."""
    stay = [t["name"] for id_, t in case.layers.values["people"].items() if id_ not in case.settings.people]
    return [f"Not aboard: {', '.join(stay)}."] if stay else []


def _apart(problem: Problem) -> list[str]:
    """Days planned by themselves, who shares dishes, who shares packs: a line each."""
    lines = []
    own = [d for d in problem.cycle if d.block == "dated"]
    if own:
        each = (f"{d.label}{'' if d.label == dates_of(d.dates) else f', {dates_of(d.dates)}'}" for d in own)
        lines.append(f"Planned by themselves: {'; '.join(each)}.")
    names = {k: p.name for k, p in enumerate(problem.people)}
    parties = [p for p in problem.parties if len(p.members) > 1 and not p.part_of]
    lines += [f"Party {p.id}: {', '.join(names[m] for m in p.members)}." for p in parties]
    for group in sorted({g for groups in problem.shared_packs.values() for g in groups}):
        count = sum(group in groups for groups in problem.shared_packs.values())
        lines.append(f"Opened packs of {many(count, 'item')} shared: {', '.join(names[m] for m in group)}.")
    return lines


def _kept(catalogue: Catalogue) -> str:
    kept, out = len(catalogue.items), len(catalogue.left_out)
    return f"{kept} of {kept + out}, {out} left out by this config" if out else str(kept)


def _person(case: Case, p: PersonView, mark: Mark) -> RenderableType:
    problem = case.problem
    person = problem.people[problem.person_number[p.id]]
    scores = [problem.acceptance.get((p.id, i.id)) for i in problem.catalogue.items]
    under = sum(1 for a in scores if a is not None and a.value < person.floor)
    lines = [
        *(step.replace("_", " ") for step in p.steps),
        f"{many(p.tasted, 'item')} tasted, {p.estimated} estimated from others, {p.unjudged} not to be "
        "judged",
        f"nothing under acceptance {p.floor}: {many(under, 'item')} left out",
    ]
    if p.avoids:
        lines.append("never: " + ", ".join(p.avoids))
    lines += prescribed(person)
    parts = [Padding(cell(text), (0, 0, 0, 2)) for text in lines]
    return Group(cell(""), mark.text(name=True), *parts)


def prescribed(person: Person) -> list[str]:
    """Return what is prescribed to a person, a line each, then who laid them down."""
    script = person.prescription
    lines = []
    for column, windows in script.limits.items():
        for window, (low, high) in windows.items():
            unit = column.rsplit("_", 1)[1]
            words = limit(low, high, unit)
            lines.append(f"prescribed: {column_name(column)} {words}, {WINDOWS[window]}")
    lines += laid_down(person)
    for column, given in script.supplements.items():
        unit = column.rsplit("_", 1)[1]
        lines.append(f"supplement: {column_name(column)} {amount(given, unit)} a day")
    if script.by and script.date is not None:
        lines.append(f"as laid down by {script.by}, {dates_of([script.date])} {script.date.year}")
    else:
        lines.append("no prescription: nobody has laid down allergies, diets or limits")
    return lines


def laid_down(person: Person) -> list[str]:
    """Return what is prescribed beside allergies, diets, limits and supplements, a line each."""
    script = person.prescription
    lines = []
    for column, step in script.steps.items():
        unit = column.rsplit("_", 1)[1]
        words = amount(step, unit)
        lines.append(
            f"prescribed: {column_name(column)} changes by at most {words} from one date to the next"
        )
    for allergen, most in script.intolerances.items():
        name = allergen.replace("_", " ")
        lines.append(f"prescribed: at most {many(most, 'serving')} a day of what may contain {name}")
    lines += _by_the_clock(person)
    for fast in script.fasts:
        hours = "" if fast.hours is None else ", nothing from {} to {}".format(*map(clock_words, fast.hours))
        never = [f"no {t.replace('_', ' ')}" for t in (*sorted(fast.never_tags), *sorted(fast.never_items))]
        food = [f"{d.replace('_', ' ')} only" for d in fast.diets] + never
        lines.append(f"fast: {dates_of(sorted(fast.dates))}{hours}{''.join(f', {f}' for f in food)}")
    return lines


def _by_the_clock(person: Person) -> list[str]:
    """Return what is kept away from a medicine, and what is kept apart by hours, a line each."""
    lines = []
    for name, medicine in person.prescription.medicines.items():
        times = ", ".join(f"{at:%H:%M}" for at in medicine.at)
        for foods in medicine.apart:
            words = f"not from {plain(foods.hours_before)} h before to {plain(foods.hours_after)} h after"
            lines.append(f"medicine {name.replace('_', ' ')} at {times}: {foods.words()}, {words}")
    for pair in person.prescription.apart.values():
        words = f"prescribed: {pair.these.words()}, then for {plain(pair.hours)} h no {pair.those.words()}"
        lines.append(words + (", nor the other way round" if pair.both else ""))
    return lines


def _choices(found: Inspection, letters: Mapping[str, Mark]) -> RenderableType:
    # quiet words, but not quiet letters of people
    table = Table(box=None, pad_edge=False, header_style="")
    for name in ("meal", "course"):
        table.add_column(cell(name, STYLES["quiet"]), overflow="fold")
    table.add_column(cell("offered", STYLES["quiet"]), justify="right")
    for p in found.people:
        table.add_column(letters[p.id].text(), justify="right", no_wrap=True)
    for k, choice in enumerate(found.people[0].choices):
        meal = choice.meal if choice.block != "reserve" else f"{choice.meal} (reserve)"
        if choice.kind:
            meal += f", {choice.kind}"
        row: list[RenderableType] = [
            cell(meal.replace("_", " ")), cell(choice.course.replace("_", " ")), cell(choice.offered),
        ]  # fmt: skip
        for p in found.people:
            mine = p.choices[k]
            text = cell(mine.left)
            row.append(sign(BELOW).append(" ").append_text(text) if mine.thin else text)
        table.add_row(*row)
    parts: list[RenderableType] = [
        heading("Items left to choose from, after everything that is never given"),
        table,
    ]
    if any(c.thin for p in found.people for c in p.choices):
        parts.append(marked(sign(BELOW), f"fewer than {FEW} items left: little to vary with"))
    return Group(*parts)
