"""Ctrl-C at fifty moments of a plan: an audited menu, or a plain word that there is none; never half of one.

Half of the moments lie anywhere between the first line of ours and the end, half in a phase waited for, so
that the short ones have their share. What Python does before it runs anything of ours is its own.
"""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
import termios
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from random import Random

import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.commands.ctrl_c import ENDED, NOTHING, Asked
from optimenu.commands.plan import LATE
from optimenu.commands.progress import WORDS
from optimenu.exports.run_folder import read_run
from optimenu.solve.halt import Halt
from tests.commands.small import write_crew

MOMENTS, AT_A_TIME, ON_A_TERMINAL = 50, 2, 5
MOVES = "1000000"
FIRST = 0.05
"""Seconds from our first line, far more than it takes to be ready for a signal."""
BEGUN = "from optimenu.__main__ import main; import os; os.write({0}, b'.'); os.close({0}); main()"
SHOW, HIDE = "\x1b[?25h", "\x1b[?25l"


@dataclass
class Trial:
    """A plan in a process of its own, on a terminal or with its words in files."""

    folder: Path
    config: Path
    number: int
    terminal: bool = False
    more: tuple[str, ...] = ()
    moment: str = ""

    @property
    def run(self) -> Path:
        return self.folder / "runs" / f"run-{self.number:02d}"

    @property
    def said(self) -> str:
        return self.heard.read_text(errors="replace")

    def begin(self) -> None:
        """Start it, and return once the first line of ours runs."""
        self.heard = self.folder / f"heard-{self.number:02d}"
        self.page = self.folder / f"page-{self.number:02d}"
        words = ["plan", str(self.config), "--out", str(self.run), "--moves", MOVES, *self.more]
        ready, ours = os.pipe()
        command = [sys.executable, "-c", BEGUN.format(ours), *words]
        with self.page.open("wb") as page, self.heard.open("wb") as heard:
            if self.terminal:
                self.master, slave = pty.openpty()
                self.before = termios.tcgetattr(self.master)
                self.child = subprocess.Popen(
                    command, stdin=slave, stdout=slave, stderr=slave, pass_fds=(ours,), start_new_session=True
                )
                os.close(slave)
                self.listener = threading.Thread(target=self._listen)
                self.listener.start()
            else:
                self.child = subprocess.Popen(command, stdout=page, stderr=heard, pass_fds=(ours,))
        os.close(ours)
        assert os.read(ready, 1) == b"."
        os.close(ready)

    def _listen(self) -> None:
        with self.heard.open("wb") as heard:
            while True:
                try:
                    part = os.read(self.master, 65536)
                except OSError:
                    return
                if not part:
                    return
                heard.write(part)
                heard.flush()

    def wait_for(self, words: str) -> None:
        while words not in self.said and self.child.poll() is None:
            time.sleep(0.002)

    def interrupt(self) -> None:
        self.child.send_signal(signal.SIGINT)

    def end(self) -> int:
        """Wait for the end, and return the exit code."""
        code = self.child.wait(timeout=120)
        if self.terminal:
            self.listener.join()
            assert termios.tcgetattr(self.master) == self.before
            os.close(self.master)
        return code


@dataclass(frozen=True)
class Course:
    """What a plan left alone takes: when each phase began, and the whole, in seconds from our first line."""

    phases: dict[str, float]
    whole: float

    def length(self, phase: str) -> float:
        later = [t for t in self.phases.values() if t > self.phases[phase]]
        return min(later, default=self.whole) - self.phases[phase]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("interrupts")
    write_crew(place / "project")
    return place


@pytest.fixture(scope="module")
def course(folder: Path) -> Course:
    """One plan without interruption, after one that fills what is kept compiled."""
    for number in (90, 91):
        trial = Trial(folder, folder / "project" / "plan.toml", number)
        trial.begin()
        began, phases = time.monotonic(), {}
        while trial.child.poll() is None:
            for name, words in WORDS.items():
                if name not in phases and words in trial.said:
                    phases[name] = time.monotonic() - began
            time.sleep(0.002)
        assert trial.end() == 0, trial.said
    return Course(phases, time.monotonic() - began)


