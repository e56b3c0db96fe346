"""Settings of the galley rule, and the figures that hold on a day kind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from optimenu.errors import nearest
from optimenu.rules.base import SettingFault
from optimenu.settings import NonNegative, Positive, Role, Settings, Span, Unit, Whole

if TYPE_CHECKING:
    from collections.abc import Iterator
    from decimal import Decimal

    from optimenu.problem.problem import Problem

TOGETHER = (("rounds", "round_min"), ("hot_ready_l", "hot_l_per_min", "hot_minutes"))
"""Figures that mean nothing without each other."""


class FiguresTable(Settings):
    """What the galley can do for one sitting."""

    places: Annotated[Whole, Unit("places")] | None = None
    """Places in the heaters; 0 where there is no heat."""
    packs_per_place: Annotated[Whole, Span(least=1)] | None = None
    """Packs that one place heats at a time."""
    rounds: Annotated[Whole, Span(least=1), Unit("rounds")] | None = None
    """Most rounds of the heaters for one sitting."""
    round_min: Annotated[Positive, Unit("min")] | None = None
    """Minutes of one round; what needs longer in a heater place is left out."""
    minutes: Annotated[Positive, Unit("min")] | None = None
    """Minutes the heaters run for one sitting; what needs longer in a heater place is left out."""
    hot_ready_l: Annotated[NonNegative, Unit("L")] | None = None
    """Hot water ready at the start of a sitting."""
    hot_l_per_min: Annotated[Positive, Unit("L/min")] | None = None
    """Hot water made while it is drawn, and between sittings."""
    hot_minutes: Annotated[NonNegative, Unit("min")] | None = None
    """Minutes over which the hot water of a sitting is drawn."""
    prep_min: Annotated[NonNegative, Unit("min")] | None = None
    """Minutes of work by hand for one sitting, the cooks together."""


class GalleySettings(FiguresTable):
    """The galley at each sitting; what is not set is not limited."""

    packs_per_place: Annotated[Whole, Span(least=1)] | None = 1
    """Packs that one place heats at a time."""
    meals: tuple[str, ...] = ()
    """Meals meant; every meal of the plan days when empty. What is heated at the others is not counted."""
    on: dict[str, FiguresTable] = Field(default_factory=dict)
    """Other figures on a day kind, line by line."""
    who: Role = "planner"
    """Who may loosen these limits."""

    def figures(self, kind: str) -> FiguresTable:
        """Figures on a day kind: the narrower table wins, line by line."""
        own = self.on.get(kind)
        named = FiguresTable.model_fields
        base = {name: getattr(self, name) for name in named}
        narrow = {n: v for n in named if own is not None and (v := getattr(own, n)) is not None}
        return FiguresTable(**{**base, **narrow})

    def keys(self, kind: str, field: str) -> tuple[str, ...]:
        """Where a figure is written that holds on a day kind: keys inside the table."""
        own = self.on.get(kind)
        return ("on", kind, field) if own is not None and getattr(own, field) is not None else (field,)


def window(figures: FiguresTable) -> Decimal | None:
    """Longest time the heaters run for a sitting, minutes; None when that is not limited."""
    spans = [figures.minutes] if figures.minutes is not None else []
    if figures.rounds is not None and figures.round_min is not None:
        spans.append(figures.rounds * figures.round_min)
    return max(spans, default=None)


def figure_faults(settings: GalleySettings, problem: Problem) -> Iterator[SettingFault]:
    """Names the problem lacks, tables that say nothing, figures that need one another, unknown minutes."""
    named = tuple(dict.fromkeys(m.name for d in problem.cycle for m in d.meals))
    for name in settings.meals:
        if name not in named:
            yield SettingFault(("meals",), f'no meal "{name}".{nearest(name, named)}')
    for kind, own in settings.on.items():
        if kind not in problem.every_kind:
            yield SettingFault(("on", kind), f'no day kind "{kind}".{nearest(kind, problem.every_kind)}')
        elif all(getattr(own, name) is None for name in FiguresTable.model_fields):
            yield SettingFault(("on", kind), "set at least one figure")
    told: dict[tuple[tuple[str, ...], str], None] = {}
    for kind in problem.kinds:
        for field, text in _missing(settings.figures(kind)):
            told[settings.keys(kind, field), text] = None
    for keys, text in told:
        yield SettingFault(keys, text)
    items = problem.catalogue.items
    every = [settings.figures(kind) for kind in problem.kinds]
    for field, column in (("places", "heat_min"), ("prep_min", "prep_min")):
        asked = any(getattr(f, field) is not None for f in every)
        if asked and items and all(getattr(i, column) is None for i in items):
            text = f"no item of the catalogue states {column}, so nothing could be served; add that column"
            yield SettingFault((field,), text)


def _missing(f: FiguresTable) -> Iterator[tuple[str, str]]:
    """Figures without the others they need: the one that is set, and what to do."""
    for group in TOGETHER:
        given = [n for n in group if getattr(f, n) is not None]
        lacks = [n for n in group if getattr(f, n) is None]
        if given and lacks:
            yield given[0], f"needs {' and '.join(lacks)} as well"
    if f.places is not None and window(f) is None:
        yield "places", "limits nothing alone; set rounds and round_min, or minutes"
    if f.places is None:
        for name in ("rounds", "minutes"):
            if getattr(f, name) is not None:
                yield name, "needs places as well"
                break
