"""Command `sheet`: papers that go with a menu."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import RenderableType

    from optimenu.audit.menu import Report
    from optimenu.exports.run_folder import Run
    from optimenu.menu.tally import Tally
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Breach
    from optimenu.stowage.allergens import Matrix


class Kind(StrEnum):
    """Papers there are."""

    person = "person"
    allergens = "allergens"
    card = "card"


def run(
    kind: Annotated[
        Kind,
        typer.Argument(
            help="person: for the physician and the dietitian; allergens: items against allergens; "
            "card: what each of the crew eats.",
            show_choices=True,
        ),
    ],
    run_folder: Annotated[
        Path | None, typer.Argument(metavar="[RUN]", help="Folder of a run; by default the latest.")
    ] = None,
    person: Annotated[
        str | None, typer.Option(help="One person, by id; needed for person, everybody by default for card.")
    ] = None,
    every: Annotated[
        bool, typer.Option("--all", help="allergens: every allergen, prescribed or not.")
    ] = False,
    csv: Annotated[
        Path | None, typer.Option(help="allergens: write the matrix to this CSV file too.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Write the paper as JSON to stdout.")] = False,
) -> None:
    """Print a paper that goes with a menu: a person's sheet, allergens, cards of the crew."""
    from optimenu.audit.menu import audit_menu
    from optimenu.commands.show import end_if_broken, people_named
    from optimenu.exports.run_folder import find_run, read_run
    from optimenu.menu.tally import Tally
    from optimenu.views.console import error_console

    _check(kind, person=person, every=every, csv=csv)
    folder = find_run(run_folder)
    error_console().print(f"reading {folder} ...", highlight=False)
    found = read_run(folder)
    problem = found.case.problem
    people = people_named(problem, person)
    report = audit_menu(problem, found.case.rules, found.menu, found.scale)
    tally = Tally.of(problem, found.menu)
    made = {Kind.person: _person, Kind.allergens: _allergens, Kind.card: _cards}[kind]
    data, pages = made(found, report, tally, people, every=every, csv=csv)
    if as_json:
        import json

        print(json.dumps({"kind": kind.value, "holds": report.holds, **data}, indent=1, default=str))
    else:
        from optimenu.views.console import output_console

        for page in pages:
            output_console().print(page)
    end_if_broken(report)


def _check(kind: Kind, *, person: str | None, every: bool, csv: Path | None) -> None:
    """Options that do not belong to the paper, all of them at once."""
    from optimenu.errors import Fault, InputFaults

    faults = []
    if kind is Kind.person and person is None:
        faults.append(Fault("--person", 0, "is needed: whose sheet? For example --person ines"))
    if kind is Kind.allergens and person is not None:
        faults.append(Fault("--person", 0, "does not go with allergens, which shows everybody; leave it out"))
    if kind is not Kind.allergens:
        for option, given in (("--all", every), ("--csv", csv is not None)):
            if given:
                faults.append(Fault(option, 0, f"goes with allergens only, not with {kind.value}"))
    if faults:
        raise InputFaults(faults)


Paper = tuple[dict[str, Any], "list[RenderableType]"]


def _person(
    found: Run, report: Report, tally: Tally, people: Sequence[int], *, every: bool, csv: Path | None
) -> Paper:
    from dataclasses import asdict

    from optimenu.stowage.person_sheet import person_sheet
    from optimenu.views.sheet import CONFIDENTIAL, person_page, warning

    problem = found.case.problem
    sheet = person_sheet(problem, tally, report.measures, people[0], found.record["not_assessed"])
    breaches = _of_person(problem, report, people[0])
    data = {
        "confidential": CONFIDENTIAL,
        "breaches": [b.text for b in breaches],
        "sheet": asdict(sheet),
    }
    return data, [*warning(report, breaches), person_page(problem, sheet)]


def _of_person(problem: Problem, report: Report, person: int) -> list[Breach]:
    """Breaches that concern a person or the whole crew: another's allergy is none of this sheet's."""
    mine = {"", problem.people[person].id}
    mine |= {p.id for p in problem.parties if person in p.members}
    return [b for b in report.breaches if b.origin.person in mine]


def _allergens(
    found: Run, report: Report, tally: Tally, people: Sequence[int], *, every: bool, csv: Path | None
) -> Paper:
    from dataclasses import asdict

    from optimenu.stowage.allergens import matrix
    from optimenu.views.console import error_console, output_console
    from optimenu.views.sheet import warning
    from optimenu.views.sheet_allergens import FOR_THE_GALLEY, allergens_page

    problem = found.case.problem
    table = matrix(problem, tally, every=every)
    if csv is not None:
        from optimenu.exports.run_folder import write_new

        write_new(csv, _csv(table))
        error_console().print(f"matrix written to {csv}", highlight=False)
    data = {
        "confidential": FOR_THE_GALLEY,
        "breaches": [b.text for b in report.breaches],
        "matrix": asdict(table),
    }
    page = allergens_page(problem, table, output_console().width)
    return data, [*warning(report, report.breaches), page]


def _csv(table: Matrix) -> bytes:
    """One row an item: state of each allergen, then how it comes to each person who must avoid one."""
    from optimenu.exports.run_folder import table_bytes

    reach = [{r.item: r for r in w.reach} for w in table.people]
    rows = []
    for row in table.rows:
        near = [mine.get(row.item) for mine in reach]
        words = [
            "" if r is None else "; ".join((["kept away"] if r.kept_away else []) + [*r.ways]) for r in near
        ]
        rows.append((row.item, row.name, *row.states, *words))
    return table_bytes(("item", "name", *table.allergens, *(f"person_{w.id}" for w in table.people)), rows)


def _cards(
    found: Run, report: Report, tally: Tally, people: Sequence[int], *, every: bool, csv: Path | None
) -> Paper:
    from dataclasses import asdict

    from optimenu.stowage.crew_card import card
    from optimenu.views.console import output_console
    from optimenu.views.sheet import warning
    from optimenu.views.sheet_card import card_page

    problem, width = found.case.problem, output_console().width
    cards = [card(problem, tally, p) for p in people]
    # what is broken may name an allergy: a card says only that it must not be used
    opening = warning(report, (), told=False)
    pages: list[RenderableType] = []
    for c in cards:
        pages += [*opening, card_page(problem, c, width)]
    return {"cards": [asdict(c) for c in cards]}, pages
