"""A tiny study on disk: sixty cases of seconds in all, and what a test needs to run it."""

from __future__ import annotations

import hashlib
import os
import signal
from pathlib import Path
from typing import TYPE_CHECKING

from optimenu.studies.folder import RESULTS, RESULTS_CSV, StudyFolder
from optimenu.studies.run import StudyRun
from optimenu.studies.study import read_study
from optimenu.studies.work import Answer, work
from tests.commands.small import write_crew

if TYPE_CHECKING:
    from optimenu.studies.work import Task

SIXTY = """\
name = "How long can it be?"
config = "plan.toml"
moves = 2000
seed = 4
[grid]
days = { from = 12, to = 180, step = 12 }
stowage.gross_kg = [150, 400]
[choices.crew.pair]
aboard = ["juno", "mira"]
[choices.crew.three]
"""
FEW = """\
name = "A few"
config = "plan.toml"
moves = 2000
[grid]
days = [6, 12, 18]
stowage.gross_kg = [25, 90]
"""


def write_study(folder: Path, text: str = FEW, name: str = "study.toml") -> Path:
    """Write the crew's project and a study of it, and return the study's path."""
    config = write_crew(folder)
    path = config.parent / name
    path.write_text(text)
    return path


def study_run(study: Path, folder: Path) -> StudyRun:
    return StudyRun(StudyFolder(folder), read_study(study))


def results(folder: Path) -> dict[str, str]:
    """SHA-256 of what must be the same bytes every time: the tables and every answer."""
    files = [folder / RESULTS_CSV, folder / RESULTS, *sorted((folder / "answers").iterdir())]
    return {p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


class Never:
    """A stop that is never set."""

    def is_set(self) -> bool:
        return False


def deadly(task: Task) -> Answer:
    """Work that the case with a cap of 25 kg over 12 days always dies of."""
    if b"2031-03-12" in task.text and b"gross_kg = 25" in task.text:
        os.kill(os.getpid(), signal.SIGKILL)
    return work(task)


def deadly_once(task: Task) -> Answer:
    """Work whose process dies the first time that a case with a wide cap comes; a mark on disk remembers."""
    mark = Path(os.environ["OPTIMENU_TEST_MARKS"]) / task.key
    if b"gross_kg = 90" in task.text and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return work(task)


def broken(task: Task) -> Answer:
    """Work with a fault of ours."""
    raise ZeroDivisionError(task.key)
