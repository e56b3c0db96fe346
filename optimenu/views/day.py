"""One day of one person, meal by meal, with what the galley needs to know."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.problem.opening import kept_apart
from optimenu.rules.base import plain
from optimenu.settings import clock_words
from optimenu.views.console import STYLES, cell, dates_of, marks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.calendar import Meal
    from optimenu.problem.problem import Problem

ENERGY = "ENERC_KCAL_kcal"
ZERO = Decimal(0)
UNHEATED = {"no": "not to be eaten", "unknown": "not known to be safe"}
WIDEST = 110
"""Characters of the widest page: farther apart, a row is hard to follow."""


def day_page(problem: Problem, tally: Tally, person: int, number: int, width: int = 80) -> RenderableType:
    """Return a plan day of a person: servings, water, heating, preparation, energy of each meal."""
    width = min(width, WIDEST)
    who, day = problem.people[person], problem.days[number]
    title = marks(problem.people)[who.id].text(name=True)
    title.append(f": {cell(day.label).plain}", STYLES["head"])
    if day.dates:
        title.append(f" · {cell(day.kind).plain} · {dates_of(day.dates)}")
    entries = tally.on(person, number)
    parts: list[RenderableType] = [Text(), title, _sums(problem, entries)]
    if day.eaten:
        need, part = who.kcal_on(day.kind) * day.share, "" if day.share == 1 else " part of a day"
        parts.append(cell(f"Requirement on such a{part or ' day'}: {plain(need)} kcal."))
    for meal in sorted(day.meals, key=lambda m: problem.time_of(person, m)):
        here = tally.on(person, number, meal.name)
        if not problem.attends(person, day, meal):
            parts += [Text(), _meal_head(problem, person, meal), cell("not eaten on this day")]
            continue
        parts += [Text(), _meal_head(problem, person, meal), _sums(problem, here)]
        parts.append(_table(problem, meal, here, width))
    free = [e for e in entries if not e.certain]
    if free:
        parts += [Text(), cell("FREE IN THE DAY", STYLES["head"]), _table(problem, None, free, width)]
    return Group(*parts)


def _meal_head(problem: Problem, person: int, meal: Meal) -> Text:
    name, at = cell(meal.name.replace("_", " ").upper(), STYLES["head"]), problem.time_of(person, meal)
    return name.append(f"  {clock_words(at)}")


def _sums(problem: Problem, entries: Sequence[Entry]) -> Text:
    """Energy and water of servings, with what is free told apart."""
    certain = [e for e in entries if e.certain]
    words = [f"{plain(_kcal(problem, certain))} kcal"]
    if extra := _kcal(problem, [e for e in entries if not e.certain]):
        words[0] += f" (up to {plain(extra)} kcal more from what is free)"
    for kind in sorted({e.item.water_kind for e in entries if e.item.water_ml}, reverse=True):
        water = sum((e.count * e.item.water_ml for e in entries if e.item.water_kind == kind), ZERO)
        words.append(f"{plain(water)} mL {kind} water")
    return cell(" · ".join(words))


def _table(problem: Problem, meal: Meal | None, entries: Sequence[Entry], width: int) -> Table:
    table = Table(
        box=None, pad_edge=False, padding=(0, 2, 0, 0), width=width, header_style=STYLES["quiet"]
    )  # fmt: skip
    # the same widths in every meal, so that the eye runs down the page
    table.add_column("course", width=9, overflow="fold")
    table.add_column("item", ratio=3, overflow="fold")
    table.add_column("serving", width=8, justify="right", overflow="fold")
    table.add_column("kcal", width=5, justify="right", overflow="fold")
    table.add_column("to serve", ratio=2, overflow="fold")
    place = {c.name: k for k, c in enumerate(meal.courses)} if meal else {}
    for e in sorted(entries, key=lambda e: (place.get(e.line.course, 0), e.item.name)):
        times = "" if e.count == 1 else f"{e.count} x "
        name = cell(f"{times if e.certain else ''}{e.item.name}")
        if not e.certain:
            name.append(f", up to {e.count}")
        if kept_apart(problem, e.party, e.item):
            name.append(" (own pack, not the shared one)")
        others = [problem.people[m].name for m in e.party.members]
        if len(others) > 1:
            name.append(f" (one dish for {cell(' and '.join(others)).plain})")
        table.add_row(
            cell(e.line.course.replace("_", " ") if meal else "free", STYLES["quiet"]),
            name,
            cell(f"{times}{plain(e.item.serving_g)} g"),
            cell(energy_words(problem, e)),
            cell(to_serve(e.item, e.count, cold_too=e.day.block == "reserve")),
        )
    return table


def to_serve(item: Item, count: int = 1, *, cold_too: bool = False) -> str:
    """What is done to servings before they are eaten; ``?`` for minutes the catalogue does not state.

    Parameters
    ----------
    cold_too : bool
        Also say how the item is eaten where there is no heat, as on a reserve day.
    """
    words = []
    if item.water_ml:
        words.append(f"{plain(count * item.water_ml)} mL {item.water_kind}")
    for value, word in ((item.heat_min, "heat"), (item.prep_min, "prepare")):
        if value is None:
            words.append(f"{word} ? min")
        elif value:
            words.append(f"{word} {plain(value)} min")
    text = ", ".join(words)
    if cold_too and (item.heat_min != 0 or item.water_kind == "hot"):
        cold = UNHEATED.get(item.unheated, item.unheated)
        if item.water_ml and item.cold_min is not None:
            cold += f", {plain(item.cold_min)} min in cold water"
        text += f"{'; ' if text else ''}without heat: {cold}"
    return text


def energy_words(problem: Problem, entry: Entry) -> str:
    """Energy of the servings, kcal; ``?`` when unknown."""
    each = problem.amount(entry.item, ENERGY)
    return "?" if each is None else plain(entry.count * each)


def _kcal(problem: Problem, entries: Sequence[Entry]) -> Decimal:
    return sum((e.count * (problem.amount(e.item, ENERGY) or ZERO) for e in entries), ZERO)
