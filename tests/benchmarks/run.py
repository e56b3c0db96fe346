"""Starts measurements, each in its own process under a limit, and gathers what they say."""

from __future__ import annotations

import importlib.util
import json
import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.benchmarks.registry import Instance

GRACE = 600.0
"""Seconds over the limit for reading, writing rows and leaving; then a process is ended."""
PEER_GRACE = 60.0
ROOT = Path(__file__).parents[2]


def measure(job: dict[str, Any], limit: float) -> dict[str, Any]:
    """Run a job; ``{"failed": why}`` where it ends without an answer."""
    with tempfile.TemporaryDirectory() as folder:
        task, answer = Path(folder) / "job.json", Path(folder) / "answer.json"
        task.write_text(json.dumps(job))
        command = [sys.executable, "-m", "tests.benchmarks.worker", str(task), str(answer)]
        # a session of its own: what a solver runs beside it ends with it
        with subprocess.Popen(
            command,
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        ) as done:
            try:
                _, complaint = done.communicate(timeout=limit)
            except subprocess.TimeoutExpired:
                os.killpg(done.pid, signal.SIGKILL)
                return {"failed": f"ended after {limit:.0f} s"}
        if done.returncode or not answer.exists():
            last = complaint.strip().splitlines()[-1:] or [f"code {done.returncode}"]
            return {"failed": last[0]}
        found: dict[str, Any] = json.loads(answer.read_text())
        return found


def job_of(instance: Instance, folder: Path, **more: Any) -> dict[str, Any]:
    """A job on an instance."""
    size = instance.size
    return {
        "name": instance.name,
        "variant": instance.variant,
        "size": [size.people, size.days, size.items],
        "seed": instance.seed,
        "folder": str(folder),
        **more,
    }


def installed(peer: str) -> bool:
    """Tell whether a solver's module is there."""
    from tests.benchmarks.peers import MODULE

    return importlib.util.find_spec(MODULE[peer]) is not None


def compare(instance: Instance, peers: list[str], moves: int, seconds: float, threads: int) -> dict[str, Any]:
    """Ours, then every peer, on one instance's Program."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        common = {"moves": moves, "seconds": seconds, "threads": threads}
        out = measure(job_of(instance, folder, do="ours", **common), 4 * seconds + GRACE)
        out.setdefault("instance", instance.name)
        out["peers"] = []
        if "failed" in out:
            return out
        for peer in peers:
            if not installed(peer):
                out["peers"].append({"answer": {"who": peer, "end": "not installed"}})
                continue
            # some look at the clock rarely; twice their time is enough of that
            job = job_of(instance, folder, do="peer", peer=peer, **common)
            got = measure(job, 2 * seconds + PEER_GRACE)
            if "failed" in got:
                got = {"answer": {"who": peer, "end": "failed", "note": got["failed"]}}
            out["peers"].append(got)
        return out
