"""The part of `explain` that speaks of a menu: which one, and what is told of it."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimenu.audit.menu import Report
    from optimenu.commands.ctrl_c import Asked
    from optimenu.config.case import Case
    from optimenu.errors import Fault
    from optimenu.explain.exchange import Exchange
    from optimenu.explain.told import Told
    from optimenu.menu.menu import Menu
    from optimenu.planning import Planned
    from optimenu.program.program import Program
    from optimenu.solve.liking import Scale


@dataclass(frozen=True)
class Spoken:
    """The menu spoken of.

    Attributes
    ----------
    source : str
        Where it comes from, in words.
    """

    menu: Menu
    scale: Scale
    source: str
    program: Program | None = None


def asked_for(case: Case, person: str | None, item: str | None) -> list[int] | None:
    """Numbers of the people meant, None for everybody, after looking at the names given.

    Raises
    ------
    InputFaults
        For names that nobody and nothing bears, both at once.
    """
    from optimenu.commands.show import people_named
    from optimenu.errors import InputFaults

    faults: list[Fault] = []
    people = None
    try:
        people = None if person is None else people_named(case.problem, person)
    except InputFaults as error:
        faults += error.faults
    if item is not None and item not in case.problem.catalogue.by_id:
        faults.append(_no_item(case, item))
    if faults:
        raise InputFaults(faults)
    return people


def _no_item(case: Case, item: str) -> Fault:
    from optimenu.catalogue.read import read_catalogue
    from optimenu.errors import Fault, nearest

    table = case.layers.values["catalogue"]
    path = case.layers.path(("catalogue", "file"), table["file"])
    whole = None if isinstance(path, Fault) else read_catalogue(path)
    if whole is not None and item in whole.by_id:
        return case.layers.fault(("catalogue",), f"catalogue: {item} is left out by only or leave_out here")
    known = sorted(case.problem.catalogue.by_id)
    return Fault("--item", 0, f'no item "{item}" in the catalogue.{nearest(item, known)}')


def earlier(case: Case, run: Path | None, parent: Path = Path("runs")) -> Spoken | None:
    """The menu of a run made from these very inputs: the one named, else the latest if it is of them.

    Raises
    ------
    InputFaults
        When the run named is of other inputs or unreadable.
    AuditFailed
        When its menu breaks a hard limit.
    """
    from optimenu.errors import Fault, InputFaults
    from optimenu.exports.run_folder import find_run
    from optimenu.files import shown_path

    try:
        folder = find_run(run, parent)
        spoken, differ = _read(case, folder)
    except InputFaults:
        if run is not None:
            raise
        return None
    if spoken is None and run is not None:
        text = f"made from other inputs: {', '.join(differ)}; plan again, or name the config it was made from"
        raise InputFaults([Fault(shown_path(folder), 0, text)])
    return spoken


def _read(case: Case, folder: Path) -> tuple[Spoken | None, list[str]]:
    """A run's menu, or the inputs in which it differs from the case."""
    from optimenu.exports.record import inputs_of
    from optimenu.exports.run_folder import read_record
    from optimenu.menu.read import read_menu

    record, scale = read_record(folder)
    then: Mapping[str, str] = record["inputs"]
    now = inputs_of(case)
    differ = sorted(k for k in {*then, *now} if then.get(k) != now.get(k))
    if differ:
        return None, differ
    return Spoken(read_menu(folder / "menu.csv"), scale, f"The menu of {folder}."), []


def planned_now(planned: Planned) -> Spoken:
    """The menu of a plan made just now, which is not written."""
    assert planned.menu is not None, "there is a menu to speak of"
    text = "The menu of a short plan made just now; it is not written."
    return Spoken(planned.menu, planned.scale, text, planned.program)


def told_of(
    case: Case,
    spoken: Spoken,
    people: list[int] | None,
    item: str | None,
    replan: tuple[int, int, int] | None,
    asked: Asked,
    *,
    exchange: bool = False,
) -> Told:
    """Find what the limits of a menu cost, or why an item is not on it; Ctrl-C ends it at once.

    Raises
    ------
    AuditFailed
        When the menu breaks a hard limit: nothing of it may be trusted.
    Interrupted
        On a Ctrl-C.
    """
    from optimenu.audit.menu import audit_menu
    from optimenu.commands.explain_none import waited
    from optimenu.errors import AuditFailed
    from optimenu.explain.prices import prices_of
    from optimenu.explain.told import tell
    from optimenu.views.console import error_console

    report = audit_menu(case.problem, case.rules, spoken.menu, spoken.scale)
    if not report.holds:
        count = len(report.breaches)
        word = "1 hard limit" if count == 1 else f"{count} hard limits"
        raise AuditFailed(f"{spoken.source} It breaks {word}; see optimenu audit")
    error_console().print("solving the bound again ...", highlight=False)
    asked.note()

    def work() -> Told:
        prices = prices_of(case, scale=spoken.scale, program=spoken.program, menu=spoken.menu)
        told = tell(prices, report.value, people=people, item=item, replan=replan)
        return replace(told, exchanges=_exchanged(case, spoken, report)) if exchange else told

    return waited(work, asked)


def _exchanged(case: Case, spoken: Spoken, report: Report) -> tuple[Exchange, ...]:
    from optimenu.explain.exchange import exchanges
    from optimenu.program.build import build
    from optimenu.views.console import error_console

    def said(person: str) -> None:
        error_console().print(f"asking what more for {person} costs the others ...", highlight=False)

    return exchanges(
        [p.id for p in case.problem.people],
        build(case.problem, case.rules),
        spoken.scale,
        liking=[one.liking for one in report.liked],
        progress=said,
    )


def show_menu(case: Case, spoken: Spoken, told: Told, *, everything: bool, as_json: bool) -> None:
    """Write what was told of a menu."""
    from rich.text import Text

    from optimenu.exports.worth import worth_data
    from optimenu.views.console import output_console
    from optimenu.views.exchange import exchange_page
    from optimenu.views.worth import worth_page

    if as_json:
        print(json.dumps({"menu": spoken.source, **worth_data(case, told)}, indent=1))
    else:
        more = [Text(), exchange_page(case.problem, told.exchanges)] if told.exchanges else []
        page = worth_page(case, told, source=spoken.source, everything=everything, more=more)
        output_console().print(page)
