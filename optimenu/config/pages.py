"""Pages about rules and settings, read off their declarations."""

from __future__ import annotations

import inspect
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, get_args, get_origin, get_type_hints

from pydantic import BaseModel

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.rules.base import Rule

SECTIONS = ("What", "Maths", "When", "Source")


@dataclass(frozen=True)
class Setting:
    """One setting: where it stands in the table, kind with unit, default, meaning."""

    key: str
    kind: str
    default: str
    meaning: str


@dataclass(frozen=True)
class RulePage:
    """Everything a reader of the config needs to know of a rule."""

    table: str
    title: str
    sections: dict[str, str]
    settings: list[Setting]
    example: str


def rule_page(rule: type[Rule[Any]]) -> RulePage:
    """Return the page of a rule, from its docstring, its settings and its example."""
    doc = inspect.cleandoc(rule.__doc__ or "")
    title = doc.splitlines()[0].rstrip(".") if doc else rule.table
    sections = {}
    for name, text in re.findall(r"^(\w+)\n((?:    .*\n?|\n)+)", doc + "\n", re.MULTILINE):
        if name in SECTIONS:
            sections[name] = " ".join(text.split())
    return RulePage(rule.table, title, sections, list(settings_of(rule.model)), rule.example.strip())


def settings_of(model: type[BaseModel], prefix: str = "") -> Iterator[Setting]:
    """Yield the settings of a table and of the tables inside it; ``NAME`` is a name of the user's own."""
    schema = model.model_json_schema(by_alias=True)
    extra = get_type_hints(model).get("__pydantic_extra__")
    if extra is not None:
        yield from _inner(get_args(extra)[-1], f"{prefix}NAME.")
    for name, field in model.model_fields.items():
        key = f"{prefix}{field.alias or name}"
        shown = schema.get("properties", {}).get(field.alias or name, {})
        inner = list(_inner(field.annotation, f"{key}."))
        if inner:
            yield from inner
            continue
        default = "required" if field.is_required() else _plain(field.get_default(call_default_factory=True))
        yield Setting(key, _kind(shown), default, " ".join((field.description or "").split()))


def _inner(kind: Any, prefix: str) -> Iterator[Setting]:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield from settings_of(kind, prefix)
        return
    origin, args = get_origin(kind), get_args(kind)
    if origin is dict:
        yield from _inner(args[1], f"{prefix}NAME.")
    elif args and origin is not tuple:
        for each in args:
            yield from _inner(each, prefix)


def _kind(shown: dict[str, Any]) -> str:
    """Say what a value is, from its JSON Schema: numbers with range and unit, words, arrays."""
    options = [o for o in shown.get("anyOf", [shown]) if o.get("type") != "null"]
    first = options[0] if options else {}
    inner = first.get("additionalProperties")
    if isinstance(inner, dict):
        return f"table of names, each {_kind(inner)}"
    words = first.get("enum") or ([first["const"]] if "const" in first else [])
    if words:
        return " or ".join(map(str, words))
    kind = {"number": "number", "integer": "whole number", "boolean": "true or false", "array": "array"}.get(
        first.get("type", ""), "text"
    )
    low, high, above = first.get("minimum"), first.get("maximum"), first.get("exclusiveMinimum")
    if low is not None and high is not None:
        kind += f", {low} to {high}"
    elif above is not None:
        kind += f", above {above}"
    elif low is not None:
        kind += f", {low} or more"
    return kind + (f", {first['unit']}" if "unit" in first else "")


def _plain(value: object) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, tuple | list | dict):
        return ", ".join(map(str, value)) or "none"
    return str(value)
