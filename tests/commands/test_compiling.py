"""Compiled code is kept where that can be, told of when it must be made, and missed by nothing but time."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import optimenu
from tests.commands.small import write_project

ONCE, EVERY_TIME = "compiling the search (once on this machine)", "compiling the search (every time"


def test_a_folder_that_is_missing_is_made_and_one_that_cannot_be_written_is_no_fault(tmp_path: Path) -> None:
    """Beside the source, with the user, where told: under a file nobody can make a folder, not even root."""
    config = write_project(tmp_path / "project")
    wall = tmp_path / "file"
    wall.touch()
    source = Path(optimenu.__file__).parent
    shutil.copytree(source, tmp_path / "code" / "optimenu", ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "code" / "optimenu" / "solve" / "__pycache__").touch()

    def said(run: str, kept: Path) -> str:
        env = {**os.environ, "PYTHONPATH": str(tmp_path / "code"), "PYTHONDONTWRITEBYTECODE": "1",
               "NUMBA_CACHE_DIR": str(kept), "HOME": str(wall), "XDG_CACHE_HOME": str(wall)}  # fmt: skip
        words = ["plan", str(config), "--moves", "20000", "--gap", "0", "--out", str(tmp_path / run)]
        done = subprocess.run(
            [sys.executable, "-m", "optimenu", *words],
            capture_output=True, text=True, check=False, env=env, cwd=tmp_path,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stderr

    new = tmp_path / "not" / "there"
    first, again, never = said("first", new), said("again", new), said("never", wall / "there")
    assert ONCE in first and any(new.rglob("*.nbi"))
    assert "compiling" not in again
    assert EVERY_TIME in never
    menus = {(tmp_path / run / "menu.csv").read_bytes() for run in ("first", "again", "never")}
    assert len(menus) == 1
