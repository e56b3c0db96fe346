"""Command `schema`: the JSON Schema of a config, for editors and other programs."""

from __future__ import annotations


def run() -> None:
    """Print the JSON Schema of a config, made from the settings of every rule."""
    from optimenu.config.schema import schema_text

    print(schema_text(), end="")
