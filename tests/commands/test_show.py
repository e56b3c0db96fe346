from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from optimenu.commands.app import app
from optimenu.config.case import load_case
from optimenu.errors import AuditFailed, InputFaults
from optimenu.exports.record import run_files
from optimenu.exports.run_folder import write_folder
from optimenu.planning import Options, plan
from tests.commands.called import main_ends
from tests.commands.small import write_project
from tests.views.pair import MARKUP, plan_pair
from tests.views.pair import OPTIONS as PAIR_OPTIONS


def call(*words: str) -> Result:
    return CliRunner().invoke(app, list(words))


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("runs")
    options = Options(method="direct")
    planned = plan(load_case(write_project(folder / "project")), options)
    return write_folder(folder / "runs" / "plan-001", run_files(planned, options, {}))


def test_show_by_person_day_nutrients_and_totals(run: Path) -> None:
    assert "Juno: Two days" in call("show", str(run)).stdout
    assert "How good it is" in call("show", str(run)).stdout
    assert (
        "Requirement on such a day: 1,500 kcal"
        in call("show", str(run), "--person", "juno", "--day", "2").stdout
    )
    assert "Energy, kcal" in call("show", str(run), "--nutrients").stdout
    assert "gross mass, stay" in call("show", str(run), "--totals").stdout


@pytest.fixture(scope="module")
def pair_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("runs")
    files = run_files(plan_pair(folder / "project"), PAIR_OPTIONS, {})
    return write_folder(folder / "runs" / "plan-001", files)


def test_show_keeps_to_the_person_and_the_day_asked_for(pair_run: Path) -> None:
    both = call("show", str(pair_run))
    assert "[J] Juno: Two days" in both.stdout and "[B] Bo [bold]: Two days" in both.stdout
    assert "reading" in both.stderr and "reading" not in both.stdout
    spare = call("show", str(pair_run), "--reserve-day", "2", "--person", "bo").stdout
    assert "[B] Bo [bold]: reserve 2" in spare and "Juno" not in spare
    totals = call("show", str(pair_run), "--totals", "--person", "bo").stdout
    assert "bo, reserve 1: energy" in totals and "juno" not in totals and "gross mass, stay" in totals
    data = json.loads(call("show", str(pair_run), "--json", "--reserve-day", "2", "--person", "bo").stdout)
    assert {(line["party"], line["block"], line["day"]) for line in data["menu"]} == {("bo", "reserve", 2)}
    assert {m["person"] for m in data["measures"]} == {"bo"}


def test_show_takes_a_day_and_a_reserve_day_together(pair_run: Path) -> None:
    words = ("show", str(pair_run), "--day", "1", "--reserve-day", "1", "--person", "bo")
    text = call(*words).stdout
    assert "[B] Bo [bold]: day 1" in text and "[B] Bo [bold]: reserve 1" in text
    lines = json.loads(call(*words, "--json").stdout)["menu"]
    assert {(line["block"], line["day"]) for line in lines} == {("cycle", 1), ("reserve", 1)}


def test_show_takes_the_file_that_names_the_latest_run(pair_run: Path, tmp_path: Path) -> None:
    latest = pair_run.parent / "latest"
    assert "Two days" in call("show", str(latest)).stdout
    for name, message in (("latest", "latest: is not a run"), ("gone-001", "gone-001: is not a run")):
        (tmp_path / "latest").write_text(f"{name}\n")
        result = call("show", str(tmp_path / "latest"))
        assert isinstance(result.exception, InputFaults)
        assert message in str(result.exception).replace("  ", ": ")


def test_show_says_one_serving_in_the_singular(pair_run: Path) -> None:
    text = call("show", str(pair_run), "--nutrients", "--totals", "--all").stdout
    for words in (text, call("show", str(pair_run)).stdout):
        assert not re.search(r"\b1 (servings|packs|items|days)\b", " ".join(words.split()))


