"""A killed plan never leaves a half-written run: temporary folder, fsync, rename."""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

from optimenu.exports.run_folder import read_run, write_folder
from tests.commands.small import write_project

TRIALS = 100
WRITING = 60


def whole_runs(runs: Path) -> list[Path]:
    """Folders that bear a run's name; each must be readable in full."""
    found = [p for p in runs.iterdir() if p.is_dir() and not p.name.startswith(".passing-")]
    for folder in found:
        assert read_run(folder).menu.lines
        for name in ("totals.csv", "totals.parquet", "menu.parquet", "certificate.json", "times.json"):
            assert (folder / name).stat().st_size > 0
        json.loads((folder / "times.json").read_text())
    return found


def test_a_killed_plan_leaves_no_half_written_run(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project")
    runs = tmp_path / "runs"
    runs.mkdir()
    rng = random.Random(7)
    server = subprocess.Popen(
        [sys.executable, str(Path(__file__).with_name("kill_server.py"))],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert server.stdin is not None and server.stdout is not None
    during = kept = 0
    for trial in range(TRIALS):
        writing = trial < WRITING
        server.stdin.write(f"{0.02 if writing else 0} {runs / f'run-{trial:03d}'} {config}\n")
        server.stdin.flush()
        child = int(server.stdout.readline())
        mine = f".passing-{child}-"
        deadline = time.monotonic() + 20
        if writing:
            # wait until this child has begun to write, then let it go on for a random while
            while not any(p.name.startswith(mine) for p in runs.iterdir()):
                assert time.monotonic() < deadline, "the child never began to write"
                time.sleep(0.002)
            time.sleep(rng.random() * 0.2)
        else:
            time.sleep(rng.random() * 0.4)
        with contextlib.suppress(ProcessLookupError):  # it was done before
            os.kill(child, signal.SIGKILL)
        assert server.stdout.readline() == "ended\n"
        if any(p.name.startswith(mine) and p.is_dir() for p in runs.iterdir()):
            during += 1
        kept += (runs / f"run-{trial:03d}").exists()
        latest = runs / "latest"
        if latest.exists():
            assert (runs / latest.read_text().strip() / "record.json").is_file()
    server.stdin.close()
    server.wait()
    server.stdout.close()
    assert during >= 50, f"only {during} of {TRIALS} kills fell while a run was being written"
    assert len(whole_runs(runs)) == kept
    # the next run sweeps what the killed ones left
    write_folder(runs / "after", {"record.json": b"{}"})
    assert not list(runs.glob(".passing-*"))
