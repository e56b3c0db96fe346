"""One day of one person, meal by meal, with what the galley needs to know."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table

from optimenu.rules.base import plain
from optimenu.views.console import STYLES, cell, dates_of, heading

if TYPE_CHECKING:
    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Entry, Tally
    from optimenu.problem.problem import Problem

ENERGY = "ENERC_KCAL_kcal"


def day_page(problem: Problem, tally: Tally, person: int, number: int) -> RenderableType:
    """Return a plan day of a person: servings, water, heating, preparation, energy."""
    who, day = problem.people[person], problem.days[number]
    when = dates_of(day.dates) if day.dates else "no date"
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("", min_width=10)
    table.add_column("item", ratio=1, min_width=16)
    for name in ("serving", "water", "heat", "prepare", "kcal"):
        table.add_column(name, justify="right")
    total = Decimal(0)
    for meal in day.meals:
        entries = tally.on(person, number, meal.name)
        kcal = sum((_kcal(problem, e) for e in entries), Decimal(0))
        total += kcal
        at = f"{meal.name.replace('_', ' ').upper()} {meal.at // 60:02d}:{meal.at % 60:02d}"
        table.add_row("", cell(at, STYLES["head"]), "", "", "", "", cell(plain(kcal), STYLES["head"]))
        order = {course.name: k for k, course in enumerate(meal.courses)}
        for e in sorted(entries, key=lambda e: order[e.line.course]):
            table.add_row(*_row(problem, e))
    for e in tally.on(person, number):
        if not e.certain:
            table.add_row(*_row(problem, e))
    need = who.kcal_on(day.kind)
    words = f"{plain(total)} kcal planned"
    if day.block == "cycle":
        words += f"; {who.name} needs {plain(need)} kcal on a day of kind {day.kind}"
    return Group(heading(f"{who.name}, {day.label}, {day.kind}: {when}"), table, cell(words))


def _row(problem: Problem, e: Entry) -> list[RenderableType]:
    item = e.item
    name = item.name if e.count == 1 else f"{e.count} x {item.name}"
    course = e.course.name.replace("_", " ") if e.course is not None else "free"
    return [
        cell(course, STYLES["quiet"]),
        cell(name),
        cell(f"{plain(item.serving_g)} g"),
        cell(water_words(item)),
        cell(minutes(item.heat_min)),
        cell(minutes(item.prep_min)),
        cell(plain(_kcal(problem, e))),
    ]


def water_words(item: Item) -> str:
    """Water added to one serving."""
    return "" if item.water_kind == "none" else f"{plain(item.water_ml)} mL {item.water_kind}"


def minutes(value: Decimal | None) -> str:
    """Minutes, ? when unknown, nothing for none."""
    if value is None:
        return "?"
    return f"{plain(value)} min" if value else ""


def _kcal(problem: Problem, e: Entry) -> Decimal:
    return e.count * (problem.amount(e.item, ENERGY) or Decimal(0))
