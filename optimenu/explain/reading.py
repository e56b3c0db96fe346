"""Limits as a person finds and changes them: rows alike as one, in the rule's own words and units."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from optimenu.explain.words import undated, words_of
from optimenu.menu.menu import Menu
from optimenu.menu.tally import Tally

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from optimenu.config.case import Case
    from optimenu.program.origin import Origin
    from optimenu.rules.base import Measure

ZERO = Decimal(0)
COUNTS = frozenset({"servings", "packs", "items", "lines", "days", "kinds"})
"""Units of which there are only whole numbers."""
_LARGER = {"g": "kg", "mL": "L"}
_LARGE = 10_000


class Alike(NamedTuple):
    """What rows have in common that are one limit to a person; one side of them."""

    rule: str
    key: str
    person: str
    what: str
    low_side: bool

    @classmethod
    def of(cls, origin: Origin, *, low_side: bool) -> Alike:
        """Return what a row's limit is known by."""
        return cls(origin.rule, origin.key, origin.person, origin.what, low_side)


@dataclass(frozen=True)
class Reading:
    """How a limit reads.

    Attributes
    ----------
    label : str
        What is limited, for whom; of rows that differ in the day, without the day.
    unit : str
        Unit a person reads it in; empty for a ratio.
    limit : Decimal or None
        The limit in that unit; None where rows alike have several, or no rule tells it.
    per : Decimal
        Units of the row's limit that make one such unit.
    steady : bool
        False where ``per`` depends on what is eaten (a share of energy, a ratio): it is then that of the menu
        at hand.
    told : bool
        False where no rule says more of it than its key.
    """

    label: str
    unit: str
    limit: Decimal | None
    per: Decimal
    steady: bool = True
    told: bool = True

    @property
    def whole(self) -> bool:
        """True where it moves by whole numbers only: counts, and what no rule names a unit of."""
        return self.unit in COUNTS or not self.told


class Readings:
    """Words and units for origins, from the rules' own measures of a menu and of nothing.

    Parameters
    ----------
    case : Case
    menu : Menu, optional
        Without one, limits that depend on what is eaten read in the units of their rows.
    """

    def __init__(self, case: Case, menu: Menu | None = None) -> None:
        self._problem = case.problem
        self._rules = {rule.table: rule for rule in case.rules}
        self._found: dict[tuple[Origin, bool], Measure] = {}
        # of nothing first: a menu knows more limits, and says more of those that depend on it
        for each in (Menu.of(()), menu):
            if each is not None:
                tally = Tally.of(case.problem, each)
                for rule in case.rules:
                    self._take(rule.measures(tally))

    def shapes(self, origin: Origin) -> bool:
        """Tell whether a promise lays down the shape of the meals."""
        rule = self._rules.get(origin.rule)
        return rule is not None and rule.shapes(origin)

    def rows_alone(self, origin: Origin) -> bool:
        """Tell whether to change its setting is to move the limits of its rows, no more."""
        rule = self._rules.get(origin.rule)
        return rule is None or rule.rows_alone(origin)

    def _take(self, measures: Iterable[Measure]) -> None:
        found: dict[tuple[Origin, bool], Measure] = {}
        for m in measures:
            for low_side in (True, False):
                if (m.low if low_side else m.high) is not None:
                    found[m.origin, low_side] = m
        for key, m in found.items():
            if key not in self._found or _per(m, low_side=key[1])[0]:
                self._found[key] = m

    def of(self, origins: Sequence[Origin], *, low_side: bool) -> Reading:
        """Read a limit off the first of its rows that a rule has words for."""
        known = [m for o in origins if (m := self._found.get((o, low_side))) is not None]
        if not known:
            several = len({o.what for o in origins}) > 1
            first = replace(origins[0], what="several things") if several else origins[0]
            return Reading(self._words(first), "", None, Decimal(1), told=False)
        m = known[0]
        per, steady = _per(m, low_side=low_side)
        limits = {_limit(k, low_side=low_side) for k in known}
        limit = limits.pop() if len(limits) == 1 else None
        unit = m.unit if m.shown is None else m.shown.unit
        if not per:
            # without a menu the row's own sum is all there is to tell
            return Reading(self._label(m, origins), m.unit, None, Decimal(1), steady=False)
        if unit in _LARGER and limit is not None and abs(limit) >= _LARGE:
            unit, limit, per = _LARGER[unit], limit / 1000, per * 1000
        return Reading(self._label(m, origins), unit, limit, per, steady)

    def _label(self, m: Measure, origins: Sequence[Origin]) -> str:
        if len({o.what for o in origins}) > 1:
            return self._words(replace(origins[0], what="several things"))
        return undated(self._problem, m) if len(origins) > 1 else m.label

    def _words(self, origin: Origin) -> str:
        """Name a promise by person, what and key, where its rule says nothing of the menu."""
        last = " ".join(origin.key.replace("_", " ").split(".")[-2:])
        return f"{words_of(self._problem, replace(origin, day=-1))} ({last})"


def _limit(m: Measure, *, low_side: bool) -> Decimal | None:
    if m.shown is not None:
        return m.shown.low if low_side else m.shown.high
    return m.low if low_side else m.high


def _per(m: Measure, *, low_side: bool) -> tuple[Decimal, bool]:
    """Row units in one unit as read, 0 where that cannot be told; and whether it is always so."""
    if m.shown is None:
        return Decimal(1), True
    row = m.low if low_side else m.high
    read = _limit(m, low_side=low_side)
    if row is None or read is None or read == m.shown.value:
        return ZERO, bool(row)
    # what lies between value and limit, in both units; part of a limit may be given, so the limits
    # themselves do not tell
    value = m.least if low_side else m.most
    return (row - value) / (read - m.shown.value), bool(row)


def place(case: Case, origin: Origin) -> str:
    """Config key of a limit, with its file and line."""
    return f"{origin.key} at {case.where(origin.key)}"
