"""Command `show`: a run on the screen, by person, day, nutrient or totals."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from optimenu.audit.menu import Report
    from optimenu.exports.run_folder import Run
    from optimenu.problem.problem import Problem


def run(
    run_folder: Annotated[
        Path | None, typer.Argument(metavar="[RUN]", help="Folder of a run; by default the latest.")
    ] = None,
    person: Annotated[str | None, typer.Option(help="One person, by id.")] = None,
    day: Annotated[int | None, typer.Option(help="One day of the cycle, from 1.", min=1)] = None,
    reserve_day: Annotated[
        int | None, typer.Option(help="One day of the reserve, from 1; beside --day, both.", min=1)
    ] = None,
    date: Annotated[
        datetime | None,
        typer.Option(help="The day planned for a date, such as 2031-05-09.", formats=["%Y-%m-%d"]),
    ] = None,
    nutrients: Annotated[bool, typer.Option("--nutrients", help="Nutrients against their limits.")] = False,
    totals: Annotated[
        bool, typer.Option("--totals", help="Mass, volume, water, packs and the rest.")
    ] = False,
    everything: Annotated[bool, typer.Option("--all", help="Long lists in full.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Record, audit, menu and every measure as JSON.")
    ] = False,
) -> None:
    """Show a run: the cycle of each person, or one day, nutrients, totals."""
    from optimenu.audit.menu import audit_menu
    from optimenu.exports.run_folder import find_run, read_run
    from optimenu.views.console import error_console

    folder = find_run(run_folder)
    error_console().print(f"reading {folder} ...", highlight=False)
    found = read_run(folder)
    problem = found.case.problem
    people = people_named(problem, person)
    numbers = [
        _day(problem, block, n) for block, n in (("cycle", day), ("reserve", reserve_day)) if n is not None
    ]
    if date is not None:
        numbers.append(_dated(problem, date))
    report = audit_menu(problem, found.case.rules, found.menu, found.scale)
    if as_json:
        _print_json(found, report, people, numbers)
    else:
        _print_pages(
            found, report, people, numbers, nutrients=nutrients, totals=totals, everything=everything
        )
    end_if_broken(report)


def end_if_broken(report: Report) -> None:
    """End with the code of a failed audit when the menu breaks a hard limit.

    A page of a changed menu may be cooked from: it is never handed over as if all were well.
    """
    from optimenu.errors import AuditFailed
    from optimenu.views.console import error_console

    if not report.holds:
        error_console().print(
            "This menu breaks hard limits; do not use it. All of them: optimenu audit", style="bold"
        )
        raise typer.Exit(AuditFailed.exit_code)


def people_named(problem: Problem, person: str | None) -> list[int]:
    """Return the number of the person named, or everybody's.

    Raises
    ------
    InputFaults
        When there is nobody of that id.
    """
    from optimenu.errors import Fault, InputFaults, nearest

    if person is None:
        return list(range(len(problem.people)))
    if person not in problem.person_number:
        known = sorted(problem.person_number)
        raise InputFaults([Fault("--person", 0, f'no person "{person}".{nearest(person, known)}')])
    return [problem.person_number[person]]


def _day(problem: Problem, block: str, day: int) -> int:
    from decimal import Decimal

    from optimenu.errors import Fault, InputFaults
    from optimenu.menu.menu import day_numbers
    from optimenu.rules.base import unit_word

    found = day_numbers(problem).get((block, day))
    if found is None:
        option, where = ("--day", "cycle") if block == "cycle" else ("--reserve-day", "reserve")
        count = sum(d.block == block for d in problem.days)
        days = f"{count} {unit_word('days', Decimal(count))}"
        raise InputFaults([Fault(option, 0, f"no day {day} in the {where} of {days}")])
    return found


def _dated(problem: Problem, when: datetime) -> int:
    from optimenu.errors import Fault, InputFaults

    found = dict(zip(problem.dates, problem.sequence, strict=True)).get(when.date())
    if found is None:
        text = f"{when:%Y-%m-%d} is not a date of the stay, {problem.dates[0]} to {problem.dates[-1]}"
        raise InputFaults([Fault("--date", 0, text)])
    return found


def _print_pages(
    found: Run,
    report: Report,
    people: list[int],
    numbers: list[int],
    *,
    nutrients: bool,
    totals: bool,
    everything: bool,
) -> None:
    from optimenu.menu.tally import Tally
    from optimenu.stowage.losses import losses_of_all
    from optimenu.views.console import output_console
    from optimenu.views.cycle import cycle_page
    from optimenu.views.day import day_page
    from optimenu.views.losses import lost_lines, lost_table
    from optimenu.views.nutrients import nutrients_page
    from optimenu.views.summary import broken, summary
    from optimenu.views.totals import totals_page

    problem, console = found.case.problem, output_console()
    tally = Tally.of(problem, found.menu)
    lost = losses_of_all(tally, found.case.rules)
    if not report.holds:
        for line in broken(report):
            console.print(line)
    for number in numbers:
        for p in people:
            console.print(day_page(problem, tally, p, number, console.width))
    if nutrients:
        for p in people:
            missing = found.record["not_assessed"]
            gone = lost_table(problem, p, lost[p])
            console.print(nutrients_page(problem, tally, report.measures, p, missing, console.width, gone))
    if totals:
        ids = {problem.people[p].id for p in people}
        mine = tuple(m for m in report.measures if m.origin.person in ids or not m.origin.person)
        console.print(totals_page(mine, everything=everything))
    if not numbers and not nutrients and not totals:
        for p in people:
            console.print(cycle_page(problem, tally, p, console.width))
        console.print(summary(problem, report, found.record, lost_lines(problem, lost)))


def _print_json(found: Run, report: Report, people: list[int], numbers: list[int]) -> None:
    import json

    from optimenu.exports.run_folder import TOTALS, total_rows
    from optimenu.menu.menu import COLUMNS, day_numbers

    problem = found.case.problem
    ids = {problem.people[p].id for p in people}
    fed = {party.id for party in problem.parties if any(problem.people[m].id in ids for m in party.members)}
    place = day_numbers(problem)
    lines: list[dict[str, Any]] = [
        dict(zip(COLUMNS, row, strict=True))
        for row, line in zip(found.menu.rows(), found.menu.lines, strict=True)
        if line.party in fed and (not numbers or place.get((line.block, line.day)) in numbers)
    ]
    labels = [d.label for d in problem.days]
    measures = [
        dict(zip(TOTALS, row, strict=True))
        for row, m in zip(total_rows(report.measures, labels), report.measures, strict=True)
        if (m.origin.person in ids or not m.origin.person) and (not numbers or m.origin.day in numbers)
    ]
    audit = {
        "holds": report.holds,
        "value": str(report.value),
        "breaches": [b.text for b in report.breaches],
        "soft_limits_missed": [b.text for b in report.soft],
    }
    data = {"record": found.record, "audit": audit, "menu": lines, "measures": measures}
    print(json.dumps(data, indent=1, default=str))
