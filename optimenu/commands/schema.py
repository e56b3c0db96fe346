"""Command `schema`: the JSON Schema of a config, for editors and other programs."""

from __future__ import annotations

from typing import Any

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def document() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a whole config, property names as in TOML.

    TOML's local dates and times stand as strings, as editors hand them over.
    """
    from optimenu.config.main_settings import config_model

    return {"$schema": DIALECT, **config_model().model_json_schema(by_alias=True)}


def text() -> str:
    """Return the document as it is printed, ending in a line end."""
    import json

    return json.dumps(document(), indent=1, ensure_ascii=False) + "\n"


def run() -> None:
    """Print the JSON Schema of a config, made from the settings of every rule."""
    print(text(), end="")
