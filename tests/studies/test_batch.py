"""Batches on processes of this machine: deaths, faults, resumption, and what the folder keeps."""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.errors import InputFaults
from optimenu.exports.run_folder import read_run
from optimenu.studies import bundle
from optimenu.studies.batch import KILLER, Batch
from optimenu.studies.folder import RESULTS, RESULTS_CSV, StudyFolder
from optimenu.studies.run import StudyRun
from optimenu.studies.work import OtherVersionsError, Task, work
from optimenu.studies.workers import Local, Lost
from tests.studies.tiny import FEW, Never, broken, deadly, deadly_once, results, study_run, write_study


def planned(study, folder, doing=work, count=2, **more):
    run, workers = study_run(study, folder), Local(count)
    try:
        assert run.plan(workers, Never(), doing=doing, **more)
    finally:
        workers.close()
    run.folder.write(run.rows())
    return run


@pytest.fixture(scope="module")
def few(tmp_path_factory):
    """A study planned without any trouble."""
    place = tmp_path_factory.mktemp("few")
    study = write_study(place / "project")
    planned(study, place / "plain")
    return study, place / "plain"


def table(folder):
    with (folder / RESULTS_CSV).open() as lines:
        return list(csv.DictReader(lines))


def test_the_table_has_a_row_a_case_in_order(few):
    rows = table(few[1])
    assert [r["case"] for r in rows] == ["1", "2", "3", "4", "5", "6"]
    assert [r["days"] for r in rows] == ["6", "6", "12", "12", "18", "18"]
    ends = {(r["days"], r["stowage.gross_kg"]): r["end"] for r in rows}
    assert ends["6", "25"] == ends["12", "90"] == "menu"
    assert (ends["12", "25"], ends["18", "25"]) == ("undecided", "impossible")
    said = rows[4]["reason"]
    assert said.startswith("gross mass, stay [stowage.gross_kg]: ") and said.endswith(" kg too much")
    parquet = pq.read_table(few[1] / RESULTS)
    assert parquet.num_rows == 6
    assert str(parquet.schema.field("mass_kg").type) == "double"
    assert str(parquet.schema.field("people").type) == "int64"
    assert [str(v) for v in parquet["case"].to_pylist()] == [r["case"] for r in rows]


def test_any_number_of_processes_gives_the_same_bytes(few, tmp_path):
    planned(few[0], tmp_path / "one", count=1)
    assert results(tmp_path / "one") == results(few[1])


def test_nothing_is_planned_twice(few, tmp_path):
    shutil.copytree(few[1], tmp_path / "again")
    asked = []
    planned(few[0], tmp_path / "again", look=lambda: asked.append(1), doing=broken)
    assert asked == []
    assert results(tmp_path / "again") == results(few[1])


def test_a_study_cut_short_goes_on_and_ends_alike(few, tmp_path):
    class After:
        def __init__(self):
            self.count = 0

        def is_set(self):
            return self.count >= 2

    stop, workers = After(), Local(2)
    run = study_run(few[0], tmp_path / "cut")

    def took(_):
        stop.count += 1

    assert not run.plan(workers, stop, took)
    workers.close()
    run.folder.write(run.rows())
    assert 2 <= len(table(tmp_path / "cut")) < 6
    assert pq.read_table(tmp_path / "cut" / RESULTS).num_rows == len(table(tmp_path / "cut"))
    planned(few[0], tmp_path / "cut")
    assert results(tmp_path / "cut") == results(few[1])


def test_a_longer_study_keeps_what_is_answered(few, tmp_path):
    shutil.copytree(few[1], tmp_path / "longer")
    study = few[0].with_name("longer.toml")
    study.write_text(FEW.replace("[6, 12, 18]", "[6, 9, 12, 18]"))
    took = []
    planned(study, tmp_path / "longer", took=took.append)
    assert len(took) == 2
    assert [r["days"] for r in table(tmp_path / "longer")] == ["6", "6", "9", "9", "12", "12", "18", "18"]


def test_an_answer_that_cannot_be_read_is_asked_again(few, tmp_path):
    shutil.copytree(few[1], tmp_path / "spoiled")
    first, second, third, *_ = sorted((tmp_path / "spoiled" / "answers").iterdir())
    first.write_text("{")
    second.write_text("{}")
    third.write_text(third.read_text().replace('"key": "', '"key": "0'))
    planned(few[0], tmp_path / "spoiled")
    assert results(tmp_path / "spoiled") == results(few[1])


