"""Plain Markdown tables of what was measured."""

from __future__ import annotations

from typing import Any

from tests.benchmarks.answer import Answer, relative

PHASES = (
    "make", "read", "rows", "liking", "merge", "bound", "certificate", "proof", "load search",
    "search", "audit",
)  # fmt: skip


def markdown(head: list[str], rows: list[list[str]]) -> str:
    """A table with its columns lined up."""
    width = [max(len(line[k]) for line in [head, *rows]) for k in range(len(head))]
    lines = [" | ".join(cell.ljust(w) for cell, w in zip(line, width, strict=True)) for line in [head, *rows]]
    rule = "-|-".join("-" * w for w in width)
    return "\n".join(f"| {line} |" for line in [lines[0], rule, *lines[1:]]).replace(
        f"| {rule} |", f"|-{rule}-|"
    )


def number(value: float | None, digits: int = 3) -> str:
    """A number of few digits, a dash for none."""
    if value is None:
        return "-"
    if value == 0:
        return "0"
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.{digits}g}"


def percent(value: float | None) -> str:
    """A part as a percentage."""
    return "-" if value is None else f"{100 * value:.3f} %"


def size_table(runs: list[dict[str, Any]]) -> str:
    """Size of every Program."""
    head = ["instance", "columns", "rows", "nonzeros", "rows a serving", "merged", "digest"]
    rows = []
    for run in runs:
        if "failed" in run:
            rows.append([run["instance"], run["failed"], *[""] * 5])
            continue
        merged = f"{run['merged_columns']:,} x {run['merged_rows']:,}" if "merged_rows" in run else "-"
        rows.append(
            [
                run["instance"], f"{run['columns']:,}", f"{run['rows']:,}", f"{run['nonzeros']:,}",
                number(run["rows_a_serving"]), merged, run["digest"][:12],
            ]
        )  # fmt: skip
    return markdown(head, rows)


def phase_table(runs: list[dict[str, Any]]) -> str:
    """Seconds of every phase."""
    head = ["instance", *(f"{p} s" for p in PHASES), "moves a s", "peak MB"]
    rows = []
    for run in runs:
        if "failed" not in run:
            cells = [number(run["phases"].get(p)) for p in PHASES]
            speed = run.get("moves_a_second")
            speed_cell = "-" if speed is None else f"{speed:,.0f}"
            rows.append([run["instance"], *cells, speed_cell, number(run["answer"]["peak_mb"])])
    return markdown(head, rows)


def answers(run: dict[str, Any]) -> list[Answer]:
    """Ours first, then the peers'."""
    own = [run["answer"]] if "answer" in run else []
    return [Answer(**a) for a in [*own, *(p["answer"] for p in run.get("peers", []))]]


def compare_table(runs: list[dict[str, Any]]) -> str:
    """Ours beside the peers; gaps against the bound that ours proved."""
    head = [
        "instance", "solver", "end", "s", "first menu s", "to 1 % s", "to 0.1 % s", "gap", "own gap",
        "bound above ours", "root above ours", "peak MB", "gap : ours",
    ]  # fmt: skip
    rows = []
    for run in runs:
        every = answers(run)
        proved = every[0].bound if every else None
        ours = relative(every[0].value, proved) if every else None
        for a in every:
            gap = relative(a.value, proved)
            ratio = "-" if gap is None or not ours else number(gap / ours)
            rows.append(
                [
                    run["instance"], a.who, a.end, number(a.seconds), number(a.first()),
                    number(a.when(proved, 0.01) if proved else None),
                    number(a.when(proved, 0.001) if proved else None),
                    percent(gap), percent(relative(a.value, a.bound)), _above(a.bound, proved),
                    _above(a.root, proved), number(a.peak_mb), ratio,
                ]
            )  # fmt: skip
    return markdown(head, rows)


def _above(bound: float | None, proved: float | None) -> str:
    return "-" if bound is None or not proved else f"{100 * (bound - proved) / abs(proved):+.3f} %"


def notes(runs: list[dict[str, Any]]) -> list[str]:
    """What a cell cannot say."""
    return [f"{run['instance']}, {a.who}: {a.note}" for run in runs for a in answers(run) if a.note]
