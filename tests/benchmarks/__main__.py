"""``python -m tests.benchmarks``: what planning costs, and how it compares."""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
from pathlib import Path
from typing import Any

from tests.benchmarks.curves import curve_tables, points
from tests.benchmarks.peers import PEERS
from tests.benchmarks.registry import INSTANCES, NEARLY_CLOSED, VARIANTS, chosen
from tests.benchmarks.run import compare
from tests.benchmarks.split import split, split_table
from tests.benchmarks.table import compare_table, notes, phase_table, size_table


def arguments(given: list[str] | None) -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--list", action="store_true", help="name the instances and end")
    parser.add_argument("--instances", default="", help="for example S-slack,M-tight; S: all its variants")
    parser.add_argument("--peers", default="", help=f"of {', '.join(PEERS)}; none when left out")
    parser.add_argument("--seconds", type=float, default=60.0, help="limit of each solver (default 60)")
    parser.add_argument("--moves", type=int, default=4_000_000, help="budget of our search (default 4000000)")
    parser.add_argument("--threads", type=int, default=1, help="for every solver alike (default 1)")
    parser.add_argument("--seed", type=int, default=1, help="of the instances (default 1)")
    parser.add_argument("--curves", action="store_true", help="cost against people, days and items")
    parser.add_argument("--repeats", type=int, default=3, help="of each point of the curves (default 3)")
    parser.add_argument("--split", action="store_true", help="whose the gap is, the search's or the bound's")
    parser.add_argument("--json", type=Path, help="write everything measured to a file")
    return parser.parse_args(given)


def main(given: list[str] | None = None) -> int:
    """Measure what is asked for and print it."""
    asked = arguments(given)
    if asked.list:
        for name, instance in INSTANCES.items():
            s = instance.size
            print(f"{name:12} {s.people} x {s.days} x {s.items}: {VARIANTS[instance.variant]}")
        return 0
    peers = [p for p in asked.peers.split(",") if p]
    unknown = [p for p in peers if p not in PEERS]
    try:
        instances = chosen(asked.instances, asked.seed) if asked.instances else []
    except KeyError as error:
        print(error.args[0], file=sys.stderr)
        return 2
    if unknown:
        print(f"no solver {unknown[0]}; known: {', '.join(PEERS)}", file=sys.stderr)
        return 2
    if not (instances or asked.curves or asked.split):
        print("nothing asked for: give --instances, --curves, --split or --list", file=sys.stderr)
        return 2
    print(machine(), f"{asked.moves:,} moves, {asked.seconds:g} s, {asked.threads} threads", sep="; ")
    found: dict[str, Any] = {}
    if instances:
        runs = []
        for instance in instances:
            print(f"{instance.name} ...", file=sys.stderr, flush=True)
            runs.append(compare(instance, peers, asked.moves, asked.seconds, asked.threads))
        found["instances"] = runs
        print_parts(size_table(runs), phase_table(runs), compare_table(runs), *notes(runs))
    if asked.curves:
        found["curves"] = points(asked.seed, asked.repeats)
        print_parts(curve_tables(found["curves"]))
    if asked.split:
        found["split"] = [split(i, asked.moves, asked.seconds, asked.threads) for i in NEARLY_CLOSED]
        print_parts(split_table(found["split"]), *notes(found["split"]))
    if asked.json:
        asked.json.write_text(json.dumps(found, indent=1))
    return 0


def machine() -> str:
    """What the figures were taken on, with how busy it was."""
    load = os.getloadavg()[0]
    return f"{os.cpu_count()} cores, load {load:.1f}, Python {platform.python_version()}"


def print_parts(*parts: str) -> None:
    """Print tables with a blank line before each."""
    for part in parts:
        print(f"\n{part}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
