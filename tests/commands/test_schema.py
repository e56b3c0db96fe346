"""Command `schema`: what an editor is told of a config is what the program checks."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.config.schema import schema, schema_text
from tests.commands.small import CONFIG
from tests.views.pair import PAIR

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def judge() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(schema())


def written(text: str) -> Any:
    """Return TOML as JSON sees it: dates are strings."""
    return json.loads(json.dumps(tomllib.loads(text), default=str))


def test_the_shipped_schema_is_valid_and_current() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    assert CliRunner().invoke(app, ["schema"]).stdout == schema_text()
    assert (ROOT / "configs" / "optimenu.schema.json").read_text() == schema_text()


def test_configs_that_load_fit_it(judge: jsonschema.Draft202012Validator) -> None:
    path = ROOT / "configs" / "station.toml"
    assert path.read_text().startswith("#:schema ./optimenu.schema.json\n")
    for text in (path.read_text(), CONFIG, PAIR):
        judge.validate(written(text))


def test_names_are_those_of_the_file(judge: jsonschema.Draft202012Validator) -> None:
    limit = "[nutrients.limits.NA_mg.day.for.ines]\nhigh = 2000\n"
    judge.validate(written(limit))
    assert not judge.is_valid(written(limit.replace(".for.", ".for_.")))


def test_it_refuses_what_the_program_refuses(judge: jsonschema.Draft202012Validator) -> None:
    assert not judge.is_valid({"stowage": {"gross_kg": -1}})
    assert not judge.is_valid({"stowage": {"gros_kg": 1}})
    assert not judge.is_valid({"people": {"x": {"sex": "unknown"}}})


def test_a_file_may_say_who_writes_it(judge: jsonschema.Draft202012Validator) -> None:
    for role in ("planner", "dietitian", "physician"):
        judge.validate({"role": role})
    assert not judge.is_valid({"role": "nobody"})