@pytest.mark.parametrize("columns", ["60", "80", "140"])
def test_show_fits_the_width_and_cuts_nothing(
    pair_run: Path, columns: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    everything = ("--day", "2", "--reserve-day", "1", "--nutrients", "--totals", "--all")
    for words in ((), everything):
        text = call("show", str(pair_run), *words).stdout
        assert max(map(len, text.splitlines())) <= int(columns)
        assert "…" not in text
        assert set(MARKUP.split()) <= set(text.split())


def test_show_json_agrees_with_the_run(run: Path) -> None:
    data = json.loads(call("show", str(run), "--json").stdout)
    assert data["record"] == json.loads((run / "record.json").read_text())
    assert data["audit"]["holds"] is True and data["audit"]["value"] == data["record"]["value"]
    assert len(data["menu"]) == len((run / "menu.csv").read_text().splitlines()) - 1
    assert len(data["measures"]) == len((run / "totals.csv").read_text().splitlines()) - 1
    day = json.loads(call("show", str(run), "--json", "--day", "1").stdout)
    assert {line["day"] for line in day["menu"]} == {1}


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--person", "jun"), 'no person "jun". Did you mean "juno"?'),
        (("--day", "9"), "no day 9 in the cycle of 2 days"),
        (("--reserve-day", "1"), "no day 1 in the reserve of 0 days"),
    ],
)
def test_show_refuses_what_is_not_there(run: Path, words: tuple[str, ...], message: str) -> None:
    result = call("show", str(run), *words)
    assert isinstance(result.exception, InputFaults)
    assert message in str(result.exception)


def test_audit_of_a_sound_run(run: Path) -> None:
    result = call("audit", str(run))
    assert result.exit_code == 0
    assert "Every hard limit holds" in result.stdout
    assert "proved again" in result.stdout


@pytest.fixture
def changed(run: Path, tmp_path: Path) -> Path:
    """Copy the run and give the person who must not have peanuts some."""
    folder = tmp_path / "changed"
    shutil.copytree(run, folder)
    menu = folder / "menu.csv"
    text = menu.read_text()
    item = next(name for name in ("bean_stew", "lentil_curry", "fish_pie") if name in text)
    menu.write_text(text.replace(item, "groundnut_soup_pot", 1) + "juno,cycle,1,dinner,main,no_such,1,yes\n")
    return folder


@pytest.mark.parametrize("words", [(), ("--day", "1"), ("--nutrients",), ("--totals",)])
def test_a_menu_changed_for_the_worse_is_never_shown_as_if_all_were_well(
    changed: Path, words: tuple[str, ...]
) -> None:
    result = call("show", str(changed), *words)
    assert result.exit_code == AuditFailed.exit_code == 5
    assert "do not use it" in result.stderr
    text = " ".join(result.stdout.split())
    assert text.startswith("This menu breaks 2 hard limits:")
    assert "contains: peanuts" in text and "no such item" in text


def test_a_menu_changed_for_the_worse_is_one_document_of_json(changed: Path) -> None:
    result = call("show", str(changed), "--json")
    assert result.exit_code == 5
    audit = json.loads(result.stdout)["audit"]
    assert audit["holds"] is False
    assert any("contains: peanuts" in text for text in audit["breaches"])


@pytest.mark.parametrize("words", [("--person", "jun"), ("--day", "9")])
def test_show_of_what_is_not_there_ends_with_two(
    run: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main_ends(monkeypatch, "show", str(run), *words) == 2
    done = capsys.readouterr()
    assert not done.out and "1 fault." in done.err


def test_show_without_a_run_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main_ends(monkeypatch, "show") == 2
    assert "no run yet. Plan first: optimenu plan CONFIG" in capsys.readouterr().err
    assert main_ends(monkeypatch, "show", "nowhere") == 2
    assert "is not a run" in capsys.readouterr().err


def test_colour_is_left_out_where_nobody_could_see_it(
    pair_run: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert main_ends(monkeypatch, "show", str(pair_run), "--nutrients", "--totals") == 0
    done = capsys.readouterr()
    assert "\x1b" not in done.out + done.err
    # what colour would say is said by signs and letters
    assert "▼ Protein, g" in done.out and "[J] Juno" in done.out and "[B] Bo [bold]" in done.out
