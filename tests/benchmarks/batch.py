"""``python -m tests.benchmarks.batch``: what a batch of two workers plans in a time, beside two plain loops.

Two processes that plan the same case again and again, side by side, are the yardstick: nothing is lost there
to handing out and taking in. The batch plans as many cases, which differ in their seed, so that none is the
answer of another. The two take turns, and both are timed from the first answer of each worker on, so that
neither counts the loading of libraries; the whole with it is told beside, and the processor's seconds a
case, which say the same on a machine that is busy with other things; a cluster's workers keep theirs.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from optimenu.planning import Options, plan
from optimenu.studies.folder import StudyFolder
from optimenu.studies.run import StudyRun
from optimenu.studies.study import read_study
from optimenu.studies.workers import Cluster, Local
from tests.benchmarks.project import write
from tests.benchmarks.registry import chosen

if TYPE_CHECKING:
    from optimenu.studies.work import Answer
    from optimenu.studies.workers import Workers

TWO = 2
STUDY = """\
name = "Throughput"
config = "{config}"
moves = {moves}
[grid]
seed = {{ from = 1, to = {count}, step = 1 }}
"""


class Never:
    """A stop that is never set."""

    def is_set(self) -> bool:
        """Never."""
        return False


def loop(config: Path, moves: int, count: int) -> None:
    """Plan one case so many times, and print the clock after each."""
    from optimenu.config.case import load_case

    for _ in range(count):
        plan(load_case(config), Options(moves=moves, threads=1))
        print(time.time(), flush=True)


def used() -> float:
    """Processor seconds of this process and of those it started that have ended."""
    both = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(u.ru_utime + u.ru_stime for u in both)


def plain(config: Path, moves: int, each: int) -> tuple[float, float]:
    """Cases a second of two loops side by side: from their first answers on, and from their start."""
    command = [sys.executable, "-m", "tests.benchmarks.batch", "--loop", str(config), str(moves), str(each)]
    began = time.time()
    running = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(TWO)]
    ends = sorted(float(t) for child in running for t in child.communicate()[0].split())
    return _rates(ends, began)


def batch(study: Path, folder: Path, workers: Workers) -> tuple[float, float]:
    """The same of a batch."""
    ends: list[float] = []

    def took(_: Answer) -> None:
        ends.append(time.time())

    began = time.time()
    run = StudyRun(StudyFolder(folder), read_study(study))
    try:
        run.plan(workers, Never(), took)
    finally:
        workers.close()
    return _rates(ends, began)


def _rates(ends: list[float], began: float) -> tuple[float, float]:
    return (len(ends) - TWO) / (ends[-1] - ends[TWO - 1]), len(ends) / (ends[-1] - began)


def main(given: list[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.batch", description=__doc__)
    parser.add_argument("--loop", nargs=3, metavar=("CONFIG", "MOVES", "COUNT"), help=argparse.SUPPRESS)
    parser.add_argument("--instance", default="S-slack", help="of python -m tests.benchmarks --list")
    parser.add_argument("--moves", type=int, default=2_000_000, help="of each case (default 2000000)")
    parser.add_argument("--cases", type=int, default=24, help="of each turn (default 24)")
    parser.add_argument("--turns", type=int, default=3, help="of both (default 3)")
    parser.add_argument("--cluster", action="store_true", help="measure a Dask cluster of this machine too")
    asked = parser.parse_args(given)
    if asked.loop:
        config, moves, count = asked.loop
        loop(Path(config), int(moves), int(count))
        return
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        (place / "pyproject.toml").touch()
        config = write(chosen(asked.instance, 1)[0], place)
        study = config.parent / "study.toml"
        study.write_text(STUDY.format(config=config.name, moves=asked.moves, count=asked.cases))
        rates = turns(config, study, place, asked)
    print(json.dumps(rates, indent=1))
    for way in rates:
        if way != "plain":
            steady, whole, cpu = (
                statistics.median(rates[way][k]) / statistics.median(rates["plain"][k]) for k in rates[way]
            )
            print(f"{way}: {steady:.3f} of two plain loops; with loading and leaving {whole:.3f}; ", end="")
            print(f"processor seconds a case {cpu:.3f}")


def turns(
    config: Path, study: Path, place: Path, asked: argparse.Namespace
) -> dict[str, dict[str, list[float]]]:
    """Let every way plan in turn; cases a second of each."""
    ways = ["plain", "processes", *(["cluster"] if asked.cluster else [])]
    rates: dict[str, dict[str, list[float]]] = {way: {"steady": [], "whole": [], "cpu": []} for way in ways}
    for turn in range(asked.turns):
        for way in ways:
            folder, before = place / f"{way}-{turn}", used()
            if way == "plain":
                steady, whole = plain(config, asked.moves, asked.cases // TWO)
            elif way == "processes":
                steady, whole = batch(study, folder, Local(TWO))
            else:
                from distributed import LocalCluster

                with LocalCluster(
                    n_workers=TWO, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
                ) as cluster:
                    steady, whole = batch(study, folder, Cluster(cluster.scheduler_address))
            rates[way]["steady"].append(steady)
            rates[way]["whole"].append(whole)
            rates[way]["cpu"].append((used() - before) / asked.cases)
            print(f"turn {turn + 1}, {way}: {steady:.3f} cases a second", file=sys.stderr, flush=True)
    return rates


if __name__ == "__main__":
    main()
