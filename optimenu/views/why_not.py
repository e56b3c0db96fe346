"""Why an item is not on a person's menu, in lines and as a table."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table

from optimenu.rules.base import plain
from optimenu.views.amounts import percent
from optimenu.views.console import STYLES, cell, heading, marks
from optimenu.views.summary import many

if TYPE_CHECKING:
    from optimenu.config.case import Case
    from optimenu.explain.entry import Cost, Entry
    from optimenu.explain.told import Told
    from optimenu.explain.why_not import Reason, WhyNot

FEW, MOST_COSTS = 3, 6
INNER = "  "
"""Begins a line that belongs to the one above."""


def missing_table(case: Case, told: Told) -> list[RenderableType]:
    """Best-liked items that are not on each person's menu, with the short reason."""
    whose = "in the relaxation" if told.value is None else "on the menu"
    parts: list[RenderableType] = [heading(f"Best liked and not {whose}")]
    letters = marks(case.problem.people)
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    for name in ("", "item", "score"):
        table.add_column(name, overflow="fold")
    table.add_column("why not", overflow="fold", ratio=1)
    for why in told.items:
        item = case.problem.catalogue.by_id[why.item]
        named = cell(item.name)
        named.append(f"\n{why.item}", STYLES["quiet"])
        table.add_row(letters[why.person].text(), named, cell(score_of(why)), cell(short_reason(why)))
    parts.append(table)
    notes = [
        f"{p.name}: {many(told.barred[p.id], 'item')} liked as well may not be given whatever the score"
        for p in case.problem.people
        if told.barred.get(p.id)
    ]
    if notes:
        parts.append(cell("; ".join(notes) + ".", STYLES["quiet"]))
    if any(w.estimated for w in told.items):
        parts.append(cell("(est.): estimated from the others' scores, not tasted.", STYLES["quiet"]))
    parts.append(cell("One item in full: --item ID, for one person with --person ID.", STYLES["quiet"]))
    return parts


def score_of(why: WhyNot) -> str:
    """Write an acceptance score, marked when it is an estimate."""
    if why.score is None:
        return "none"
    return f"{why.score}{' (est.)' if why.estimated else ''}"


def short_reason(why: WhyNot) -> str:
    """One sentence of why an item is not there."""
    if why.status == "not scored":
        return "; ".join(dict.fromkeys(r.refusal.text.removeprefix(f"{why.person}: ") for r in why.reasons))
    if why.status == "used":
        dates = plain(Decimal(why.relaxed), 1)
        return f"the relaxation serves it on {dates} dates: it would fit about as well"
    entry = why.entry
    if entry is None:
        return "HiGHS finds no answer to the limits without it"
    costs = ", ".join(f"{_what(why, c)} {percent(c.amount)}" for c in entry.costs[:FEW] if c.amount > 0)
    head = "not even a score of 9 brings it in" if entry.needed is None else f"needs {entry.needed}"
    earned = f"earns {percent(entry.worth)} at {why.score}"
    return f"{head}: at {entry.place} it {earned} and takes {percent(entry.cost)} ({costs})"


def _what(why: WhyNot, cost: Cost) -> str:
    """Name what a cost is for; the person is known where it stands."""
    if cost.shape:
        return "the place"
    return cost.label.removeprefix(f"{why.person}, ").removeprefix(f"{why.person}: ")


def item_lines(case: Case, told: Told, why: WhyNot) -> list[RenderableType]:
    """All that is to be said of one item and one person."""
    person = next(p for p in case.problem.people if p.id == why.person)
    item = case.problem.catalogue.by_id[why.item]
    score = "no score" if why.score is None else f"scored {why.score}"
    if why.estimated:
        score = f"not tasted, estimated {why.score} from the others' scores"
    lines = [f"{person.name}: {score}; floor {why.floor}."]
    lines += _said(case, told, why)
    return [
        heading(f"{item.name} ({why.item}) and {person.name}"),
        *(
            Padding(cell(text.removeprefix(INNER)), (0, 0, 0, 4 if text.startswith(INNER) else 2))
            for text in lines
        ),
    ]


