"""Our own road, its phases timed apart."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING, Any

import numpy as np

from optimenu.audit.menu import audit_menu
from optimenu.config.case import load_case
from optimenu.menu.menu import from_counts
from optimenu.planning import claimed, prove
from optimenu.program.build import build, priced
from optimenu.program.program import ORDINARY
from optimenu.solve.bound import certify, relax
from optimenu.solve.cuts import ROUNDS
from optimenu.solve.elastic import elastic
from optimenu.solve.liking import PersonImpossible, scale_of
from optimenu.solve.merge import merge
from optimenu.solve.search import search
from tests.benchmarks.answer import Answer
from tests.benchmarks.project import write
from tests.benchmarks.reduced import SCENARIOS, reduced

if TYPE_CHECKING:
    from pathlib import Path

    from optimenu.config.case import Case
    from optimenu.program.program import Program
    from optimenu.solve.bound import Relaxation
    from optimenu.solve.liking import Scale
    from tests.benchmarks.registry import Instance

LADDER = (16, 4, 1)
"""A search of a part of the budget each, the whole one last: the search tells of whole menus rarely."""
WARM_MOVES = 2000


class Clock:
    """Seconds of named phases."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._at = time.perf_counter()

    def lap(self, phase: str) -> None:
        """End a phase that began when the one before it ended."""
        now = time.perf_counter()
        self.seconds[phase] = self.seconds.get(phase, 0.0) + now - self._at
        self._at = now


def read(instance: Instance, folder: Path, clock: Clock) -> tuple[Case, Program]:
    """Make and read the project and write its rows, in worth."""
    if instance.variant in SCENARIOS:
        # its cap is found on the way, so it is read several times
        case = reduced(instance)
        clock.lap("make")
    else:
        path = write(instance, folder)
        clock.lap("make")
        case = load_case(path)
        clock.lap("read")
    program = build(case.problem, case.rules)
    clock.lap("rows")
    return case, program


def sizes(program: Program) -> dict[str, Any]:
    """Columns, rows, nonzeros, digest; rows that hold a serving, which a move of it touches."""
    # counted without a mask of every entry: the peak of memory is to be the road's own
    ordinary = program.row_kind == ORDINARY
    extra = np.flatnonzero(program.row_column >= program.n_menu)
    beside = ordinary[np.searchsorted(program.row_start, extra, side="right") - 1].sum()
    held = int(np.diff(program.row_start)[ordinary].sum()) - int(beside)
    return {
        "columns": program.n,
        "rows": program.m,
        "nonzeros": len(program.row_column),
        "rows_a_serving": held / max(1, program.n_menu),
        "digest": program.digest,
    }


def bound(program: Program, clock: Clock) -> tuple[Relaxation, Any, dict[str, Any]]:
    """Merge, relax, certify; the certificate is None where the relaxation is not solved."""
    merged = merge(program)
    clock.lap("merge")
    relaxation = relax(program, merged, rounds=ROUNDS)
    clock.lap("bound")
    if relaxation.status != "solved":
        missing = elastic(program, merged)
        clock.lap("proof")
        return relaxation, None, {"proved": missing.proved}
    certificate = certify(program, relaxation)
    clock.lap("certificate")
    return (
        relaxation,
        certificate,
        {"merged_columns": merged.n_class, "merged_rows": len(merged.model.row_low)},
    )


def solve(
    program: Program, moves: int, seconds: float, threads: int, clock: Clock, seed: int = 1
) -> tuple[Answer, dict[str, Any], Any, Any]:
    """Bound and search; answer, extra figures, certificate, counts."""
    answer = Answer("ours")
    unit = 10.0**program.goal_decimals
    before = sum(clock.seconds.values())
    relaxation, certificate, more = bound(program, clock)
    ready = sum(clock.seconds.values()) - before
    if certificate is None:
        answer.seconds = ready
        answer.end = "impossible" if more.get("proved") else "nothing"
        return answer, more, None, None
    answer.bound = answer.root = certificate.bound / unit
    answer.events.append((ready, None, answer.bound))
    # the compiled loop is loaded from its cache once a process; a phase of its own
    search(program, relaxation, moves=WARM_MOVES, seed=0, threads=threads)
    clock.lap("load search")
    found = None
    for part in LADDER:
        began = time.perf_counter()
        stop = threading.Event()
        timer = threading.Timer(max(1.0, seconds - ready), stop.set)
        timer.start()

        def told(_phase: str, _part: float, value: float | None, since: float = began) -> None:
            if value is not None:
                now = ready + time.perf_counter() - since
                answer.events.append((now, value / unit, answer.bound))

        found = search(
            program, relaxation, moves=moves // part, seed=seed, threads=threads, stop=stop, progress=told
        )
        timer.cancel()
        took = time.perf_counter() - began
        if found.value is not None:
            answer.events.append((ready + took, found.value / unit, answer.bound))
        clock.lap("search" if part == 1 else "shorter searches")
        answer.seconds = ready + took
        more["moves"], more["moves_a_second"] = found.moves, found.moves / max(took, 1e-9)
    answer.events = thinned(answer.events)
    answer.end = "nothing"
    if found is not None and found.value is not None:
        answer.value = found.value / unit
        answer.end = "closed" if found.value >= certificate.bound else "menu"
    return answer, more, certificate, None if found is None else found.counts


def thinned(
    events: list[tuple[float, float | None, float | None]],
) -> list[tuple[float, float | None, float | None]]:
    """In order of time, only those that tell more than the ones before."""
    out: list[tuple[float, float | None, float | None]] = []
    best = -np.inf
    for event in sorted(events, key=lambda e: e[0]):
        if event[1] is None or event[1] > best:
            out.append(event)
            best = best if event[1] is None else event[1]
    return out


def audit(
    case: Case, program: Program, scale: Scale, certificate: Any, counts: Any, value: float
) -> list[str]:
    """Faults of the menu found and of its claims; none when all stands."""
    report = audit_menu(case.problem, case.rules, from_counts(case.problem, program, counts), scale)
    proof = prove(program, certificate, report, value=claimed(program.value(program.complete(counts))))
    faults = [*proof.faults, *(b.text for b in report.breaches)]
    if abs(float(report.value) - value) > 1e-9:
        faults.append("the audit's value is another")
    return faults


def whole_road(
    instance: Instance, folder: Path, moves: int, seconds: float, threads: int
) -> tuple[dict[str, Any], Program | None]:
    """Every phase on one instance: figures for the tables, and the Program for the peers."""
    clock = Clock()
    case, worth = read(instance, folder, clock)
    out: dict[str, Any] = {"instance": instance.name, "seed": instance.seed}
    try:
        scale = scale_of(case.problem, worth)
    except PersonImpossible as error:
        clock.lap("liking")
        answer = Answer("ours", "impossible", clock.seconds["liking"], note=str(error))
        # the peers get the same question in worth: there is no scale of liking
        return {**out, **sizes(worth), "phases": clock.seconds, "answer": answer.to_json()}, worth
    program = priced(worth, scale.prices)
    clock.lap("liking")
    answer, more, certificate, counts = solve(program, moves, seconds, threads, clock)
    if counts is not None and answer.value is not None:
        faults = audit(case, program, scale, certificate, counts, answer.value)
        clock.lap("audit")
        if faults:
            answer.note = f"{len(faults)} faults in the audit: {faults[0]}"
    return {**out, **sizes(program), **more, "phases": clock.seconds, "answer": answer.to_json()}, program
