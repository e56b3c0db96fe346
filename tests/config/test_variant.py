"""A config with some settings changed, without a file on disk."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
import tomli

from optimenu.config.case import load_case
from optimenu.config.variant import variant, variant_text
from optimenu.errors import InputFaults
from optimenu.exports.record import record, run_files
from optimenu.exports.run_folder import read_run, write_folder
from optimenu.planning import Options, plan
from tests.commands import small


@pytest.fixture
def config(tmp_path):
    return small.write_project(tmp_path / "project")


def test_the_text_says_what_was_asked():
    changes = {
        "stay.last_date": date(2031, 3, 9),
        "stowage.volume_l": Decimal("310.50"),
        "stay.cycle_days": Decimal("4.0"),
        "catalogue.leave_out": {"items": ("oat_cake",)},
    }
    read = tomli.loads(variant_text("a.toml", changes).decode(), parse_float=Decimal)
    assert read == {
        "extends": "a.toml",
        "role": "planner",
        "stay": {"last_date": date(2031, 3, 9), "cycle_days": 4},
        "stowage": {"volume_l": Decimal("310.5")},
        "catalogue": {"leave_out": {"items": ["oat_cake"]}},
    }


@pytest.mark.parametrize("keys", [("stay", "stay.last_date"), ("goal.x", "goal.x.y")])
def test_one_key_inside_another_is_refused(keys):
    with pytest.raises(ValueError, match="inside another|twice"):
        variant_text("a.toml", dict.fromkeys(keys, 1))


def test_a_variant_is_the_file_it_would_be(config):
    changes = {"stay.last_date": date(2031, 3, 6), "search.seed": 7}
    case = variant(config, changes, name="longer")
    assert not (config.parent / "longer.toml").exists()
    (config.parent / "longer.toml").write_bytes(case.text)
    same = load_case(config.parent / "longer.toml")
    assert (case.problem.dates, case.files) == (same.problem.dates, same.files)
    assert case.settings.model_dump() == same.settings.model_dump()
    assert len(case.problem.dates) == 6
    assert case.settings.search.seed == 7


def test_its_run_needs_no_file_of_the_project(config, tmp_path):
    case = variant(config, {"stay.last_date": date(2031, 3, 6)}, name="longer")
    options = Options(moves=200_000)
    planned = plan(case, options)
    folder = write_folder(tmp_path / "runs" / "longer-001", run_files(planned, options, {}))
    run = read_run(folder)
    assert run.record == record(planned, options)
    assert run.case.problem.dates == case.problem.dates
    assert (folder / "inputs" / run.record["config"]).read_bytes() == case.text


def test_faults_name_the_lines_of_its_text(config):
    with pytest.raises(InputFaults) as error:
        variant(config, {"stay.last_date": "soon", "people.juno.energy.kcal": 3}, name="odd")
    lines = (
        variant_text(config.name, {"stay.last_date": "soon", "people.juno.energy.kcal": 3})
        .decode()
        .split("\n")
    )
    found = {(f.file.rsplit("/", 1)[-1], lines[f.line - 1]) for f in error.value.faults}
    assert ("odd.toml", 'last_date = "soon"') in found
    assert ("odd.toml", "kcal = 3") in found
