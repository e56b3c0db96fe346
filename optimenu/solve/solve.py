"""The road from a Program to an Outcome: merge, bound, then search or the plain model."""

from __future__ import annotations

from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING

from optimenu.solve.bound import certify, relax
from optimenu.solve.cuts import ROUNDS
from optimenu.solve.direct import direct
from optimenu.solve.elastic import without_menu
from optimenu.solve.finish import SMALL, finish
from optimenu.solve.halt import why
from optimenu.solve.merge import merge
from optimenu.solve.outcome import Outcome, Progress
from optimenu.solve.outcome import gap as gap_of

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.solve.halt import Stop
    from optimenu.solve.outcome import Method, Phase

    Report = Callable[[Progress], None]


def solve(
    program: Program,
    *,
    method: Method = "search",
    moves: int = 4_000_000,
    seed: int = 0,
    threads: int = 2,
    gap: float = 0.0,
    ends_at_gap: bool = False,
    progress: Report | None = None,
    stop: Stop | None = None,
    start: NDArray[np.int64] | None = None,
    exact_steps: bool = True,
) -> Outcome:
    """Find a menu and a bound, or prove that there is none.

    Parameters
    ----------
    method : str
        ``search``: annealing, for menus of any size; ``direct``: HiGHS on the plain model, small ones.
    moves : int
        Budget of the search. The same program, seed and moves give the same menu,
        whatever the number of threads, unless it is stopped.
    gap : float
        Relative gap asked for: a direct solve ends there.
    ends_at_gap : bool
        Whether a search ends there too, at the next fixed point of its schedule; else it uses its budget.
    progress : callable, optional
        Gets small messages, possibly from another thread.
    stop : Stop, optional
        Ends the solve soon when set; the best menu so far is kept.
    start : int64 (n_menu,), optional
        A menu the search starts from and stays near; direct solves do without.
    exact_steps : bool
        Whether the menu of a small program is improved after the search by exact steps; see ``finish``.

    Raises
    ------
    ValueError
        For an unknown method, a column that may be negative, or a program with continuous columns:
        those go to ``direct`` alone.
    """
    if method not in ("search", "direct"):
        msg = f"no such method: {method}; search and direct are known"
        raise ValueError(msg)
    if program.continuous.any():
        msg = "a menu has whole servings; programs with continuous columns go to the direct model alone"
        raise ValueError(msg)

    def tell(message: Progress) -> None:
        if progress is not None:
            progress(message)

    def told(phase: str, fraction: float, value: float | None) -> None:
        known = None if value is None else value / unit
        name: Phase = "polish" if phase == "polish" else "search"
        tell(Progress(name, fraction, known, bound, int(fraction * moves)))

    ended = partial(
        Outcome, method=method, seed=seed, moves=moves, goal_decimals=program.goal_decimals, asked=gap
    )
    unit = 10.0**program.goal_decimals
    tell(Progress("merge"))
    merged = merge(program)
    tell(Progress("bound"))
    relaxation = relax(program, merged, rounds=ROUNDS, stop=stop)
    if relaxation.status == "impossible":
        return without_menu(program, merged, ended)
    if relaxation.status == "undecided":
        return ended("undecided")
    certificate = certify(program, relaxation)
    ended = partial(ended, bound=certificate.bound, certificate=certificate)
    bound = certificate.bound / unit
    tell(Progress("bound", 1.0, bound=bound))
    if stop is not None and stop.is_set():
        return ended("stopped", ended=why(stop))
    if method == "direct":
        tell(Progress("search", bound=bound))
        got = direct(program, gap=gap, stop=stop)
        closed = got.status == "optimal"
        cut = stop is not None and not closed and stop.is_set()
        ended = partial(ended, ended=why(stop) if stop is not None and cut else "gap")
        if got.x is not None:
            return ended("menu", counts=got.x[: program.n_menu], value=got.value, solver_closed=closed)
        if got.status == "impossible":
            return ended("impossible", proof="solver")
        return ended("stopped" if cut else "undecided")
    # compiling the search takes a second or more; who only asks for a bound need not wait for it
    from optimenu.solve.compiled import kept, ready
    from optimenu.solve.kernel import anneal
    from optimenu.solve.search import search

    if not ready(anneal):
        tell(Progress("compile" if kept(anneal) else "compile_anew", bound=bound))

    def enough(value: int) -> bool:
        own = gap_of(value, certificate.bound, program.goal_decimals)
        return own is not None and own <= (Fraction(gap) if ends_at_gap else 0)

    found = search(
        program,
        relaxation,
        moves=moves,
        seed=seed,
        threads=threads,
        stop=stop,
        progress=told,
        start=start,
        hold=start,
        enough=enough,
    )
    ended = partial(ended, ended=found.ended)
    if found.counts is None:
        return ended("stopped" if found.ended in ("stopped", "seconds") else "undecided", near=found.near)
    if not exact_steps or program.n_menu > SMALL or found.value is None or found.ended != "moves":
        return ended("menu", counts=found.counts, value=found.value)
    tell(Progress("exact", 0.0, found.value / unit, bound))
    better = finish(
        program,
        relaxation,
        found.counts,
        found.value,
        moves=moves,
        seed=seed,
        stop=stop,
        tell=lambda part, value: tell(Progress("exact", part, value / unit, bound)),
        start=start,
    )
    if stop is not None and stop.is_set() and not better.closed:
        ended = partial(ended, ended=why(stop))
    return ended(
        "menu", counts=better.counts, value=better.value, solver_closed=better.closed, steps=better.steps
    )