def test_workers_that_die_lose_nothing(few, tmp_path, monkeypatch):
    marks = tmp_path / "marks"
    marks.mkdir()
    monkeypatch.setenv("OPTIMENU_TEST_MARKS", str(marks))
    planned(few[0], tmp_path / "deaths", doing=deadly_once)
    assert len(list(marks.iterdir())) == 3
    assert results(tmp_path / "deaths") == results(few[1])


def test_a_case_that_always_kills_its_worker_is_one_failed_row(few, tmp_path):
    planned(few[0], tmp_path / "deadly", doing=deadly)
    rows, plain = table(tmp_path / "deadly"), table(few[1])
    assert (rows[2]["end"], rows[2]["reason"]) == ("failed", KILLER)
    del rows[2], plain[2]
    assert rows == plain
    # it may be another the next time: not kept, so tried again
    planned(few[0], tmp_path / "deadly")
    assert results(tmp_path / "deadly") == results(few[1])


def test_faults_of_a_case_are_its_row(tmp_path):
    text = FEW.replace("[25, 90]", '[90, -1, "heavy"]').replace("[6, 12, 18]", "[6]")
    text += "[[cases]]\nstay.first_date = 2031-09-01\n"
    text += '[[cases]]\naboard = ["nobody"]\n[[cases]]\npeople.tor.floor = 9\n'
    run = planned(write_study(tmp_path / "project", text), tmp_path / "out")
    ends = [(r.answer.end, r.answer.reason) for r in run.rows()]
    assert ends[0] == ("menu", "")
    assert [end for end, _ in ends[1:]] == ["faults"] * 5
    assert ends[1][1].startswith(
        "set by the study: [stowage] gross_kg: needs a number in kg, above 0, found -1"
    )
    assert 'found "heavy"' in ends[2][1]
    assert "is before first_date" in ends[3][1]
    assert 'no person "nobody" in [people]' in ends[4][1]
    assert "only the dietitian may change this" in ends[5][1]
    # no word of where the worker keeps its inputs
    assert not any("/" in reason for _, reason in ends)


def test_a_case_known_to_have_no_menu_is_not_planned_again(few, tmp_path, monkeypatch):
    folder = StudyFolder(few[1])
    run = StudyRun(folder, *folder.study(tmp_path / "place"))
    monkeypatch.setattr("optimenu.studies.run.planned", broken)
    with pytest.raises(InputFaults, match="case 5 has no menu: impossible: "):
        run.open(5)


def test_a_study_of_faults_alone_ends_as_faults_do(tmp_path):
    text = FEW.replace("[25, 90]", "[-1, -2]").replace("[6, 12, 18]", "[6]")
    study, out = write_study(tmp_path / "project", text), tmp_path / "out"
    done = CliRunner().invoke(app, ["compare", str(study), "--out", str(out), "--workers", "1"])
    assert done.exit_code == InputFaults.exit_code
    assert "2 cases: 2 with faults in the input." in done.stdout
    assert "Every case has faults in the input" in done.stderr and "--open" not in done.stderr


def test_the_end_says_where_the_results_lie_and_how_to_open_a_case(few):
    done = CliRunner().invoke(app, ["compare", str(few[1])])
    text = " ".join(done.stderr.split())
    assert done.exit_code == 0
    assert f"{RESULTS_CSV}, {RESULTS}, charts." in text and "--open 1" in text


def test_a_fault_of_ours_in_the_worker_ends_the_batch(tmp_path):
    with pytest.raises(ZeroDivisionError):
        planned(write_study(tmp_path / "project"), tmp_path / "out", doing=broken)


def test_a_worker_with_other_versions_is_refused():
    task = Task("k", b"", "", "", b"", versions=(("optimenu", "0.0.1"), ("python", "3.0")))
    with pytest.raises(
        OtherVersionsError, match=r"has other versions: .*optimenu 0.0.1.*install the same there"
    ):
        work(task)


