"""Open points of a check: one line each of who must act, and on what."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.console import RenderableType
from rich.padding import Padding

from optimenu.views.console import BELOW, STYLES, cell, dates_of, heading, marked, sign
from optimenu.views.summary import column_name, many

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimenu.config.case import Case
    from optimenu.config.open_points import OpenPoint

MOST = 5
"""Entries shown of each point unless all are asked for."""
_DATES = {"use_by": "use by", "best_before": "best before"}
_OWN_LINES = ("lots", "use_by", "best_before", "changed")


def open_page(case: Case, points: Sequence[OpenPoint], *, every: bool = False) -> list[RenderableType]:
    """Return the open points, none when nothing waits.

    Parameters
    ----------
    every : bool
        Show all entries, not only the first ones.
    """
    if not points:
        return []
    parts: list[RenderableType] = [heading("Open points: who must act, and on what")]
    cut = False
    names = {p.id: p.name for p in case.problem.people}
    for point in points:
        if point.kind == "no_item":
            # nothing else matters as long as these stand, so they are never cut
            parts += bare_lines(point.facts, names)
            parts.append(_line(f"{point.waits_on}: no menu can be made while a course has no item left"))
            continue
        entries = [_entry(point.kind, fact, names) for fact in point.facts]
        shown = entries if every else entries[:MOST]
        more = len(entries) - len(shown)
        cut = cut or more > 0
        head = f"{point.waits_on}: {_head(point, names)}"
        if point.kind in _OWN_LINES:
            parts.append(_line(f"{head}:"))
            parts += [_line(text, 4) for text in shown]
            parts += [_line(f"and {more} more", 4)] if more else []
        else:
            parts.append(_line(f"{head}: " + "; ".join(shown) + (f"; and {more} more" if more else "")))
    if cut:
        parts.append(cell("All entries: --all", STYLES["quiet"]))
    return parts


def bare_lines(facts: Sequence[Mapping[str, Any]], names: Mapping[str, str]) -> list[RenderableType]:
    """Return a line for each course that nothing is left for; ``names``: those of people, by id."""
    return [marked(sign(BELOW), f"no item is left for {_dish(f, names)}", STYLES["head"]) for f in facts]


def _line(text: str, indent: int = 2) -> RenderableType:
    return Padding(cell(text), (0, 0, 0, indent))


def _dish(fact: Mapping[str, Any], names: Mapping[str, str]) -> str:
    meal, course = (str(fact[k]).replace("_", " ") for k in ("meal", "course"))
    reserve = " (reserve)" if fact["reserve"] else ""
    on = f" on {', '.join(fact['days'])}" if fact["days"] else ""
    return f"{names[fact['person']]}'s {meal}{reserve} {course}{on}"


def _head(point: OpenPoint, names: Mapping[str, str]) -> str:
    """What a point is about, with the number of its entries."""
    n = len(point.facts)
    match point.kind:
        case "no_prescription":
            who = "1 person" if n == 1 else f"{n} people"
            return f"nothing is laid down, allergies neither, for {who}"
        case "allergen_unknown":
            about = point.about.replace("_", " ")
            return (
                f"{about}, which somebody must avoid, is not stated for {many(n, 'item')} that could be used"
            )
        case "may_contain":
            about, who = point.about.replace("_", " "), names[str(point.facts[0]["person"])]
            return (
                f"{many(n, 'item')} that may contain {about} may be given to {who}, who must avoid it; lay "
                "it down as severe to leave them out"
            )
        case "fast_energy":
            return f"a fast of {names[point.about]} takes meals and the energy asked stays whole"
        case "fast_outside":
            return f"{many(n, 'date')} of a fast of {names[point.about]} outside the stay, so not kept"
        case "not_tasted":
            return (
                f"{n} {'dish' if n == 1 else 'dishes'} that at least two others like and "
                f"{names[point.about]} has not tasted"
            )
        case "lots":
            words = {"held": "on hold", "ordered": "ordered and not yet released", "rejected": "rejected"}
            return f"{many(n, 'lot')} {words[point.about]}, not counted"
        case "use_by":
            return f"{many(n, 'released lot')} whose use-by date passes before the last date"
        case "best_before":
            return f"{many(n, 'released lot')} whose best-before date passes before the last date"
        case "not_assessed":
            return f"{many(n, 'nutrient')} not assessed, because the catalogue does not state them"
        case "left_out":
            return f"{many(n, 'nutrient')} not assessed, because the config does not ask for them"
        case "not_proved":
            return (
                f"{many(n, 'nutrient')} with a limit not proved; of {point.facts[0]['of']} items on offer "
                "these many state neither an amount nor an upper estimate"
            )
        case "loss_unknown":
            return (
                f"{many(n, 'nutrient')} of which no loss in storage is stated for this many of the items on "
                "offer that hold it, so old packs of these count for nothing in a floor"
            )
        case "changed":
            return f"{many(n, 'setting')} changed in files that extend others"
    raise AssertionError(point.kind)


def _entry(kind: str, fact: Mapping[str, Any], names: Mapping[str, str]) -> str:
    match kind:
        case "no_prescription":
            return names[fact["person"]]
        case "lots" | "use_by" | "best_before":
            text = f"{fact['name']}, lot {fact['lot'] or '?'}: {many(fact['packs'], 'pack')}"
            until = fact.get(kind)
            if until is None:
                return text
            return f"{text}, {_DATES[kind]} {dates_of([until])} {until.year}"
        case "fast_outside":
            return f"{dates_of([fact['date']])} {fact['date'].year}"
        case "fast_energy":
            meals = f"{fact['missed']} of {fact['meals']} meals"
            kind = "give the date a kind with its own energy"
            return f"{dates_of([fact['date']])}, without {meals}, {fact['kcal']:.0f} kcal; {kind}"
        case "not_assessed" | "left_out":
            return column_name(fact["column"])
        case "not_proved":
            return f"{column_name(fact['column'])} {fact['items']}"
        case "loss_unknown":
            return f"{column_name(fact['column'])} {fact['items']} of {fact['of']}"
        case "changed":
            old = "not stated" if fact["old"] is None else fact["old"]
            return f"{fact['key']}: {old} -> {fact['new']}, {fact['file']}:{fact['line']}"
    return str(fact["name"])
