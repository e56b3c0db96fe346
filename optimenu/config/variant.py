"""The same config with some settings changed, as a file that extends it."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tomli_w

from optimenu.config.case import Case, load_case
from optimenu.config.toml_layers import find_root

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimenu.settings import Writer


def variant_text(base: str, changes: Mapping[str, Any], *, role: Writer = "planner") -> bytes:
    """Return a TOML file that extends another and changes some of its settings.

    Parameters
    ----------
    base : str
        The file extended, as the new one names it.
    changes : mapping of dotted key to value
        Values as TOML has them: bool, int, Decimal, str, date, list or dict. A list or a plain value replaces
        what stands there, a dict is laid over it.
    role : str
        Who writes the file; what that role may not change is a fault when it is read.

    Raises
    ------
    ValueError
        When one key lies inside another.
    """
    out: dict[str, Any] = {"extends": base, "role": role}
    for key, value in sorted(changes.items()):
        *outer, last = key.split(".")
        table = out
        for name in outer:
            table = table.setdefault(name, {})
            if not isinstance(table, dict):
                msg = f"{key} lies inside another key that is changed"
                raise ValueError(msg)
        if last in table:
            msg = f"{key} is changed twice"
            raise ValueError(msg)
        table[last] = _plain(value)
    return tomli_w.dumps(out).encode()


def variant(
    base: Path,
    changes: Mapping[str, Any],
    *,
    name: str = "",
    role: Writer = "planner",
    root: Path | None = None,
) -> Case:
    """Return the Case of a config with some settings changed; nothing is written.

    Parameters
    ----------
    base : Path
        The config that is changed.
    changes : mapping of dotted key to value
        See `variant_text`.
    name : str
        Stem of the file that would hold the changes; it lies beside the config. A file of that name that
        is there already is not read, nor overwritten.
    role, root
        See `variant_text`, `load_case`.

    Raises
    ------
    InputFaults
        As `load_case`; lines of the changes are those of the text that `Case.text` holds.
    """
    text = variant_text(base.name, changes, role=role)
    path = base.parent / f"{name or base.stem + '-changed'}.toml"
    return load_case(path, root or find_root(base), text)


def _plain(value: Any) -> Any:
    """Return a value as the writer takes it; numbers that are whole stay so."""
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() else value
    return value
