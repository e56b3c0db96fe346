"""How what a menu takes grows with the length of the stay: lines of cases and fitted exponents."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from optimenu.studies.grid import DAYS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from optimenu.studies.folder import Row

T_975 = {1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 6: 2.447, 7: 2.365, 8: 2.306}
"""0.975 quantiles of Student's t by degrees of freedom, from any table; more degrees take the last."""
TOTALS = {"mass_kg": "kg", "volume_l": "L", "water_l": "L"}
"""Totals that are fitted, with their units; each has its figure a person-day beside it."""
CAPS = ("stowage.", "water.")
"""Keys of the limits on these totals begin so."""


def fit(x: Sequence[float], y: Sequence[float]) -> tuple[float, float]:
    """Exponent of y = a x**b by least squares on the logarithms, and half its 95 % interval.

    Raises
    ------
    ValueError
        For fewer than three points: no interval.
    """
    if len(x) < 3:
        msg = "an interval needs three points or more"
        raise ValueError(msg)
    u, v = np.log(x), np.log(y)
    d = u - u.mean()
    slope = float(d @ v / (d @ d))
    rest = v - v.mean() - slope * d
    free = len(x) - 2
    error = float(np.sqrt(rest @ rest / free / (d @ d)))
    return slope, T_975[min(free, max(T_975))] * error


@dataclass(frozen=True)
class Line:
    """Cases that differ in one axis only, in its order.

    Attributes
    ----------
    axis : str
        What varies along the line.
    fixed : mapping of axis to text
        What all its cases share, of that which others have differently.
    rows : tuple of Row
        Answered cases, shortest stay first where the axis is the stay's length.
    """

    axis: str
    fixed: Mapping[str, str]
    rows: tuple[Row, ...]

    @property
    def menus(self) -> tuple[Row, ...]:
        """Cases with a menu."""
        return tuple(r for r in self.rows if r.answer is not None and r.answer.end == "menu")


def lines(rows: Sequence[Row]) -> list[Line]:
    """Return the answered cases of a study as lines, in the order in which their first case stands.

    The axis is ``days`` where some case varies it, else the last axis with more than one value.
    """
    names = list(dict.fromkeys(name for row in rows for name in row.case.labels))
    several = [n for n in names if len({row.case.labels.get(n) for row in rows}) > 1]
    axis = DAYS if DAYS in names else (several or names or [""])[-1]
    others = [n for n in several if n != axis]
    groups: dict[tuple[str, ...], list[Row]] = {}
    for row in rows:
        groups.setdefault(tuple(row.case.labels.get(n, "") for n in others), []).append(row)
    found = []
    for values, members in groups.items():
        answered = [r for r in members if r.answer is not None]
        if axis == DAYS:
            answered.sort(key=lambda r: (int(r.case.labels.get(DAYS, "0")), r.case.number))
        if answered:
            found.append(Line(axis, dict(zip(others, values, strict=True)), tuple(answered)))
    return found


def number(row: Row, name: str) -> float | None:
    """Return a figure of a case as a number; None where there is none."""
    value = None if row.answer is None else row.answer.figures.get(name)
    return float(value) if isinstance(value, int | Decimal) else None


@dataclass(frozen=True)
class Growth:
    """How a total grows along a line.

    Attributes
    ----------
    count : int
        Cases fitted.
    exponent, half : float
        Of the total in the number of dates, and half its 95 % interval; 1 is so much a day, whatever the
        length.
    least, most : float
        A person-day's part, over the cases of the line.
    """

    name: str
    count: int
    exponent: float
    half: float
    least: float
    most: float

    @property
    def repeats(self) -> bool:
        """True when the interval holds 1: each day takes as much, whatever the length."""
        return abs(self.exponent - 1) <= self.half


def growths(line: Line) -> list[Growth]:
    """Fit the totals of a line of lengths; none where fewer than three lengths have a menu.

    Menus that a cap on one of them presses are left out while three others remain: of those the cap tells
    what they take, not the length.
    """
    free = [r for r in line.menus if not pressed(r)]
    rows = free if len({number(r, "dates") for r in free}) > 2 else line.menus
    dates = [number(r, "dates") or 0.0 for r in rows]
    if line.axis != DAYS or len(set(dates)) < 3:
        return []
    found = []
    for name in TOTALS:
        totals = [number(r, name) or 0.0 for r in rows]
        each = [number(r, f"{name}_person_day") or 0.0 for r in rows]
        if min(totals) > 0:
            found.append(Growth(name, len(rows), *fit(dates, totals), min(each), max(each)))
    return found


def pressed(row: Row) -> bool:
    """Tell whether a cap on mass, volume or water is the crew's limit that costs a case most."""
    said = None if row.answer is None else row.answer.figures.get("binding_shared")
    return isinstance(said, str) and said.rpartition("[")[2].startswith(CAPS)


def stretches(rows: Iterable[Row], what: Callable[[Row], str]) -> list[tuple[str, Row, Row]]:
    """Return runs of neighbouring cases that are alike in something: it, the first and the last of each."""
    found = []
    for key, group in groupby(rows, what):
        members = list(group)
        found.append((key, members[0], members[-1]))
    return found
