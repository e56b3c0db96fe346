"""Nutrients of one person: the stay against floors, the worst run of dates against ceilings, the days."""

from __future__ import annotations

import textwrap
from collections import defaultdict
from dataclasses import dataclass, field
from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.rules.base import plain, unit_word
from optimenu.views.console import ABOVE, BELOW, KEPT, STYLES, UNPROVED, cell, heading, marks, sign, state_of
from optimenu.views.nutrient_words import (
    dates_words,
    figure,
    limit_words,
    measure_name,
    room,
    value_words,
)
from optimenu.views.summary import column_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.menu.tally import Tally
    from optimenu.problem.calendar import PlanDay
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Measure

_WORST_FIRST = (BELOW, ABOVE, UNPROVED, KEPT)
WIDE = 79
HEADS = ("", "nutrient", "stay,\nmean", "floor", "worst", "ceiling", "days,\nlow–high", "known")
WIDEST = {3: 15, 5: 13}
"""Characters of the columns of limits where not everything fits beside each other."""
LEAST = 12
ALL, LIMITS, DAYS = tuple(range(8)), (0, 1, 2, 3, 4, 5), (0, 1, 2, 6, 7)


@dataclass
class _Row:
    floors: list[Measure] = field(default_factory=list)
    ceilings: list[Measure] = field(default_factory=list)


def nutrients_page(
    problem: Problem,
    tally: Tally,
    measures: Sequence[Measure],
    person: int,
    not_assessed: Sequence[str],
    width: int = 80,
    lost: Sequence[RenderableType] = (),
) -> RenderableType:
    """Return one row for each nutrient with a limit, then shares and ratios, then what is not judged."""
    who = problem.people[person]
    rows: dict[str, _Row] = defaultdict(_Row)
    others: list[Measure] = []
    for m in measures:
        if m.section != "nutrients" or m.origin.person != who.id or m.shown is None:
            continue
        column = m.origin.what.split(" ")[0]
        if column not in BY_COLUMN or m.shown.unit != BY_COLUMN[column].unit:
            others.append(m)
        elif m.low is not None:
            rows[column].floors.append(m)
        else:
            rows[column].ceilings.append(m)
    title = marks(problem.people)[who.id].text(name=True)
    basis = "values at production" if problem.storage is None else "as eaten, after losses in storage"
    title.append(f": nutrients a day, {basis}", STYLES["head"])
    cells = [_cells(problem, tally, person, c, rows[c]) for c in BY_COLUMN if c in rows]
    parts: list[RenderableType] = [Text(), title]
    # a narrow screen gets two tables rather than broken numbers
    parts += [_table(cells, part, width) for part in ((ALL,) if width >= WIDE else (LIMITS, DAYS))]
    if others:
        parts += [
            heading("Shares of energy, densities, ratios and steps: the dates nearest to the limit"),
            _others(problem, others),
        ]
    parts += [*_legend(rows), *lost]
    if not_assessed:
        names = "; ".join(map(column_name, not_assessed))
        parts.append(cell(f"n/a, not assessed: {names}. The catalogue does not state them."))
    return Group(*parts)


def _table(rows: Sequence[Sequence[Text]], shown: Sequence[int], width: int) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=STYLES["quiet"])
    texts = {k: [*HEADS[k].split("\n"), *(row[k].plain for row in rows)] for k in shown}
    taken = {k: max(map(len, texts[k])) for k in shown}
    if sum(taken.values()) + len(shown) - 1 > width:
        taken.update({k: min(taken[k], most) for k, most in WIDEST.items() if k in taken})
        rest = width - sum(n + 1 for k, n in taken.items() if k != 1)
        taken[1] = min(taken[1], max(rest, LEAST))
    for k in shown:
        table.add_column(
            HEADS[k],
            justify="right" if k > 1 else "left",
            overflow="fold",
            width=taken[k],
            no_wrap=k not in (1, *WIDEST),
        )
    for row in rows:
        # a long word of a name breaks at its hyphen
        name = Text("\n".join(textwrap.wrap(row[1].plain, taken[1])), overflow="fold")
        table.add_row(*(name if k == 1 else row[k] for k in shown))
    return table


