"""Figures of a drill as they are written."""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal
from math import ceil, floor
from typing import TYPE_CHECKING

from optimenu.rules.base import plain

if TYPE_CHECKING:
    from collections.abc import Iterable
    from fractions import Fraction


def percent(level: Fraction | Decimal, *, up: bool = False) -> str:
    """Write a level in per cent to one decimal, down unless a bound asks for up."""
    tens = level * 1000
    whole = ceil(tens) if up else floor(tens)
    return f"{Decimal(whole) / 10:.1f} %"


def kcal(value: Decimal) -> str:
    """Write energy in whole kcal, rounded down."""
    return f"{value.quantize(Decimal(1), ROUND_FLOOR):,}"


def litres(ml: Iterable[Decimal]) -> str:
    """Write mL as litres, from the least to the most."""
    values = list(ml)
    low, high = min(values) / 1000, max(values) / 1000
    return f"{plain(low)} L" if low == high else f"{plain(low)} to {plain(high)} L"
