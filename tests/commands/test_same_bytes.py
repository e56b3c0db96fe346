"""The same inputs, seed and moves give the same bytes: again, on any number of threads, in any process."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from tests.commands.small import write_crew

HERE, ANEW = 14, 6
MOVES = "100000"


def words(config: Path, out: Path, seed: int, threads: int) -> list[str]:
    return [
        "plan", str(config), "--out", str(out), "--seed", str(seed), "--moves", MOVES,
        "--threads", str(threads),
    ]  # fmt: skip


def files(folder: Path) -> dict[str, bytes]:
    """Every file of a run but the one that holds how long it took."""
    found = {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    assert found.pop("times.json")
    return found


@pytest.fixture(scope="module")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_crew(tmp_path_factory.mktemp("crew") / "project")


def test_twenty_runs_give_the_same_bytes(config: Path, tmp_path: Path) -> None:
    pages = {}
    for k in range(HERE):
        done = CliRunner(env={"COLUMNS": "100"}).invoke(app, words(config, tmp_path / f"{k}", 3, 1 + k % 3))
        assert done.exit_code == 0, done.output
        pages[k] = done.stdout
    for k in range(HERE, HERE + ANEW):
        fresh = subprocess.run(
            [sys.executable, "-m", "optimenu", *words(config, tmp_path / f"{k}", 3, 1 + k % 3)],
            capture_output=True, text=True, check=False,
            env={**os.environ, "COLUMNS": "100", "PYTHONHASHSEED": str(k)},
        )  # fmt: skip
        assert fresh.returncode == 0, fresh.stderr
        pages[k] = fresh.stdout
    first = files(tmp_path / "0")
    assert {"menu.csv", "totals.csv", "certificate.json", "record.json", "menu.parquet"} <= set(first)
    # moves ended it, not a closed gap: another way through the search would have shown
    assert json.loads(first["record.json"])["ended"] == "moves"
    for k, page in pages.items():
        again = files(tmp_path / f"{k}")
        assert set(again) == set(first)
        assert [name for name in first if again[name] != first[name]] == [], f"run {k}"
        assert page == pages[0]


def test_another_seed_gives_other_bytes(config: Path, tmp_path: Path) -> None:
    for seed in (3, 4):
        assert CliRunner().invoke(app, words(config, tmp_path / f"{seed}", seed, 2)).exit_code == 0
    three, four = (files(tmp_path / f"{seed}") for seed in (3, 4))
    # the bound and the inputs do not depend on the seed
    differ = {name for name in three if three[name] != four[name]}
    assert differ == {"menu.csv", "menu.parquet", "totals.csv", "totals.parquet", "record.json"}
