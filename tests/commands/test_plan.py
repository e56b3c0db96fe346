from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.commands.plan import LATE
from optimenu.errors import InputFaults, ProvedImpossible, Undecided
from optimenu.solve.halt import Halt
from optimenu.views import summary
from tests.commands.small import CONFIG, write_project
from tests.explain.no_menu import CASES


def run(*words: str) -> subprocess.CompletedProcess[str]:
    """Run the program as a user would."""
    return subprocess.run(
        [sys.executable, "-m", "optimenu", *words],
        capture_output=True, text=True, check=False,
        env={**os.environ, "COLUMNS": "100"},
    )  # fmt: skip


def plan_args(config: Path, out: Path, *more: str) -> list[str]:
    return ["plan", str(config), "--out", str(out), "--method", "direct", *more]


def test_plan_writes_a_run_and_says_how_good_it_is(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project")
    done = run(*plan_args(config, tmp_path / "run"))
    assert done.returncode == 0, done.stderr
    assert "meets every hard limit" in done.stdout
    assert "Check allergens on the pack itself" in done.stdout
    assert "licensed dietitian" in done.stdout
    assert "\x1b" not in done.stdout + done.stderr
    assert f"Run written to {tmp_path / 'run'}" in done.stderr
    assert (tmp_path / "run" / "record.json").is_file()


def test_json_is_all_of_stdout(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project")
    done = run(*plan_args(config, tmp_path / "run", "--json"))
    data = json.loads(done.stdout)
    record = json.loads((tmp_path / "run" / "record.json").read_text())
    assert {k: data[k] for k in record} == record


def test_optimal_is_said_of_a_closed_gap_only(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project")
    done = run(*plan_args(config, tmp_path / "run"))
    record = json.loads((tmp_path / "run" / "record.json").read_text())
    assert record["gap_closed"]
    assert "HiGHS finds no better menu" in done.stdout or "optimal" in done.stdout
    searched = run("plan", str(config), "--out", str(tmp_path / "searched"), "--moves", "1000")
    record = json.loads((tmp_path / "searched" / "record.json").read_text())
    assert ("optimal" in searched.stdout) == (record["bound"] == record["value"])
    # fourteen items for two days: after the search HiGHS looks through all of it, and says so itself
    assert record["gap_closed"]
    assert record["exact_steps"] == 1 or record["bound"] == record["value"]
    config.write_text(config.read_text() + "[search]\nexact_steps = false\n")
    left = run("plan", str(config), "--out", str(tmp_path / "left"), "--moves", "1000")
    assert json.loads((tmp_path / "left" / "record.json").read_text())["exact_steps"] == 0, left.stderr


EIGHT = (
    CONFIG.replace("at_mots", "at_most")
    .replace("most_a_day = 1", "most_a_dya = 1")  # 1 unknown setting
    .replace('sex = "female"', 'sex = "femal"')  # 2 unknown word
    .replace("mass_kg = 60", 'mass_kg = "sixty"')  # 3 no number
    .replace("day_within = 20", "day_within = 120")  # 4 out of range
    .replace('at = "07:30"', 'at = "7.30"')  # 5 no clock time
    .replace("cycle_days = 2", "cycle_days = 0")  # 6 out of range
    .replace("gross_kg = 8", "gross_kg = -8")  # 7 out of range
    .replace('file = "tasting.csv"', 'file = "tastings.csv"')  # 8 no such file
)


def test_eight_faults_are_told_at_once_and_nothing_is_written(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", EIGHT)
    done = run(*plan_args(config, tmp_path / "run"))
    assert done.returncode == 2
    lines = done.stderr.splitlines()
    assert lines[-1] == "8 faults. Nothing was solved or written."
    numbered = EIGHT.splitlines()
    for line, word in zip(
        sorted(lines[:-1], key=lambda text: int(text.split(":")[1].split()[0])),
        ("tastings.csv", "cycle_days", "femal", "mass_kg", "7.30", "day_within", "most_a_dya", "gross_kg"),
        strict=True,
    ):
        number = int(line.split(":")[1].split()[0])
        assert word in line
        assert word in numbered[number - 1], line
    assert 'Did you mean "most_a_day"?' in done.stderr
    assert 'Did you mean "female"?' in done.stderr
    assert not (tmp_path / "run").exists()
    assert not list(tmp_path.glob("**/.passing-*"))


def test_faults_as_json(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", EIGHT)
    done = run(*plan_args(config, tmp_path / "run", "--json"))
    data = json.loads(done.stdout)
    assert data["exit_code"] == done.returncode == 2
    assert len(data["faults"]) == 8
    assert all(f["line"] > 0 for f in data["faults"])


def test_a_folder_that_exists_is_not_touched(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project")
    (tmp_path / "run").mkdir()
    result = CliRunner().invoke(app, plan_args(config, tmp_path / "run"))
    assert isinstance(result.exception, InputFaults)
    assert "exists already" in str(result.exception)
    assert not list((tmp_path / "run").iterdir())


def test_an_impossible_config_is_proved_so_and_named(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", CONFIG.replace("kcal = 1500", "kcal = 4500"))
    done = run(*plan_args(config, tmp_path / "run"))
    assert done.returncode == ProvedImpossible.exit_code == 3
    assert "[nutrients] juno" in done.stderr
    assert "plan.toml:" in done.stderr
    assert "too little" in done.stderr
    assert done.stdout == ""
    assert not (tmp_path / "run").exists()


def test_a_course_with_no_item_left_is_told_instead_of_what_limits_lack(tmp_path: Path) -> None:
    config = CASES["an allergen leaves no breakfast"].write(tmp_path / "project")
    done = CliRunner().invoke(app, ["plan", str(config), "--threads", "1"])
    assert isinstance(done.exception, ProvedImpossible)
    text = " ".join(done.stderr.split())
    assert "no item is left for Juno's breakfast main" in text and "What is left for whom: " in text
    assert "cannot hold together with all" not in text


def test_shared_limits_can_be_impossible_too(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", CONFIG.replace("gross_kg = 8", "gross_kg = 1"))
    done = run(*plan_args(config, tmp_path / "run"))
    assert done.returncode == 3
    assert "stowage.gross_kg" in done.stderr
    assert "the planner may loosen it" in " ".join(done.stderr.split())


def test_what_only_whole_servings_make_impossible_is_left_to_the_solver(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", CONFIG.replace("gross_kg = 8", "gross_kg = 2"))
    done = run(*plan_args(config, tmp_path / "run"))
    assert done.returncode == 3
    assert "by HiGHS on the plain model" in done.stderr
    searched = run("plan", str(config), "--out", str(tmp_path / "run"), "--moves", "20000")
    assert searched.returncode == 4
    assert "none proved impossible" in searched.stderr
    assert "The nearest try, which is no menu, breaks" in searched.stderr


def test_nothing_liked_is_a_fault_of_the_input(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", CONFIG.replace("age = 34", "age = 34\nfloor = 9"))
    (tmp_path / "project" / "tasting.csv").write_text(
        (tmp_path / "project" / "tasting.csv").read_text().replace(",6,", ",9,").replace(",6.5,", ",9,")
        .replace(",7.0,", ",9,").replace(",7.5,", ",9,")
    )  # fmt: skip
    done = run(*plan_args(config, tmp_path / "run"))
    assert done.returncode == 2
    assert "scores above the floor" in done.stderr


def test_an_unknown_method_is_a_usage_error(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project")
    done = run("plan", str(config), "--method", "magic")
    assert done.returncode == 2
    assert "search and direct are known" in done.stderr


INTERRUPTED = """
import os, signal, sys, threading
from optimenu.__main__ import main
from optimenu.commands import progress

at, seen, lock = int(sys.argv.pop(1)), 0, threading.Lock()
tell = progress.Watch.phase

def phase(self, name, message=None):
    global seen
    tell(self, name, message)
    with lock:
        seen += 1
        if seen == at:
            os.kill(os.getpid(), signal.SIGINT)

progress.Watch.phase = phase
main()
"""
# the first six messages are told before the search begins; its own come after every few thousand moves
MOMENTS = sorted({1, 2, 4, 6, *(int(10 ** random.Random(7 + k).uniform(0.9, 3.2)) for k in range(8))})


@pytest.mark.parametrize("moment", MOMENTS)
def test_ctrl_c_keeps_an_audited_menu_or_says_there_is_none(tmp_path: Path, moment: int) -> None:
    config = write_project(tmp_path / "project")
    done = subprocess.run(
        [sys.executable, "-c", INTERRUPTED, str(moment), "plan", str(config), "--out", str(tmp_path / "run"),
         "--moves", "400000000"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 130, done.stderr
    if (tmp_path / "run").exists():
        assert "meets every hard limit" in done.stdout
        assert "Stopped by you: this is the best menu found so far, gap " in " ".join(done.stderr.split())
        record = json.loads((tmp_path / "run" / "record.json").read_text())
        assert record["ended"] == "stopped"
        audit = CliRunner().invoke(app, ["audit", str(tmp_path / "run")])
        assert audit.exit_code == 0, audit.output
    else:
        assert "there is none yet; nothing was written" in done.stderr
        assert done.stdout == ""
    assert not list(tmp_path.glob("**/.passing-*"))


def test_ctrl_c_while_the_page_is_shown_does_not_deny_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = summary.summary

    def interrupted(*words: Any) -> Any:
        signal.raise_signal(signal.SIGINT)
        return shown(*words)

    config = write_project(tmp_path / "project")
    monkeypatch.setattr(summary, "summary", interrupted)
    result = CliRunner().invoke(app, plan_args(config, tmp_path / "run"))
    assert result.exit_code == 130
    assert "Run written to" in result.stderr and LATE in result.stderr
    assert "meets every hard limit" in result.stdout
    assert (tmp_path / "latest").read_text() == "run\n"


class Clock:
    """Seconds that pass only when looked at, one a look."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        self.now += 1.0
        return self.now


def test_a_limit_of_time_keeps_the_best_menu_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("optimenu.solve.halt.Halt", partial(Halt, clock=Clock()))
    monkeypatch.setattr("optimenu.commands.plan.BEGAN", 0.0)
    config = write_project(tmp_path / "project")
    args = ["plan", str(config), "--moves", "400000000", "--out"]
    result = CliRunner().invoke(app, [*args, str(tmp_path / "run"), "--seconds", "3000"])
    assert result.exit_code == 0, result.output
    assert "Ended by the clock" in result.stderr
    record = json.loads((tmp_path / "run" / "record.json").read_text())
    assert (record["ended"], record["options"]["seconds"]) == ("seconds", 3000)
    result = CliRunner().invoke(app, [*args, str(tmp_path / "none"), "--seconds", "1"])
    assert isinstance(result.exception, Undecided)
    assert "no menu was found within 1 seconds, and none proved impossible" in str(result.exception)
    assert not (tmp_path / "none").exists()


def test_a_gap_asked_for_ends_the_search_and_none_spends_its_moves(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project")
    args = ["plan", str(config), "--moves", "400000000", "--gap", "0.9", "--out"]
    for threads in ("1", "2"):
        result = CliRunner().invoke(app, [*args, str(tmp_path / threads), "--threads", threads])
        assert result.exit_code == 0, result.output
        assert "Ended early: the gap asked for, 90.00%, is proved." in result.stderr
    one, two = ((tmp_path / t / "record.json").read_bytes() for t in ("1", "2"))
    assert one == two
    assert json.loads(one)["ended"] == "gap"
    done = run("plan", str(config), "--moves", "20000", "--out", str(tmp_path / "spent"))
    assert json.loads((tmp_path / "spent" / "record.json").read_text())["ended"] == "moves", done.stderr


def test_a_plan_starts_from_an_earlier_menu(tmp_path: Path) -> None:
    project = tmp_path / "project"
    config = write_project(project)
    assert CliRunner().invoke(app, plan_args(config, tmp_path / "first")).exit_code == 0
    first = json.loads((tmp_path / "first" / "record.json").read_text())
    again = ["plan", str(config), "--moves", "2000", "--out"]
    result = CliRunner().invoke(app, [*again, str(tmp_path / "second"), "--start", str(tmp_path / "first")])
    assert result.exit_code == 0, result.output
    second = json.loads((tmp_path / "second" / "record.json").read_text())
    assert Decimal(second["value"]) >= Decimal(first["value"])
    assert second["options"]["start"]["left_out"] == 0
    before, after = (
        {line.rsplit(",", 2)[0] for line in (tmp_path / run / "menu.csv").read_text().splitlines()[1:]}
        for run in ("first", "second")
    )
    stayed = len(before & after)
    assert second["beside_start"] == {
        "stayed": stayed, "gone": len(before) - stayed, "new": len(after) - stayed
    }  # fmt: skip
    assert first["beside_start"] is None and "Of the menu started from, " in result.stderr
    # the oat cake is not to be had any more
    eaten = (tmp_path / "first" / "menu.csv").read_text().replace("rye_bread", "oat_cake")
    (tmp_path / "menu.csv").write_text(eaten)
    items = project / "items.csv"
    items.write_text("".join(x for x in items.read_text().splitlines(keepends=True) if "oat_cake" not in x))
    scores = project / "tasting.csv"
    scores.write_text("".join(x for x in scores.read_text().splitlines(keepends=True) if "oat_cake" not in x))
    gone = sum("oat_cake" in line for line in eaten.splitlines())
    assert gone
    result = CliRunner().invoke(app, [*again, str(tmp_path / "third"), "--start", str(tmp_path / "menu.csv")])
    assert result.exit_code == 0, result.output
    assert f"{gone} lines of the menu started from cannot be any more: left out." in result.stderr
    third = json.loads((tmp_path / "third" / "record.json").read_text())
    assert third["options"]["start"]["left_out"] == gone


def test_without_moves_a_start_takes_a_fifth_of_them(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", CONFIG + "[search]\nmoves = 10_000\n")
    assert CliRunner().invoke(app, plan_args(config, tmp_path / "first")).exit_code == 0
    args = ["plan", str(config), "--out", str(tmp_path / "second"), "--start", str(tmp_path / "first")]
    assert CliRunner().invoke(app, args).exit_code == 0
    assert json.loads((tmp_path / "second" / "record.json").read_text())["options"]["moves"] == 2000


def test_the_plain_model_takes_no_start(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project")
    done = run(*plan_args(config, tmp_path / "run", "--start", "runs"))
    assert done.returncode == 2
    assert "the plain model starts from no menu" in done.stderr


def test_help_names_the_exit_codes() -> None:
    done = run("--help")
    assert done.returncode == 0
    assert "3 proved impossible" in " ".join(done.stdout.split())


def test_a_failed_audit_is_one_json_document(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project")
    assert run(*plan_args(config, tmp_path / "run")).returncode == 0
    menu = tmp_path / "run" / "menu.csv"
    lines = menu.read_text().splitlines(keepends=True)
    menu.write_text("".join(lines[:-1]))
    done = run("audit", str(tmp_path / "run"), "--json")
    assert done.returncode == 5
    data = json.loads(done.stdout)
    assert data["holds"] is False and data["breaches"]
    assert "audit failed" in done.stderr


def test_an_impossible_config_names_its_conflicts_in_json(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", CONFIG.replace("gross_kg = 8", "gross_kg = 1"))
    done = run(*plan_args(config, tmp_path / "run", "--json"))
    assert done.returncode == 3
    data = json.loads(done.stdout)
    weight = next(c for c in data["conflicts"] if c["key"] == "stowage.gross_kg")
    assert weight["side"] == "too much" and weight["who"] == "planner"
    assert weight["place"].endswith(":41")
    assert "stowage.gross_kg" in done.stderr


def test_when_nothing_at_all_may_be_given_the_advice_is_not_to_taste_more(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project")
    script = tmp_path / "project" / "prescriptions.toml"
    script.write_text(script.read_text().replace('peanuts = "severe"', 'milk = "severe"'))
    done = run(*plan_args(config, tmp_path / "run"))
    # the catalogue does not state milk, and unknown is unsafe
    assert done.returncode == 2
    assert "nothing at all may be given to juno" in done.stderr


def test_a_shortfall_is_told_and_no_tablet_is_added(tmp_path: Path) -> None:
    # potassium is an adequate intake, a soft floor: 2600 mg for a woman of 34, and the food brings 100 each
    project = tmp_path / "project"
    config = write_project(project, CONFIG.replace("reference = { use = false }", "", 1))
    items = (project / "items.csv").read_text().splitlines()
    rows = [items[0] + ",K_mg", *(line + ",100" for line in items[1:])]
    (project / "items.csv").write_text("\n".join(rows) + "\n")
    config.write_text(
        config.read_text().replace("[nutrients]", "[nutrients]\nreference = { leave_out = ['PROCNT_g'] }")
    )
    done = run(*plan_args(config, tmp_path / "run"))
    assert done.returncode == 0, done.stderr
    text = " ".join(done.stdout.split())
    assert "meets every hard limit" in text
    assert "Soft limits missed, at their price ~ juno, the stay: Potassium: " in text
    menu = (tmp_path / "run" / "menu.csv").read_text().splitlines()
    at = menu[0].split(",").index("item")
    assert {line.split(",")[at] for line in menu[1:]} <= {line.split(",")[0] for line in items[1:]}
