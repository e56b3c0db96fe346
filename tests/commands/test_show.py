from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest
from typer.testing import CliRunner, Result

from optimenu.commands.app import app
from optimenu.config.case import load_case
from optimenu.config.schema import schema, schema_text
from optimenu.errors import InputFaults
from optimenu.exports.record import run_files
from optimenu.exports.run_folder import write_folder
from optimenu.planning import Options, plan
from optimenu.rules.registry import rule_classes
from tests.commands.small import write_project
from tests.views.pair import MARKUP, plan_pair
from tests.views.pair import OPTIONS as PAIR_OPTIONS

ROOT = Path(__file__).parents[2]


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


def test_check_as_json(tmp_path: Path) -> None:
    data = json.loads(call("check", str(write_project(tmp_path)), "--json").stdout)
    assert data["people"][0]["kcal"] == {"other days": "1500"}
    left = {(c["meal"], c["course"]): (c["left"], c["offered"]) for c in data["people"][0]["choices"]}
    # of four dinner mains one holds peanuts
    assert left["dinner", "main"] == (3, 4)


def test_rules_lists_all_and_explains_one() -> None:
    text = call("rules").stdout
    assert all(table in text for table in rule_classes())
    page = call("rules", "water").stdout
    for words in (
        "What:",
        "Maths:",
        "When:",
        "Source:",
        "hot_ml_at_a_meal",
        "number, above 0, mL",
        "[water]",
    ):
        assert words in page
    data = json.loads(call("rules", "--json").stdout)
    assert [p["table"] for p in data] == list(rule_classes())
    assert all(s["meaning"] for p in data for s in p["settings"])


def test_an_unknown_rule_names_the_nearest() -> None:
    result = call("rules", "watr")
    assert isinstance(result.exception, InputFaults)
    assert 'no rule "watr". Did you mean "water"?' in str(result.exception)


def test_schema_is_valid_current_and_fits_the_shipped_config() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    assert call("schema").stdout == schema_text()
    assert (ROOT / "configs" / "optimenu.schema.json").read_text() == schema_text()
    path = ROOT / "configs" / "station.toml"
    assert path.read_text().startswith("#:schema ./optimenu.schema.json\n")
    values = json.loads(json.dumps(tomllib.loads(path.read_text()), default=str))
    jsonschema.Draft202012Validator(schema()).validate(values)


def test_schema_refuses_what_the_program_refuses() -> None:
    judge = jsonschema.Draft202012Validator(schema())
    assert not judge.is_valid({"stowage": {"gross_kg": -1}})
    assert not judge.is_valid({"stowage": {"gros_kg": 1}})
    assert not judge.is_valid({"people": {"x": {"sex": "unknown"}}})
