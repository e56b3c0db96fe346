"""What activities cost. Three units, kept apart: the unit of a row decides its formula."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Literal, cast

from optimenu.nutrition.tables import rows

Unit = Literal["met", "times_basal", "kj_per_min"]


@dataclass(frozen=True)
class Activity:
    """One row of the activity table.

    Attributes
    ----------
    id : str
        Word used in a config, lower case with underscores.
    name : str
        The activity as its source names it.
    value : Decimal
        Cost in `unit`.
    unit : {"met", "times_basal", "kj_per_min"}
        "met": per kg of body mass; 1 MET is taken as 1 kcal per kg and hour (Compendium of Physical
        Activities 2011). "times_basal": multiple of the person's own basal rate. "kj_per_min": for
        the whole person, rest counted in.
    code : str
        Code in the source, or empty.
    source : str
        Published source.
    read : {"read", "second-hand", "no source"}
        How sure: read in the source itself, in a copy of it, or a rule of thumb.
    note : str
        What to know, or empty.
    """

    id: str
    name: str
    value: Decimal
    unit: Unit
    code: str
    source: str
    read: str
    note: str


@cache
def activities() -> Mapping[str, Activity]:
    """The activity table by id, in its own order."""
    return MappingProxyType(
        {
            row["id"]: Activity(
                id=row["id"],
                name=row["name"],
                value=Decimal(row["value"]),
                unit=cast("Unit", row["unit"]),
                code=row["code"],
                source=row["source"],
                read=row["read"],
                note=row["note"],
            )
            for row in rows("activities.csv")
        }
    )
