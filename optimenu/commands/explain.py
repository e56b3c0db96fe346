"""Command `explain`: why there is no menu and what would give one; or what the limits of a menu cost."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from optimenu.commands.ctrl_c import Asked
    from optimenu.config.case import Case
    from optimenu.planning import Options, Planned
    from optimenu.settings import Writer
    from optimenu.solve.halt import Halt


def run(
    config: Annotated[Path, typer.Argument(help="The config, a TOML file.")],
    role: Annotated[
        str | None,
        typer.Option(
            help="Who asks: planner, dietitian or physician; else who the config says writes it. Only what "
            "they may change is offered."
        ),
    ] = None,
    person: Annotated[str | None, typer.Option(help="Only what concerns this person, by id.")] = None,
    item: Annotated[str | None, typer.Option(help="Only what concerns this item, by id.")] = None,
    run_folder: Annotated[
        Path | None,
        typer.Option("--run", help="Folder of the run spoken of; by default the latest, if of this config."),
    ] = None,
    replan: Annotated[
        bool, typer.Option("--replan", help="Also search what the menu gains by the dearest limits: minutes.")
    ] = False,
    exchange: Annotated[
        bool,
        typer.Option("--exchange", help="Also what a point more for one person costs the others: minutes."),
    ] = False,
    everything: Annotated[bool, typer.Option("--all", help="Long lists in full.")] = False,
    out: Annotated[
        Path | None, typer.Option(help="New folder for the ways out, a config each; inside the project.")
    ] = None,
    seed: Annotated[
        int | None, typer.Option(help="Start of the random numbers; else the config's.", min=0)
    ] = None,
    moves: Annotated[
        int | None, typer.Option(help="Moves of each search; else a fifth of the config's.", min=1000)
    ] = None,
    threads: Annotated[int, typer.Option(help="Cores used; the answer does not depend on it.", min=1)] = 2,
    as_json: Annotated[bool, typer.Option("--json", help="Write the answer as JSON to stdout.")] = False,
) -> None:
    """Say which limits stand in the way of a menu and what would give one; or what each limit costs."""
    from optimenu.commands.ctrl_c import Asked
    from optimenu.commands.explain_menu import asked_for, earlier, planned_now, show_menu, told_of
    from optimenu.commands.explain_none import look_at, no_menu
    from optimenu.solve.halt import Halt

    who = None if role is None else _role(role)
    halt = Halt(None)
    with Asked(halt) as asked:
        case, options = _given(config, seed, moves, threads)
        people = asked_for(case, person, item)
        look_at(case, out)
        spoken = earlier(case, run_folder)
        if spoken is None:
            planned = _planned(case, options, halt, asked)
            if planned is None or planned.outcome.end != "menu":
                asking = who or case.settings.role or "planner"
                planned = no_menu(case, planned, asking, options, out, halt, asked, as_json=as_json)
            spoken = planned_now(planned)
        again = (options.moves, options.seed, options.threads) if replan else None
        told = told_of(case, spoken, people, item, again, asked, exchange=exchange)
    show_menu(case, spoken, told, everything=everything, as_json=as_json)


def _role(role: str) -> Writer:
    from optimenu.explain.loosen import ROLES

    for known in ROLES:
        if role == known:
            return known
    raise typer.BadParameter(f"no role {role}; {', '.join(ROLES)} are known", param_hint="--role")


def _given(config: Path, seed: int | None, moves: int | None, threads: int) -> tuple[Case, Options]:
    from optimenu.config.case import load_case
    from optimenu.planning import Options

    case = load_case(config)
    search = case.settings.search
    return case, Options(
        moves=moves or max(1000, search.moves // 5),
        seed=search.seed if seed is None else seed,
        threads=threads,
    )


def _planned(case: Case, options: Options, halt: Halt, asked: Asked) -> Planned | None:
    """Plan, and write nothing; None when one person's own limits are proved impossible."""
    from optimenu.commands.progress import Watch, interruptible
    from optimenu.solve.liking import PersonImpossible

    asked.note()
    with Watch() as watch:
        try:
            return interruptible(case, options, watch, halt, asked)
        except PersonImpossible:
            return None
