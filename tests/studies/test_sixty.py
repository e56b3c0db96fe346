"""Sixty cases, lengths by crews by caps: on one machine, on a cluster that loses a worker, after kill -9."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from distributed import LocalCluster

from optimenu.studies.folder import RESULTS_CSV
from tests.studies.tiny import SIXTY, results, write_study

LIMIT = 600.0
"""Seconds after which a study that does not end is taken for hung."""


def begin(study: Path, folder: Path, *more: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "optimenu", "compare", str(study), "--out", str(folder), *more],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip


def ended(child: subprocess.Popen[str]) -> str:
    said, _ = child.communicate(timeout=LIMIT)
    return said


def answers(folder: Path) -> int:
    return len(list(folder.glob("answers/*.json")))


def wait_for(child: subprocess.Popen[str], folder: Path, count: int) -> None:
    """Wait until so many cases are answered."""
    until = time.monotonic() + LIMIT
    while answers(folder) < count:
        assert child.poll() is None, child.communicate()[0]
        assert time.monotonic() < until
        time.sleep(0.01)


def children(pid: int) -> list[int]:
    """Processes that a process has started, and theirs."""
    found = []
    for place in Path("/proc").iterdir():
        if place.name.isdigit():
            try:
                parent = int((place / "stat").read_text().rsplit(")", 1)[1].split()[1])
            except OSError:
                continue
            if parent == pid:
                found += [int(place.name), *children(int(place.name))]
    return found


def gone(pids: list[int]) -> None:
    """Wait until processes have left."""
    until = time.monotonic() + LIMIT
    while any(Path(f"/proc/{pid}").exists() for pid in pids):
        assert time.monotonic() < until, "the workers outlive the study"
        time.sleep(0.01)


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The study, and its folder after a run without any trouble."""
    place = tmp_path_factory.mktemp("sixty")
    study = write_study(place / "project", SIXTY)
    child = begin(study, place / "plain", "--workers", "2")
    said = ended(child)
    assert child.returncode == 0, said
    assert "60 cases: " in said and "not planned yet" not in said
    return study, place / "plain"


def test_every_case_is_a_row(plain: tuple[Path, Path]) -> None:
    lines = (plain[1] / RESULTS_CSV).read_text().splitlines()
    assert len(lines) == 61
    head = lines[0].split(",")
    ends = [line.split(",")[head.index("end")] for line in lines[1:]]
    assert set(ends) <= {"menu", "impossible", "undecided"}
    assert ends.count("menu") > 30 and ends.count("impossible") > 5


def test_a_cluster_that_loses_a_worker_gives_the_same_bytes(plain: tuple[Path, Path], tmp_path: Path) -> None:
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        child = begin(plain[0], tmp_path / "cluster", "--scheduler", cluster.scheduler_address)
        wait_for(child, tmp_path / "cluster", 10)
        first = next(iter(cluster.workers.values())).pid
        os.kill(first, signal.SIGKILL)
        said = ended(child)
        assert child.returncode == 0, said
        assert first not in [w.pid for w in cluster.workers.values()]
    assert results(tmp_path / "cluster") == results(plain[1])


def test_killed_workers_of_this_machine_lose_nothing(plain: tuple[Path, Path], tmp_path: Path) -> None:
    child = begin(plain[0], tmp_path / "workers", "--workers", "2")
    for count in (5, 15):
        wait_for(child, tmp_path / "workers", count)
        for pid in children(child.pid):
            if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes():
                os.kill(pid, signal.SIGKILL)
                break
    said = ended(child)
    assert child.returncode == 0, said
    assert results(tmp_path / "workers") == results(plain[1])


def test_a_killed_study_goes_on_and_ends_alike(plain: tuple[Path, Path], tmp_path: Path) -> None:
    folder = tmp_path / "killed"
    for count in (3, 20, 45):
        child = begin(plain[0], folder, "--workers", "2")
        wait_for(child, folder, count)
        theirs = children(child.pid)
        child.kill()
        ended(child)
        gone(theirs)
    child = begin(plain[0], folder, "--workers", "2")
    said = ended(child)
    assert child.returncode == 0, said
    assert "answered already" in said
    assert results(folder) == results(plain[1])
    assert not list(folder.rglob(".passing-*"))


def test_an_interrupted_study_says_how_to_go_on(plain: tuple[Path, Path], tmp_path: Path) -> None:
    folder = tmp_path / "interrupted"
    child = begin(plain[0], folder, "--workers", "2")
    wait_for(child, folder, 7)
    theirs = children(child.pid)
    # a terminal sends it to everybody
    for pid in (*theirs, child.pid):
        os.kill(pid, signal.SIGINT)
    said = ended(child)
    assert child.returncode == 130, said
    words = " ".join(said.split())
    assert "Traceback" not in said
    assert f"of 60 cases are answered and kept in {folder}; go on with the same command" in words
    kept = answers(folder)
    assert 7 <= kept < 60
    # the table is there, and holds what is answered
    assert len((folder / RESULTS_CSV).read_text().splitlines()) == kept + 1
    gone(theirs)
    child = begin(plain[0], folder, "--workers", "2")
    assert ended(child) and child.returncode == 0
    assert results(folder) == results(plain[1])


def test_no_scheduler_is_a_fault(plain: tuple[Path, Path], tmp_path: Path, monkeypatch) -> None:
    from optimenu.errors import InputFaults
    from optimenu.studies.workers import Cluster

    with pytest.raises(
        InputFaults, match=r"no scheduler answers at tcp://127.0.0.1:9; start one with: dask sch"
    ):
        Cluster("tcp://127.0.0.1:9", patience=1)
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputFaults, match=r"--scheduler  needs Dask: pip install 'optimenu\[cluster\]'"):
        Cluster("tcp://127.0.0.1:9")
