"""Command `explain` where no menu exists: screen, JSON, files, exit codes, and every message."""

from __future__ import annotations

import json
import signal
import time
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from optimenu.commands import explain_none
from optimenu.commands.app import app
from optimenu.errors import InputFaults, Interrupted, ProvedImpossible, Undecided
from optimenu.explain import loosen
from optimenu.explain.conflict import Conflict
from optimenu.explain.ways import WaysOut
from optimenu.files import shown_path
from optimenu.rules.stowage import Stowage
from tests.commands.small import CONFIG, write_project
from tests.explain.no_menu import CASES

MASS = CONFIG.replace("gross_kg = 8", "gross_kg = 1")


def explain(config: Path, *more: str) -> Result:
    return CliRunner().invoke(app, ["explain", str(config), "--moves", "20000", "--threads", "1", *more])


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("columns", ["80", "140"])
def test_the_screen_names_the_conflict_and_a_way_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    done = explain(CASES["a request against an allergy"].write(tmp_path / "project"))
    assert isinstance(done.exception, ProvedImpossible)
    text = flat(done.stdout)
    assert "These 2 limits of juno cannot hold together; without any one of them the other can" in text
    # a long path is folded anywhere
    assert "plan.toml:44;theplannermayloosenit" in "".join(done.stdout.split())
    assert "it stays as it is" in text
    assert "Proved in whole-number arithmetic." in text
    if columns == "140":
        assert "lower fewest servings that the request pot asks for from 1 to 0" in text
    assert "lower fewest servings that the request pot" in text
    assert "never offered" in text and "100.0 %" in text
    lines = [line.strip() for line in done.stdout.splitlines()]
    at = lines.index('extends = "plan.toml"')
    assert lines[at : at + 5] == [
        'extends = "plan.toml"', 'role = "planner"', "", "[requests.pot]", "at_least = 0",
    ]  # fmt: skip
    assert max(map(len, done.stdout.splitlines())) <= int(columns)
    assert "\x1b" not in done.stdout


def test_one_limit_that_no_menu_keeps(tmp_path: Path) -> None:
    done = explain(write_project(tmp_path / "project", MASS))
    assert "This limit cannot be kept by any menu with the courses as they are:" in flat(done.stdout)
    assert "raise gross mass from 1 to" in done.stdout


def test_what_only_whole_servings_make_impossible_is_said_to_be_a_finding(tmp_path: Path) -> None:
    done = explain(CASES["energy in the allowed mass"].write(tmp_path / "project"))
    assert isinstance(done.exception, ProvedImpossible)
    assert "This is HiGHS's finding, with presolve and again without; no exact proof." in flat(done.stdout)
    assert str(done.exception) == "no menu can keep all limits, as HiGHS finds; no exact proof"


def test_courses_that_nothing_may_fill_are_named(tmp_path: Path) -> None:
    done = explain(
        CASES["an allergen leaves no breakfast"].write(tmp_path / "project"), "--role", "dietitian"
    )
    text = flat(done.stdout)
    assert "They leave nothing for:" in text
    assert "fewest servings of main at breakfast" in text
    assert "allergies" not in text.split("Ways out")[1]


def test_a_course_that_no_item_takes_is_named_alone(tmp_path: Path) -> None:
    drink = "drink = { least = 1, most = 1, weight = 0.3 }\n"
    text = CONFIG.replace(drink, drink + "soup = { least = 1, most = 1, weight = 0.5 }\n", 1)
    said = flat(explain(write_project(tmp_path / "project", text)).stdout)
    head = "No menu can fill these courses of juno, whatever the limits:"
    assert f"{head} ▲ juno, a day, breakfast: soup" in said
    assert "0 limits" not in said and "They leave nothing for" not in said


def test_who_may_change_nothing_that_helps_is_told_whom_to_ask(tmp_path: Path) -> None:
    config = CASES["repeats in a small catalogue"].write(tmp_path / "project")
    done = explain(config)
    text = flat(done.stdout)
    assert "Nothing that the planner may loosen gives a menu." in text
    assert "What the dietitian could change" in text
    asked = f"then: optimenu explain {shown_path(config)} --role dietitian"
    assert "".join(asked.split()) in "".join(text.split())


def test_the_config_says_who_asks_where_the_command_does_not(tmp_path: Path) -> None:
    config = CASES["repeats in a small catalogue"].write(tmp_path / "project")
    config.write_text('role = "dietitian"\n' + config.read_text())
    assert "Ways out for the dietitian" in explain(config).stdout


