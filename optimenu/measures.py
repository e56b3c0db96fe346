"""Numbers with unit and range as pydantic annotations, and the fault "needs ..., found ...".

A fault raised here keeps its parts (kind, unit, span, hint, found), so that an outer annotation can
add its own: ``Annotated[Number, Span(1, 9), Unit("points")]`` says all of it whichever check fails.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, ValidationError, core_schema

from optimenu.files import clean, sensible

_DIGITS = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$", re.ASCII)


def found(value: object) -> str:
    """Return a value as the user would have written it in TOML, shortened."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        text = clean(value)
        return f'"{text[:40]}..."' if len(text) > 43 else f'"{text}"'
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, (list, tuple, set, frozenset)):
        return "an array" if value else "an empty array"
    if isinstance(value, time) and not value.second and not value.microsecond:
        return value.isoformat("minutes")
    text = value.isoformat() if isinstance(value, date | time) else str(value)
    return text if len(text) <= 43 else f"{text[:40]}..."


def needs(kind: str, value: object, *, unit: str = "", span: str = "", hint: str = "") -> PydanticCustomError:
    """Return the error "needs KIND in UNIT SPAN, found VALUE HINT" in the form `Unit` can complete."""
    context = {"kind": kind, "unit": unit, "span": span, "hint": hint, "found": found(value)}
    wanted = kind + (f" in {unit}" if unit else "") + (f", {span}" if span else "")
    # The text may hold braces from the user's value, so it goes in as one field of the template.
    context["text"] = f"needs {wanted}, found {context['found']}" + (f"; {hint}" if hint else "")
    return PydanticCustomError("needs", "{text}", context)


def _again(error: ValidationError, value: object, **more: str) -> PydanticCustomError | None:
    """Return an inner "needs" error with unit or span added, or None when it is of another kind."""
    first = error.errors(include_url=False)[0]
    if first["type"] != "needs" or first["loc"]:
        return None
    context = {**first["ctx"], **more}
    return needs(context["kind"], value, unit=context["unit"], span=context["span"], hint=context["hint"])


@dataclass(frozen=True)
class Unit:
    """The unit of a number, shown in help, JSON Schema (keyword ``unit``) and faults."""

    name: str

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Wrap the number's own check, so that its fault names the unit."""
        return _wrapped(handler(source), lambda value: None, unit=self.name)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Add the unit to the JSON Schema."""
        return {**handler(schema), "unit": self.name}


@dataclass(frozen=True)
class Span:
    """The range of a number, ends included; ``above`` is a lower end left out."""

    least: Decimal | int | None = None
    most: Decimal | int | None = None
    above: Decimal | int | None = None

    def __str__(self) -> str:
        if self.least is not None and self.most is not None:
            return f"{self.least} to {self.most}"
        parts = [
            f"{self.least} or more" if self.least is not None else "",
            f"above {self.above}" if self.above is not None else "",
            f"{self.most} or less" if self.most is not None else "",
        ]
        return " and ".join(part for part in parts if part)

    def _check(self, value: Any) -> None:
        if value is None:
            return
        low = self.least is not None and value < self.least
        low = low or (self.above is not None and value <= self.above)
        if low or (self.most is not None and value > self.most):
            kind = "a whole number" if isinstance(value, int) else "a number"
            raise needs(kind, value, span=str(self))

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Check the range after the number itself."""
        return _wrapped(handler(source), self._check, span=str(self))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Add the range to the JSON Schema in the standard's own keywords."""
        ends = {"minimum": self.least, "maximum": self.most, "exclusiveMinimum": self.above}
        return {**handler(schema), **{k: plain(v) for k, v in ends.items() if v is not None}}


def _wrapped(
    inner: core_schema.CoreSchema, check: Callable[[Any], None], **more: str
) -> core_schema.CoreSchema:
    def run(value: Any, handler: core_schema.ValidatorFunctionWrapHandler) -> Any:
        try:
            good = handler(value)
        except ValidationError as error:
            raise (_again(error, value, **more) or error) from None
        check(good)
        return good

    return core_schema.no_info_wrap_validator_function(run, inner)


def plain(value: Decimal | int) -> int | float:
    """Return a decimal as a JSON number; exact for up to 15 digits."""
    if isinstance(value, int):
        return value
    return int(value) if value == value.to_integral_value() else float(value)


@dataclass(frozen=True)
class Numeric:
    """The check of a decimal or a whole number."""

    whole: bool = False

    def _read(self, value: Any) -> Any:
        kind = "a whole number" if self.whole else "a number"
        hint = "write it without quotes" if isinstance(value, str) and _DIGITS.match(value.strip()) else ""
        if isinstance(value, bool) or not isinstance(value, int | Decimal | float):
            raise needs(kind, value, hint=hint)
        if self.whole:
            if not isinstance(value, int):
                raise needs(kind, value)
            return value
        # A float comes only from Python callers; it stands for its shortest decimal.
        number = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
        if not sensible(number):
            raise needs("a finite number of ordinary size", value)
        return number

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Replace pydantic's own number check, which would take booleans and quoted numbers."""
        return core_schema.no_info_plain_validator_function(
            self._read,
            serialization=core_schema.plain_serializer_function_ser_schema(plain, when_used="json"),
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe it as a plain JSON number."""
        return {"type": "integer" if self.whole else "number"}
