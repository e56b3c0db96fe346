"""Cost against people, days and items, one varied at a time, with fitted exponents."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from optimenu.studies.scaling import fit
from tests.benchmarks.registry import Instance, Size
from tests.benchmarks.run import job_of, measure
from tests.benchmarks.table import markdown, number

VARIED = {
    "people": [Size(n, 8, 200) for n in (1, 2, 4, 8)],
    "days": [Size(2, n, 200) for n in (6, 10, 16, 24)],
    "items": [Size(2, 8, n) for n in (200, 320, 500, 800)],
}
MOVES_A_COLUMN = 50
COSTS = ("rows", "bound", "search")
LIMIT = 600.0


def points(
    seed: int, repeats: int = 1, moves_a_column: int = MOVES_A_COLUMN
) -> dict[str, list[dict[str, Any]]]:
    """Measure every point, ``repeats`` times; the least of each cost stands, the rest is other work's."""
    out: dict[str, list[dict[str, Any]]] = {}
    for name, sizes in VARIED.items():
        out[name] = []
        for size in sizes:
            label = f"{size.people}x{size.days}x{size.items}"
            instance = Instance(label, "slack", size, seed)
            with tempfile.TemporaryDirectory() as folder:
                job = job_of(instance, Path(folder), do="point", moves_a_column=moves_a_column)
                got = least([measure(job, LIMIT) for _ in range(repeats)])
            out[name].append({"instance": label, "at": getattr(size, name), **got})
    return out


def least(measured: list[dict[str, Any]]) -> dict[str, Any]:
    """One point of several measurements of it: the least of each phase."""
    good = [m for m in measured if "failed" not in m]
    if not good:
        return measured[0]
    phases = {phase: min(m["phases"][phase] for m in good) for phase in good[0]["phases"]}
    return {**good[0], "phases": phases, "search": min(m["search"] for m in good)}


def cost(point: dict[str, Any], what: str) -> float:
    """Seconds of one cost of a point; the bound is merging, the linear program and the certificate."""
    phases = point["phases"]
    if what == "bound":
        return float(phases["merge"] + phases["bound"] + phases["certificate"])
    return float(point["search"] if what == "search" else phases[what])


def curve_tables(found: dict[str, list[dict[str, Any]]], moves_a_column: int = MOVES_A_COLUMN) -> str:
    """The points and the exponents."""
    head = ["instance", "columns", "nonzeros", "rows s", "bound s", f"{moves_a_column} moves a column s"]
    rows, exponents = [], []
    for name, line in found.items():
        good = [p for p in line if "failed" not in p]
        for p in line:
            if "failed" in p:
                rows.append([p["instance"], p["failed"], *[""] * 4])
            else:
                costs = [number(cost(p, c)) for c in COSTS]
                rows.append([p["instance"], f"{p['columns']:,}", f"{p['nonzeros']:,}", *costs])
        cells = [name]
        for c in COSTS:
            if len(good) < 3:
                cells.append("-")
                continue
            slope, half = fit([float(p["at"]) for p in good], [cost(p, c) for p in good])
            cells.append(f"{slope:.2f} ± {half:.2f}")
        exponents.append(cells)
    return "\n\n".join([markdown(head, rows), markdown(["exponent in", *COSTS], exponents)])
