"""Limits in words and numbers, from what their rules say of a menu of nothing."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from optimenu.menu.menu import Menu
from optimenu.menu.tally import Tally

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from decimal import Decimal
    from typing import Any

    from optimenu.explain.board import Grain
    from optimenu.problem.problem import Problem
    from optimenu.program.origin import Origin
    from optimenu.rules.base import Measure, Rule

_SKIPPED = {"prescriptions", "people", "nutrients", "repeats", "avoid", "limits", "reference"}
"""Parts of a key that say nothing more beside a person's name."""


def measures_of_nothing(problem: Problem, rules: Sequence[Rule[Any]]) -> Mapping[Origin, Measure]:
    """Every rule's own words and units for its promises, read off a menu of nothing."""
    tally = Tally.of(problem, Menu.of(()))
    return {m.origin: m for rule in rules for m in rule.measures(tally)}


def words_of(problem: Problem, origin: Origin) -> str:
    """Name a promise by person, day, meal and what, where its rule says nothing of an empty menu."""
    day = problem.days[origin.day].label if origin.day >= 0 else ""
    where = ", ".join(p for p in (origin.person, day, origin.meal) if p)
    item = problem.catalogue.by_id.get(origin.what)
    what = item.name if item is not None else origin.what.replace("_", " ") or origin.key
    return f"{where}: {what}" if where else what


def label_of(problem: Problem, grain: Grain, measures: Sequence[Measure]) -> str:
    """Name a limit: in its rule's words, without the days it does not mean alone; else by its key."""
    labels = {undated(problem, m) for m in measures} if measures else set()
    if len(labels) == 1:
        return labels.pop()
    parts = grain.key.split(".")
    if grain.person:
        parts = [p for p in parts if p not in _SKIPPED and p != grain.person]
    # a party's id may stand for several people, a key may name its nutrient already
    if grain.what and grain.what.split(" ")[0] not in parts:
        parts.append(grain.what)
    words = ", ".join(p.replace("_", " ") for p in parts or [grain.rule])
    return f"{grain.person}: {words}" if grain.person else words


def undated(problem: Problem, measure: Measure) -> str:
    """Label of a promise without the day or the run of days it is of."""
    origin, label = measure.origin, measure.label
    if origin.day >= 0:
        label = re.sub(rf"\b{re.escape(problem.days[origin.day].label)}\b", "a day", label, count=1)
    elif origin.run:
        days = sorted(set(origin.run))
        listed = ", ".join(problem.days[d].label.removeprefix("day ") for d in days)
        for said in (f"{len(days)} days, {listed}", problem.days[days[0]].label):
            if said in label:
                return label.replace(said, f"{len(origin.run)} days in a row", 1)
    return label


def narrowest(measures: Iterable[Measure]) -> tuple[Decimal | None, Decimal | None, str]:
    """Greatest floor, least ceiling and their unit, as a person reads them; nothing where units differ."""
    lows, highs, units = [], [], set()
    for m in measures:
        shown = m.shown
        low, high, unit = (m.low, m.high, m.unit) if shown is None else (shown.low, shown.high, shown.unit)
        lows += [] if low is None else [low]
        highs += [] if high is None else [high]
        units.add(unit)
    if len(units) != 1:
        return None, None, ""
    return max(lows, default=None), min(highs, default=None), units.pop()
