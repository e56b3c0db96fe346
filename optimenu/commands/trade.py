"""Command `trade`: the curve between two or three quantities, each point a run."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimenu.commands.ctrl_c import Asked
    from optimenu.commands.progress import Watch
    from optimenu.config.case import Case
    from optimenu.solve.halt import Halt
    from optimenu.studies.points import Ways
    from optimenu.studies.store import Store

PART = 5
"""A point takes this part of the config's moves; from trials."""
FEWEST, MOST = 3, 200
FROM, HELD = 0.95, 0.98
"""Part of the best liking where a curve begins, and where liking is held; choices of ours."""
KEPT = "every point that is complete"


def run(
    source: Annotated[
        Path, typer.Argument(metavar="CONFIG", help="The config; or the folder of a trade, to read it again.")
    ],
    between: Annotated[
        str,
        typer.Option(
            help="Two or three quantities, with commas: liking, least (of whoever likes it least), mass, "
            "volume, water, variety, cost. Without a liking among them the first is made as good as can be "
            "while the mean liking is held."
        ),
    ] = "volume,liking",
    points: Annotated[int, typer.Option(help="Points of the curve, 3 to 200.")] = 12,
    floor: Annotated[
        float | None,
        typer.Option(
            help="Part of the best liking: the curve begins there, 0.95 unless told, 0 for its very end; "
            "where liking is not traded it is held there, 0.98 unless told."
        ),
    ] = None,
    moves: Annotated[
        int | None, typer.Option(help="Moves of each search; else a fifth of the config's.", min=1000)
    ] = None,
    seed: Annotated[
        int | None, typer.Option(help="Start of the random numbers; else the config's.", min=0)
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            help="Folder of the trade; by default the next one under runs/. One that is there is carried on."
        ),
    ] = None,
    pick: Annotated[
        int | None,
        typer.Option(help="With the folder of a trade: make this point a run, the latest one.", min=1),
    ] = None,
    threads: Annotated[int, typer.Option(help="Cores used; no point depends on it.", min=1)] = 2,
    as_json: Annotated[bool, typer.Option("--json", help="Write the points as JSON to stdout.")] = False,
) -> None:
    """Trade quantities against each other: evenly spread menus of which none is beaten in everything."""
    if source.is_dir():
        if pick is None:
            _show(source, as_json=as_json)
        else:
            _pick(source, pick, out)
        return
    if pick is not None:
        raise typer.BadParameter("needs the folder of a trade in place of a config", param_hint="--pick")
    _drawn(source, between, points, floor, moves, seed, out, threads, as_json=as_json)


