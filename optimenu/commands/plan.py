"""Command `plan`: a menu cycle for every person, with its proof, in a run folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from optimenu.commands import BEGAN

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimenu.commands.ctrl_c import Asked
    from optimenu.config.case import Case
    from optimenu.errors import OptimenuError
    from optimenu.planning import Options, Planned
    from optimenu.solve.elastic import Shortfall
    from optimenu.solve.halt import Halt

ASKED_GAP = 0.01
"""Gap that is told as reached or not, when none is asked for."""
START_SAVES = 5
"""A menu that is near needs this part of the moves; from trials."""
LATE = "You stopped it when the menu was complete: nothing is missing."


def run(
    config: Annotated[Path, typer.Argument(help="The config, a TOML file.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder of the run; by default the next one under runs/.")
    ] = None,
    seed: Annotated[
        int | None, typer.Option(help="Start of the random numbers; else the config's.", min=0)
    ] = None,
    moves: Annotated[
        int | None,
        typer.Option(help="Moves of the search in all; else the config's, with --start a fifth.", min=1000),
    ] = None,
    gap: Annotated[
        float | None,
        typer.Option(
            help="End once this gap is proved, as a part of the bound; without it all moves are spent.",
            min=0,
            max=1,
        ),
    ] = None,
    seconds: Annotated[
        float | None,
        typer.Option(help="End in this many seconds of wall-clock time, with the best menu so far.", min=1),
    ] = None,
    start: Annotated[
        Path | None,
        typer.Option(help="An earlier menu to stay near: a run's folder, or a menu as CSV or Parquet."),
    ] = None,
    method: Annotated[
        str, typer.Option(help="search, or direct: the plain model in one solver, small cases only.")
    ] = "search",
    threads: Annotated[int, typer.Option(help="Cores used; the menu does not depend on it.", min=1)] = 2,
    as_json: Annotated[bool, typer.Option("--json", help="Write the record as JSON to stdout.")] = False,
) -> None:
    """Plan a menu cycle: every limit kept for every person and day, and how much better any menu could be."""
    from optimenu.commands.ctrl_c import Asked
    from optimenu.errors import Fault, InputFaults
    from optimenu.solve.halt import Halt

    if method not in ("search", "direct"):
        raise typer.BadParameter(f"no method {method}; search and direct are known", param_hint="--method")
    if start is not None and method == "direct":
        raise typer.BadParameter("the plain model starts from no menu", param_hint="--start")
    if out is not None and out.exists():
        raise InputFaults([Fault(str(out), 0, "exists already; name a new folder with --out")])
    halt = Halt(None if seconds is None else BEGAN + seconds)
    with Asked(halt) as asked:
        from optimenu.exports.run_folder import new_folder

        folder = out or new_folder(Path("runs"), config.stem)
        case, options = _given(config, seed, moves, gap, seconds, start, method, threads)
        planned = _planned(case, options, folder, halt, asked)
        _show(planned, options, folder, asked, as_json=as_json)


def _given(
    config: Path,
    seed: int | None,
    moves: int | None,
    gap: float | None,
    seconds: float | None,
    start: Path | None,
    method: str,
    threads: int,
) -> tuple[Case, Options]:
    from optimenu.config.case import load_case
    from optimenu.exports.run_folder import find_run
    from optimenu.menu.read import read_menu
    from optimenu.planning import Options

    case = load_case(config)
    search = case.settings.search
    earlier = None
    if start is not None:
        earlier = read_menu(
            find_run(start) / "menu.csv" if start.is_dir() or start.name == "latest" else start
        )
    return case, Options(
        method="direct" if method == "direct" else "search",
        moves=moves or (search.moves if start is None else max(1000, search.moves // START_SAVES)),
        seed=search.seed if seed is None else seed,
        threads=threads,
        gap=ASKED_GAP if gap is None else gap,
        ends_at_gap=gap is not None,
        seconds=seconds,
        start=earlier,
        exact_steps=search.exact_steps,
    )


def _planned(case: Case, options: Options, folder: Path, halt: Halt, asked: Asked) -> Planned:
    """Plan and write; return only with a menu that is written."""
    from optimenu.commands.ctrl_c import NOTHING
    from optimenu.commands.progress import Watch, interruptible
    from optimenu.errors import Interrupted, ProvedImpossible, Undecided
    from optimenu.solve.liking import PersonImpossible

    asked.note()
    with Watch() as watch:
        try:
            planned = interruptible(case, options, watch, halt, asked)
        except PersonImpossible as error:
            _without_menu(case, error.shortfalls, error)
            raise
        outcome = planned.outcome
        if outcome.end == "menu":
            watch.phase("write")
            _write(planned, options, folder, watch.times, latest=outcome.ended != "stopped")
            return planned
    failure: OptimenuError
    if outcome.end == "impossible":
        by = "" if outcome.proof == "exact" else " by HiGHS on the plain model, with presolve and without"
        failure = ProvedImpossible(f"no menu can keep all limits: proved{by}")
    elif outcome.ended == "stopped":
        failure = Interrupted(NOTHING)
    elif outcome.ended == "seconds":
        failure = Undecided(
            f"no menu was found within {options.seconds:g} seconds, and none proved impossible; "
            "give it more --seconds. Nothing was written"
        )
    else:
        failure = Undecided(
            "no menu found, and none proved impossible; try more --moves, or loosen a limit. "
            "Nothing was written"
        )
    _without_menu(case, outcome.shortfalls, failure, planned)
    raise failure


def _write(
    planned: Planned, options: Options, folder: Path, times: dict[str, float], *, latest: bool
) -> None:
    import os

    from optimenu.exports.record import run_files
    from optimenu.exports.run_folder import write_folder

    # a test that kills the process while it writes asks for time to do so
    slowly = float(os.environ.get("OPTIMENU_SLOW_WRITER", "0"))
    write_folder(folder, run_files(planned, options, times), slowly, latest=latest)


def _show(planned: Planned, options: Options, folder: Path, asked: Asked, *, as_json: bool) -> None:
    """Say what was found; the run is written by now."""
    from optimenu.commands.ctrl_c import EXIT_CODE
    from optimenu.exports.record import record
    from optimenu.views.console import error_console
    from optimenu.views.summary import beside_words, gap_words

    def aside(text: str) -> None:
        error_console().print(text, highlight=False)

    data = record(planned, options)
    _page(planned, data, folder, as_json=as_json)
    outcome = planned.outcome
    if planned.left_out:
        word = "line" if planned.left_out == 1 else "lines"
        aside(f"{planned.left_out} {word} of the menu started from cannot be any more: left out.")
    if data["beside_start"]:
        aside(beside_words(data["beside_start"]))
    if options.ends_at_gap and not outcome.reached and outcome.ended == "moves":
        aside(f"The gap asked for, {options.gap:.2%}, was not reached; more --moves may help.")
    if outcome.ended == "seconds":
        aside(f"Ended by the clock, --seconds {options.seconds:g}: the best menu found within it.")
    if outcome.ended == "gap" and options.ends_at_gap and options.method == "search":
        aside(f"Ended early: the gap asked for, {options.gap:.2%}, is proved.")
    if outcome.ended == "stopped":
        aside(
            f"Stopped by you: this is the best menu found so far, gap {gap_words(data)}. "
            "It does not take the place of the latest run."
        )
    aside(f"Run written to {folder}. Read it with: optimenu show {folder}")
    if asked.times and outcome.ended != "stopped":
        aside(LATE)
    if asked.times:
        raise typer.Exit(EXIT_CODE)


def _page(planned: Planned, data: Mapping[str, Any], folder: Path, *, as_json: bool) -> None:
    import json

    from optimenu.menu.tally import Tally
    from optimenu.stowage.losses import losses_of_all
    from optimenu.views.console import output_console
    from optimenu.views.losses import lost_lines
    from optimenu.views.summary import summary

    if as_json:
        print(json.dumps({**data, "run": str(folder)}, indent=1))
    elif planned.report is not None:
        assert planned.menu is not None  # what was audited
        problem = planned.case.problem
        lost = losses_of_all(Tally.of(problem, planned.menu), planned.case.rules)
        output_console().print(summary(problem, planned.report, data, lost_lines(problem, lost)))


def _without_menu(
    case: Case,
    shortfalls: Sequence[Shortfall],
    error: OptimenuError,
    planned: Planned | None = None,
) -> None:
    """Say what stands in the way, on stderr and in the error, which follows."""
    from optimenu.files import shown_path
    from optimenu.views.console import error_console
    from optimenu.views.impossible import impossible

    error_console().print(impossible(case, shortfalls, planned))
    error_console().print(
        f"What would give a menu: optimenu explain {shown_path(case.files[0])}", highlight=False
    )
    days = [d.label for d in case.problem.days]
    error.details["conflicts"] = [
        {
            "rule": s.origin.rule,
            "key": s.origin.key,
            "person": s.origin.person,
            "day": days[s.origin.day] if s.origin.day >= 0 else "",
            "meal": s.origin.meal,
            "what": s.origin.what,
            "amount": s.amount,
            "side": "too little" if s.low_side else "too much",
            "place": case.where(s.origin.key),
            "who": s.origin.who,
        }
        for s in shortfalls
        if s.origin is not None
    ]
