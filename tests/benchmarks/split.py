"""Whose the gap is, where a direct solver proves the optimum or comes near: the search's or the bound's."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tests.benchmarks.run import compare
from tests.benchmarks.table import answers, markdown, number, percent

if TYPE_CHECKING:
    from tests.benchmarks.registry import Instance

ROUNDING = 1e-7
"""Of its value: what a solver's floating point may be off."""


def split(instance: Instance, moves: int, seconds: float, threads: int) -> dict[str, Any]:
    """Ours, HiGHS and the plain relaxation on one small instance."""
    return compare(instance, ["highs", "lp"], moves, seconds, threads)


def shares(run: dict[str, Any]) -> dict[str, float] | None:
    """Gap and its shares, least and most where they are not known exactly; None where something is missing.

    The optimum lies between the best value known and the least bound known; where HiGHS closed its gap
    both are the same. What is not the search's is the bound's.
    """
    every = {a.who: a for a in answers(run)}
    ours, peer, plain = (every.get(who) for who in ("ours", "HiGHS", "plain LP"))
    if ours is None or peer is None or plain is None:
        return None
    if ours.value is None or ours.bound is None or peer.value is None or plain.bound is None:
        return None
    best = max(ours.value, peer.value)
    known = [b for b in (ours.bound, peer.bound, plain.bound) if b is not None]
    most = best if peer.end == "closed" else max(best, min(known))
    size = abs(ours.bound)
    return {
        "gap": (ours.bound - ours.value) / size,
        "search_least": (best - ours.value) / size,
        "search_most": (most - ours.value) / size,
        "bound_least": (ours.bound - most) / size,
        "bound_most": (ours.bound - best) / size,
        "plain": (plain.bound - ours.bound) / size,
    }


def split_table(runs: list[dict[str, Any]]) -> str:
    """The gap and whose it is, as parts of the bound; how far above it the plain relaxation lies.

    Where that is below nothing, merging costs more than the cuts gain.
    """
    head = ["instance", "columns", "HiGHS", "HiGHS s", "gap", "search", "bound", "plain relaxation above"]
    rows = []
    for run in runs:
        found = shares(run)
        every = {a.who: a for a in answers(run)}
        if found is None:
            ends = ", ".join(f"{who}: {a.end}" for who, a in every.items()) or run.get("failed", "")
            rows.append([run["instance"], str(run.get("columns", "-")), ends, *["-"] * 5])
            continue
        peer = every["HiGHS"]
        rows.append(
            [
                run["instance"], str(run["columns"]), peer.end, number(peer.seconds), percent(found["gap"]),
                _range(found, "search"), _range(found, "bound"), percent(found["plain"]),
            ]
        )  # fmt: skip
    return markdown(head, rows)


def _range(found: dict[str, float], what: str) -> str:
    least, most = found[f"{what}_least"], found[f"{what}_most"]
    return f"{percent(least)} to {percent(most)}" if most - least > ROUNDING else percent(least)
