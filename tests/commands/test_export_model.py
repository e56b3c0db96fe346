"""Command `model`: read back by another reader, solved to the same optimum, every name explained."""

from __future__ import annotations

import csv
import json
from decimal import Decimal
from pathlib import Path

import highspy
import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.config.case import load_case
from optimenu.errors import InputFaults
from optimenu.planning import Options, plan
from tests.commands.small import write_project


@pytest.fixture(scope="module")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_project(tmp_path_factory.mktemp("project"))


@pytest.mark.parametrize("suffix", ["mps", "lp"])
def test_the_file_read_back_has_the_same_optimum(config: Path, tmp_path: Path, suffix: str) -> None:
    file = tmp_path / f"two_days.{suffix}"
    done = CliRunner().invoke(app, ["model", str(config), str(file), "--json"])
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout)
    highs = highspy.Highs()
    highs.silent()
    assert highs.readModel(str(file)) == highspy.HighsStatus.kOk
    model = highs.getLp()
    assert (model.num_col_, model.num_row_) == (data["columns"], data["rows"])
    assert model.offset_ == data["constant"] == 0
    wanted = highspy.ObjSense.kMaximize if suffix == "lp" else highspy.ObjSense.kMinimize
    assert model.sense_ == wanted
    highs.run()
    assert highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
    found = Decimal(repr(highs.getObjectiveValue())) * Decimal(data["unit"])
    direct = plan(load_case(config), Options(method="direct", gap=0.0))
    assert direct.report is not None and direct.outcome.closed
    value = direct.report.value
    assert float(-found if suffix == "mps" else found) == pytest.approx(float(value), rel=1e-6)
    assert value > 0


def test_every_name_is_explained(config: Path, tmp_path: Path) -> None:
    file = tmp_path / "two_days.lp"
    assert CliRunner().invoke(app, ["model", str(config), str(file)]).exit_code == 0
    with (tmp_path / "two_days.lp.names.csv").open() as table:
        rows = {row["name"]: row for row in csv.DictReader(table)}
    highs = highspy.Highs()
    highs.silent()
    highs.readModel(str(file))
    model = highs.getLp()
    assert set(rows) == {*model.col_names_, *model.row_names_}
    assert {n for n, row in rows.items() if row["part"] == "column"} == set(model.col_names_)
    servings = [row for row in rows.values() if row["means"] == "servings"]
    eggs = {(r["party"], r["day"], r["meal"], r["course"]) for r in servings if r["item"] == "egg_hash"}
    # egg hash is a main for breakfast, and there are two days
    assert eggs == {("juno", "1", "breakfast", "main"), ("juno", "2", "breakfast", "main")}
    assert not any(row["item"] == "groundnut_soup_pot" for row in servings)
    mass = [row for row in rows.values() if row["key"] == "stowage.gross_kg"]
    assert [row["means"] for row in mass] == ["limit"]


def test_nothing_is_overwritten_and_only_two_formats_are_known(config: Path, tmp_path: Path) -> None:
    for name in ("there.mps", "names.lp.names.csv"):
        (tmp_path / name).write_text("mine")
    for name, text in (
        ("there.mps", "exists already"),
        ("names.lp", "exists already"),
        ("model.xlsx", "name a file ending in .mps or .lp"),
    ):
        done = CliRunner().invoke(app, ["model", str(config), str(tmp_path / name)])
        assert isinstance(done.exception, InputFaults)
        assert text in str(done.exception)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["names.lp.names.csv", "there.mps"]
    assert (tmp_path / "there.mps").read_text() == "mine"
