"""Which files a config is made from, without reading them as tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.config.toml_layers import read_layers
from optimenu.errors import Fault, InputFaults

if TYPE_CHECKING:
    from pathlib import Path

PRESCRIPTIONS = "prescriptions.file"
NAMED_IN = ("catalogue.file", "tasting.file", "stock.file", "storage.losses", PRESCRIPTIONS)
"""Settings of the config that name a file."""


def input_paths(path: Path, root: Path, text: bytes | None = None) -> tuple[Path, ...]:
    """Return every file a config is read from, as far as it can be told, the config first.

    Parameters
    ----------
    path, root, text
        As `load_case` takes them.

    Notes
    -----
    A file that cannot be found is left out: who reads the config is told of it.
    """
    try:
        layers = read_layers(path, root, text)
    except InputFaults:
        return (path.resolve(),)
    found = list(layers.files)
    for key in NAMED_IN:
        table, setting = key.split(".")
        value = layers.values.get(table)
        name = value.get(setting) if isinstance(value, dict) else None
        file = layers.path((table, setting), name) if isinstance(name, str) else None
        if file is None or isinstance(file, Fault):
            continue
        if key == PRESCRIPTIONS:
            found += input_paths(file, root)
        else:
            found.append(file)
    return tuple(dict.fromkeys(found))
