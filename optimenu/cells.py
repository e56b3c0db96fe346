"""Cells of a table: text to typed value, or a ValueError that says what is wrong and what to do."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from optimenu.files import choose, quoted, sensible

if TYPE_CHECKING:
    from optimenu.catalogue.columns import Column

Cell = Decimal | int | str | date | tuple[str, ...] | None

FIRST_YEAR, LAST_YEAR = 1900, 2199
"""Years a date may lie in; anything else is a slip of the pen, and shelf lives stay within the calendar."""

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,2})?", re.ASCII)
_DATE = re.compile(r"(\d{4}-\d{2}-\d{2})(?:T00:00:00)?", re.ASCII)
_ID = re.compile(r"[a-z0-9_]{1,80}", re.ASCII)


def wanted(column: Column) -> str:
    """Return what a cell of this column needs, in a few words."""
    if column.kind == "word":
        return f"one of {', '.join(column.words)}"
    if column.unit:
        return column.unit
    kinds = {"whole": "a whole number", "number": "a number", "date": "a date such as 2031-05-09"}
    return kinds.get(column.kind, "a value")


def _number(column: Column, text: str) -> Decimal:
    if not _NUMBER.fullmatch(text):
        if _NUMBER.fullmatch(text.replace(",", ".", 1)) and "," in text:
            raise ValueError(f"{quoted(text)} is not a number; write {text.replace(',', '.', 1)}")
        leave = "" if column.required else "leave it empty if unknown, or "
        raise ValueError(f"{quoted(text)} is not a number; {leave}give {wanted(column)}")
    number = Decimal(text)
    low = column.least is not None and number < Decimal(repr(column.least))
    if low or (column.most is not None and number > Decimal(repr(column.most))):
        unit = f" in {column.unit}" if column.unit else ""
        raise ValueError(f"needs a number{unit}, {_span(column)}, found {text}")
    if not sensible(number):
        raise ValueError(f"{quoted(text)} is too large or too fine to reckon with")
    return number


def _span(column: Column) -> str:
    if column.least is not None and column.most is not None:
        return f"{column.least} to {column.most}"
    return f"{column.least} or more" if column.least is not None else f"{column.most} or less"


def _whole(column: Column, text: str) -> int:
    number = _number(column, text)
    if number != number.to_integral_value():
        raise ValueError(f"needs a whole number, found {text}")
    return int(number)


def _word(column: Column, text: str) -> str:
    if text in column.words:
        return text
    raise ValueError(f"no word {quoted(text)}.{choose(text, column.words)}")


def _list(column: Column, text: str) -> tuple[str, ...]:
    words = tuple(word.strip() for word in text.split(";"))
    if not all(words):
        raise ValueError(f"{quoted(text)} has an empty word; part words by single semicolons")
    if len(set(words)) < len(words):
        raise ValueError(f"{quoted(text)} names a word twice; keep one")
    for word in words:
        if column.words and word not in column.words:
            raise ValueError(f"no word {quoted(word)}.{choose(word, column.words)}")
    return words


def _id(column: Column, text: str) -> str:
    if _ID.fullmatch(text):
        return text
    raise ValueError(f"{quoted(text)} is not an id; use up to 80 lower-case letters, digits, underscores")


def _date(column: Column, text: str) -> date:
    if match := _DATE.fullmatch(text):
        try:
            day = date.fromisoformat(match[1])
        except ValueError:
            raise ValueError(f"{text} is no day of the calendar") from None
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise ValueError(f"needs a date from {FIRST_YEAR} to {LAST_YEAR}, found {text}")
        return day
    raise ValueError(f"needs a date such as 2031-05-09, found {quoted(text)}")


KINDS: dict[str, Callable[[Column, str], Cell]] = {
    "text": lambda column, text: text,
    "number": _number,
    "whole": _whole,
    "word": _word,
    "list": _list,
    "id": _id,
    "date": _date,
}
