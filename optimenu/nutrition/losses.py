"""Losses of nutrients in storage: first order in the age since production, after Arrhenius in temperature.

C = C0 exp(-k t), with k per month at a reference temperature; at another temperature
k(T) = k_ref exp(-Ea/R (1/T - 1/T_ref)). The figures lie in ``data/storage_losses.csv``, which nutrients are
lost at all in ``data/storage_nutrients.csv``, each with its source and how sure it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal, localcontext
from functools import cache
from typing import TYPE_CHECKING

from optimenu.nutrition.tables import number, rows

if TYPE_CHECKING:
    from collections.abc import Mapping

DAYS_PER_MONTH = Decimal("30.4375")
"""Mean days of a month: 365.25 / 12 (Julian year)."""
GAS_CONSTANT = Decimal("8.314462618")
"""J/(mol K): CODATA 2018, exact in the SI of 2019."""
KELVIN = Decimal("273.15")
ROOM_C = Decimal(21)
"""Temperature in deg C at which a catalogue states its losses."""
RETENTION_DECIMALS = 4
"""Of the part that is left: the one place where a loss is rounded, down for floors, up for ceilings."""
FRESH_DAYS = 30
"""Age in days up to which a nutrient without any rate counts in full: common practice, no source."""
ZERO, ONE = Decimal(0), Decimal(1)
_STEP = ONE.scaleb(-RETENTION_DECIMALS)


@dataclass(frozen=True)
class Stored:
    """A nutrient that may be lost in storage.

    Attributes
    ----------
    tag : str
        What rates name it by, such as ``VITC``.
    columns : tuple of str
        Catalogue columns it speaks of.
    strict : bool
        Whether it counts as unknown beyond `FRESH_DAYS` where no rate is stated or published; else it counts
        in full there.
    parts : bool
        Whether it is lost at the rates of its parts: vitamin A, of retinol and of carotenes.
    """

    tag: str
    columns: tuple[str, ...]
    strict: bool
    parts: bool
    source: str
    how_sure: str


@dataclass(frozen=True)
class Stated:
    """A loss as somebody states it.

    Attributes
    ----------
    fast, slow : Decimal
        First-order rate per month, at its most and at its least.
    temperature_c : Decimal
        Temperature it was found at, deg C.
    activation : Decimal or None
        Activation energy in kJ/mol; None when not known.
    """

    fast: Decimal
    slow: Decimal
    temperature_c: Decimal
    activation: Decimal | None
    source: str
    how_sure: str


@dataclass(frozen=True)
class Rate:
    """A loss at the temperature of storage, per month.

    Attributes
    ----------
    fast : Decimal or None
        What floors count with; None: not known, so nothing is counted beyond `FRESH_DAYS`.
    slow : Decimal
        What ceilings count with.
    """

    fast: Decimal | None
    slow: Decimal
    source: str
    how_sure: str


@cache
def stored_nutrients() -> Mapping[str, Stored]:
    """Nutrients for which a loss may be stated, by tag; whatever is not here never changes in storage."""
    return {
        row["nutrient"]: Stored(
            row["nutrient"],
            tuple(row["columns"].split(";")),
            row["without_a_rate"] == "unknown",
            row["without_a_rate"] == "parts",
            row["source"],
            row["how_sure"],
        )
        for row in rows("storage_nutrients.csv")
    }


@cache
def tag_of() -> Mapping[str, str]:
    """Tag of a nutrient that may be lost, by catalogue column."""
    return {column: s.tag for s in stored_nutrients().values() for column in s.columns}


@cache
def published_losses() -> Mapping[tuple[str, str], Stated]:
    """Published losses by (preservation form, nutrient tag)."""
    return {
        (row["form"], row["nutrient"]): Stated(
            Decimal(row["per_month"]),
            Decimal(row["least_per_month"] or row["per_month"]),
            Decimal(row["temperature_c"]),
            number(row["activation_kj_per_mol"]),
            row["source"],
            row["how_sure"],
        )
        for row in rows("storage_losses.csv")
    }


def at_temperature(stated: Stated, celsius: Decimal) -> Rate:
    """Return a stated loss as it is at another temperature.

    Parameters
    ----------
    celsius : Decimal
        Temperature of storage, deg C.

    Notes
    -----
    Without an activation energy nobody can say how much faster a loss is when warmer, or how much slower
    when colder: in warmer storage the rate is unknown to floors and stays as it is for ceilings, in colder
    storage it stays as it is for floors and is nothing for ceilings. No loss at all stays none when colder.
    """
    if stated.activation is not None:
        with localcontext(Context(prec=28)):
            warm, own = celsius + KELVIN, stated.temperature_c + KELVIN
            factor = (-stated.activation * 1000 / GAS_CONSTANT * (1 / warm - 1 / own)).exp()
            return Rate(stated.fast * factor, stated.slow * factor, stated.source, stated.how_sure)
    warmer, colder = celsius > stated.temperature_c, celsius < stated.temperature_c
    return Rate(
        None if warmer else stated.fast, ZERO if colder else stated.slow, stated.source, stated.how_sure
    )


@cache
def left(per_month: Decimal, days: int, *, up: bool) -> Decimal:
    """Part of a nutrient that is left, exp(-k t), four decimals.

    Parameters
    ----------
    per_month : Decimal
        First-order rate k per month of 30.4375 days.
    days : int
        Age since production, 0 or more.
    up : bool
        Round up, for ceilings; down otherwise, for floors.
    """
    with localcontext(Context(prec=28)):
        part = (-per_month * days / DAYS_PER_MONTH).exp()
        return part.quantize(_STEP, ROUND_CEILING if up else ROUND_FLOOR)
