"""Proves again what is claimed of the least liking, and of the mean beside it, from their multipliers.

Both claims rest on a bound B of the Program in which each person's worth has some price q, none negative,
with the price s of soft breaches as it is: ``sum q worth - s <= B`` for every menu.

The least liking l: ``worth >= l best`` for everybody, so ``T l - s <= B`` with ``T = sum q best``. When T
is 1 or more, ``l - s`` is at most ``B / T``, whatever s: it grows with l up to ``B / T`` and no further.

The mean m of menus with ``l - s >= z``: with any k of 1 or more, m is at most
``k B - sum (k q - p) worth + (k - 1) s``
where p are the prices of the mean. When no ``k q - p`` is negative and their sum times the bests, R, is no
less than ``k - 1``, that is at most ``k B - R z``, because ``worth >= (z + s) best``.

All in fractions; of the code that makes the claims only that is used which puts prices into a Program.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from optimenu.audit.bound import check_bound
from optimenu.errors import AuditFailed
from optimenu.program.build import PRICE_DECIMALS, priced
from optimenu.program.page import GOAL_DECIMALS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimenu.audit.menu import Report
    from optimenu.program.certificate import Certificate
    from optimenu.program.program import Program
    from optimenu.solve.liking import Scale

_MOST = 10**6
"""No price and no factor is as large; what is larger is no claim of ours."""


@dataclass(frozen=True)
class Claims:
    """What is claimed of the least liking and of the mean beside it.

    Attributes
    ----------
    value, bound : Decimal
        Least liking less the price of soft breaches, and what no menu exceeds.
    mean_value, mean_bound : Decimal
        Mean liking less that price, and what no menu exceeds whose least liking is no lower than ``value``.
    prices, mean_prices : tuple of Decimal
        Prices of each person's worth at which the two bounds are proved.
    factor : Decimal
        k above.
    """

    value: Decimal
    bound: Decimal
    mean_value: Decimal
    mean_bound: Decimal
    prices: tuple[Decimal, ...]
    mean_prices: tuple[Decimal, ...]
    factor: Decimal

    @classmethod
    def of(cls, record: Mapping[str, Any], people: Sequence[str]) -> Claims:
        """Read what a record claims.

        Raises
        ------
        AuditFailed
            When something is missing or no number.
        """
        try:
            data = record["least"]
            return cls(
                _number(data["value"]),
                _number(data["bound"]),
                _number(record["value"]),
                _number(record["bound"]),
                tuple(_number(data["prices"][p]) for p in people),
                tuple(_number(data["mean_prices"][p]) for p in people),
                _number(data["mean_factor"]),
            )
        except (KeyError, TypeError, ArithmeticError):
            raise AuditFailed("the record does not say what is claimed of the least liking") from None


def _number(text: Any) -> Decimal:
    if not isinstance(text, str):
        raise TypeError
    value = Decimal(text)
    if not value.is_finite():
        raise TypeError
    return value


def check_least(worth: Program, scale: Scale, certificate: Certificate, prices: Sequence[Decimal]) -> Decimal:
    """Return what no menu's least liking, less the price of soft breaches, exceeds.

    Parameters
    ----------
    worth : Program
        As ``build`` returns it.

    Raises
    ------
    AuditFailed
        When the prices are not such that anything follows, or the certificate does not hold.
    """
    _usable(prices, scale)
    total = _times_best(map(Fraction, prices), scale)
    if total < 1:
        raise AuditFailed("the persons' weights in the bound on the least liking sum to less than 1")
    proved = _proved(worth, prices, certificate)
    return _up(Fraction(proved, 10**GOAL_DECIMALS) / total)


def check_mean(
    worth: Program,
    scale: Scale,
    certificate: Certificate,
    prices: Sequence[Decimal],
    factor: Decimal,
    level: Decimal,
) -> Decimal:
    """Return what no menu's mean exceeds if its least liking, less the soft price, is at least ``level``.

    Raises
    ------
    AuditFailed
        As ``check_least`` does.
    """
    _usable(prices, scale)
    if not 1 <= factor < _MOST:
        raise AuditFailed(f"the factor {factor} in the bound on the mean is not 1 or more")
    k = Fraction(factor)
    rest = [k * Fraction(q) - Fraction(p) for q, p in zip(prices, scale.prices, strict=True)]
    if min(rest) < 0:
        raise AuditFailed("a person weighs less in the bound on the mean than in the mean itself")
    total = _times_best(rest, scale)
    if total < k - 1:
        raise AuditFailed("the persons' weights in the bound on the mean sum to less than its factor asks")
    proved = _proved(worth, prices, certificate)
    return _up(k * Fraction(proved, 10**GOAL_DECIMALS) - total * Fraction(level))


def others_bound(
    worth: Program,
    scale: Scale,
    certificate: Certificate,
    prices: Sequence[Decimal],
    person: int,
    level: Decimal,
) -> Decimal:
    """Return what the others' mean, less the price of soft breaches, exceeds in no menu that gives a level.

    Parameters
    ----------
    prices : sequence of Decimal
        At which the certificate holds: of the others' worth those that make their mean liking of it.
    person : int
        Whose liking is at least ``level``.

    Raises
    ------
    AuditFailed
        When the certificate does not hold.
    """
    _usable(prices, scale)
    proved = _proved(worth, prices, certificate)
    # worth >= level best, at a price that is not negative
    own = Fraction(prices[person]) * Fraction(scale.best[person]) * Fraction(level)
    return _up(Fraction(proved, 10**GOAL_DECIMALS) - own)


def _usable(prices: Sequence[Decimal], scale: Scale) -> None:
    if len(prices) != len(scale.best):
        raise AuditFailed(f"a bound has {len(prices)} prices for {len(scale.best)} people")
    for price in prices:
        places = price.as_tuple().exponent
        if not 0 <= price < _MOST or not isinstance(places, int) or places < -PRICE_DECIMALS:
            text = f"the price {price} in a bound is not from 0 on, with {PRICE_DECIMALS} decimals at most"
            raise AuditFailed(text)


def _proved(worth: Program, prices: Sequence[Decimal], certificate: Certificate) -> int:
    """What the certificate proves of the program at some prices, whole goal units."""
    try:
        program = priced(worth, prices)
    except OverflowError as error:
        raise AuditFailed(f"{error}: {max(prices)}") from None
    return check_bound(program, certificate).proved


def _times_best(prices: Any, scale: Scale) -> Fraction:
    return sum((p * Fraction(b) for p, b in zip(prices, scale.best, strict=True)), Fraction(0))


def _up(value: Fraction) -> Decimal:
    whole = value * 10**GOAL_DECIMALS
    return Decimal(-(-whole.numerator // whole.denominator)).scaleb(-GOAL_DECIMALS)


@dataclass(frozen=True)
class LeastProof:
    """What stands of the claims.

    Attributes
    ----------
    faults : tuple of str
        Claims that do not stand, a sentence each.
    least, mean : Decimal or None
        The bounds that the multipliers prove; None where they prove none.
    """

    faults: tuple[str, ...]
    least: Decimal | None
    mean: Decimal | None


def prove_least(
    worth: Program,
    scale: Scale,
    certificates: tuple[Certificate | None, Certificate | None],
    report: Report,
    claims: Claims,
    *,
    planned: bool = True,
) -> LeastProof:
    """Prove both bounds again and hold the claims against them and the audited menu.

    Parameters
    ----------
    certificates : pair of Certificate or None
        Of the least liking, and of the mean.
    planned : bool
        Whether the menu audited is the one the claims speak of; another's value is not held against them.
    """
    faults: list[str] = []
    found: list[Decimal | None] = []
    kinds = ("the least liking", "the mean")
    for k, (kind, certificate) in enumerate(zip(kinds, certificates, strict=True)):
        try:
            if certificate is None:
                raise AuditFailed("there is no certificate")
            found.append(
                check_mean(worth, scale, certificate, claims.mean_prices, claims.factor, claims.value)
                if k
                else check_least(worth, scale, certificate, claims.prices)
            )
        except AuditFailed as error:
            faults.append(f"{kind}: {error}")
            found.append(None)
    least, mean = found
    if least is not None and claims.bound < least:
        faults.append(
            f"the bound {claims.bound} on the least liking is claimed, its multipliers prove {least}"
        )
    if mean is not None and claims.mean_bound < mean:
        faults.append(f"the bound {claims.mean_bound} is claimed, the multipliers prove {mean}")
    if report.holds and planned and claims.value != report.least:
        faults.append(f"the least liking {claims.value} is claimed, the menu's is {report.least}")
    if report.holds and planned and claims.mean_value != report.value:
        faults.append(f"the value {claims.mean_value} is claimed, the menu is worth {report.value}")
    if report.holds and least is not None and report.least > least:
        faults.append(f"the menu's least liking is {report.least}, more than the bound {least}")
    if report.holds and mean is not None and report.least >= claims.value and report.value > mean:
        faults.append(f"the menu is worth {report.value}, more than the bound {mean}")
    return LeastProof(tuple(faults), least, mean)