def test_runs_are_kept_when_wanted_and_are_runs(few, tmp_path):
    run = planned(few[0], tmp_path / "kept", runs=True)
    assert results(tmp_path / "kept") == results(few[1])
    menus = [r.case.number for r in run.rows() if r.answer.end == "menu"]
    assert sorted(int(p.name) for p in (tmp_path / "kept" / "runs").iterdir()) == menus
    kept = read_run(run.folder.run(menus[0], run.keys[menus[0] - 1]))
    assert kept.record["name"] == f"A few: {run.cases[menus[0] - 1].title}"
    assert len(kept.case.problem.dates) == 6
    # those of a study planned without are made up for
    shutil.copytree(few[1], tmp_path / "later")
    planned(few[0], tmp_path / "later", runs=True)
    assert results(tmp_path / "later") == results(few[1])
    for k in menus:
        a, b = (tmp_path / p / "runs" / f"{k:04d}" for p in ("kept", "later"))
        assert [(a / n).read_bytes() == (b / n).read_bytes() for n in ("menu.csv", "record.json")] == [
            True
        ] * 2


def test_a_case_is_opened_as_the_run_it_was(few, tmp_path):
    shutil.copytree(few[1], tmp_path / "folder")
    planned(few[0], tmp_path / "kept", runs=True)
    folder = StudyFolder(tmp_path / "folder")
    run = StudyRun(folder, *folder.study(tmp_path / "place"))
    opened = run.open(4)
    assert opened == tmp_path / "folder" / "runs" / "0004"
    same = tmp_path / "kept" / "runs" / "0004"
    assert {p.relative_to(opened): p.read_bytes() for p in opened.rglob("*") if p.is_file()} == {
        p.relative_to(same): p.read_bytes() for p in same.rglob("*") if p.is_file()
    }
    assert run.open(4) == opened
    with pytest.raises(InputFaults, match="no case 9; they are numbered 1 to 6"):
        run.open(9)
    with pytest.raises(InputFaults, match=r"case 5 has no menu: impossible: gross mass, stay"):
        run.open(5)


def test_a_run_of_other_inputs_gives_way(tmp_path):
    study = write_study(tmp_path / "project", FEW.replace("[6, 12, 18]", "[6]").replace("[25, 90]", "[90]"))
    out = tmp_path / "out"
    before = planned(study, out, runs=True)
    place = before.folder.run(1, before.keys[0])
    tasting = study.with_name("tasting.csv")
    tasting.write_text(tasting.read_text().replace("5.", "6.", 1))
    after = study_run(study, out)
    assert before.keys != after.keys and place == out / "runs" / "0001"
    # planned without runs: what lies there is of what was asked before
    planned(study, out)
    assert after.folder.run(1, after.keys[0]) is None
    assert study_run(study, out).open(1) == place
    kept = read_run(place)
    assert kept.record["inputs"]["tasting.csv"] == hashlib.sha256(tasting.read_bytes()).hexdigest()
    assert after.folder.run(1, after.keys[0]) == place
    # and a run of which nobody knows whose it is counts as none
    (out / "runs.json").write_text("[]")
    assert after.folder.run(1, after.keys[0]) is None


def repacked(folder, name, contents=b"x"):
    """Put a file into a study's inputs, and say so as the study would."""
    with zipfile.ZipFile(folder / "inputs.zip", "a") as out:
        out.writestr(name, contents)
    said = json.loads((folder / "study.json").read_text())
    said["inputs_sha256"] = hashlib.sha256((folder / "inputs.zip").read_bytes()).hexdigest()
    (folder / "study.json").write_text(json.dumps(said))


@pytest.mark.parametrize("name", ["../outside.csv", "/outside.csv", "a/../../outside.csv", "plan.toml/x"])
def test_inputs_that_lead_out_of_their_folder_are_refused(few, tmp_path, name):
    shutil.copytree(few[1], tmp_path / "bad")
    repacked(tmp_path / "bad", name)
    with pytest.raises(InputFaults, match=r"inputs.zip  cannot be unpacked: .*; run the study again"):
        StudyFolder(tmp_path / "bad").study(tmp_path / "in" / "place")
    assert not list(tmp_path.rglob("outside.csv")) and not Path("/outside.csv").exists()


def test_a_link_among_the_inputs_is_no_link(few, tmp_path):
    shutil.copytree(few[1], tmp_path / "bad")
    link = zipfile.ZipInfo("linked")
    link.external_attr = 0o120777 << 16
    repacked(tmp_path / "bad", link, b"/etc/hostname")
    StudyFolder(tmp_path / "bad").study(tmp_path / "place")
    assert not (tmp_path / "place" / "linked").is_symlink()


