"""Parts of the mean liking as they are read."""

from __future__ import annotations

from decimal import Decimal

from optimenu.rules.base import plain


def percent(value: Decimal | float | None) -> str:
    """Write a part of the mean liking in per cent; what is too small to read is called that."""
    if value is None:
        return "?"
    text = plain(Decimal(value) * 100, 3)
    if text in ("0", "-0"):
        return "under 0.001 %" if value else "0 %"
    return f"{text} %"
