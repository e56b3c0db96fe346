"""Command `check`: the inputs alone."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from tests.commands.called import main_ends
from tests.commands.small import CONFIG, PRESCRIPTIONS, write_project
from tests.views.pair import write_pair

SCRIPT = """\
[people.juno.limits.PROCNT_g.seven_days]
low = 40
high = 90
[people.juno.limits.ENERC_KCAL_kcal.meal]
high = 900
[people.juno.supplements.iron]
name = "Iron tablet"
per_day = 2
[people.juno.supplements.iron.amounts]
PROCNT_g = 1.5
"""


def call(*words: str) -> str:
    done = CliRunner().invoke(app, list(words))
    assert done.exit_code == 0, done.stderr
    return done.stdout


def flat(*words: str) -> str:
    return " ".join(call(*words).split())


def test_json_says_what_is_left_to_each_person(tmp_path: Path) -> None:
    data = json.loads(call("check", str(write_project(tmp_path)), "--json"))
    assert data["people"][0]["kcal"] == {"other days": "1500"}
    left = {(c["meal"], c["course"]): (c["left"], c["offered"]) for c in data["people"][0]["choices"]}
    # of four dinner mains one holds peanuts
    assert left["dinner", "main"] == (3, 4)


def test_the_page_names_people_dates_and_thin_choices(tmp_path: Path) -> None:
    text = flat("check", str(write_project(tmp_path)))
    for words in (
        "1 Mar 2031 to 4 Mar 2031: 4 dates.",
        "Cycle of 2 days: 2 work; 2 days serve 2 dates.",
        "[J] Juno 1500 kcal a day, as given",
        "14 items tasted, 0 estimated from others, 0 not to be judged",
        "nothing under acceptance 5: 0 items left out",
        "never: peanuts (severe)",
        "as laid down by physician of the invented crew, 15 Jan 2031",
        "fewer than 5 items left",
    ):
        assert words in text


def test_prescribed_limits_and_supplements_are_read_back_in_words(tmp_path: Path) -> None:
    config = write_project(tmp_path)
    (tmp_path / "prescriptions.toml").write_text(PRESCRIPTIONS + SCRIPT)
    text = flat("check", str(config))
    assert "prescribed: Protein at least 40 g, at most 90 g, daily mean of any 7 dates in a row" in text
    assert "prescribed: Energy at most 900 kcal, each meal" in text
    assert "supplement: Protein 3 g a day" in text


MORE = """\
[people.juno.limits.PROCNT_g]
step = 12.5
[people.juno.intolerances]
tree_nuts = { servings_a_day = 2 }
[people.juno.medicines.tablet]
at = ["07:00", "19:30"]
apart = [{ contains = ["milk"], items = ["cocoa"], hours_before = 1, hours_after = 2.5 }]
[people.juno.apart.fish]
these = { main_ingredients = ["cod"] }
those = { column = "PROCNT_g", most = 5 }
hours = 4
both = true
"""


def test_steps_doses_medicines_and_hours_are_read_back_in_words(tmp_path: Path) -> None:
    config = write_project(tmp_path)
    items = (tmp_path / "items.csv").read_text()
    items = items.replace("main_ingredient,", "main_ingredient,texture,", 1)
    rows = [",".join((*(w := line.split(","))[:13], "soft", *w[13:])) for line in items.splitlines()[1:]]
    (tmp_path / "items.csv").write_text("\n".join((items.splitlines()[0], *rows)) + "\n")
    head = PRESCRIPTIONS.replace("date =", 'only_textures = ["soft"]\ndate =')
    (tmp_path / "prescriptions.toml").write_text(head + MORE)
    text = flat("check", str(config))
    for words in (
        "never: peanuts (severe), textures other than soft",
        "prescribed: Protein changes by at most 12.5 g from one date to the next",
        "prescribed: at most 2 servings a day of what may contain tree nuts",
        "medicine tablet at 07:00, 19:30: cocoa, what may contain milk, not from 1 h before to 2.5 h after",
        "prescribed: cod, then for 4 h no more than 5 g of protein, nor the other way round",
    ):
        assert words in text, words
    # nothing states milk or tree nuts, and check says which allergens matter here
    data = json.loads(call("check", str(config), "--json"))
    asked = {p["about"] for p in data["open_points"] if p["kind"] == "allergen_unknown"}
    assert asked == {"tree_nuts", "milk"}


def test_items_under_the_floor_are_counted(tmp_path: Path) -> None:
    config = write_project(tmp_path, CONFIG.replace("mass_kg = 60", "mass_kg = 60\nfloor = 6.5"))
    # scores run 6, 6.5, 7, 7.5 over fourteen items: four are below
    assert "nothing under acceptance 6.5: 4 items left out" in flat("check", str(config))


def test_lots_that_spoil_on_the_way_and_lots_not_released(tmp_path: Path) -> None:
    text = flat("check", str(write_pair(tmp_path)))
    assert "1 released lot whose use-by date passes before the last date: Cocoa, lot L2: 5 packs" in text
    assert "use by 3 Mar 2031" in text
    assert "quality: 1 lot on hold, not counted: Cocoa, lot L3: 5 packs" in text
    stock = tmp_path / "stock.csv"
    more = [f"cocoa,first,M{k},2031-01-02,2031-03-03,,5,released" for k in range(11)]
    stock.write_text(stock.read_text() + "\n".join(more) + "\n")
    text = flat("check", str(tmp_path / "plan.toml"))
    assert "12 released lots whose use-by" in text and "and 7 more" in text and "lot M10" not in text
    assert "lot M10" in flat("check", str(tmp_path / "plan.toml"), "--all")


def test_open_points_in_json_name_who_must_act(tmp_path: Path) -> None:
    points = json.loads(call("check", str(write_pair(tmp_path)), "--json"))["open_points"]
    (held,) = (p for p in points if p["kind"] == "lots")
    assert held["waits_on"] == "quality"
    assert held["facts"] == [{"item": "cocoa", "name": "Cocoa", "load": "first", "lot": "L3", "packs": 5}]
    (spoils,) = (p for p in points if p["kind"] == "use_by")
    assert spoils["facts"][0]["use_by"] == "2031-03-03"


def test_what_a_role_may_not_change_ends_with_two(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    write_project(tmp_path)
    child = tmp_path / "child.toml"
    text = 'extends = "plan.toml"\n[repeats.same_dish]\nmost_a_day = 2\n[stowage]\ngross_kg = 9\n'
    child.write_text(text)
    assert main_ends(monkeypatch, "check", str(child)) == 2
    err = capsys.readouterr().err
    assert (
        "child.toml:3  [repeats.same_dish] most_a_day: only the dietitian may change this; this file" in err
    )
    assert "1 fault." in err
    child.write_text('role = "dietitian"\n' + text)
    shown = flat("check", str(child))
    assert "the dietitian: 2 settings changed in files that extend others:" in shown
    assert "repeats.same_dish.most_a_day: 1 -> 2," in shown and "stowage.gross_kg: 8 -> 9," in shown


@pytest.mark.parametrize("columns", ["60", "80", "140"])
def test_the_page_fits_and_cuts_nothing(
    tmp_path: Path, columns: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    text = call("check", str(write_pair(tmp_path)))
    assert max(map(len, text.splitlines())) <= int(columns)
    assert "…" not in text and "\x1b" not in text


def test_faults_end_with_two_and_leave_stdout_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    config = write_project(tmp_path, CONFIG.replace("gross_kg", "gros_kg"))
    assert main_ends(monkeypatch, "check", str(config)) == 2
    done = capsys.readouterr()
    assert not done.out
    assert 'no setting "gros_kg". Did you mean "gross_kg"?' in done.err
    assert main_ends(monkeypatch, "check", str(config), "--json") == 2
    assert json.loads(capsys.readouterr().out)["exit_code"] == 2
