"""Reading the data files of this package, each once."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any


def _text(name: str) -> str:
    return (files("optimenu.nutrition") / "data" / name).read_text(encoding="utf-8")


@cache
def rows(name: str) -> tuple[Mapping[str, str], ...]:
    """Rows of a CSV data file, cells as written; an empty cell is an empty string."""
    return tuple(MappingProxyType(row) for row in csv.DictReader(_text(name).splitlines()))


@cache
def equations() -> Mapping[str, Any]:
    """The energy equations; every number is a `Decimal` as written."""
    read: dict[str, Any] = json.loads(_text("energy_equations.json"), parse_float=Decimal, parse_int=Decimal)
    return MappingProxyType(read)


def number(cell: str) -> Decimal | None:
    """Return the cell as a decimal, None if the table has no value there."""
    return Decimal(cell) if cell else None


def in_band(row: Mapping[str, str], sex: str, age: int) -> bool:
    """Whether a row of a table by sex and age band speaks of this person."""
    oldest = row["age_to"]
    return row["sex"] == sex and int(row["age_from"]) <= age and (not oldest or age <= int(oldest))
