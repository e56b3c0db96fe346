"""Command `drill`: pages, JSON, the ration as CSV, what is refused."""

from __future__ import annotations

import csv
import json
import shutil
from collections import defaultdict
from decimal import Decimal
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from optimenu.commands.app import app
from optimenu.errors import AuditFailed, InputFaults
from optimenu.exports.record import run_files
from optimenu.exports.run_folder import write_folder
from tests.commands.called import main_ends
from tests.views.pair import OPTIONS, plan_pair

LATE = ("--from", "2031-03-03", "--late", "6", "--lost", "hot_water", "--water-l", "3")


def call(*words: str) -> Result:
    return CliRunner().invoke(app, ["drill", *words])


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("runs")
    return write_folder(folder / "runs" / "plan-001", run_files(plan_pair(folder / "project"), OPTIONS, {}))


def test_nothing_lost_is_nothing_changed(run: Path) -> None:
    page = flat(call(str(run)).stdout)
    assert "From 1 Mar 2031 to 5 Mar 2031, 5 dates: nothing is lost or late." in page
    assert "Everybody has on every date what the plan gave, or the requirement where that is less." in page
    assert "No ration" not in page and "What is lost" not in page


def test_the_page_says_what_is_lost_who_is_low_and_who_decides(run: Path) -> None:
    result = call(str(run), *LATE)
    page = flat(result.stdout)
    assert result.exit_code == 0 and "reading" in result.stderr and "reading" not in result.stdout
    assert (
        "From 3 Mar 2031 to 11 Mar 2031, 9 dates: hot water is lost; the crew has 3 L of water a day, plain "
        "water included; the stay is 6 days longer."
    ) in page
    # porridge, hash, pie and drinks state no time for cold water
    assert "needs hot water: no time stated for cold" in page
    # Juno is allergic to peanuts; the page for the crew does not say why an item is not for her
    assert "peanut" not in page
    assert "No ration of what is left gives every person-day more than" in page
    assert "under 70 % of the requirement (common practice, no source)" in page
    assert "To be put before: physician of the invented crew." in page
    assert "A physician (physician of the invented crew) and a dietitian decide on a reduced ration" in page
    assert "Eaten otherwise than planned" not in page
    assert "Eaten otherwise than planned" in flat(call(str(run), *LATE, "--all").stdout)


def test_thawed_food_is_cautioned_where_the_freezer_is_lost(run: Path) -> None:
    page = flat(call(str(run), "--lost", "freezer").stdout)
    assert "Nothing on board: all of it can be eaten without." in page
    assert "Thawed food: discard what stood 4 hours above 5 °C" in page and "Never refreeze it." in page


def test_water_for_nothing(run: Path) -> None:
    page = flat(call(str(run), "--water-l", "0.1").stdout)
    assert "there are 0.1 L; the ration takes 0 L" in page
    assert "The config asks for no plain water: keep back what people must drink first." in page
    assert "not all can be made that is left of the menu" in page


def test_json_agrees_with_the_menu_and_the_csv(run: Path, tmp_path: Path) -> None:
    out = tmp_path / "ration.csv"
    result = call(str(run), *LATE, "--json", "--csv", str(out))
    data = json.loads(result.stdout)
    assert (data["from"], data["last_date"], data["days_late"], data["late_load"]) == (
        "2031-03-03", "2031-03-11", 6, None,
    )  # fmt: skip
    # packs of one serving on board: the menu's lines of the third to fifth date, and the reserve's
    menu = list(csv.DictReader((run / "menu.csv").read_text().splitlines()))
    items = {r["id"]: r for r in csv.DictReader((run / "inputs" / "items.csv").read_text().splitlines())}
    want: dict[tuple[str, str], int] = defaultdict(int)
    for line in menu:
        # day 1 serves the first, third and fifth date, day 2 the second and fourth
        dates = 1 if line["block"] == "reserve" else {"1": 2, "2": 1}[line["day"]]
        if items[line["item"]]["servings_per_pack"] == "1":
            want[line["party"], line["item"]] += dates * int(line["count"])
    got: dict[tuple[str, str], int] = defaultdict(int)
    for held in data["on_board"]:
        if items[held["item"]]["servings_per_pack"] == "1":
            assert held["packs"] == held["servings"]
            got[held["holder"], held["item"]] += held["packs"]
    assert got == want
    # the CSV is the ration, and its sums are those of the days
    rows = list(csv.DictReader(out.read_text().splitlines()))
    assert [{k: "" if v is None else str(v) for k, v in r.items()} for r in data["ration"]] == rows
    sums: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    for row in rows:
        sums[row["date"], row["person"]] += Decimal(row["kcal"])
        assert Decimal(row["kcal"]) == int(row["servings"]) * Decimal(items[row["item"]]["ENERC_KCAL_kcal"])
        assert items[row["item"]]["water_kind"] != "hot"
    days = {(d["date"], d["person"]): Decimal(d["ration_kcal"]) for d in data["days"]}
    assert {k: v for k, v in days.items() if v} == dict(sums)
    assert Decimal(data["worst"]["level"]) <= Decimal(data["worst"]["bound"])
    left = sum(Decimal(s["left_kcal"]) for s in data["stores"])
    assert left == sum(sums.values()) + sum(Decimal(n["kcal"]) for n in data["not_eaten_kcal"])


@pytest.mark.parametrize("columns", ["60", "80", "140"])
def test_the_page_fits_the_width_and_cuts_nothing(
    run: Path, columns: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    for words in ((), LATE, (*LATE, "--all")):
        text = call(str(run), *words).stdout
        assert max(map(len, text.splitlines())) <= int(columns)
        assert "…" not in text
    # what looks like markup is data
    assert "[B] Bo [bold]" in text


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--from", "2031-04-01"), "2031-04-01 is outside the stay"),
        (("--lost", "oven"), 'nothing called "oven" can be lost'),
        (("--water-l", "-3"), 'found "-3"'),
        (("--late", "second=2"), 'no load "second". Loads: first.'),
        (("--late", "-1"), 'needs whole days, 1 to 366, as N or LOAD=N, found "-1"'),
    ],
)
def test_what_cannot_be_asked_ends_with_two(
    run: Path,
    words: tuple[str, ...],
    message: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main_ends(monkeypatch, "drill", str(run), *words) == InputFaults.exit_code == 2
    done = capsys.readouterr()
    assert not done.out and message in done.err and "1 fault." in done.err


def test_a_ration_that_cannot_be_written(run: Path, tmp_path: Path) -> None:
    result = call(str(run), "--csv", str(tmp_path / "nowhere" / "ration.csv"))
    assert isinstance(result.exception, InputFaults)
    assert "cannot be written: No such file or directory; name a file in a folder" in str(result.exception)


def test_no_ration_is_made_of_a_menu_that_breaks_hard_limits(run: Path, tmp_path: Path) -> None:
    folder = tmp_path / "changed"
    shutil.copytree(run, folder)
    menu = folder / "menu.csv"
    menu.write_text(menu.read_text() + "juno,cycle,1,dinner,main,groundnut_soup_pot,1,yes\n")
    result = call(str(folder))
    assert isinstance(result.exception, AuditFailed) and not result.stdout
    assert "no ration is made of it. See: optimenu audit" in str(result.exception)
