"""Whose the gap is, where a direct solver can prove the optimum: the search's share and the bound's."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tests.benchmarks.answer import relative
from tests.benchmarks.run import compare
from tests.benchmarks.table import answers, markdown, number, percent

if TYPE_CHECKING:
    from tests.benchmarks.registry import Instance

ROUNDING = 1e-7
"""Of its value: what a solver's floating point may be off."""


def split(instance: Instance, moves: int, seconds: float, threads: int) -> dict[str, Any]:
    """Ours and HiGHS with a long limit on one small instance."""
    return compare(instance, ["highs"], moves, seconds, threads)


def shares(run: dict[str, Any]) -> dict[str, float] | None:
    """Gap, and least and most of it that is the search's; None where something is missing.

    The optimum lies between the best value known and the least bound known; where HiGHS closed its gap
    both are the same.
    """
    every = answers(run)
    if len(every) < 2 or any(a.value is None or a.bound is None for a in every):
        return None
    ours, peer = every
    assert ours.value is not None and ours.bound is not None and peer.bound is not None
    assert peer.value is not None
    best = max(ours.value, peer.value)
    most = best if peer.end == "closed" else max(best, min(ours.bound, peer.bound))
    size = abs(ours.bound)
    gap = relative(ours.value, ours.bound)
    assert gap is not None
    return {"gap": gap, "search_least": (best - ours.value) / size, "search_most": (most - ours.value) / size}


def split_table(runs: list[dict[str, Any]]) -> str:
    """Gap, search's share and bound's share, as parts of the bound."""
    head = ["instance", "columns", "HiGHS", "HiGHS s", "gap", "search's share", "bound's share"]
    rows = []
    for run in runs:
        found = shares(run)
        every = answers(run)
        if found is None:
            ends = ", ".join(f"{a.who}: {a.end}" for a in every) or run.get("failed", "")
            rows.append([run["instance"], str(run.get("columns", "-")), ends, *["-"] * 4])
            continue
        least, most, gap = found["search_least"], found["search_most"], found["gap"]
        peer = every[1]
        both = most - least > ROUNDING
        search = f"{percent(least)} to {percent(most)}" if both else percent(least)
        bound = f"{percent(gap - most)} to {percent(gap - least)}" if both else percent(gap - least)
        rows.append(
            [run["instance"], str(run["columns"]), peer.end, number(peer.seconds), percent(gap), search, bound]
        )
    return markdown(head, rows)