def _said(case: Case, told: Told, why: WhyNot) -> list[str]:
    if why.status == "not offered":
        item = case.problem.catalogue.by_id[why.item]
        takes = f"{', '.join(item.courses) or 'no course'} at {', '.join(item.meals) or 'no meal'}"
        return [f"The catalogue offers it as {takes}; no course of this person's plan takes it."]
    lines = [f"{many(why.places, 'place')} in the cycle could take it; rules leave {why.allowed}."]
    lines += [_reason(case, r) for r in why.reasons]
    if why.status == "refused":
        return [*lines, "No score would bring it in: other rules refuse it everywhere."]
    if why.status == "planned":
        return [*lines, *_planned(told, why)]
    if why.status == "weightless":
        text = "Liking counts in none of its courses (weight 0): it is served only where it helps a limit."
        return [*lines, text]
    if why.status == "used":
        dates = plain(Decimal(why.relaxed), 1)
        lines.append(
            f"The relaxation serves it on {dates} dates."
            if told.value is None
            else f"The relaxation serves it on {dates} dates, this menu on none: by the bound it would fit "
            "about as well as what stands there. A search may have left it out by chance."
        )
    if why.entry is not None:
        lines += _entry(why, why.entry)
    elif why.status == "used":
        lines.append("Without it the relaxation has no answer (HiGHS's finding).")
    else:
        lines.append("Liking counts in none of its courses, so no score of this person's would matter.")
    return lines


def _reason(case: Case, reason: Reason) -> str:
    r = reason.refusal
    where = f"{many(reason.places, 'place')} ({', '.join(reason.meals)})"
    return f"{INNER}{where}: {r.text}; {r.key} at {case.where(r.key)}; {r.who}"


def _entry(why: WhyNot, entry: Entry) -> list[str]:
    one = "1 date" if entry.dates == 1 else f"{entry.dates} dates"
    lines = []
    if entry.needed is None:
        lines.append("Not even a score of 9 brings it into the relaxation: it costs more than it can earn.")
    else:
        lines.append(
            f"The relaxation begins to use it at a score of {entry.needed}. Solved again: a tenth of a point "
            f"above, on {plain(Decimal(entry.above), 1)} dates; a tenth below, on "
            f"{plain(Decimal(entry.below), 1)}."
        )
    at = "at a score of 9" if why.score is None else f"at {why.score}"
    lines.append(
        f"One serving at {entry.place} (a plan day of {one}) earns {percent(entry.worth)} of the crew's mean "
        f"liking {at}, and takes {percent(entry.cost)}:"
    )
    for c in entry.costs[:MOST_COSTS]:
        what = f"{_what(why, c)}, which other items want" if c.shape else _what(why, c)
        verb = "takes" if c.amount > 0 else "gives back"
        lines.append(f"{INNER}{verb} {percent(abs(c.amount))}  {what} ({c.origin.key})")
    rest = sum(c.amount for c in entry.costs[MOST_COSTS:])
    if abs(rest) >= 5e-6:
        lines.append(f"{INNER}{'takes' if rest > 0 else 'gives back'} {percent(abs(rest))}  all others")
    return lines


def _planned(told: Told, why: WhyNot) -> list[str]:
    dates = sum(u.dates for u in why.uses)
    shared = sorted({u.party for u in why.uses} - {why.person})
    where = "; ".join(f"{u.day}, {u.meal}, {u.course}" for u in why.uses)
    lines = [f"On the menu {many(len(why.uses), 'time')} in the cycle, {many(dates, 'date')}: {where}."]
    if shared:
        table = ", ".join(shared)
        lines.append(f"Shared by {table}: taken away from one, it is taken from all at the table.")
    without = why.without
    if without is None:
        return lines
    if without.bound is None:
        return [*lines, "Without it the relaxation has no answer (HiGHS's finding, no proof)."]
    fall = without.before - without.bound
    lines.append(f"Without it the bound falls by {percent(fall)} of liking, from {percent(without.before)}.")
    if told.value is not None and without.bound < told.value:
        lost = percent(told.value - without.bound)
        lines.append(f"No menu without it comes within {lost} of this one: so much it earns at least.")
    else:
        lines.append("A menu without it may be as good as this one: the bound does not tell them apart.")
    return lines
