"""`optimenu trade` on the project of three people: the curve, its files, its faults, carried on, picked."""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
import sys
import time
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.errors import AuditFailed, InputFaults
from optimenu.exports.run_folder import read_run
from tests.commands.small import write_crew

MOVES = ("--moves", "40000")
GOOD = {"liking": 1, "least": 1, "mass_kg": -1, "volume_l": -1, "water_l": -1, "variety": 1}


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_crew(tmp_path_factory.mktemp("trade") / "crew")


def ask(*words: str):
    return CliRunner().invoke(app, ["trade", *words])


def table(folder: Path) -> pd.DataFrame:
    return pd.read_csv(folder / "points.csv", keep_default_na=False, na_values=[""])


def check_curve(folder: Path, columns: tuple[str, ...]) -> pd.DataFrame:
    """Count the table again by itself: nothing dominated, bounds above values, every number a run's own."""
    points = table(folder)
    assert list(points["point"]) == list(range(1, len(points) + 1))
    better = points[list(columns)] * [GOOD[c] for c in columns]
    for i in range(len(points)):
        for j in range(len(points)):
            worse = (better.iloc[i] <= better.iloc[j]).all() and (better.iloc[i] < better.iloc[j]).any()
            assert not worse, (i, j)
    goal = points[points["goal"][0]]
    assert (points["goal_at_most"] >= goal).all()
    gap = (points["goal_at_most"] - goal) / points["goal_at_most"]
    assert ((points["gap"] - gap).abs() < 2e-6).all()
    items = pd.read_csv(next(folder.rglob("items.csv")), keep_default_na=False).set_index("id")
    for row in points.to_dict("records"):
        run = read_run(folder / row["run"])
        assert abs(Decimal(run.record["value"]) * 100 - Decimal(str(row["liking"]))) < Decimal("0.000002")
        menu = pd.read_csv(folder / row["run"] / "menu.csv", keep_default_na=False)
        # five plan days on twelve dates: the first two days three times
        dates = menu["day"].map(lambda d: 3 if d <= 2 else 2)
        # packs of several servings have no hours that they keep: what a meal takes is opened for it
        packs = -(-menu["count"] // menu["item"].map(items["servings_per_pack"])) * dates
        volume = (packs * menu["item"].map(items["volume_ml"])).sum() / 1000
        mass = (packs * menu["item"].map(items["gross_g"])).sum() / 1000
        assert (round(volume, 6), round(mass, 6)) == (row["volume_l"], row["mass_kg"])
        assert menu.groupby("party")["item"].nunique().min() == row["variety"]
        for column in ("mass_kg", "volume_l", "variety"):
            limit = row[f"limit_{column}"]
            if pd.notna(limit):
                assert (limit - row[column]) * -GOOD[column] >= 0
    return points


@pytest.fixture(scope="module")
def drawn(project: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("drawn") / "t"
    done = ask(str(project), "--points", "6", *MOVES, "--out", str(folder))
    assert done.exit_code == 0, done.output
    return folder, done.stdout


def test_the_curve_is_monotone_and_nothing_on_it_is_dominated(drawn: tuple[Path, str]) -> None:
    points = check_curve(drawn[0], ("volume_l", "liking"))
    assert len(points) >= 4
    assert points["volume_l"].is_monotonic_increasing
    assert points["liking"].is_monotonic_increasing
    assert points["knee"].isin(["yes", "no"]).all()


def test_the_page_and_the_files_say_the_same(drawn: tuple[Path, str]) -> None:
    folder, page = drawn
    points = table(folder)
    assert "mean liking against stowed volume" in page
    for row in points.to_dict("records"):
        assert f"{row['liking']:.2f}" in page
    assert "No menu takes less stowed volume than" in page
    knees = points.index[points["knee"] == "yes"]
    assert f"--pick {points['point'][knees[0]] if len(knees) else 1}" in page
    assert "Check allergens on the pack itself" in page
    assert max(map(len, page.splitlines())) <= 80
    parquet = pd.read_parquet(folder / "points.parquet")
    assert list(parquet.columns) == list(points.columns)
    assert [Decimal(v) for v in parquet["liking"]] == [Decimal(str(v)) for v in points["liking"]]
    assert (folder / "curve.svg").read_bytes().startswith(b"<?xml")
    # read again, without solving; as JSON, too
    again = ask(str(folder))
    assert again.stdout == page
    data = json.loads(ask(str(folder), "--json").stdout)
    assert [p["run"] for p in data["points"]] == list(points["run"])


def test_a_picked_point_is_a_run_that_audits(
    drawn: tuple[Path, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = drawn[0].resolve()
    monkeypatch.chdir(tmp_path)
    done = ask(str(folder), "--pick", "2")
    assert done.exit_code == 0, done.output
    record = json.loads((folder / table(folder)["run"][1] / "record.json").read_text())
    found = read_run(tmp_path / "runs" / (tmp_path / "runs" / "latest").read_text().strip())
    assert found.record == record
    assert record["scale_of"] == "plan.toml"
    assert record["config"] != "plan.toml"
    audited = CliRunner().invoke(app, ["audit", "--json"])
    assert audited.exit_code == 0, audited.output
    assert json.loads(audited.stdout)["holds"] is True


def test_the_audit_proves_the_scale_from_the_config_it_is_of(
    drawn: tuple[Path, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = drawn[0].resolve()
    monkeypatch.chdir(tmp_path)
    assert ask(str(folder), "--pick", "1", "--out", "one").exit_code == 0
    path = tmp_path / "one" / "record.json"
    record = json.loads(path.read_text())
    record["people"][0]["best"] = str(Decimal(record["people"][0]["best"]) + Decimal("0.01"))
    path.write_text(json.dumps(record))
    audited = CliRunner().invoke(app, ["audit", "one", "--json"])
    assert isinstance(audited.exception, AuditFailed)
    assert any("plan.toml gives" in fault for fault in json.loads(audited.stdout)["faults"])


def test_every_point_has_the_scale_of_the_base(
    drawn: tuple[Path, str], project: Path, tmp_path: Path
) -> None:
    done = CliRunner().invoke(app, ["plan", str(project), *MOVES, "--out", str(tmp_path / "run")])
    assert done.exit_code == 0, done.output
    best = [p["best"] for p in read_run(tmp_path / "run").record["people"]]
    for run in table(drawn[0])["run"]:
        assert [p["best"] for p in read_run(drawn[0] / run).record["people"]] == best


def files(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.name != "times.json"
    }


def test_the_same_bytes_again_with_another_number_of_threads(
    drawn: tuple[Path, str], project: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other"
    done = ask(str(project), "--points", "6", *MOVES, "--out", str(other), "--threads", "1")
    assert done.exit_code == 0, done.output
    assert files(other) == files(drawn[0])


def test_a_trade_is_carried_on_from_what_is_there(
    drawn: tuple[Path, str], project: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "t"
    assert ask(str(project), "--points", "3", *MOVES, "--out", str(folder)).exit_code == 0
    before = {p.name: p.stat().st_mtime_ns for p in (folder / "runs").iterdir()}
    # as if killed after a run was written and before its point was told
    stray = next(p.name for p in (drawn[0] / "runs").iterdir() if p.name not in before)
    (folder / "runs" / stray).mkdir()
    (folder / "runs" / stray / "menu.csv").write_text("half")
    done = ask(str(project), "--points", "6", *MOVES, "--out", str(folder))
    assert done.exit_code == 0, done.output
    assert {p.name: p.stat().st_mtime_ns for p in (folder / "runs").iterdir() if p.name in before} == before
    assert files(folder) == files(drawn[0])


def test_another_question_is_refused(drawn: tuple[Path, str], project: Path) -> None:
    done = ask(str(project), "--between", "mass,liking", "--moves", "50000", "--out", str(drawn[0]))
    assert isinstance(done.exception, InputFaults)
    assert "holds another trade, not of the same axes, moves; name a new folder with --out" in str(
        done.exception
    )


def test_a_trade_of_other_versions_is_not_carried_on(
    drawn: tuple[Path, str], project: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "older"
    shutil.copytree(drawn[0], folder)
    data = json.loads((folder / "trade.json").read_text())
    data["question"]["versions"][0][1] = "3.0"
    (folder / "trade.json").write_text(json.dumps(data))
    done = ask(str(project), "--points", "6", *MOVES, "--out", str(folder))
    assert isinstance(done.exception, InputFaults)
    assert "holds another trade, not of the same versions; name a new folder" in str(done.exception)


def test_mass_against_variety_keeps_the_liking_held(project: Path, tmp_path: Path) -> None:
    folder = tmp_path / "t"
    done = ask(str(project), "--between", "mass,variety", "--points", "4", *MOVES, "--out", str(folder))
    assert done.exit_code == 0, done.output
    points = check_curve(folder, ("mass_kg", "variety"))
    assert (points["liking"] >= points["liking_held"]).all()
    known = points.dropna(subset=["least_mass_kg"])
    assert len(known)
    assert (known["least_mass_kg"] <= known["mass_kg"]).all()
    assert "Every menu keeps a mean liking of" in done.stdout


def test_the_least_liking_against_volume(project: Path, tmp_path: Path) -> None:
    folder = tmp_path / "t"
    done = ask(str(project), "--between", "volume,least", "--points", "4", *MOVES, "--out", str(folder))
    assert done.exit_code == 0, done.output
    points = check_curve(folder, ("volume_l", "least"))
    assert set(points["goal"]) == {"least"}
    assert points["least"].is_monotonic_increasing
    for run in points["run"]:
        record = read_run(folder / run).record
        assert Decimal(record["least"]["bound"]) <= 1
    assert "has a higher least liking than" in done.stdout


def test_three_quantities(project: Path, tmp_path: Path) -> None:
    folder = tmp_path / "t"
    done = ask(str(project), "--between", "volume,mass,liking", "--points", "6", *MOVES, "--out", str(folder))
    assert done.exit_code == 0, done.output
    points = check_curve(folder, ("volume_l", "mass_kg", "liking"))
    assert points["curve"].nunique() == 2
    assert "Gross mass not limited" in done.stdout


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (["--between", "volume,likeing"], 'no quantity "likeing". Did you mean "liking"?'),
        (["--between", "volume"], "needs two or three different quantities"),
        (["--between", "volume,volume"], "needs two or three different quantities"),
        (["--between", "mass,volume,water,liking"], "needs two or three different quantities"),
        (["--between", "volume,liking,least"], "liking and least liking are both goals"),
        (["--between", "cost,liking"], "states no cost; fill its column cost"),
        (["--points", "2"], "needs a number of points, 3 to 200, found 2"),
        (["--points", "201"], "needs a number of points, 3 to 200, found 201"),
        (["--floor", "1"], "needs a part of the best liking, 0 to below 1, found 1"),
    ],
)
def test_faults(project: Path, words: list[str], text: str, tmp_path: Path) -> None:
    done = ask(str(project), *words, "--out", str(tmp_path / "t"))
    assert isinstance(done.exception, InputFaults)
    assert text in str(done.exception)
    assert not (tmp_path / "t").exists()


def test_several_faults_are_told_at_once(project: Path) -> None:
    done = ask(str(project), "--between", "a,b", "--points", "1", "--floor", "-1")
    assert isinstance(done.exception, InputFaults)
    assert len(done.exception.faults) == 4


def test_faults_of_folders_and_picks(drawn: tuple[Path, str], project: Path, tmp_path: Path) -> None:
    none = ask(str(tmp_path))
    assert isinstance(none.exception, InputFaults)
    assert "is no folder of a trade" in str(none.exception)
    # a run that would lead elsewhere, and a point that is none
    for wrong in ({"run": "../../elsewhere"}, {"amounts": {"liking": "much"}}, {"limits": []}):
        folder = tmp_path / "bad"
        shutil.copytree(drawn[0], folder)
        data = json.loads((folder / "trade.json").read_text())
        name = next(iter(data["points"]))
        data["points"][name].update(wrong)
        (folder / "trade.json").write_text(json.dumps(data))
        refused = ask(str(folder), "--pick", "1", "--out", str(tmp_path / "picked"))
        assert isinstance(refused.exception, InputFaults), wrong
        assert "is no folder of a trade" in str(refused.exception)
        assert not (tmp_path / "picked").exists()
        shutil.rmtree(folder)
    far = ask(str(drawn[0]), "--pick", "99")
    assert isinstance(far.exception, InputFaults)
    assert f"no point 99; there are {len(table(drawn[0]))}" in str(far.exception)
    assert ask(str(project), "--pick", "1").exit_code == 2


def test_a_limit_that_is_not_the_planners_is_told(project: Path, tmp_path: Path) -> None:
    folder = tmp_path / "crew"
    config = write_crew(folder)
    config.write_text(config.read_text().replace("gross_kg = 30", 'gross_kg = 30\nwho = "dietitian"'))
    done = ask(str(config), "--out", str(tmp_path / "t"))
    assert isinstance(done.exception, InputFaults)
    assert "cannot be traded; with stowage.volume_l changed: " in str(done.exception)
    assert "only the dietitian may" in str(done.exception)


def test_nothing_traded_helps_where_nothing_is_possible(project: Path, tmp_path: Path) -> None:
    config = write_crew(tmp_path / "crew")
    config.write_text(config.read_text().replace("gross_kg = 30", "gross_kg = 3"))
    done = ask(str(config), "--out", str(tmp_path / "t"), *MOVES)
    assert getattr(done.exception, "exit_code", None) == 3
    assert "no menu can keep all other limits, with no limit on what is traded" in str(done.exception)


def test_no_point_at_all_is_said_to_be_undecided(
    project: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("optimenu.studies.trade.trade", lambda names, points: None)
    done = ask(str(project), "--out", str(tmp_path / "t"), *MOVES)
    assert getattr(done.exception, "exit_code", None) == 4
    assert "no point has a menu; see: optimenu explain" in str(done.exception)


def test_ctrl_c_keeps_the_points_so_far(project: Path, tmp_path: Path) -> None:
    folder = tmp_path / "t"
    words = [sys.executable, "-m", "optimenu", "trade", str(project), "--points", "40", "--moves", "400000"]
    with subprocess.Popen(
        [*words, "--out", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        deadline = time.monotonic() + 120
        while time.monotonic() < deadline and len(list(folder.glob("runs/*/record.json"))) < 3:
            time.sleep(0.05)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=120)
    assert process.returncode == 130, err
    assert f"Carry on with the same command and --out {folder}" in " ".join(err.split())
    assert "mean liking against stowed volume" in out
    assert 1 <= len(check_curve(folder, ("volume_l", "liking"))) < 40
