"""Who goes: a config as it speaks of the people who are aboard, and of nobody else.

Settings that name people are marked where they are declared (`Names`), so nothing here lists them. A table
that speaks only of people who stay goes with them: an empty array would mean everybody.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any, TypeVar

from annotated_types import MinLen
from pydantic import BaseModel

from optimenu.errors import nearest
from optimenu.settings import Names

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from pydantic.fields import FieldInfo

    from optimenu.config.main_settings import ConfigBase

    Tell = Callable[[tuple[str, ...], str], None]

Model = TypeVar("Model", bound=BaseModel)


def aboard(settings: ConfigBase, tell: Tell) -> ConfigBase:
    """Return the settings without whoever stays.

    Parameters
    ----------
    settings : ConfigBase
        As the config says.
    tell : callable of (keys, message)
        Takes faults: unknown ids, somebody named twice.

    Returns
    -------
    ConfigBase
        `settings` itself when everybody goes. People who stay are in none of its tables; a party of whom
        fewer than two go is none.
    """
    going = settings.aboard
    if going is None:
        return settings
    strangers = sorted(set(going) - set(settings.people))
    for name in strangers:
        tell(("aboard",), f'no person "{name}" in [people].{nearest(name, sorted(settings.people))}')
    for name, times in Counter(going).items():
        if times > 1:
            tell(("aboard",), f"names {name} {times} times")
    if strangers:
        return settings
    staying = frozenset(settings.people) - frozenset(going)
    left = _without(settings, "person", staying)
    assert left is not None  # nothing obliges the config itself to name somebody
    dissolved = frozenset(settings.parties) - frozenset(left.parties)
    return _without(left, "party", dissolved) or left


def _without(model: Model, what: str, gone: frozenset[str]) -> Model | None:
    """Return a table without some names; None where nobody is left for it to speak of."""
    if not gone:
        return model
    update: dict[str, Any] = {}
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        mark = next((m for m in field.metadata if isinstance(m, Names) and m.what == what), None)
        if mark is not None and isinstance(value, tuple):
            left = tuple(v for v in value if v not in gone)
            if len(left) < len(value) and len(left) < _fewest(mark, field):
                return None
            update[name] = left
        elif mark is not None and isinstance(value, dict):
            update[name] = _inside({k: v for k, v in value.items() if k not in gone}, what, gone)
        else:
            update[name] = _value(value, what, gone)
    # a setting that is as it was keeps telling whether the config states it
    made = model.model_copy(update={k: v for k, v in update.items() if v != getattr(model, k)})
    if model.model_extra is not None:
        object.__setattr__(made, "__pydantic_extra__", _inside(model.model_extra, what, gone))
    return made


def _fewest(mark: Names, field: FieldInfo) -> int:
    """Names an array must keep for its table to say anything."""
    asked = (m.min_length for m in field.metadata if isinstance(m, MinLen))
    return next(asked, 0 if mark.may_be_none else 1)


def _inside(table: Mapping[str, Any], what: str, gone: frozenset[str]) -> dict[str, Any]:
    left = {key: _value(value, what, gone) for key, value in table.items()}
    return {key: value for key, value in left.items() if value is not None or table[key] is None}


def _value(value: Any, what: str, gone: frozenset[str]) -> Any:
    if isinstance(value, BaseModel):
        return _without(value, what, gone)
    return _inside(value, what, gone) if isinstance(value, dict) else value
