"""One measurement in a process of its own, so that its peak memory is its own: ``worker JOB ANSWER``."""

from __future__ import annotations

import json
import pickle
import resource
import sys
import time
from pathlib import Path
from typing import Any

from tests.benchmarks.registry import Instance, Size


def peak_mb() -> float:
    """Largest resident memory of this process or of one it ran, MB (Linux counts in KiB)."""
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return max(own, child) * 1024 / 1e6


def instance_of(job: dict[str, Any]) -> Instance:
    """The instance a job names."""
    return Instance(job["name"], job["variant"], Size(*job["size"]), job["seed"])


def ours(job: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Our own road; leaves the Program behind for the others."""
    from tests.benchmarks.ours import whole_road

    out, program = whole_road(instance_of(job), folder, job["moves"], job["seconds"], job["threads"])
    # before the Program is written out, which needs memory of its own
    out["answer"]["peak_mb"] = peak_mb()
    with (folder / "program.pickle").open("wb") as file:
        pickle.dump(program, file, protocol=5)
    return out


def peer(job: dict[str, Any], folder: Path) -> dict[str, Any]:
    """A general solver on the Program that ``ours`` left."""
    from tests.benchmarks.ours import thinned
    from tests.benchmarks.peers import PEERS

    with (folder / "program.pickle").open("rb") as file:
        # our own file, written a moment ago by the process that ran before this one
        program = pickle.load(file)
    answer = PEERS[job["peer"]](program, job["seconds"], job["threads"])
    answer.peak_mb = peak_mb()
    answer.events = thinned(answer.events)
    return {"answer": answer.to_json(), "digest": program.digest}


def point(job: dict[str, Any], folder: Path) -> dict[str, Any]:
    """One point of the cost curves: rows, bound, a fixed number of moves a column."""
    from optimenu.solve.search import search
    from tests.benchmarks.ours import WARM_MOVES, Clock, bound, read, sizes

    clock = Clock()
    _, program = read(instance_of(job), folder, clock)
    relaxation, certificate, _ = bound(program, clock)
    if certificate is None:
        return {"phases": clock.seconds, "failed": relaxation.status}
    search(program, relaxation, moves=WARM_MOVES, seed=0, threads=1)
    clock.lap("load search")
    began = time.perf_counter()
    found = search(program, relaxation, moves=job["moves_a_column"] * program.n_menu, seed=1, threads=1)
    took = time.perf_counter() - began
    return {**sizes(program), "phases": clock.seconds, "search": took, "moves": found.moves}


DO = {"ours": ours, "peer": peer, "point": point}


def main() -> None:
    """Run the job in the first file, write what came of it into the second."""
    job_file, answer_file = (Path(a) for a in sys.argv[1:3])
    job = json.loads(job_file.read_text())
    answer = DO[job["do"]](job, Path(job["folder"]))
    answer_file.write_text(json.dumps(answer))


if __name__ == "__main__":
    main()
