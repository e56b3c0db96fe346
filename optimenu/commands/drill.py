"""Command `drill`: what if something fails or a load is late."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def run(
    run_folder: Annotated[
        Path | None, typer.Argument(metavar="[RUN]", help="Folder of a run; by default the latest.")
    ] = None,
    start: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First date it holds; by default the first.")
    ] = None,
    lost: Annotated[
        list[str] | None, typer.Option(metavar="WHAT", help="heater, hot_water or freezer; may be repeated.")
    ] = None,
    water_l: Annotated[
        str | None,
        typer.Option(metavar="N", help="Litres a day left for the whole crew, plain water included."),
    ] = None,
    late: Annotated[
        str | None,
        typer.Option(
            metavar="[LOAD=]N",
            help="Days that load, by default the next, comes late; if none comes, the stay is longer.",
        ),
    ] = None,
    csv: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the ration by date and person as CSV.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="Long lists in full.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Write everything as JSON to stdout.")] = False,
) -> None:
    """Ask a menu what is left when something fails or a load is late, and how to ration it."""
    from optimenu.audit.menu import audit_menu
    from optimenu.errors import AuditFailed
    from optimenu.exports.drill import drill_data, write_ration
    from optimenu.exports.run_folder import find_run, read_run
    from optimenu.stowage.drill import drill
    from optimenu.stowage.drill_question import ask
    from optimenu.views.console import error_console, output_console

    folder, console = find_run(run_folder), error_console()
    console.print(f"reading {folder} ...", highlight=False)
    found = read_run(folder)
    problem, rules = found.case.problem, found.case.rules
    question = ask(problem, start, lost or (), water_l, late)
    report = audit_menu(problem, rules, found.menu, found.scale)
    if not report.holds:
        count = len(report.breaches)
        word = "limit" if count == 1 else "limits"
        raise AuditFailed(
            f"this menu breaks {count} hard {word}; no ration is made of it. See: optimenu audit"
        )
    answer = drill(problem, rules, found.menu, question)
    if csv is not None:
        write_ration(csv, problem, answer)
    if as_json:
        import json

        print(json.dumps(drill_data(problem, answer), indent=1))
    else:
        from optimenu.views.drill import drill_page

        output_console().print(drill_page(problem, answer, everything=everything))
    if csv is not None:
        console.print(f"ration written to {csv}", highlight=False)
