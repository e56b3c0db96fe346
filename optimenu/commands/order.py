"""Command `order`: what must be bought or made for a menu, for each load, and by when."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from optimenu.audit.menu import Report
    from optimenu.exports.run_folder import Run
    from optimenu.stowage.order import Sheet


def run(
    run_folder: Annotated[
        Path | None, typer.Argument(metavar="[RUN]", help="Folder of a run; by default the latest.")
    ] = None,
    csv: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write every line to a new CSV file.")
    ] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="Also lines of which nothing is ordered.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Write the sheet as JSON to stdout.")] = False,
) -> None:
    """Write the order sheet: packs to buy or make for each load, and the date to order by."""
    from optimenu.audit.menu import audit_menu
    from optimenu.errors import AuditFailed
    from optimenu.exports.order_sheet import ORDER, order_rows
    from optimenu.exports.run_folder import find_run, read_run, table_bytes, write_new
    from optimenu.menu.tally import Tally
    from optimenu.stowage.order import order_sheet
    from optimenu.views.console import error_console

    folder, console = find_run(run_folder), error_console()
    console.print(f"reading {folder} ...", highlight=False)
    found = read_run(folder)
    case = found.case
    report = audit_menu(case.problem, case.rules, found.menu, found.scale)
    sheet = order_sheet(Tally.of(case.problem, found.menu), case.rules, case.settings.order)
    if csv is not None and report.holds:
        write_new(csv, table_bytes(ORDER, order_rows(sheet)))
        console.print(f"written: {csv}", highlight=False)
    if as_json:
        _print_json(found, report, sheet)
    else:
        _print_page(found, report, sheet, everything=everything)
    if not report.holds:
        # a table has no place for a warning, and somebody would buy from it
        left = "" if csv is None else f" {csv} is not written."
        console.print(
            f"This menu breaks hard limits; order nothing for it.{left} All of them: optimenu audit",
            style="bold",
        )
        raise typer.Exit(AuditFailed.exit_code)


def _print_page(found: Run, report: Report, sheet: Sheet, *, everything: bool) -> None:
    from optimenu.views.console import cell, output_console
    from optimenu.views.order import order_page
    from optimenu.views.summary import broken

    console, case = output_console(), found.case
    if not report.holds:
        for line in broken(report):
            console.print(line)
    elif not _as_planned(found, report):
        console.print(cell("This is not the menu that was planned. See: optimenu audit", "bold"))
    page = order_page(case.problem, sheet, case.settings.order, console.width, everything=everything)
    console.print(page)


def _as_planned(found: Run, report: Report) -> bool:
    from decimal import Decimal

    return report.value == Decimal(found.record["value"])


def _print_json(found: Run, report: Report, sheet: Sheet) -> None:
    import json

    from optimenu.exports.order_sheet import ORDER, order_rows

    case = found.case
    settings: dict[str, Any] = case.settings.order.model_dump(mode="json")
    data = {
        "name": case.problem.name,
        "holds": report.holds,
        "as_planned": _as_planned(found, report),
        "breaches": [b.text for b in report.breaches],
        "asked": settings,
        "must_not_have": list(sheet.avoided),
        "lines": [dict(zip(ORDER, row, strict=True)) for row in order_rows(sheet)],
        "used_little": {
            "fewer_than": sheet.seldom_under,
            "items": [
                {
                    "item": s.item.id,
                    "servings": s.servings,
                    "people": [case.problem.people[p].id for p in s.people],
                }
                for s in sheet.seldom
            ],
        },
    }
    print(json.dumps(data, indent=1, default=str))
