"""Command `compare`: many cases of a config, planned in a batch and set side by side."""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from types import TracebackType

    from optimenu.commands.ctrl_c import Asked
    from optimenu.solve.halt import Halt
    from optimenu.studies.run import StudyRun
    from optimenu.studies.work import Answer
    from optimenu.studies.workers import Workers

PLACE = Path("studies")
WRITE_EVERY = 2.0
"""Seconds between two writings of the table while cases come in."""
TELL_EVERY = 10.0
"""Seconds between two lines of progress where there is no terminal."""


def run(
    study: Annotated[
        Path, typer.Argument(metavar="STUDY", help="A study, a TOML file; or the folder of one, to read it.")
    ],
    out: Annotated[
        Path | None, typer.Option(help="Folder of the study; by default its name under studies/.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option(help="Processes on this machine; by default one a core.", min=1)
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option(help="Address of a Dask scheduler, such as tcp://10.0.0.5:8786.")
    ] = None,
    runs: Annotated[bool, typer.Option("--runs", help="Keep the run of every case with a menu.")] = False,
    number: Annotated[
        int | None, typer.Option("--open", metavar="CASE", help="Make the run of one case, by its number.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Write the results as JSON to stdout.")] = False,
) -> None:
    """Plan many lengths, crews, caps or other settings of one config, and compare what comes of them."""
    from optimenu.commands.ctrl_c import Asked
    from optimenu.solve.halt import Halt

    halt = Halt()
    with Asked(halt) as asked, tempfile.TemporaryDirectory(prefix="optimenu-study-") as place:
        found = _found(study, out, Path(place))
        if number is not None:
            _open(found, number, as_json=as_json)
            return
        if not study.is_dir():
            _plan(found, study, workers, scheduler, halt, asked, runs=runs)
        _show(found, as_json=as_json)
    _close(found)


def _found(study: Path, out: Path | None, place: Path) -> StudyRun:
    from optimenu.studies.folder import StudyFolder
    from optimenu.studies.run import StudyRun
    from optimenu.studies.study import read_study

    if study.is_dir():
        folder = StudyFolder(study)
        return StudyRun(folder, *folder.study(place))
    return StudyRun(StudyFolder(out or PLACE / study.stem), read_study(study))


def _workers(count: int | None, scheduler: str | None) -> Workers:
    from optimenu.studies.workers import Cluster, Local

    if scheduler is not None:
        return Cluster(scheduler)
    return Local(count or os.cpu_count() or 1)


def _plan(
    found: StudyRun,
    study: Path,
    count: int | None,
    scheduler: str | None,
    halt: Halt,
    asked: Asked,
    *,
    runs: bool,
) -> None:
    """Plan what is not answered yet; return only when everything is."""
    from optimenu.errors import Interrupted
    from optimenu.studies.charts import charts

    workers = _workers(count, scheduler)
    asked.note()
    with Tally(found) as tally:
        try:
            done = found.plan(workers, halt, tally.took, tally.look, runs=runs)
        finally:
            workers.close()
            if found.folder.path.exists():
                found.folder.write(found.rows())
    if done:
        found.folder.draw(charts(found.study.asked.name, found.rows()))
    else:
        answered = sum(row.answer is not None for row in found.rows())
        raise Interrupted(
            f"stopped: {answered} of {len(found.cases)} cases are answered and kept in {found.folder.path}; "
            f"go on with the same command: optimenu compare {study}"
        )


class Tally:
    """Tells how far a study is: one live line on a terminal, else a line now and then; writes the table."""

    def __init__(self, found: StudyRun) -> None:
        from optimenu.views.console import error_console

        self._found = found
        self._console = error_console()
        self._status = self._console.status("starting") if self._console.is_terminal else None
        self._began = self._told = self._wrote = time.monotonic()
        self._before = len(found.answers)
        self._all = len(set(found.keys))
        self._new = False

    def __enter__(self) -> Tally:
        if self._status is not None:
            self._status.start()
        kept = f", {self._before} of them answered already" if self._before else ""
        self._console.print(f"{len(self._found.cases)} cases{kept}", highlight=False)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._status is not None:
            self._status.stop()

    def took(self, answer: Answer) -> None:
        """Note an answer."""
        self._new = True

    def look(self) -> None:
        """Tell, and write the table, when it is time."""
        now = time.monotonic()
        if self._new and now - self._wrote > WRITE_EVERY:
            self._found.folder.write(self._found.rows())
            self._wrote, self._new = time.monotonic(), False
        if self._status is not None:
            self._status.update(self.words(now))
        elif now - self._told > TELL_EVERY:
            self._console.print(self.words(now), highlight=False)
            self._told = now

    def words(self, now: float) -> str:
        """Return what is done, the rate, and the time left."""
        done, took = len(self._found.answers), now - self._began
        new = done - self._before
        without = sum(a.end != "menu" for a in self._found.answers.values())
        parts = [f"{done} of {self._all} cases"]
        if without:
            parts.append(f"{without} without a menu")
        if new and took > 0:
            parts.append(f"{new / took * 60:.1f} a minute")
            parts.append(f"{duration((self._all - done) * took / new)} left")
        return ", ".join([*parts, f"{took:.0f} s"])


def duration(seconds: float) -> str:
    """Return a time to wait as a person says it."""
    if seconds < 100:
        return f"{seconds:.0f} s"
    minutes = seconds / 60
    return f"{minutes:.0f} min" if minutes < 100 else f"{minutes / 60:.1f} h"


def _open(found: StudyRun, number: int, *, as_json: bool) -> None:
    import json

    from optimenu.views.console import error_console

    kept = any(c.number == number and found.kept(c) is not None for c in found.cases)
    if not kept:
        error_console().print(f"planning case {number} again, as its run was not kept ...", highlight=False)
    folder = found.open(number)
    if as_json:
        print(json.dumps({"case": number, "run": str(folder)}, indent=1))
    text = f"Case {number} is the run {folder}. Read it with: optimenu show {folder}"
    error_console().print(text, highlight=False)


def _close(found: StudyRun) -> None:
    """Say where the results lie and what can be done next; end as faults do where every case has some."""
    from optimenu.errors import InputFaults
    from optimenu.studies.folder import CHARTS, RESULTS, RESULTS_CSV
    from optimenu.views.console import error_console

    def aside(text: str) -> None:
        error_console().print(text, highlight=False)

    folder, rows = found.folder.path, found.rows()
    aside(f"Written to {folder}: {RESULTS_CSV}, {RESULTS}, {CHARTS}.")
    ends = {row.answer.end for row in rows if row.answer is not None}
    menu = next((r.case.number for r in rows if r.answer is not None and r.answer.end == "menu"), None)
    if menu is not None:
        aside(f"Make a case a run, such as case {menu}: optimenu compare {folder} --open {menu}")
    if ends == {"faults"}:
        aside("Every case has faults in the input: correct the study or its config and run it again.")
        raise typer.Exit(InputFaults.exit_code)


def _show(found: StudyRun, *, as_json: bool) -> None:
    import json

    from optimenu.studies.folder import result_rows
    from optimenu.views.compare import compare_page
    from optimenu.views.console import output_console

    if as_json:
        data = {"study": found.study.asked.name, "folder": str(found.folder.path)}
        print(json.dumps({**data, "cases": result_rows(found.rows())}, indent=1, default=str))
        return
    console = output_console()
    console.print(compare_page(found.study.asked.name, found.rows(), console.width))
