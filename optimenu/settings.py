"""Settings: the base model, and the kinds of value a config may hold.

A setting is declared once, with its kind, unit and meaning; checks, faults, help and JSON Schema
all read that declaration::

    class Sodium(Settings):
        at_most: Annotated[NonNegative, Unit("mg")]
        '''Most in a day.'''

Numbers are decimals as written. Booleans, quoted numbers, ``nan`` and ``inf`` are not numbers.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Strict, WithJsonSchema

from optimenu.cells import FIRST_YEAR, LAST_YEAR
from optimenu.files import clean
from optimenu.measures import Numeric, Span, Unit, needs, plain

__all__ = [
    "ChangedBy", "Clock", "ClockSpan", "Day", "Flag", "Names", "NonNegative", "Number", "Percent", "Positive",
    "Role", "Settings", "Span", "Text", "Unit", "Whole", "Word", "Writer", "clock_words", "minutes",
    "needs", "to_toml",
]  # fmt: skip


def _number_defaults(schema: dict[str, Any], model: type[BaseModel]) -> None:
    # pydantic writes a default decimal as text, which the property's own type would refuse.
    for name, field in model.model_fields.items():
        if isinstance(field.default, Decimal):
            schema["properties"][name if name in schema["properties"] else field.alias]["default"] = plain(
                field.default
            )


Role = Literal["nobody", "physician", "dietitian", "planner"]
"""Who may loosen a limit."""
Writer = Literal["physician", "dietitian", "planner"]
"""Who writes a file of the config."""


@dataclass(frozen=True)
class ChangedBy:
    """Who may change one setting, where its table's ``who`` does not decide; stands in its annotation."""

    who: Role


@dataclass(frozen=True)
class Names:
    """Marks a setting that names people or parties: an array of ids, or a table by id.

    Attributes
    ----------
    what : str
        ``person`` or ``party``.
    may_be_none : bool
        False where an array without names means everybody, so that its table goes with the last one named.
    """

    what: Literal["person", "party"]
    may_be_none: bool = False


class Settings(BaseModel):
    """Base of every settings table: frozen, unknown keys refused, attribute docstrings are the help.

    Attributes
    ----------
    changed_by : str or None
        Who may change what stands in a table that has no ``who``; None: as the table around it says.
    elsewhere : mapping of str to str
        Settings a user may look for here, and where they belong.
    """

    changed_by: ClassVar[Role | None] = None
    elsewhere: ClassVar[Mapping[str, str]] = {}

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        use_attribute_docstrings=True,
        validate_default=True,
        validate_by_name=True,
        validate_by_alias=True,
        json_schema_extra=_number_defaults,
    )


_DATE = re.compile(r"\d{4}-\d{2}-\d{2}\Z", re.ASCII)
_CLOCK = re.compile(r"([01]\d|2[0-3]):[0-5]\d(:00)?\Z", re.ASCII)
_HEX = re.compile(r"#[0-9A-Fa-f]{6}$", re.ASCII)
_WORD = re.compile(r"[a-z0-9_]{1,80}\Z", re.ASCII)


def _date(value: Any) -> Any:
    if isinstance(value, str) and _DATE.match(value):
        try:
            value = date.fromisoformat(value)
        except ValueError:
            raise needs("a day of the calendar", value) from None
    if not isinstance(value, date) or isinstance(value, datetime):
        raise needs("a date such as 2031-05-09", value)
    if not FIRST_YEAR <= value.year <= LAST_YEAR:
        raise needs(f"a date from {FIRST_YEAR} to {LAST_YEAR}", value)
    return value


def _clock(value: Any) -> Any:
    if isinstance(value, time) and not value.second and not value.microsecond and value.tzinfo is None:
        return value
    if isinstance(value, str) and _CLOCK.match(value):
        return time.fromisoformat(value)
    raise needs('a time of day such as "07:30"', value)


