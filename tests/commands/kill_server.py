"""Imports the program once, then plans in forked children that the test kills.

Reads lines ``SLOWLY OUT CONFIG`` from stdin; for each forks a child that plans, prints its process id,
and after the child has ended prints ``ended``.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import optimenu.exports.record
import optimenu.planning  # noqa: F401  so that every child starts at once
from optimenu.commands import plan
from optimenu.views import console, summary  # noqa: F401


def main() -> None:
    for line in sys.stdin:
        slowly, out, config = line.split()
        child = os.fork()
        if child == 0:
            os.environ["OPTIMENU_SLOW_WRITER"] = slowly
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            plan.run(
                Path(config), out=Path(out), seed=1, moves=1000, gap=0.0, method="direct", threads=1,
                as_json=False,
            )  # fmt: skip
            os._exit(0)
        print(child, flush=True)
        os.waitpid(child, 0)
        print("ended", flush=True)


main()