def _cells(problem: Problem, tally: Tally, person: int, column: str, row: _Row) -> list[Text]:
    nutrient = BY_COLUMN[column]
    cycle = problem.cycle
    given = problem.people[person].prescription.supplements.get(column, Decimal(0))
    water = {
        d.number: given + (problem.plain_water(d.kind) if column == "WATER_g" else Decimal(0)) for d in cycle
    }

    def brought(d: PlanDay, *, up: bool, mean: bool = False) -> Decimal:
        dates = d.weight if mean else 1
        return water[d.number] * d.share * dates + _day(
            problem, tally, person, d.number, column, up=up, mean=mean
        )

    # a part-day counts for its share, here as in every limit
    whole = sum((d.share * d.weight for d in cycle), Decimal(0))
    mean = sum((brought(d, up=False, mean=True) for d in cycle), Decimal(0)) / whole
    lowest, highest = (pick(brought(d, up=up) for d in cycle) for pick, up in ((min, False), (max, True)))
    floor = min(row.floors, key=room, default=None)
    ceiling = min(row.ceilings, key=room, default=None)
    both = [m for m in (floor, ceiling) if m is not None]
    unproved = [m for m in row.ceilings if not m.proved]
    states = {state_of(m) for m in both} | ({UNPROVED} if unproved else set())
    known = min(m.known for m in (*row.floors, *row.ceilings))
    ceiling_value = Text() if ceiling is None else cell(value_words(ceiling))
    return [
        sign(next(s for s in _WORST_FIRST if s in states)),
        cell(f"{measure_name(both[0])}, {unit_word(nutrient.unit)}"),
        cell(figure(mean, _stay_floor(floor))),
        limit_words(floor),
        ceiling_value,
        limit_words(ceiling),
        cell(f"{figure(lowest)}–{figure(highest)}"),
        # rounded down: 100 % is said only when everything is known
        cell(f"{(known * 100).quantize(Decimal(1), ROUND_FLOOR)} %"),
    ]


def _stay_floor(floor: Measure | None) -> Decimal | None:
    if floor is None or floor.shown is None or floor.origin.day >= 0 or floor.origin.run:
        return None
    return floor.shown.low


def _day(
    problem: Problem, tally: Tally, person: int, day: int, column: str, *, up: bool, mean: bool
) -> Decimal:
    """What a plan day's planned food brings, after losses; summed over its dates if ``mean``."""
    sure = [e for e in tally.on(person, day) if e.certain]
    each = (e.count * (problem.eaten(e.item, column, day, up=up, mean=mean) or Decimal(0)) for e in sure)
    return sum(each, Decimal(0))


def _others(problem: Problem, measures: Sequence[Measure]) -> Table:
    """The measure nearest to its limit of every share, density and ratio."""
    tightest: dict[str, Measure] = {}
    for m in measures:
        if m.origin.key not in tightest or room(m) < room(tightest[m.origin.key]):
            tightest[m.origin.key] = m
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=STYLES["quiet"])
    table.add_column("")
    table.add_column("what", overflow="fold")
    for name in ("planned", "limit"):
        table.add_column(name, justify="right", overflow="fold")
    table.add_column("unit", overflow="fold")
    table.add_column("dates", overflow="fold")
    for m in tightest.values():
        assert m.shown is not None
        low, high = m.shown.low, m.shown.high
        side = f"at least {plain(low)}" if low is not None else f"at most {plain(high or Decimal(0))}"
        limit = cell(side)
        table.add_row(
            sign(state_of(m)),
            cell(measure_name(m)),
            cell(value_words(m)),
            limit.append(" ~", STYLES["soft"]) if m.soft is not None else limit,
            cell(unit_word(m.shown.unit)),
            cell(dates_words(problem, m), STYLES["quiet"]),
        )
    return table


def _legend(rows: dict[str, _Row]) -> list[RenderableType]:
    every = [m for row in rows.values() for m in (*row.floors, *row.ceilings)]
    signs = Text("\n", overflow="fold")
    signs.append_text(sign(KEPT)).append(" kept   ")
    signs.append_text(sign(BELOW)).append(" below   ")
    signs.append_text(sign(ABOVE)).append(" above   ")
    signs.append_text(sign(UNPROVED)).append(" ceiling not proved: some items do not state it")
    words = [
        "Floors hold on the mean of the stay and count known values only. Ceilings hold on every 7 dates in "
        "a row, of which the worst is shown. Another window is named in the cell.",
    ]
    if any(m.soft is not None for m in every):
        words.append("AI: adequate intake, a goal, never a hard limit. ~ soft: missed at a price.")
    if any(m.origin.key.startswith("prescriptions.") for m in every):
        words.append("Rx: prescribed; only a physician may change it.")
    words.append("Known: share of the mass eaten whose value the catalogue states.")
    return [signs, *(cell(w, STYLES["quiet"]) for w in words)]
