"""Cards of the crew, one a person."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimenu.stowage.crew_card import AS_IT_IS, RESERVE, with_words
from optimenu.views.console import STYLES, cell, dates_of, marks
from optimenu.views.sheet import indented, long_date

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from optimenu.problem.problem import Problem
    from optimenu.stowage.crew_card import Card, CardDay, Dish

TWO_DAYS = 110
"""Characters from which two days of a card stand side by side."""


def card_page(problem: Problem, card: Card, width: int) -> RenderableType:
    """Return the card of one person; two days side by side where the page is wide enough."""
    title = marks(problem.people)[card.id].text(name=True)
    title.append(f": what you eat, {long_date(card.first)} to {long_date(card.last)}", STYLES["head"])
    parts: list[RenderableType] = [Text(), title, cell(card.ask, "bold"), *_days(card.days, width)]
    if card.reserve:
        parts += [Text(), cell(RESERVE, "bold"), *_days(card.reserve, width)]
    return Group(*parts)


def _days(days: Sequence[CardDay], width: int) -> Iterable[RenderableType]:
    if width < TWO_DAYS:
        return [_day(d) for d in days]
    grid = Table.grid(expand=True, padding=(0, 3, 0, 0))
    for _ in range(2):
        grid.add_column(ratio=1)
    for k in range(0, len(days), 2):
        grid.add_row(*(_day(d) for d in days[k : k + 2]))
    return [grid]


def _day(day: CardDay) -> RenderableType:
    dates = dates_of(day.dates)
    title = f"{day.title} ({dates})" if day.title and dates else day.title or dates
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True, width=5)
    table.add_column(overflow="fold")
    for meal in day.meals:
        table.add_row(cell(meal.at), cell(meal.name, "bold"))
        for dish in meal.dishes:
            table.add_row("", _dish(dish))
    free = indented(f"at any time: {name}, {most}" for name, most in day.any_time)
    return Group(Text(), cell(title, STYLES["head"]), Padding(table, (0, 0, 0, 2)), *free)


def _dish(dish: Dish) -> Text:
    text = f"{dish.servings} of {dish.name}" if dish.servings else dish.name
    if dish.shared_with:
        text += f" (with {with_words(dish.shared_with)})"
    return cell(text).append("" if dish.serve == AS_IT_IS else f": {dish.serve}", STYLES["quiet"])
