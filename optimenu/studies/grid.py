"""The axes of a study: names and values, as faults or as changes of a config."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from optimenu.config.main_settings import config_model
from optimenu.config.validate import declared, models_at
from optimenu.errors import nearest
from optimenu.files import choose, quoted
from optimenu.measures import found

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from optimenu.studies.study import Study

    Keys = tuple[str | int, ...]
    Tell = Callable[[Keys, str], None]

DAYS, CONFIG, MOVES, SEED = "days", "config", "moves", "seed"
OWN = {DAYS: 1, MOVES: 1000, SEED: 0}
"""Names of ours beside the config's keys: whole numbers, with the least of each."""
KEY_OF = {MOVES: "search.moves", SEED: "search.seed"}
MOST_DAYS = 3650
MOST_VALUES = 100_000
RANGE = ("from", "to", "step")
NOT_VARIED = ("extends", "role", "name")
"""Keys at the top of a config that say nothing of what is planned."""


@dataclass(frozen=True)
class Axis:
    """What is varied, and its values in turn.

    Attributes
    ----------
    name : str
        ``days``, ``config``, ``moves``, ``seed``, the name of a choice, or a dotted key of the config.
    values : tuple
        As TOML has them; of a choice, the names of its tables.
    """

    name: str
    values: tuple[Any, ...]


def axes_of(study: Study, tell: Tell) -> list[Axis]:
    """Return the axes of the grid in the order of the file, then those of the choices."""
    asked = study.asked
    axes = list(_axes(study, asked.grid, ("grid",), tell))
    for name, tables in asked.choices.items():
        if name in (*OWN, CONFIG) or declared(config_model(), (name,)):
            tell(("choices", name), f"{name} is a setting already; give the choice another name")
        elif any(axis.name == name for axis in axes):
            tell(("grid", name), f"{name} is the name of a choice; every choice is an axis already")
        else:
            axes.append(Axis(name, tuple(tables)))
    return axes


def _axes(study: Study, table: Mapping[str, Any], keys: Keys, tell: Tell) -> Iterator[Axis]:
    for key, value in table.items():
        here = (*keys, key)
        name = ".".join(map(str, here[1:]))
        if isinstance(value, dict) and value and not set(value) & set(RANGE):
            yield from _axes(study, value, here, tell)
            continue
        if not known_name(study, name, here, tell):
            continue
        values = _values(value, here, tell)
        if values is not None and all(sound(name, v, here, tell) for v in values):
            yield Axis(name, values)


def _values(value: Any, keys: Keys, tell: Tell) -> tuple[Any, ...] | None:
    if isinstance(value, dict) and value:
        return _range(value, keys, tell)
    if not isinstance(value, list) or not value:
        text = f"needs an array of values, or {{ from, to, step }} for numbers, found {found(value)}"
        tell(keys, text)
        return None
    twice = next((v for k, v in enumerate(value) if v in value[:k]), None)
    if twice is not None:
        tell(keys, f"holds {label(twice)} twice; every combination is planned once")
        return None
    return tuple(value)


def _range(value: Mapping[str, Any], keys: Keys, tell: Tell) -> tuple[Any, ...] | None:
    wrong = [k for k in value if k not in RANGE] + [k for k in RANGE if k not in value]
    numbers = [v for v in value.values() if isinstance(v, int | Decimal) and not isinstance(v, bool)]
    if wrong or len(numbers) < len(RANGE):
        tell(keys, f"needs numbers for from, to and step, found {', '.join(value)}")
        return None
    first, last, step = (Decimal(value[k]) for k in RANGE)
    if step <= 0 or last < first:
        tell(keys, f"needs a step above 0 and from no more than to, found {first} to {last} by {step}")
        return None
    count = int((last - first) / step) + 1
    if count > MOST_VALUES:
        tell(keys, f"would have {count:,} values; {MOST_VALUES:,} are the most")
        return None
    return tuple(_whole(first + k * step) for k in range(count))


def _whole(value: Decimal) -> int | Decimal:
    return int(value) if value == value.to_integral_value() else value


def flat(table: Mapping[str, Any], keys: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    """Yield the dotted key and value of everything in a table that is no table."""
    for key, value in table.items():
        if isinstance(value, dict) and value:
            yield from flat(value, (*keys, key))
        else:
            yield ".".join((*keys, key)), value


def known_name(study: Study, name: str, keys: Keys, tell: Tell) -> bool:
    """Tell whether a name may be varied; a fault where not."""
    if name in (*OWN, CONFIG, *study.asked.choices):
        return True
    parts = tuple(name.split("."))
    if parts[0] in NOT_VARIED:
        tell(keys, f"{parts[0]} says nothing of what is planned; take it out")
        return False
    if declared(config_model(), parts):
        return True
    deep = next(k for k in range(len(parts) - 1, -1, -1) if not k or declared(config_model(), parts[:k]))
    models = models_at(config_model(), parts[:deep])
    names = [f.alias or n for m in models for n, f in m.model_fields.items()]
    if not deep:
        own = nearest(parts[0], [*OWN, CONFIG, *study.asked.choices])
        tell(keys, f"the config has no setting {quoted(name)}.{own or choose(parts[0], names)}")
    else:
        tell(
            keys,
            f"[{'.'.join(parts[:deep])}] has no setting {quoted(parts[deep])}.{choose(parts[deep], names)}",
        )
    return False


def sound(name: str, value: Any, keys: Keys, tell: Tell) -> bool:
    """Tell whether a value of one of our own names can be; values of settings are the config's to judge."""
    if name in OWN:
        most = MOST_DAYS if name == DAYS else None
        whole = isinstance(value, int) and not isinstance(value, bool)
        if not whole or value < OWN[name] or (most is not None and value > most):
            span = f"{OWN[name]} to {most}" if most else f"{OWN[name]} or more"
            tell(keys, f"needs whole numbers, {span}, found {found(value)}")
            return False
    if name == CONFIG and not isinstance(value, str):
        tell(keys, f'needs files such as "station.toml", found {found(value)}')
        return False
    return True


def label(value: Any) -> str:
    """Return a value as a table of results has it."""
    if isinstance(value, list | tuple):
        return " ".join(label(v) for v in value) or "none"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Decimal):
        return format(value.normalize(), "f")
    return "as in the config" if value == {} else str(value)