def interrupted(trial: Trial, course: Course) -> int:
    rng = Random(trial.number)
    phases = list(course.phases)
    if trial.terminal or trial.number % 2:
        after, trial.moment = rng.uniform(FIRST, course.whole), "anywhere"
        trial.begin()
    else:
        trial.moment = phases[trial.number // 2 % len(phases)]
        after = rng.uniform(0, course.length(trial.moment))
        trial.begin()
        trial.wait_for(WORDS[trial.moment])
    time.sleep(after)
    trial.interrupt()
    return trial.end()


def came_of(trial: Trial, code: int) -> str:
    """Check how a trial ended, and return in a word how that was."""
    said = " ".join(trial.said.split())
    page = said if trial.terminal else " ".join(trial.page.read_text().split())
    where = f"{trial.moment}, exit {code}: {said[-600:]}"
    assert "Traceback" not in said and "Exception ignored" not in said, where
    assert said.rfind(HIDE) <= said.rfind(SHOW), where
    if not trial.run.exists():
        assert code == 130, where
        assert NOTHING in said or ENDED in said, where
        return "none yet"
    assert "Run written to" in said and "meets every hard limit" in page, where
    audit = CliRunner().invoke(app, ["audit", str(trial.run)])
    assert audit.exit_code == 0, audit.output
    run = read_run(trial.run)
    assert run.menu.lines and run.certificate is not None
    if run.record["ended"] == "stopped":
        assert code == 130, where
        assert "Stopped by you: this is the best menu found so far, gap " in said, where
        return "best so far"
    assert run.record["ended"] == "moves"
    if LATE in said or ENDED in said:
        assert code == 130, where
        return "complete"
    assert code == 0, where
    return "too late"


def test_ctrl_c_at_fifty_moments_leaves_an_audited_menu_or_a_plain_word(folder: Path, course: Course) -> None:
    trials = [
        Trial(folder, folder / "project" / "plan.toml", k, terminal=k % ON_A_TERMINAL == 0)
        for k in range(MOMENTS)
    ]
    with ThreadPoolExecutor(AT_A_TIME) as pool:
        codes = list(pool.map(lambda trial: interrupted(trial, course), trials))
    ends = Counter(came_of(trial, code) for trial, code in zip(trials, codes, strict=True))
    # each way to end was met
    assert ends["none yet"] >= 5 and ends["best so far"] >= 3 and ends["complete"] >= 2, ends
    whole = {p.relative_to(folder / "runs" / "run-91") for p in (folder / "runs" / "run-91").rglob("*")}
    for trial in trials:
        if trial.run.exists():
            assert {p.relative_to(trial.run) for p in trial.run.rglob("*")} == whole
    assert not list((folder / "runs").glob(".passing-*"))
    assert (
        read_run(folder / "runs" / (folder / "runs" / "latest").read_text().strip()).record["ended"]
        == "moves"
    )


def test_ctrl_c_at_the_start_is_told_as_json_too(folder: Path) -> None:
    trial = Trial(folder, folder / "project" / "plan.toml", 61, more=("--json",))
    trial.begin()
    time.sleep(FIRST)
    trial.interrupt()
    assert trial.end() == 130
    told = json.loads(trial.page.read_text())
    assert (told["error"], told["exit_code"], told["faults"]) == ("Interrupted", 130, [])
    assert told["message"] in (NOTHING, ENDED)


def test_a_process_that_is_to_ignore_ctrl_c_ignores_it(folder: Path) -> None:
    code = (
        "import signal; signal.signal(signal.SIGINT, signal.SIG_IGN); "
        "from optimenu.commands import ctrl_c; ctrl_c.from_the_start(); "
        "from optimenu.solve.halt import Halt\n"
        "with ctrl_c.Asked(Halt()) as asked:\n"
        "    asked.note(); signal.raise_signal(signal.SIGINT); print(asked.times)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "0\n"


def test_a_plan_in_another_thread_leaves_ctrl_c_to_the_main_one() -> None:
    found = []

    def work() -> None:
        with Asked(Halt()) as asked:
            found.append((asked.times, signal.getsignal(signal.SIGINT)))

    before = signal.getsignal(signal.SIGINT)
    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert found == [(0, before)]
    with Asked(Halt()):
        assert signal.getsignal(signal.SIGINT) != before
    assert signal.getsignal(signal.SIGINT) is before