def test_what_stands_in_the_way_is_told_before_the_ways_are_looked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: Any) -> WaysOut:
        raise Interrupted(explain_none.STOPPED)

    monkeypatch.setattr(explain_none, "sought", stopped)
    done = explain(write_project(tmp_path / "project", MASS))
    assert isinstance(done.exception, Interrupted)
    assert "What stands in the way" in done.stdout and "Ways out" not in done.stdout
    assert explain_none.LOOKING in flat(done.stderr)


def test_a_folder_for_ways_that_are_not_there_is_said_not_to_be_written(tmp_path: Path) -> None:
    config = CASES["repeats in a small catalogue"].write(tmp_path / "project")
    folder = config.parent / "ways"
    done = explain(config, "--out", str(folder))
    assert not folder.exists()
    assert "was not written: nothing that the planner may change was found to give a menu." in flat(
        done.stderr
    )


def test_nobody_can_help_where_a_prescription_forbids_what_the_courses_need(tmp_path: Path) -> None:
    config = CASES["an allergen leaves no breakfast"].write(tmp_path / "project")
    # the shape of the meals is not to be changed either where nothing else is served at all
    config.write_text(
        config.read_text() + '[requests.hash]\nitems = ["egg_hash"]\nat_least = 1\nwho = "nobody"\n'
    )
    done = explain(config, "--role", "physician")
    text = flat(done.stdout)
    assert "Nothing that the physician may loosen gives a menu." in text
    assert "No change that a higher role could make was found to give one either." in text


def plans(config: Path, folder: Path) -> bool:
    """Tell whether a menu is planned from a config."""
    args = ["plan", str(config), "--out", str(folder / "run"), "--method", "direct"]
    return CliRunner().invoke(app, args).exit_code == 0


