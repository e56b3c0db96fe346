"""The part of `explain` that speaks of a config without a menu: what stands in the way, and the ways out."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from collections.abc import Callable, Collection
    from pathlib import Path
    from typing import TypeVar

    import numpy as np
    from numpy.typing import NDArray

    from optimenu.commands.ctrl_c import Asked
    from optimenu.config.case import Case
    from optimenu.errors import OptimenuError
    from optimenu.explain.conflict import Conflict
    from optimenu.explain.ways import Kept, WaysOut
    from optimenu.planning import Options, Planned
    from optimenu.settings import Writer
    from optimenu.solve.halt import Halt

    T = TypeVar("T")

LOOKING = "looking for the smallest changes that give a menu: minutes where many limits are in the way"
STOPPED = "stopped before the answer was known: nothing was written"


class _EnoughError(Exception):
    """The user wants what there is by now."""


def look_at(case: Case, out: Path | None) -> None:
    """Look at the folder named for the ways out before any work is done.

    Raises
    ------
    InputFaults
        When it exists already, or lies outside the project, so that no file in it could name the config.
    """
    from optimenu.errors import Fault, InputFaults
    from optimenu.files import shown_path

    if out is None:
        return
    if out.exists():
        raise InputFaults([Fault(str(out), 0, "exists already; name a new folder with --out")])
    if not out.resolve().is_relative_to(case.root):
        text = f"lies outside the project, {shown_path(case.root)}; its files could not extend the config"
        raise InputFaults([Fault(str(out), 0, text)])


def no_menu(
    case: Case,
    planned: Planned | None,
    role: Writer,
    options: Options,
    out: Path | None,
    halt: Halt,
    asked: Asked,
    *,
    as_json: bool,
) -> Planned:
    """Tell what stands in the way and what would give a menu; end as a plan would.

    Parameters
    ----------
    planned : Planned or None
        The plan that found no menu; None where one person's own limits are proved impossible.
    out : Path or None
        New folder for the ways as files.

    Returns
    -------
    Planned
        A plan with a menu after all, found where limits were told apart.

    Raises
    ------
    ProvedImpossible, Undecided
        Always else, once it is told.
    Exit
        Once what was found until a Ctrl-C is told, with the exit code of one.
    """
    from optimenu.commands.ctrl_c import EXIT_CODE
    from optimenu.commands.progress import Watch

    near = None if planned is None else planned.outcome.near
    with Watch() as watch:
        watch.phase("finding limits that cannot hold together")
        conflict = waited(lambda: found(case, near), asked)
        menu = conflict.menu
        if menu is not None:
            watch.phase("planning from a menu found on the way")
            return waited(lambda: from_menu(case, menu, options), asked)
    if not as_json:
        # the ways may take minutes more; what is known is told first
        _tell_conflict(conflict, options)
    with Watch() as watch:
        watch.phase(LOOKING)
        ways = _ways(case, role, options, watch.phase, halt, asked)
    proofs = {conflict.proof, "exact" if planned is None else planned.outcome.proof}
    _told(case, conflict, ways, _written(case, ways, out), as_json=as_json)
    if out is not None and not ways.working:
        _tell_unwritten(out, role)
    if ways.stopped:
        raise typer.Exit(EXIT_CODE)
    raise _end(proofs)


def found(case: Case, near: NDArray[np.int64] | None) -> Conflict:
    """Find what cannot hold together."""
    from optimenu.explain.conflict import conflict_of

    return conflict_of(case, near)


def sought(
    case: Case, role: Writer, options: Options, tell: Callable[[str], None], halt: Halt, kept: Kept
) -> WaysOut:
    """Look for ways out."""
    from optimenu.explain.loosen import ways_out

    return ways_out(case, role, options, tell=tell, stop=halt, kept=kept)


def _ways(
    case: Case, role: Writer, options: Options, tell: Callable[[str], None], halt: Halt, asked: Asked
) -> WaysOut:
    """Look for ways out until there are enough, or a Ctrl-C; those planned by then are kept."""
    from optimenu.commands.progress import meanwhile
    from optimenu.explain.ways import Kept

    kept = Kept(role, options.moves)

    def look() -> None:
        if asked.times:
            raise _EnoughError

    try:
        return meanwhile(lambda: sought(case, role, options, tell, halt, kept), look)
    except _EnoughError:
        # at once: a linear program under way may take long, and what is kept does not wait for it
        return kept.so_far(stopped=True)


def waited(work: Callable[[], T], asked: Asked) -> T:
    """Do some work in a thread of its own, so that Ctrl-C is heard at once.

    Raises
    ------
    Interrupted
        On a Ctrl-C: there is nothing to keep.
    """
    from optimenu.commands.progress import meanwhile
    from optimenu.errors import Interrupted

    def look() -> None:
        if asked.times:
            raise Interrupted(STOPPED)

    return meanwhile(work, look)


def from_menu(case: Case, counts: NDArray[np.int64], options: Options) -> Planned:
    """Plan from a menu that was found on the way, so that there is one for certain."""
    from dataclasses import replace

    from optimenu.menu.menu import from_counts
    from optimenu.planning import plan
    from optimenu.program.build import build

    start = from_counts(case.problem, build(case.problem, case.rules), counts)
    return plan(case, replace(options, start=start))


def _written(case: Case, ways: WaysOut, out: Path | None) -> Path | None:
    """Write the ways that work into a new folder.

    Raises
    ------
    InputFaults
        When it cannot be written.
    """
    from optimenu.errors import Fault, InputFaults
    from optimenu.exports.explain import way_files
    from optimenu.exports.run_folder import write_new

    if out is None or not ways.working:
        return None
    try:
        out.mkdir(parents=True)
    except OSError as error:
        raise InputFaults([Fault(str(out), 0, f"cannot be written: {error.strerror or error}")]) from error
    for name, contents in way_files(case, ways, out).items():
        write_new(out / name, contents)
    return out


def _tell_conflict(conflict: Conflict, options: Options) -> None:
    from optimenu.views.console import output_console
    from optimenu.views.explain import conflict_page

    console = output_console()
    console.print(conflict_page(conflict, options.moves))
    console.file.flush()


def _tell_unwritten(out: Path, role: Writer) -> None:
    from optimenu.views.console import error_console

    text = f"{out} was not written: nothing that the {role} may change was found to give a menu."
    error_console().print(text, highlight=False)


def _told(case: Case, conflict: Conflict, ways: WaysOut, folder: Path | None, *, as_json: bool) -> None:
    from optimenu.exports.explain import explain_data, names, way_text
    from optimenu.views.console import output_console
    from optimenu.views.explain import ways_page

    if as_json:
        written = (
            {n: folder / f"{n}.toml" for n, w in names(case, ways).items() if w.state == "menu"}
            if folder
            else {}
        )
        print(json.dumps(explain_data(case, conflict, ways, written), indent=1))
    else:
        text = way_text(case, ways.working[0]) if ways.working else ""
        output_console().print(ways_page(case, ways, text, folder))


def _end(proofs: Collection[str]) -> OptimenuError:
    """End as far as it was proved: in whole numbers, by the solver, or not at all."""
    from optimenu.errors import ProvedImpossible, Undecided

    error: OptimenuError
    if "exact" in proofs:
        error = ProvedImpossible("no menu can keep all limits: proved")
    elif "solver" in proofs:
        error = ProvedImpossible("no menu can keep all limits, as HiGHS finds; no exact proof")
    else:
        error = Undecided("no menu was found, and none proved impossible; more --moves may decide it")
    error.told_as_json = True
    return error
