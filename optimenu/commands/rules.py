"""Command `rules`: what can be asked of a menu, from the rules' own declarations."""

from __future__ import annotations

from typing import Annotated

import typer


def run(
    name: Annotated[str | None, typer.Argument(help="Table of one rule; all of them when left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Write the pages as JSON to stdout.")] = False,
) -> None:
    """List the rules, or explain one: what it asks, its maths, its settings and an example."""
    from optimenu.config.pages import rule_page
    from optimenu.errors import Fault, InputFaults, nearest
    from optimenu.rules.registry import rule_classes
    from optimenu.views.console import output_console
    from optimenu.views.rules import rule_list, rule_view

    known = rule_classes()
    if name is not None and name not in known:
        text = f'no rule "{name}".{nearest(name, sorted(known))}'
        raise InputFaults([Fault("rules", 0, f"{text} Known: {', '.join(known)}")])
    pages = [rule_page(known[table]) for table in known if name in (None, table)]
    if as_json:
        import json
        from dataclasses import asdict

        print(json.dumps([asdict(page) for page in pages], indent=1))
    else:
        output_console().print(rule_list(pages) if name is None else rule_view(pages[0]))
