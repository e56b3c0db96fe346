"""Why there is no menu, and the ways out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from optimenu.explain.levers import stays
from optimenu.files import shown_path
from optimenu.rules.base import plain, unit_word
from optimenu.views.console import ABOVE, BELOW, STYLES, cell, heading, marked, sign
from optimenu.views.impossible import WHO

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from optimenu.config.case import Case
    from optimenu.explain.conflict import Conflict
    from optimenu.explain.tell import Limit
    from optimenu.explain.ways import Way, WaysOut

MOST = 12
_PROOF = {
    "exact": "Proved in whole-number arithmetic.",
    "solver": "This is HiGHS's finding, with presolve and again without; no exact proof.",
    "": "",
}
_STATE = {
    "relaxation": "no menu found",
    "impossible": "still none",
    "undecided": "not decided",
}


def conflict_page(conflict: Conflict, moves: int) -> RenderableType:
    """The limits in conflict; what is known of them where that is not decided within the moves."""
    return Group(*_conflict(conflict, moves))


def ways_page(case: Case, ways: WaysOut, text: str, folder: Path | None = None) -> RenderableType:
    """What would give a menu.

    Parameters
    ----------
    text : str
        Config of the first way that works, empty where none does.
    folder : Path or None
        Where the ways were written.
    """
    return Group(*_ways(case, ways, text, folder), Text(), *_cautions())


def _conflict(conflict: Conflict, moves: int) -> list[RenderableType]:
    if conflict.status != "conflict":
        parts: list[RenderableType] = [
            heading("Not decided"),
            cell(f"No menu was found within {moves:,} moves, and none was proved impossible."),
        ]
        if conflict.hints:
            parts.append(cell("The nearest try breaks:"))
            parts += [_limit(one) for one in conflict.hints[:MOST]]
        return parts
    parts = [heading("What stands in the way"), cell(_head(conflict))]
    for member in conflict.members:
        parts.append(_limit(member.limit, "" if conflict.irreducible else _without(member.without)))
    if conflict.patterns:
        if conflict.members:
            parts.append(cell("They leave nothing for:"))
        parts += [_limit(one) for one in conflict.patterns]
    if conflict.refusals_given:
        parts.append(cell("Which refusals of items take part was not found out; all of them stand."))
    if _PROOF[conflict.proof]:
        parts.append(cell(_PROOF[conflict.proof], STYLES["quiet"]))
    return parts


def _head(conflict: Conflict) -> str:
    n = len(conflict.members)
    whose = f" of {conflict.person}" if conflict.person else ""
    if not n:
        return f"No menu can fill these courses{whose}, whatever the limits:"
    if n == 1:
        return f"This limit{whose} cannot be kept by any menu with the courses as they are:"
    text = f"These {n} limits{whose} cannot hold together"
    if conflict.irreducible:
        rest = "the other can be kept" if n == 2 else "the others can be kept together"
        return f"{text}; without any one of them {rest}:"
    return f"{text}:"


def _without(state: str) -> str:
    return {
        "menu": "without it the others can be kept",
        "relaxation": "without it no menu was found, and none proved impossible",
    }.get(state, "without it: not decided")


def _limit(limit: Limit, more: str = "") -> RenderableType:
    sizes = []
    if limit.low is not None:
        sizes.append(f"at least {plain(limit.low)}")
    if limit.high is not None:
        sizes.append(f"at most {plain(limit.high)}")
    last = limit.low if limit.high is None else limit.high
    size = " and ".join(sizes)
    if size and limit.unit:
        size += f" {unit_word(limit.unit, last)}"
    if limit.refusals:
        servings = f"refuses {limit.refusals} servings, for example: {limit.reason}"
        size = f"{size}; {servings}" if size else servings
    words = f"{limit.label}: {size}" if size else limit.label
    who = "it stays as it is" if stays(limit.key) else WHO[limit.who]
    tail = "; ".join(t for t in (f"{limit.key} at {limit.where}", who, more) if t)
    return marked(sign(BELOW if limit.high is None and limit.low is not None else ABOVE), f"{words}; {tail}")


def _ways(case: Case, ways: WaysOut, text: str, folder: Path | None) -> list[RenderableType]:
    parts: list[RenderableType] = [heading(f"Ways out for the {ways.role}")]
    if not ways.working:
        parts.append(cell(_none(ways)))
    if ways.ways:
        parts.append(_table(case, ways, ways.ways))
    if ways.stopped:
        parts.append(cell("Stopped by you: more ways were not looked for."))
    parts += [cell(note) for note in ways.notes]
    if ways.others:
        who = ways.others[0].who
        parts += [heading(f"What the {who} could change"), _table(case, ways, ways.others)]
        parts.append(cell(f"Ask the {who}; then: optimenu explain {shown_path(case.files[0])} --role {who}"))
    elif not ways.working and not ways.stopped:
        parts.append(cell("No change that a higher role could make was found to give one either."))
    if ways.working or ways.others:
        parts.append(
            cell(
                f"Each liking is that of a menu planned with the change, {ways.moves:,} moves, as a part of "
                "the best that the loosest of these changes allows.",
                STYLES["quiet"],
            )
        )
    if folder is not None and ways.working:
        parts.append(cell(f"Written to {folder}, a config each. Plan with: optimenu plan {folder}/..."))
    elif text:
        parts.append(heading("The first as a config that extends yours"))
        parts += [cell(line) for line in text.rstrip().split("\n")]
        parts.append(cell("--out FOLDER writes each of them as a file to plan with.", STYLES["quiet"]))
    return parts


def _none(ways: WaysOut) -> str:
    if ways.ways:
        return (
            f"No menu was found with any of these within {ways.moves:,} moves. With those marked "
            "'no menu found' the limits became possible in parts of servings; more --moves may help."
        )
    if ways.stopped or ways.notes:
        return f"No way out for the {ways.role} was found."
    return f"Nothing that the {ways.role} may loosen gives a menu."


def _table(case: Case, ways: WaysOut, shown: Sequence[Way]) -> Table:
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("")
    table.add_column("change", overflow="fold")
    table.add_column("who may")
    table.add_column("mean liking", justify="right")
    for n, way in enumerate(shown, 1):
        change = Text(overflow="fold")
        for k, edit in enumerate(way.edits):
            change.append("\n" if k else "").append_text(cell(edit))
            change.append(" ").append_text(cell(f"({case.where(edit.key)})", STYLES["quiet"]))
        liking = ways.liking(way)
        result = _STATE[way.state] if liking is None else f"{liking * 100:.1f} %"
        table.add_row(str(n), change, way.who, result)
    return table


def _cautions() -> list[RenderableType]:
    return [
        cell(
            "An allergy, an intolerance, a diet, a fast and a tolerable upper intake (UL) are never offered. "
            "Whoever owns a limit "
            "decides whether it may give way; a licensed dietitian and a physician judge what it means.",
            STYLES["quiet"],
        )
    ]
