"""Check a table of the config against its settings; pydantic's errors become our faults.

A fault names file and line, the place in TOML words, what is needed (kind, unit, range, words), what
was found, and the nearest known name where a name is wrong.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from optimenu.config.toml_layers import Layers
from optimenu.config.toml_spots import Key, place, place_of
from optimenu.errors import Fault, nearest
from optimenu.files import choose, clean, quoted
from optimenu.measures import found
from optimenu.settings import Settings

Model = TypeVar("Model", bound=Settings)

_KINDS = {
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "decimal_type": "a number",
    "list_type": "an array",
    "tuple_type": "an array",
    "set_type": "an array",
    "frozen_set_type": "an array",
    "dict_type": "a table",
    "mapping_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "none_required": "no value",
}
"""What is needed, by pydantic's error type."""


def validate(
    model: type[Model], layers: Layers, prefix: tuple[str, ...], value: object
) -> tuple[Model | None, list[Fault]]:
    """Check one table.

    Parameters
    ----------
    model : type of Settings
        What the table must be.
    layers : Layers
        Where the table was read; gives lines.
    prefix : tuple of str
        Keys that lead to the table, ``("repeats",)``; empty for the whole config.
    value : object
        The table as read; anything else than a table is a fault.

    Returns
    -------
    settings : Settings or None
        None when there are faults.
    faults : list of Fault
        Every fault of the table that one pass finds. What must agree between settings is checked only
        when each of them is sound.
    """
    try:
        return model.model_validate(value), []
    except ValidationError as error:
        details = error.errors(include_url=False)
    wrong: dict[tuple[Key, ...], list[ErrorDetails]] = {}
    for detail in details:
        wrong.setdefault(_path(value, detail), []).append(detail)
    faults: list[Fault] = []
    for loc, group in wrong.items():
        # "needs a number, found a table" is noise beside a fault inside that table (a union's member).
        if all(map(_needed, group)) and any(other[: len(loc)] == loc != other for other in wrong):
            continue
        # A missing key has no line of its own: `where` falls back to the table that lacks it.
        keys = (*prefix, *loc)
        faults.extend(layers.fault(keys, text) for text in _texts(model, keys, loc, group))
    return None, sorted(set(faults))


def unknown_names(
    layers: Layers,
    names: Iterable[tuple[Sequence[Key], str]],
    known: Collection[str],
    what: str,
) -> list[Fault]:
    """Return a fault for every name that nobody declared.

    Parameters
    ----------
    layers : Layers
    names : iterable of (keys, name)
        Keys that lead to the value, or to the table, that holds the name; and the name.
    known : collection of str
        Names that exist.
    what : str
        What the name stands for: ``item``, ``person``, ``course``.
    """
    order = tuple(known)
    return [
        layers.fault(keys, f"{_joined(keys, name)}no {what} {quoted(clean(name))}.{choose(name, order)}")
        for keys, name in names
        if name not in known
    ]


def _joined(keys: Sequence[Key], name: str) -> str:
    # A name that is itself the last key, "[repeats.item.stew]", is said once.
    where = place(keys[:-1]) if keys and keys[-1] == name else place_of(keys)
    return f"{where}{'' if where.endswith(']') else ':'} " if where else ""


def _path(value: object, detail: ErrorDetails) -> tuple[Key, ...]:
    """Return the keys of an error that exist in the value; pydantic adds the names of union members."""
    keys: list[Key] = []
    loc = list(detail["loc"])
    # These two are about a key of the table, not about the table's value.
    last = loc[-1:] if detail["type"] in ("missing", "extra_forbidden") else []
    for key in loc[: len(loc) - len(last)]:
        if isinstance(value, Mapping) and key in value:
            value = value[str(key)]
        elif isinstance(value, list) and isinstance(key, int) and key < len(value):
            value = value[key]
        else:
            continue
        keys.append(key)
    return (*keys, *last)


