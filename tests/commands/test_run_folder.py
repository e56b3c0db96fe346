from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from optimenu.audit.menu import audit_menu
from optimenu.config.case import load_case
from optimenu.errors import InputFaults
from optimenu.exports.record import run_files
from optimenu.exports.run_folder import find_run, new_folder, read_run, write_folder
from optimenu.planning import Options, plan, prove_run
from tests.commands.small import write_project


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("runs")
    case = load_case(write_project(folder / "project"))
    options = Options(method="direct")
    return write_folder(folder / "runs" / "plan-001", run_files(plan(case, options), options, {"rows": 0.1}))


def test_a_run_needs_nothing_but_its_folder(run: Path, tmp_path: Path) -> None:
    moved = run.rename(tmp_path / "elsewhere")
    try:
        again = read_run(moved)
        assert again.case.problem.name == "Two days"
        assert again.menu.lines
        assert again.certificate is not None
    finally:
        moved.rename(run)


def test_the_same_inputs_give_the_same_bytes_but_for_times(run: Path) -> None:
    case = load_case(run / "inputs" / "plan.toml")
    options = Options(method="direct")
    again = run_files(plan(case, options), options, {})
    for name, contents in again.items():
        if name != "times.json":
            assert (run / name).read_bytes() == contents, name


def test_record_holds_no_times_and_names_every_input(run: Path) -> None:
    record = json.loads((run / "record.json").read_text())
    assert set(record["inputs"]) == {"plan.toml", "items.csv", "tasting.csv", "prescriptions.toml"}
    assert "times" not in record
    assert record["gap"] is not None


def test_a_changed_input_is_refused(run: Path) -> None:
    path = run / "inputs" / "items.csv"
    before = path.read_bytes()
    path.write_bytes(before.replace(b"free", b"contains", 1))
    try:
        with pytest.raises(InputFaults, match="changed since the run was made"):
            read_run(run)
        path.unlink()
        with pytest.raises(InputFaults, match="missing; the run cannot be read without it"):
            read_run(run)
    finally:
        path.write_bytes(before)


def test_a_broken_certificate_or_record_is_refused(run: Path) -> None:
    for name, text in (("certificate.json", "not a certificate"), ("record.json", "cannot be read")):
        path = run / name
        before = path.read_bytes()
        path.write_text("{}")
        try:
            with pytest.raises(InputFaults, match=text):
                read_run(run)
        finally:
            path.write_bytes(before)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("inputs", ["plan.toml"]),
        ("config", None),
        ("scale_of", 3),
        ("people", [{"best": "NaN"}]),
        ("people", [{"best": "0"}]),
        ("people", [{"best": "1"}] * 2),
        ("people", []),
    ],
)
def test_a_record_that_does_not_say_what_it_must_cannot_be_read(
    run: Path, tmp_path: Path, key: str, value: object
) -> None:
    folder = shutil.copytree(run, tmp_path / "run")
    path = folder / "record.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), key: value}))
    with pytest.raises(InputFaults, match=r"record\.json  cannot be read"):
        read_run(folder)


@pytest.mark.parametrize("claim", [None, "NaN", "Infinity", "much", [1]])
@pytest.mark.parametrize("key", ["value", "bound"])
def test_a_record_that_claims_no_number_fails_the_audit(run: Path, key: str, claim: object) -> None:
    found = read_run(run)
    case, certificates = found.case, (None, found.certificate)
    report = audit_menu(case.problem, case.rules, found.menu, found.scale)

    def faults(record: Mapping[str, Any]) -> tuple[str, ...]:
        return prove_run(case, found.scale, certificates, report, record).faults

    assert not faults(found.record)
    (fault,) = faults({**found.record, key: claim})
    assert fault.startswith(f"the {key} {claim} is claimed, ")
    (fault,) = faults({k: v for k, v in found.record.items() if k != key})
    assert fault.startswith(f"the {key} nothing is claimed, ")


def test_finding_runs(run: Path, tmp_path: Path) -> None:
    assert find_run(None, run.parent) == run
    with pytest.raises(InputFaults, match="no run yet"):
        find_run(None, tmp_path)
    with pytest.raises(InputFaults, match="is not a run"):
        find_run(tmp_path)
    assert new_folder(run.parent, "plan").name == "plan-002"
    assert new_folder(tmp_path / "none", "plan").name == "plan-001"


def test_a_run_never_overwrites(run: Path) -> None:
    with pytest.raises(InputFaults, match="exists already"):
        write_folder(run, {"record.json": b"{}"})


def test_a_folder_that_cannot_be_written_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputFaults, match="cannot be written"):
        write_folder(tmp_path / "file" / "run", {"record.json": b"{}"})


def test_a_write_that_fails_leaves_nothing(tmp_path: Path) -> None:
    full: Any = {"record.json": b"{}", "menu.csv": "text, not bytes"}
    with pytest.raises(TypeError):
        write_folder(tmp_path / "runs" / "one", full)
    assert not list((tmp_path / "runs").iterdir())
