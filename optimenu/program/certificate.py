"""A claim about a Program: no choice scores more than this, and the multipliers that prove it."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

import numpy as np


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
    """

    digest: str
    shift: int
    rows: np.ndarray
    multiplier: tuple[int, ...]
    bound: int
    groups: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    use_worth: tuple[int, ...] = ()

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
        }
        return json.dumps(data, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Certificate:
        """Read what ``to_json`` wrote.

        Raises
        ------
        ValueError
            When a field is missing or no whole number.
        """
        data = json.loads(text)
        try:
            numbers = [data["shift"], data["bound"]]
            for name in ("rows", "multiplier", "groups", "use_worth"):
                numbers += data[name]
            if any(type(v) is not int for v in numbers) or not isinstance(data["digest"], str):
                raise TypeError
            return cls(
                digest=data["digest"],
                shift=data["shift"],
                rows=np.asarray(data["rows"], dtype=np.int64),
                multiplier=tuple(data["multiplier"]),
                bound=data["bound"],
                groups=np.asarray(data["groups"], dtype=np.int64),
                use_worth=tuple(data["use_worth"]),
            )
        except (KeyError, TypeError, OverflowError) as fault:
            msg = "not a certificate: a field is missing or no whole number"
            raise ValueError(msg) from fault
