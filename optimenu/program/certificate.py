"""A claim about a Program: no choice scores more than this, and the multipliers that prove it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

HIGH, LOW = 0, 1
"""Sides of a row that a cut leans on."""


@dataclass(frozen=True)
class Cut:
    """How a further limit follows from rows of a Program because menus are whole numbers.

    Mixed-integer rounding (Nemhauser and Wolsey, 1990, Mathematical Programming 46, 379-390). Rows times
    multipliers add up to an equation ``sum a x + sum c s = b`` over columns, uses of worth groups (the
    k-th use of a group is 1 when it has at least k uses) and the rows' slacks, all of them whole numbers
    of their units. With everything counted from its low end, or where turned from its high end, and ``b``
    no whole number but ``f`` above one, every menu keeps

        sum ((1 - f) floor(a) + max(0, a - floor(a) - f)) x  + the like for s  <=  (1 - f) floor(b).

    Then the slacks are written out as limit less activity, or activity less limit on a low side; the
    whole is divided by ``unit`` and rounded down: the coefficients, because neither columns nor uses are
    negative, then the limit, because what stands against it is a whole number.

    Attributes
    ----------
    parts : int
        The multipliers count in ``1 / parts``.
    unit : int
        Divisor of the finished coefficients, which count in ``1 / parts`` too.
    kins : tuple of (kin, multiplier, side)
        Every row of that ``row_kin`` takes part, leaning on that side, per unit of its last decimal.
    links : tuple of (group, multiplier)
        Uses counted by the group's columns less the uses themselves: always 0, taken as a high side.
    cuts : tuple of (number, multiplier)
        Earlier cuts that take part, per unit of their coefficients.
    turned : tuple of int
        Column classes counted from their high end.
    turned_uses : tuple of int
        Uses counted from their high end, by their places in ``deduction``.
    cover : (group, class, n), or empty
        Instead of all that: whichever of the group's columns is used, at least ``n`` extra columns of the
        class are then 1 or more, so ``n`` times the group's first use less the class is at most 0.
    later : (group, a, b), or empty
        Instead of all that: no use of the group comes before its first, so its ``a``-th to ``b``-th uses
        less ``b - a + 1`` times the first are at most 0.
    """

    parts: int
    unit: int
    kins: tuple[tuple[int, int, int], ...] = ()
    links: tuple[tuple[int, int], ...] = ()
    cuts: tuple[tuple[int, int], ...] = ()
    turned: tuple[int, ...] = ()
    turned_uses: tuple[int, ...] = ()
    cover: tuple[int, ...] = ()
    later: tuple[int, ...] = ()


@dataclass(frozen=True, eq=False)
class Certificate:
    """Row multipliers and the bound they prove by weak duality.

    The multiplier of row ``r`` per unit of its last decimal is ``multiplier[r] / 2**shift`` in units
    of ``10**-goal_decimals`` of the program. Positive multipliers price the row's high side, negative
    ones its low side. ``bound`` is in units of ``10**-goal_decimals``, rounded up to a whole number.

    Attributes
    ----------
    digest : str
        SHA-256 of the Program meant.
    shift : int
        Binary places of the multipliers.
    rows : int64 (k,)
        Numbers of the rows with a multiplier that is not zero, rising.
    multiplier : tuple of int, length k
    bound : int
    groups : int64 (j,)
        Numbers of the worth groups with a link multiplier that is not zero, rising.
    use_worth : tuple of int, length j
        The link multipliers, in the rows' units. A column that counts in several groups (a dish shared
        by several people) earns in each its link multiplier and an equal part of what is left of its
        gain less cost, rounded down, the odd units going to its first groups. Any numbers give a true
        bound.
    cuts : tuple of Cut
        Further limits in the order in which they follow from each other.
    cut_price : tuple of int
        Multiplier of each cut per unit of its coefficients, like the rows'; 0 for those that serve only
        others.
    """

    digest: str
    shift: int
    rows: np.ndarray
    multiplier: tuple[int, ...]
    bound: int
    groups: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    use_worth: tuple[int, ...] = ()
    cuts: tuple[Cut, ...] = ()
    cut_price: tuple[int, ...] = ()

    def to_json(self) -> str:
        """Return the certificate as JSON; whole numbers only."""
        data: dict[str, Any] = {
            "digest": self.digest,
            "shift": self.shift,
            "bound": self.bound,
            "rows": [int(r) for r in self.rows],
            "multiplier": list(self.multiplier),
            "groups": [int(g) for g in self.groups],
            "use_worth": list(self.use_worth),
            "cuts": [asdict(cut) for cut in self.cuts],
            "cut_price": list(self.cut_price),
        }
        return json.dumps(data, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Certificate:
        """Read what ``to_json`` wrote; without cuts where they are not spoken of.

        Raises
        ------
        ValueError
            When a field is missing or no whole number.
        """
        data = json.loads(text)
        try:
            if not isinstance(data["digest"], str):
                raise TypeError
            return cls(
                digest=data["digest"],
                shift=_whole(data["shift"]),
                rows=np.asarray(_wholes(data["rows"]), dtype=np.int64),
                multiplier=_wholes(data["multiplier"]),
                bound=_whole(data["bound"]),
                groups=np.asarray(_wholes(data["groups"]), dtype=np.int64),
                use_worth=_wholes(data["use_worth"]),
                cuts=tuple(map(_cut, _list(data.get("cuts", [])))),
                cut_price=_wholes(data.get("cut_price", [])),
            )
        except (KeyError, TypeError, ValueError, OverflowError) as fault:
            msg = "not a certificate: a field is missing or no whole number"
            raise ValueError(msg) from fault


def _whole(value: Any) -> int:
    if type(value) is not int:
        raise TypeError
    return value


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise TypeError
    return value


def _wholes(value: Any) -> tuple[int, ...]:
    return tuple(map(_whole, _list(value)))


def _cut(entry: dict[str, Any]) -> Cut:
    kins = (_wholes(part) for part in _list(entry["kins"]))
    links = (_wholes(part) for part in _list(entry["links"]))
    cuts = (_wholes(part) for part in _list(entry["cuts"]))
    return Cut(
        parts=_whole(entry["parts"]),
        unit=_whole(entry["unit"]),
        kins=tuple((kin, times, side) for kin, times, side in kins),
        links=tuple((group, times) for group, times in links),
        cuts=tuple((number, times) for number, times in cuts),
        turned=_wholes(entry["turned"]),
        turned_uses=_wholes(entry["turned_uses"]),
        cover=_wholes(entry["cover"]),
        later=_wholes(entry["later"]),
    )
