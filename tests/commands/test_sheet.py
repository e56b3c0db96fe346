from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from optimenu.commands.app import app
from optimenu.errors import AuditFailed, InputFaults
from optimenu.exports.record import run_files
from optimenu.exports.run_folder import read_run, write_folder
from tests.commands.called import main_ends
from tests.views.pair import OPTIONS, plan_pair


def call(*words: str) -> Result:
    return CliRunner().invoke(app, ["sheet", *words])


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("runs")
    files = run_files(plan_pair(folder / "project"), OPTIONS, {})
    return write_folder(folder / "runs" / "plan-001", files)


@pytest.fixture
def broken(run: Path, tmp_path: Path) -> Path:
    """Copy the run and give Juno, who must not have peanuts, some."""
    folder = tmp_path / "broken"
    shutil.copytree(run, folder)
    lines = (folder / "menu.csv").read_text().splitlines()
    k = next(k for k, x in enumerate(lines) if x.startswith("juno,cycle,1,dinner,main,"))
    lines[k] = "juno,cycle,1,dinner,main,groundnut_soup_pot,1,yes"
    (folder / "menu.csv").write_text("\n".join(lines) + "\n")
    return folder


def test_a_person_s_sheet(run: Path) -> None:
    text = " ".join(call("person", str(run), "--person", "juno").stdout.split())
    assert text.startswith("[J] Juno: Two days Confidential: for the physician and the dietitian")
    assert "as laid down by physician of the invented crew, 15 Jan 2031" in text
    assert "never, allergy: peanuts (severe)" in text
    assert "none: every item planned is stated free of it" in text
    data = json.loads(call("person", str(run), "--person", "juno", "--json").stdout)
    assert (data["kind"], data["holds"], data["sheet"]["id"]) == ("person", True, "juno")
    assert data["sheet"]["energy"]["needed"] == [["", "1500"]]
    # nobody has prescribed anything for Bo
    assert "no prescription" in call("person", str(run), "--person", "bo").stdout


def test_the_matrix_on_the_screen_as_json_and_as_csv(run: Path, tmp_path: Path) -> None:
    file = tmp_path / "matrix.csv"
    result = call("allergens", str(run), "--all", "--csv", str(file), "--json")
    assert "matrix written to" in result.stderr
    table = json.loads(result.stdout)["matrix"]
    items = read_run(run).case.problem.catalogue.by_id
    with file.open(newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert [r["name"] for r in rows] == sorted(r["name"] for r in rows) == [r["name"] for r in table["rows"]]
    for row in rows:
        for allergen in table["allergens"]:
            assert row[allergen] == items[row["item"]].allergen(allergen)
    assert call("allergens", str(run)).stdout.count("peanuts") >= 2
    # what Juno must not have may stand on Bo's plate beside her, and is then kept away from her
    near = {r["item"]: r["person_juno"] for r in rows}
    for name, words in near.items():
        assert bool(words) == (items[name].allergen("peanuts") != "free")
        assert not words or words.startswith("kept away")


def test_cards_of_everybody_or_one(run: Path) -> None:
    text = call("card", str(run)).stdout
    assert "[J] Juno: what you eat" in text and "[B] Bo [bold]: what you eat" in text
    assert "day 1 (1 Mar, 3 Mar, 5 Mar)" in text and "07:30" in text
    assert "at any time: Salt sachet, up to two servings" in text
    assert "Reserve: open only when you are told to." in text
    one = call("card", str(run), "--person", "bo").stdout
    assert "Bo [bold]" in one and "Juno" not in one
    data = json.loads(call("card", str(run), "--person", "bo", "--json").stdout)
    assert [c["id"] for c in data["cards"]] == ["bo"]
    assert data["cards"][0]["days"][0]["meals"][0]["at"] == "07:30"


@pytest.mark.parametrize("columns", ["80", "140"])
def test_papers_fit_the_width(run: Path, columns: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    for words in (("person", "--person", "juno"), ("allergens", "--all"), ("card",)):
        text = call(words[0], str(run), *words[1:]).stdout
        assert max(map(len, text.splitlines())) <= int(columns)
        assert "…" not in text


def test_a_paper_of_a_broken_menu_opens_with_a_warning(broken: Path) -> None:
    for words in (("person", "--person", "juno"), ("allergens",), ("card", "--person", "juno")):
        result = call(words[0], str(broken), *words[1:])
        assert result.exit_code == AuditFailed.exit_code == 5
        assert result.stdout.startswith("This menu breaks hard limits; do not use it.")
        assert "do not use it" in result.stderr
        assert ("peanuts" in result.stdout) == (words[0] != "card")
    data = json.loads(call("card", str(broken), "--json").stdout)
    assert data["holds"] is False and "breaches" not in data


def test_another_s_breach_is_counted_not_told_on_a_sheet(broken: Path) -> None:
    result = call("person", str(broken), "--person", "bo")
    assert result.exit_code == 5
    assert "1 more. All of them: optimenu audit" in result.stdout
    assert "peanuts" not in result.stdout
    assert json.loads(call("person", str(broken), "--person", "bo", "--json").stdout)["breaches"] == []
    own = json.loads(call("person", str(broken), "--person", "juno", "--json").stdout)
    assert any("contains: peanuts" in text for text in own["breaches"])
    (trace,) = own["sheet"]["traces"]
    assert (trace["item"], trace["state"], trace["days"]) == ("groundnut_soup_pot", "contains", ["day 1"])


@pytest.mark.parametrize(
    ("words", "messages"),
    [
        (("person",), ["--person  is needed: whose sheet?"]),
        (("person", "--person", "jun"), ['no person "jun". Did you mean "juno"?']),
        (("allergens", "--person", "bo"), ["--person  does not go with allergens"]),
        (
            ("card", "--all", "--csv", "x.csv"),
            ["--all  goes with allergens only", "--csv  goes with allergens"],
        ),
    ],
)
def test_options_that_do_not_fit_are_refused_all_at_once(
    run: Path, words: tuple[str, ...], messages: list[str]
) -> None:
    result = call(words[0], str(run), *words[1:])
    assert isinstance(result.exception, InputFaults)
    assert len(result.exception.faults) == len(messages)
    for message in messages:
        assert message in str(result.exception)


def test_a_csv_that_cannot_be_written_is_an_input_fault(run: Path, tmp_path: Path) -> None:
    result = call("allergens", str(run), "--csv", str(tmp_path / "no" / "x.csv"))
    assert isinstance(result.exception, InputFaults) and result.exception.exit_code == 2
    assert "cannot be written" in str(result.exception)
    # a folder of that name stays as it was, and nothing is left beside it
    (tmp_path / "there").mkdir()
    assert isinstance(call("allergens", str(run), "--csv", str(tmp_path / "there")).exception, InputFaults)
    assert [p.name for p in tmp_path.iterdir()] == ["there"]


def test_an_unknown_paper_is_a_usage_fault(
    run: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main_ends(monkeypatch, "sheet", "poster", str(run)) == 2
    assert "poster" in capsys.readouterr().err