def _word(value: Any) -> Any:
    if isinstance(value, str) and _WORD.match(value):
        return value
    raise needs("a short name of lower-case letters, digits and underscores", value)


def _text(value: Any) -> Any:
    if isinstance(value, str) and (text := clean(value)):
        return text
    raise needs("some text", value)


def _colour(value: Any) -> Any:
    if isinstance(value, str) and _HEX.match(value):
        return value
    raise needs('a colour such as "#0072B2"', value)


def _letter(value: Any) -> Any:
    if isinstance(value, str) and len(value) == 1 and value.isalnum():
        return value
    raise needs("one letter or digit", value)


Number = Annotated[Decimal, Numeric()]
"""A decimal, as written."""
NonNegative = Annotated[Number, Span(least=0)]
Positive = Annotated[Number, Span(above=0)]
Percent = Annotated[Number, Span(least=0, most=100), Unit("%")]
Whole = Annotated[int, Numeric(whole=True), Span(least=0)]
"""A whole number, 0 or more."""
Flag = Annotated[bool, Strict()]
"""``true`` or ``false``; nothing that merely looks like it."""
Word = Annotated[
    str,
    BeforeValidator(_word),
    WithJsonSchema({"type": "string", "pattern": "^[a-z0-9_]{1,80}$"}),
]
"""A short name used as an id: lower-case letters, digits, underscores."""
Text = Annotated[str, BeforeValidator(_text), WithJsonSchema({"type": "string", "minLength": 1})]
"""Text for people, not empty, stripped of control characters."""
Day = Annotated[date, BeforeValidator(_date)]
"""A TOML local date, or the same in quotes."""
Colour = Annotated[str, BeforeValidator(_colour)]
"""A colour as #RRGGBB."""
Letter = Annotated[str, BeforeValidator(_letter)]
"""One letter or digit."""
Clock = Annotated[
    time,
    BeforeValidator(_clock),
    WithJsonSchema({"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9](:00)?$"}),
]
"""A time of day: ``"HH:MM"`` or a TOML local time without seconds."""
ClockSpan = tuple[Clock, Clock]
"""From one time of day to another; it may cross midnight."""


def minutes(at: time) -> int:
    """Return a time of day as minutes after midnight."""
    return at.hour * 60 + at.minute


def clock_words(minute: int) -> str:
    """Return minutes after midnight as a time of day, ``07:30``."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def to_toml(model: BaseModel) -> str:
    """Return a settings model as TOML; reading it back gives an equal model. None is left out."""
    lines: list[str] = []
    _table(model.model_dump(by_alias=True, exclude_none=True), "", lines)
    return "\n".join(lines).strip() + "\n"


def _table(table: Mapping[Any, Any], header: str, lines: list[str]) -> None:
    inner = {key: value for key, value in table.items() if _is_table(value) or _is_tables(value)}
    lines.extend(f"{_key(key)} = {_value(value)}" for key, value in table.items() if key not in inner)
    for key, value in inner.items():
        name = f"{header}.{_key(key)}" if header else _key(key)
        for each in [value] if _is_table(value) else value:
            lines.extend(["", f"[{name}]" if _is_table(value) else f"[[{name}]]"])
            _table(each, name, lines)


def _is_table(value: object) -> bool:
    return isinstance(value, Mapping)


def _is_tables(value: object) -> bool:
    return isinstance(value, list | tuple) and bool(value) and all(map(_is_table, value))


def _key(key: object) -> str:
    text = str(key)
    return text if re.fullmatch(r"[A-Za-z0-9_-]+", text, re.ASCII) else _value(text)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        # JSON's escapes are TOML's too, save that TOML also wants the delete character escaped.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, set | frozenset):
        return "[" + ", ".join(sorted(map(_value, value))) + "]"
    if isinstance(value, Sequence):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, int | float | Decimal):
        return repr(value) if isinstance(value, float) else str(value)
    raise TypeError(f"TOML cannot hold {type(value).__name__}")
