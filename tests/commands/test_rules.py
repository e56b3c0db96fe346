"""Command `rules`: the pages of the rules."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.rules.registry import rule_classes
from tests.commands.called import main_ends


def call(*words: str) -> str:
    done = CliRunner().invoke(app, list(words))
    assert done.exit_code == 0, done.stderr
    return done.stdout


def test_the_list_names_every_rule() -> None:
    text = call("rules")
    assert all(table in text for table in rule_classes())


def test_one_rule_in_full() -> None:
    page = call("rules", "water")
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


@pytest.mark.parametrize("table", list(rule_classes()))
def test_every_rule_says_what_when_and_whence(table: str) -> None:
    (page,) = json.loads(call("rules", table, "--json"))
    assert set(page["sections"]) == {"What", "Maths", "When", "Source"}
    assert f"[{table}" in page["example"]
    assert all(s["meaning"] and s["kind"] and s["default"] for s in page["settings"])


def test_json_holds_every_rule() -> None:
    assert [p["table"] for p in json.loads(call("rules", "--json"))] == list(rule_classes())


def test_an_unknown_rule_names_the_nearest_and_ends_with_two(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main_ends(monkeypatch, "rules", "watr") == 2
    done = capsys.readouterr()
    assert not done.out
    assert 'no rule "watr". Did you mean "water"?' in done.err
