"""Command `check`: the inputs alone, and what they leave to choose from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def run(
    config: Annotated[Path, typer.Argument(help="The config, a TOML file.")],
    every: Annotated[bool, typer.Option("--all", help="Show every entry of the open points.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Write what was found as JSON to stdout.")] = False,
) -> None:
    """Check a config and everything it names; nothing is solved."""
    from optimenu.config.case import load_case
    from optimenu.config.inspect import inspect
    from optimenu.views.check import check_page
    from optimenu.views.console import error_console, output_console

    case = load_case(config)
    error_console().print("inputs read; looking at what they leave ...", highlight=False)
    found = inspect(case)
    if as_json:
        import json
        from dataclasses import asdict

        print(json.dumps(asdict(found), indent=1, default=str))
    else:
        output_console().print(check_page(case, found, every=every))
