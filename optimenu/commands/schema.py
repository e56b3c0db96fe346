"""Command `schema`: the JSON Schema of a config or a study, for editors and other programs."""

from __future__ import annotations

from typing import Annotated

import typer


def run(
    study: Annotated[bool, typer.Option("--study", help="Of a study for compare.")] = False,
) -> None:
    """Print the JSON Schema of a config, made from the settings of every rule."""
    if study:
        from optimenu.studies.study import study_schema_text

        print(study_schema_text(), end="")
        return
    from optimenu.config.schema import schema_text

    print(schema_text(), end="")