def test_ways_are_written_as_configs_to_plan_with(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", MASS)
    folder = config.parent / "ways"
    done = explain(config, "--out", str(folder), "--json")
    data = json.loads(done.stdout)
    assert data["conflict"]["limits"][0]["key"] == "stowage.gross_kg"
    assert data["conflict"]["proof"] == "exact" and data["conflict"]["irreducible"]
    (way,) = data["ways"]
    assert (way["state"], way["role"]) == ("menu", "planner")
    (change,) = way["changes"]
    assert change["key"] == "stowage.gross_kg" and change["place"].endswith("plan.toml:41")
    assert Path(way["file"]) == folder / "plan-way-1.toml"
    assert plans(Path(way["file"]), tmp_path)
    assert "Written to" in flat(explain(config, "--out", str(config.parent / "again")).stdout)


def test_packs_to_be_had_are_written_as_a_stock_of_their_own(tmp_path: Path) -> None:
    config = CASES["stock"].write(tmp_path / "project")
    folder = config.parent / "ways"
    explain(config, "--out", str(folder))
    text = (folder / "plan-way-1-stock.csv").read_text()
    assert "to_be_had" in text and "released" in text
    assert plans(folder / "plan-way-1.toml", tmp_path)


def test_what_a_physician_laid_down_is_changed_in_a_file_of_its_own(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", CONFIG)
    script = config.parent / "prescriptions.toml"
    script.write_text(script.read_text() + "[people.juno.limits.PROCNT_g.day]\nlow = 120\n")
    done = explain(config, "--role", "dietitian")
    assert "What the physician could change" in flat(done.stdout)
    folder = config.parent / "ways"
    explain(config, "--role", "physician", "--out", str(folder))
    assert 'role = "physician"' in (folder / "plan-way-1-prescriptions.toml").read_text()
    assert plans(folder / "plan-way-1.toml", tmp_path)


def test_prescriptions_that_a_lower_file_names_are_found_beside_it(tmp_path: Path) -> None:
    base = write_project(tmp_path / "project", CONFIG)
    script = base.parent / "prescriptions.toml"
    script.write_text(script.read_text() + "[people.juno.limits.PROCNT_g.day]\nlow = 120\n")
    (base.parent / ".optimenu-root").touch()
    config = base.parent / "own" / "mine.toml"
    config.parent.mkdir()
    config.write_text('extends = "../plan.toml"\n')
    folder = config.parent / "ways"
    explain(config, "--role", "physician", "--out", str(folder))
    assert 'extends = "../../prescriptions.toml"' in (folder / "mine-way-1-prescriptions.toml").read_text()
    assert plans(folder / "mine-way-1.toml", tmp_path)


def test_a_folder_for_the_ways_is_looked_at_first(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", MASS)
    for folder, words in ((config.parent, "exists already"), (tmp_path / "elsewhere", "outside the project")):
        done = explain(config, "--out", str(folder))
        assert isinstance(done.exception, InputFaults)
        assert words in str(done.exception)
    (config.parent / "file").touch()
    done = explain(config, "--out", str(config.parent / "file" / "ways"))
    assert isinstance(done.exception, InputFaults)
    assert "cannot be written" in str(done.exception)


def test_an_unknown_role_is_a_usage_error(tmp_path: Path) -> None:
    done = explain(write_project(tmp_path / "project"), "--role", "cook")
    assert done.exit_code == 2
    assert "no role cook; planner, dietitian, physician are" in flat(done.stderr)


def test_undecided_ends_as_a_plan_would(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    limit = CONFIG.replace("gross_kg = 8", "gross_kg = 2")
    config = write_project(tmp_path / "project", limit)

    def nothing_known(case: Any, near: Any) -> Conflict:
        from optimenu.explain.conflict import conflict_of

        found = conflict_of(case, near)
        return Conflict("undecided", hints=tuple(m.limit for m in found.members))

    monkeypatch.setattr(explain_none, "found", nothing_known)
    monkeypatch.setattr(explain_none, "sought", lambda case, role, *more: WaysOut(role, (), (), 20_000))
    done = explain(config)
    assert isinstance(done.exception, Undecided)
    text = flat(done.stdout)
    assert "No menu was found within 20,000 moves, and none was proved impossible." in text
    assert "The nearest try breaks:" in text and "gross mass" in text


def test_a_change_with_which_no_menu_was_found_is_not_offered_as_a_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    config = CASES["energy in the allowed mass"].write(tmp_path / "project")
    further = Stowage.further

    # a gram, too little for whole servings, whatever is asked for
    def timid(self: Any, origin: Any, amount: Any, *, low: bool) -> Any:
        return further(self, origin, min(amount, Decimal(1)), low=low)

    monkeypatch.setattr(Stowage, "further", timid)
    done = explain(config)
    text = flat(done.stdout)
    assert "No menu was found with any of these within 20,000 moves." in text
    assert "raise gross mass from 2.5 to 2.51 kg" in text
    assert "no menu found" in text or "still none" in text


def test_ctrl_c_ends_it_with_a_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    config = write_project(tmp_path / "project", MASS)

    def interrupted(case: Any, near: Any) -> Conflict:
        signal.raise_signal(signal.SIGINT)
        time.sleep(5)
        return Conflict("undecided")

    monkeypatch.setattr(explain_none, "found", interrupted)
    done = explain(config)
    assert isinstance(done.exception, Interrupted)
    assert "nothing was written" in str(done.exception)


@pytest.mark.parametrize("as_json", [False, True])
def test_ctrl_c_among_the_ways_keeps_those_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, as_json: bool
) -> None:
    config = CASES["energy in the allowed mass"].write(tmp_path / "project")
    alternatives, calls = loosen._Finder._alternatives, []

    def interrupted(self: Any, steps: Any) -> Any:
        calls.append(steps)
        if len(calls) > 1:
            signal.raise_signal(signal.SIGINT)
            time.sleep(0.5)
        return alternatives(self, steps)

    # a signal can be raised for the main thread from any thread
    monkeypatch.setattr(loosen._Finder, "_alternatives", interrupted)
    folder = config.parent / "ways"
    done = explain(config, "--role", "dietitian", "--out", str(folder), *(["--json"] if as_json else []))
    assert done.exit_code == 130
    assert [f.name for f in folder.iterdir()] == ["plan-way-1.toml"]
    assert "looking for way 1 ..." in done.stderr and "looking for way 2 ..." in done.stderr
    if as_json:
        data = json.loads(done.stdout)
        assert data["stopped"] and [w["state"] for w in data["ways"]] == ["menu"]
    else:
        text = flat(done.stdout)
        assert "Stopped by you: more ways were not looked for." in text and "raise gross mass" in text


@pytest.mark.parametrize("goal", ["", '[goal]\nfirst = "least"\n'], ids=("mean", "least"))
def test_a_menu_that_the_search_missed_is_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, goal: str
) -> None:
    config = write_project(tmp_path / "project", CONFIG + goal)
    from optimenu.commands import explain as command

    monkeypatch.setattr(command, "_planned", lambda *words: None)
    done = explain(config)
    assert done.exit_code == 0, done.output
    assert "The menu of a short plan made just now" in flat(done.stdout)


def test_plan_points_to_explain(tmp_path: Path) -> None:
    config = write_project(tmp_path / "project", MASS)
    done = CliRunner().invoke(app, ["plan", str(config), "--out", str(tmp_path / "run"), "--moves", "1000"])
    assert done.exit_code != 0
    assert "What would give a menu: optimenu explain" in flat(done.stderr)
