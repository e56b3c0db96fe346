"""Command `plan`: a menu cycle for every person, with its proof, in a run folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.config.case import Case
    from optimenu.errors import OptimenuError
    from optimenu.planning import Options, Planned
    from optimenu.solve.elastic import Shortfall

ASKED_GAP = 0.01


def run(
    config: Annotated[Path, typer.Argument(help="The config, a TOML file.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder of the run; by default the next one under runs/.")
    ] = None,
    seed: Annotated[
        int | None, typer.Option(help="Start of the random numbers; else the config's.", min=0)
    ] = None,
    moves: Annotated[
        int | None, typer.Option(help="Moves of the search in all; else the config's.", min=1000)
    ] = None,
    gap: Annotated[
        float, typer.Option(help="Gap asked for, as a part of the bound.", min=0, max=1)
    ] = ASKED_GAP,
    method: Annotated[
        str, typer.Option(help="search, or direct: the plain model in one solver, small cases only.")
    ] = "search",
    threads: Annotated[int, typer.Option(help="Cores used; the menu does not depend on it.", min=1)] = 2,
    as_json: Annotated[bool, typer.Option("--json", help="Write the record as JSON to stdout.")] = False,
) -> None:
    """Plan a menu cycle: every limit kept for every person and day, and how much better any menu could be."""
    from optimenu.errors import Fault, InputFaults, Interrupted
    from optimenu.exports.run_folder import new_folder

    if method not in ("search", "direct"):
        raise typer.BadParameter(f"no method {method}; search and direct are known", param_hint="--method")
    if out is not None and out.exists():
        raise InputFaults([Fault(str(out), 0, "exists already; name a new folder with --out")])
    folder = out or new_folder(Path("runs"), config.stem)
    try:
        _plan(config, folder, seed, moves, gap, method, threads, as_json=as_json)
    except KeyboardInterrupt:
        raise Interrupted("stopped; nothing was written") from None


def _plan(
    config: Path,
    folder: Path,
    seed: int | None,
    moves: int | None,
    gap: float,
    method: str,
    threads: int,
    *,
    as_json: bool,
) -> None:
    from optimenu.config.case import load_case
    from optimenu.planning import Options

    case = load_case(config)
    search = case.settings.search
    options = Options(
        method="direct" if method == "direct" else "search",
        moves=search.moves if moves is None else moves,
        seed=search.seed if seed is None else seed,
        threads=threads,
        gap=gap,
    )
    _finish(case, options, folder, as_json=as_json)


def _finish(case: Case, options: Options, folder: Path, *, as_json: bool) -> None:
    from optimenu.commands.progress import Watch, interruptible
    from optimenu.errors import Interrupted, ProvedImpossible, Undecided
    from optimenu.solve.liking import PersonImpossible
    from optimenu.views.console import error_console

    with Watch() as watch:
        try:
            planned, stopped = interruptible(case, options, watch)
        except PersonImpossible as error:
            _without_menu(case, error.shortfalls, error)
            raise
        end = planned.outcome.end
        if end == "menu":
            watch.phase("write")
            _write(planned, options, folder, watch.times)
    if end == "menu":
        _show(planned, options, folder, as_json=as_json)
        if stopped:
            error_console().print("Stopped by you: this is the best menu found so far.", highlight=False)
            raise typer.Exit(Interrupted.exit_code)
        return
    failure: OptimenuError
    if end == "impossible":
        by = (
            ""
            if planned.outcome.proof == "exact"
            else " by HiGHS on the plain model, with presolve and without"
        )
        failure = ProvedImpossible(f"no menu can keep all limits: proved{by}")
    elif end == "stopped":
        failure = Interrupted("stopped before a menu was found; nothing was written")
    else:
        failure = Undecided(
            "no menu found, and none proved impossible; try more --moves, or loosen a limit. "
            "Nothing was written"
        )
    _without_menu(case, planned.outcome.shortfalls, failure, planned)
    raise failure


def _write(planned: Planned, options: Options, folder: Path, times: dict[str, float]) -> None:
    import os

    from optimenu.exports.record import run_files
    from optimenu.exports.run_folder import write_folder

    # a test that kills the process while it writes asks for time to do so
    slowly = float(os.environ.get("OPTIMENU_SLOW_WRITER", "0"))
    write_folder(folder, run_files(planned, options, times), slowly)


def _show(planned: Planned, options: Options, folder: Path, *, as_json: bool) -> None:
    import json

    from optimenu.exports.record import record
    from optimenu.views.console import error_console, output_console
    from optimenu.views.summary import summary

    data = record(planned, options)
    if as_json:
        print(json.dumps({**data, "run": str(folder)}, indent=1))
    elif planned.report is not None:
        output_console().print(summary(planned.case.problem, planned.report, data))
    if not planned.outcome.reached:
        error_console().print(
            f"The gap asked for, {options.gap:.2%}, was not reached; more --moves may help.", highlight=False
        )
    error_console().print(f"Run written to {folder}. Read it with: optimenu show {folder}", highlight=False)


def _without_menu(
    case: Case,
    shortfalls: Sequence[Shortfall],
    error: OptimenuError,
    planned: Planned | None = None,
) -> None:
    """Say what stands in the way, on stderr and in the error, which follows."""
    from optimenu.views.console import error_console
    from optimenu.views.impossible import impossible

    error_console().print(impossible(case, shortfalls, planned))
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
