"""Who may change what: a file that extends others changes only what its writer's role allows.

The roles rank nobody, physician, dietitian, planner. A writer may change limits of the own rank and below;
a file that does not state its role is the planner's. A tightening is a change too: whether it
tightens depends on the rest of the config, so it is left to who owns the limit. The role is what a file
says of its writer, no lock: it keeps honest people from changing by oversight what is not theirs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from optimenu.config.toml_spots import place, place_of
from optimenu.config.validate import declared, models_at
from optimenu.errors import Fault
from optimenu.rules.registry import rule_classes
from optimenu.settings import ChangedBy

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from optimenu.config.changes import Change
    from optimenu.settings import Settings

RANK = {"planner": 0, "dietitian": 1, "physician": 2, "nobody": 3}


def refused(model: type[Settings], changes: Iterable[Change]) -> list[Fault]:
    """Return a fault for every change that the writer of its file may not make.

    Parameters
    ----------
    model : type of Settings
        Model of the whole file.
    changes : iterable of Change
        Keys that the model does not know are passed over; its validation tells of them.

    Notes
    -----
    A table that is wholly new is told of once, with the highest rank that any of its values needs.
    """
    groups: dict[tuple[str, tuple[str, ...], str], list[tuple[Change, str]]] = {}
    for change in changes:
        who = who_may(model, change)
        if who is not None and RANK[change.role] < RANK[who]:
            groups.setdefault((change.file, change.table, change.role), []).append((change, who))
    faults = []
    for (file, table, role), group in groups.items():
        change, who = max(group, key=lambda pair: RANK[pair[1]])
        if len(group) > 1:
            faults.append(Fault(file, change.table_line, f"{place(table)} {_words(who, role, 'set')}"))
        else:
            stood = change.old is not None or _has_default(model, change.keys)
            words = _words(who, role, "change" if stood else "set")
            faults.append(Fault(file, change.line, f"{place_of(change.keys)}: {words}"))
    return faults


def _words(who: str, role: str, verb: str) -> str:
    if who == "nobody":
        return f"nobody may {verb} this; this file is written by the {role}. Take it out"
    return (
        f"only the {who} may {verb} this; this file is written by the {role}. "
        f'Ask the {who}, or state role = "{who}" if that is who you are'
    )


def _has_default(model: type[Settings], keys: tuple[str, ...]) -> bool:
    fields = [_field(owner, keys[-1]) for owner in models_at(model, keys[:-1])]
    return any(f is not None and not f.is_required() and f.default is not None for f in fields)


def _field(owner: type[BaseModel], key: str) -> FieldInfo | None:
    named = (field for name, field in owner.model_fields.items() if key in (name, field.alias))
    return next(named, None)


def who_may(model: type[Settings], change: Change) -> str | None:
    """Return who may make a change; None: anybody, or no such setting.

    The nearest ``who`` around the setting speaks, as it stands in the files below: what a file says of
    itself does not count. Where a setting takes the place of a built-in promise, the higher rank of the
    two is needed.
    """
    keys = change.keys
    if not declared(model, keys):
        return None
    rule = rule_classes().get(keys[0])
    built_in = None
    if rule is not None and keys[0] in model.model_fields:
        table = change.below.get(keys[0])
        built_in = rule.replaces(keys[1:], change.old, change.new, table if isinstance(table, dict) else {})
    if built_in is None and _only_soft(model, change):
        return None
    owner = _owner(model, change)
    return owner if built_in is None or RANK[owner] > RANK[built_in] else built_in


def _owner(model: type[Settings], change: Change) -> str:
    keys = change.keys
    for at in range(len(keys) - 1, -1, -1):
        owners = models_at(model, keys[:at])
        for owner in owners:
            field = _field(owner, keys[at])
            for note in field.metadata if field is not None else ():
                if isinstance(note, ChangedBy):
                    return note.who
        for owner in owners:
            who = owner.model_fields.get("who")
            if who is not None:
                stated = _at(change.below, keys[:at]).get("who")
                for said in (stated, who.default):
                    if isinstance(said, str) and said in RANK:
                        return said
            by = getattr(owner, "changed_by", None)
            if by is not None:
                return str(by)
        rule = rule_classes().get(keys[0])
        if at == 1 and rule is not None:
            return rule.who
    return "dietitian"


def _at(values: Mapping[str, Any], keys: tuple[str, ...]) -> Mapping[str, Any]:
    """Return the table at a place; an empty one where none is."""
    for key in keys:
        inner = values.get(key)
        if not isinstance(inner, dict):
            return {}
        values = inner
    return values


def _only_soft(model: type[Settings], change: Change) -> bool:
    """Tell whether a value belongs to a new soft limit, which can take no menu away.

    It does where the outermost table that knows a price is new, and each table inside that says anything
    states one.
    """
    keys = change.keys
    for at in range(len(keys)):
        if any("price" in owner.model_fields for owner in models_at(model, keys[:at])):
            return not _at(change.below, keys[:at]) and all(_priced(_at(change.stated, keys[:at])))
    return False


def _priced(table: Mapping[str, Any]) -> Iterator[bool]:
    said = [key for key, value in table.items() if not isinstance(value, dict)]
    yield not said or "price" in said
    for value in table.values():
        if isinstance(value, dict):
            yield from _priced(value)