def _texts(
    model: type[BaseModel], keys: tuple[Key, ...], loc: tuple[Key, ...], group: list[ErrorDetails]
) -> Iterator[str]:
    """Yield the texts of the errors at one place; several there are the members of a union."""
    value = group[0]["input"]
    table = f"{place(keys[:-1])} " if keys[:-1] else ""
    at = f"{place(keys)} " if isinstance(value, Mapping) and keys else f"{place_of(keys)}: " if keys else ""
    types = {detail["type"] for detail in group}
    if "extra_forbidden" in types:
        fields = tuple(dict.fromkeys(name for m in models_at(model, loc[:-1]) for name in _names(m)))
        name = str(keys[-1])
        belongs = next((m.elsewhere[name] for m in _settings(model, loc[:-1]) if name in m.elsewhere), "")
        if belongs:
            yield f"{place_of(keys)}: {belongs}"
            return
        yield f"{table}no setting {quoted(clean(name))}.{choose(name, fields)}"
        return
    if "missing" in types:
        yield f'{table}setting "{keys[-1]}" is missing{_meaning(model, loc)}'
        return
    needed = [text for detail in group if (text := _needed(detail))]
    words = [word for detail in group for word in _words(detail)]
    if words:
        needed.append(f"one of {', '.join(words)}" if len(words) > 1 else f'"{words[0]}"')
    if needed:
        hint = next((h for d in group if (h := d.get("ctx", {}).get("hint"))), "")
        guess = nearest(value[:80], words) if isinstance(value, str) else ""
        yield (
            f"{at}needs {' or '.join(dict.fromkeys(needed))}, found {found(value)}"
            + (f"; {hint}" if hint else "")
            + (f".{guess}" if guess else "")
        )
    for detail in group:
        if not _needed(detail) and not _words(detail):
            yield at + clean(re.sub(r"^(Value error|Assertion failed), ", "", detail["msg"]))


def _needed(detail: ErrorDetails) -> str:
    """Return what an error says is needed, with unit and range; empty when it says something else."""
    kind, more = detail["type"], detail.get("ctx", {})
    if kind == "needs":
        return (
            str(more["kind"])
            + (f" in {more['unit']}" if more["unit"] else "")
            + (f", {more['span']}" if more["span"] else "")
        )
    if kind in ("too_short", "string_too_short"):
        return f"at least {more.get('min_length')} {_things(kind)}"
    if kind in ("too_long", "string_too_long"):
        return f"at most {more.get('max_length')} {_things(kind)}"
    bounds = {"ge": "{} or more", "gt": "more than {}", "le": "{} or less", "lt": "less than {}"}
    for bound, text in bounds.items():
        if bound in more:
            return text.format(more[bound])
    return _KINDS.get(kind, "")


def _things(kind: str) -> str:
    return "letters" if kind.startswith("string") else "entries"


def _words(detail: ErrorDetails) -> list[str]:
    if detail["type"] not in ("literal_error", "enum"):
        return []
    return re.findall(r"'([^']*)'", detail["ctx"]["expected"])


def _meaning(model: type[BaseModel], loc: tuple[Key, ...]) -> str:
    """Return ': what the setting means' from its declaration, or an empty string."""
    for owner in models_at(model, loc[:-1]):
        for name, field in owner.model_fields.items():
            if loc[-1] in (name, field.alias) and field.description:
                return f": {field.description.strip().splitlines()[0].rstrip('.')}"
    return ""


def _settings(model: type[BaseModel], loc: Sequence[Key]) -> list[type[Settings]]:
    return [m for m in models_at(model, loc) if issubclass(m, Settings)]


def _names(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def models_at(model: type[BaseModel], loc: Sequence[Key]) -> list[type[BaseModel]]:
    """Return the models a table at this place may be; several where the declaration is a union."""
    kinds = _flat(_kinds_at(model, loc))
    return [kind for kind in kinds if isinstance(kind, type) and issubclass(kind, BaseModel)]


def declared(model: type[BaseModel], loc: Sequence[Key]) -> bool:
    """Tell whether a config may have a key at this place."""
    return bool(_kinds_at(model, loc))


def _kinds_at(model: type[BaseModel], loc: Sequence[Key]) -> list[Any]:
    kinds: list[Any] = [model]
    for key in loc:
        kinds = [inner for kind in kinds for inner in _inside(kind, key)]
    return kinds


def _inside(kind: Any, key: Key) -> Iterator[Any]:
    """Yield the declared kinds of the value under a key of a value of this kind."""
    for each in _flat([kind]):
        if isinstance(each, type) and issubclass(each, BaseModel):
            for name, field in each.model_fields.items():
                if key in (name, field.alias):
                    yield field.annotation
                    break
            else:
                # a table of tables under names of the user's own
                extra = get_type_hints(each).get("__pydantic_extra__")
                yield from get_args(extra)[-1:]
        elif get_origin(each) is not None:
            yield from get_args(each)[-1:] if isinstance(key, str) else get_args(each)[:1]


def _flat(kinds: Iterable[Any]) -> Iterator[Any]:
    """Yield kinds with unions and annotations taken apart."""
    for kind in kinds:
        if hasattr(kind, "__metadata__"):
            yield from _flat([get_args(kind)[0]])
        elif get_origin(kind) in (Union, UnionType):
            yield from _flat(get_args(kind))
        else:
            yield kind
