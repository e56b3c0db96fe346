"""JSON Schema of a config, from the same declarations that check it."""

from __future__ import annotations

import json
from typing import Any

from optimenu.config.main_settings import config_model


def schema() -> dict[str, Any]:
    """Return the schema; property names are those of the TOML file."""
    made = config_model().model_json_schema(by_alias=True)
    made["properties"]["extends"] = {
        "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}],
        "description": "Other configs this one starts from; what stands here wins.",
    }
    # a layer that is extended need not be whole
    made.pop("required", None)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}


def schema_text() -> str:
    """Return the schema as text, ending in a line end."""
    return json.dumps(schema(), indent=1) + "\n"