def test_no_archive_and_a_study_elsewhere_are_refused(few, tmp_path):
    shutil.copytree(few[1], tmp_path / "bad")
    path = tmp_path / "bad" / "study.json"
    said = json.loads(path.read_text())
    path.write_text(json.dumps({**said, "study": "../../study.toml"}))
    with pytest.raises(InputFaults, match="is no study that can be read"):
        StudyFolder(tmp_path / "bad").study(tmp_path / "place")
    (tmp_path / "bad" / "inputs.zip").write_bytes(b"x")
    path.write_text(json.dumps({**said, "inputs_sha256": hashlib.sha256(b"x").hexdigest()}))
    with pytest.raises(InputFaults, match="cannot be unpacked: no archive of inputs"):
        StudyFolder(tmp_path / "bad").study(tmp_path / "place")


def test_threads_of_one_worker_share_a_folder_of_inputs(few):
    packed = (few[1] / "inputs.zip").read_bytes()
    with ThreadPoolExecutor(8) as pool:
        roots = list(pool.map(lambda _: bundle.root_of("threads", packed), range(16)))
    assert len(set(roots)) == 1 and (roots[0] / "study.toml").is_file()


def test_a_folder_with_changed_inputs_is_refused(few, tmp_path):
    shutil.copytree(few[1], tmp_path / "changed")
    with (tmp_path / "changed" / "inputs.zip").open("ab") as out:
        out.write(b"x")
    with pytest.raises(InputFaults, match=r"inputs.zip  changed since the study was begun"):
        StudyFolder(tmp_path / "changed").study(tmp_path / "place")
    with pytest.raises(InputFaults, match="is no study that can be read"):
        StudyFolder(tmp_path).study(tmp_path / "place")


def test_something_else_is_not_written_over(few, tmp_path):
    (tmp_path / "notes").mkdir()
    (tmp_path / "notes" / "mine.txt").write_text("x")
    with pytest.raises(InputFaults, match="is there already and is no study; name another folder with --out"):
        planned(few[0], tmp_path / "notes")


def test_cases_that_ask_the_same_are_planned_once(tmp_path):
    text = FEW.replace("[6, 12, 18]", "[6]").replace("[25, 90]", "[90]")
    took = []
    study = write_study(tmp_path / "project", text + "[[cases]]\ndays = 6\nstowage.gross_kg = 90\n")
    run = planned(study, tmp_path / "out", took=took.append, runs=True)
    assert len(took) == 1
    assert [r.answer.figures["menu_sha256"] for r in run.rows()] == [took[0].figures["menu_sha256"]] * 2
    assert [p.name for p in sorted((tmp_path / "out" / "runs").iterdir())] == ["0001", "0002"]


def test_times_stand_apart_and_stay(few):
    times = json.loads((few[1] / "times.json").read_text())
    assert len(times) == 6
    assert all(t["seconds"] > 0 and ":" in t["where"] for t in times.values())


class Cloud:
    """Workers that lose what they are told to, so many times; each knows who was at fault."""

    tells_who = True

    def __init__(self, losses, deaths):
        self.left, self.deaths, self.asked = dict(losses), deaths, []

    def size(self):
        return 2

    def submit(self, work, task, done):
        self.asked.append(task.key)
        lost = self.left.get(task.key, 0) > 0
        self.left[task.key] = self.left.get(task.key, 0) - 1

        class Made:
            def result(inner):  # noqa: N805
                if lost:
                    raise Lost(self.deaths)
                return task.key

        done(task.key, Made())

    def close(self):
        pass

    def why(self, error, *, alone):
        return error if isinstance(error, Lost) else None


@pytest.mark.parametrize(("deaths", "times", "answer"), [(0, 5, "a"), (4, 1, "failed"), (0, 99, "failed")])
def test_a_cluster_gives_back_what_it_lost(deaths, times, answer):
    cloud, took = Cloud({"a": times}, deaths), []
    tasks = [Task(k, b"", "", "", b"") for k in "abc"]
    assert Batch(tasks, cloud, work, took.append).run(Never())
    ends = [t if isinstance(t, str) else t.end for t in took]
    assert sorted(ends) == sorted([answer, "b", "c"])
    assert len(cloud.asked) == 2 + min(times + 1, 21 if deaths == 0 else 1)
