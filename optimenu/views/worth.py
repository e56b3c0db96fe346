"""What the limits of a menu are worth, and why an item is not on it."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table

from optimenu.explain.reading import place
from optimenu.rules.base import plain, unit_word
from optimenu.views.amounts import percent
from optimenu.views.console import STYLES, cell, heading, marked, soft_sign
from optimenu.views.summary import many
from optimenu.views.totals import amount
from optimenu.views.why_not import item_lines, missing_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.config.case import Case
    from optimenu.explain.told import Told
    from optimenu.explain.worth import Limit, Trial

SHOWN = 8
HIDDEN = "Limits worth less than these bind too"


def worth_page(
    case: Case, told: Told, *, source: str, everything: bool = False, more: Sequence[RenderableType] = ()
) -> RenderableType:
    """Return the page of a menu that exists.

    Parameters
    ----------
    source : str
        Which menu is spoken of.
    everything : bool
        Every limit that binds, not only those tried.
    more : sequence of RenderableType
        Further parts, told between the limits and the items.
    """
    parts: list[RenderableType] = [heading(case.problem.name), cell(source), *_measure(told)]
    if told.limits or not told.items:
        parts += _limits(case, told, everything=everything)
        parts += _soft(case, told)
    parts += more
    if told.items and told.limits:
        parts += missing_table(case, told)
    else:
        for why in told.items:
            parts += item_lines(case, told, why)
    return Group(*parts)


def _measure(told: Told) -> list[RenderableType]:
    """Say what the figures are parts of."""
    bound = f"no menu is worth more than {percent(told.bound)} (the bound without cuts)"
    if told.value is None:
        return [
            cell(f"There is no menu to speak of: all that follows is about the relaxation; {bound}."),
        ]
    return [cell(f"Worth {percent(told.value)} of liking, less the price of soft limits; {bound}.")]


def _limits(case: Case, told: Told, *, everything: bool) -> list[RenderableType]:
    parts: list[RenderableType] = [heading("Limits that bind, the dearest first")]
    if not told.limits:
        return [*parts, cell("None: no limit but the shape of the meals holds this plan back.")]
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("", justify="right")
    table.add_column("limit", overflow="fold")
    for name in ("a step\nlooser", "tried\nby", "\npromised", "bound\nrises", "tighter:\nfalls"):
        table.add_column(name, justify="right", no_wrap=True)
    if told.replans:
        table.add_column("menu\ngains", justify="right", no_wrap=True)
    shown = told.limits if everything else told.limits[:SHOWN]
    for k, limit in enumerate(shown):
        trial = told.trials[k] if k < len(told.trials) else None
        row = [
            cell(k + 1),
            cell(limit_words(limit)),
            cell(_step(limit) if limit.alone else ""),
            *_tried(limit, trial),
        ]
        if told.replans:
            row.append(cell(percent(told.replans[k].gain) if k < len(told.replans) else ""))
        table.add_row(*row)
    parts += [table, cell("Where they stand, and who may change them:")]
    parts += [
        Padding(cell(f"{k} {place(case, limit.origin)}; {limit.origin.who}"), (0, 0, 0, 2))
        for k, limit in enumerate(shown, 1)
    ]
    return [*parts, *_notes(told, len(told.limits) - len(shown))]


def limit_words(limit: Limit) -> str:
    """Name a limit with its side and size."""
    reading = limit.reading
    side = "at least" if limit.low_side else "at most"
    size = "" if reading.limit is None else f": {side} {amount(_round(reading.limit), reading.unit)}"
    alike = f" ({len(limit.rows)} alike)" if len(limit.rows) > 1 else ""
    return f"{'~ ' if limit.soft else ''}{reading.label}{size}{alike}"


def _round(value: Decimal) -> Decimal:
    """A limit as it is told: six decimals are more than any config states."""
    return value.quantize(Decimal("0.000001")) if value != value.to_integral_value() else value


def _step(limit: Limit) -> str:
    return f"{_size(limit.step, limit)}\n{percent(limit.worth)}" if limit.alone else ""


def _size(step: Decimal, limit: Limit) -> str:
    unit = unit_word(limit.reading.unit, step)
    return f"{plain(step, 6)} {unit}".rstrip()


def _tried(limit: Limit, trial: Trial | None) -> list[RenderableType]:
    if trial is None:
        return [cell("not tried" if not limit.alone else ""), *[cell("")] * 3]
    return [
        cell(_size(trial.step, limit)),
        cell(percent(trial.promised)),
        cell(percent(trial.gain)),
        cell("no answer" if trial.loss is None else percent(trial.loss)),
    ]


def _notes(told: Told, rest: int) -> list[RenderableType]:
    notes = []
    if rest > 0:
        notes.append(f"{HIDDEN}: {rest} more; all of them with --all.")
    notes += [
        "In % of the crew's mean liking. Promised: by the multipliers of the bound, exact for small steps "
        "and never too little for larger ones. Rises, falls: the bound solved again with the limit moved. "
        "Both speak of the bound, the ceiling on every menu; a menu may gain less, or nothing.",
    ]
    if told.replans:
        anyway = told.replans[0].anyway
        notes.append(
            f"Menu gains: a search from the menu with the limit looser; with nothing changed the same search "
            f"gains {percent(anyway)}."
        )
    if not all(k.alone for k in told.limits[: len(told.trials)]):
        notes.append(
            "Not tried: more follows from the setting than its rows, so only a config with another setting "
            "tells what it is worth."
        )
    if told.shapes:
        notes.append(
            f"Left out: {many(told.shapes, 'place')} of the meals themselves, where one more would be "
            "another plan, and how often one item may be used at all."
        )
    return [cell(text, STYLES["quiet"]) for text in notes]


def _soft(case: Case, told: Told) -> list[RenderableType]:
    whose = "the relaxation" if told.value is None else "the menu"
    if not told.soft:
        return [heading("Soft limits"), cell(f"They cost {whose} nothing: all are kept.")]
    total = sum(c.cost for c in told.soft)
    parts: list[RenderableType] = [heading(f"Soft limits cost {whose} {percent(total)} of liking")]
    for c in told.soft[:SHOWN]:
        side = "too little" if c.low_side else "too much"
        alike = f", {c.rows} times" if c.rows > 1 else ""
        text = f"{c.reading.label}: {side}{alike}; costs {percent(c.cost)}; {place(case, c.origin)}"
        parts.append(marked(soft_sign(), text))
    if len(told.soft) > SHOWN:
        rest = sum(c.cost for c in told.soft[SHOWN:])
        parts.append(cell(f"and {len(told.soft) - SHOWN} more, {percent(rest)} together", STYLES["quiet"]))
    return parts