def _drawn(
    source: Path,
    between: str,
    points: int,
    floor: float | None,
    moves: int | None,
    seed: int | None,
    out: Path | None,
    threads: int,
    *,
    as_json: bool,
) -> None:
    from optimenu.commands.ctrl_c import EXIT_CODE, Asked
    from optimenu.errors import Fault, InputFaults
    from optimenu.solve.halt import Halt

    faults = []
    if not FEWEST <= points <= MOST:
        faults.append(Fault("--points", 0, f"needs a number of points, {FEWEST} to {MOST}, found {points}"))
    if floor is not None and not 0 <= floor < 1:
        faults.append(Fault("--floor", 0, f"needs a part of the best liking, 0 to below 1, found {floor:g}"))
    halt = Halt()
    with Asked(halt) as asked:
        from decimal import Decimal

        from optimenu.config.case import load_case
        from optimenu.exports.record import inputs_of
        from optimenu.exports.run_folder import new_folder
        from optimenu.studies.points import Ways
        from optimenu.studies.store import Question, Store
        from optimenu.studies.trade import axis_faults

        names = [name.strip() for name in between.split(",")]
        faults += axis_faults(names)
        if faults:
            raise InputFaults(faults)
        case = load_case(source)
        if faults := axis_faults(names, case):
            raise InputFaults(faults)
        if floor is None:
            floor = FROM if {"liking", "least"} & set(names) else HELD
        search = case.settings.search
        ways = Ways(
            points, moves or max(1000, search.moves // PART), search.seed if seed is None else seed, threads,
            Decimal(str(floor)),
        )  # fmt: skip
        question = Question(
            case.problem.name,
            case.files[0].relative_to(case.root).as_posix(),
            inputs_of(case),
            tuple(names), ways.moves, ways.seed, str(ways.floor),
        )  # fmt: skip
        store = Store(out or new_folder(Path("runs"), f"{source.stem}-trade"), question)
        stopped = _found(case, names, ways, store, halt, asked)
        _show(store.folder, as_json=as_json)
        if stopped:
            _aside(
                "Stopped by you: these are the points so far. "
                f"Carry on with the same command and --out {store.folder}"
            )
            raise typer.Exit(EXIT_CODE)


def _found(case: Case, names: list[str], ways: Ways, store: Store, halt: Halt, asked: Asked) -> bool:
    """Find the points; tell whether the user stopped it. Without a single point it ends."""
    from optimenu.commands.progress import Watch, in_a_thread
    from optimenu.errors import Interrupted, ProvedImpossible, Undecided
    from optimenu.files import shown_path
    from optimenu.studies.axes import AXES
    from optimenu.studies.points import Points, Stopped
    from optimenu.studies.trade import trade

    asked.note()
    caps = {n: AXES[n] for n in names if AXES[n].limited}
    stopped = False
    with Watch() as watch:
        points = Points(case, caps, ways, store, halt, watch.phase, _counted(watch))
        try:
            in_a_thread(lambda: trade(names, points), watch, asked, lambda: bool(store.points), KEPT)
        except Stopped:
            stopped = True
    ends = {p.end for p in store.points.values()}
    if "menu" not in ends:
        if stopped:
            raise Interrupted("stopped before the first point was found; nothing was written")
        text = f"no point has a menu; see: optimenu explain {shown_path(case.files[0])}"
        raise ProvedImpossible(text) if ends == {"impossible"} else Undecided(text)
    _write(store)
    return stopped


def _counted(watch: Watch) -> Callable[[int, int, str], None]:
    """Tell which point is looked for, the rate and the time left."""
    began, first = time.perf_counter(), [-1]

    def count(done: int, points: int, words: str) -> None:
        if first[0] < 0:
            first[0] = done
        text = f"point {min(done + 1, points)} of {points}: {words}"
        if done > first[0]:
            each = (time.perf_counter() - began) / (done - first[0])
            text += f"; {each:.0f} s a point, about {each * max(points - done, 1):.0f} s left"
        watch.about(text)

    return count


def _write(store: Store) -> None:
    """Write the tables and the picture of what there is."""
    from optimenu.exports.chart import svg_bytes
    from optimenu.exports.run_folder import parquet_bytes, table_bytes
    from optimenu.studies.result import COLUMNS, chart, result, rows
    from optimenu.studies.store import read_trade

    found = result(read_trade(store.folder))
    lines = rows(found)
    store.write("points.csv", table_bytes(COLUMNS, lines))
    store.write("points.parquet", parquet_bytes(COLUMNS, lines))
    store.write("curve.svg", svg_bytes(chart(found)))


def _show(folder: Path, *, as_json: bool) -> None:
    import json

    from optimenu.studies.result import COLUMNS, result, rows
    from optimenu.studies.store import read_trade
    from optimenu.views.console import output_console

    found = result(read_trade(folder))
    if as_json:
        points = [dict(zip(COLUMNS, row, strict=True)) for row in rows(found)]
        print(
            json.dumps({"folder": str(folder), "points": points, "facts": found.facts}, indent=1, default=str)
        )
        return
    from optimenu.views.trade import trade_page

    console = output_console()
    console.print(trade_page(found, folder, console.width))


def _pick(folder: Path, number: int, out: Path | None) -> None:
    """Copy a point's run to where runs are, as the latest."""
    from optimenu.errors import Fault, InputFaults
    from optimenu.exports.run_folder import new_folder, write_folder
    from optimenu.studies.result import result
    from optimenu.studies.store import RUNS, read_trade

    found = result(read_trade(folder))
    points = found.points
    if number > len(points):
        raise InputFaults([Fault("--pick", 0, f"no point {number}; there are {len(points)}")])
    run_folder = folder / RUNS / points[number - 1].run
    files = {
        p.relative_to(run_folder).as_posix(): p.read_bytes()
        for p in sorted(run_folder.rglob("*"))
        if p.is_file()
    }
    target = write_folder(out or new_folder(Path("runs"), points[number - 1].run), files)
    _aside(f"Point {number} is now the run {target}, the latest. Read it with: optimenu show {target}")


def _aside(text: str) -> None:
    from optimenu.views.console import error_console

    error_console().print(text, highlight=False)
