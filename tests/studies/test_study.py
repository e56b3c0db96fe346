"""The file of a study: its cases, and every fault with line and remedy."""

from __future__ import annotations

import tomllib
from datetime import date
from decimal import Decimal

import jsonschema
import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.config.case import load_case
from optimenu.config.inputs import input_paths
from optimenu.errors import InputFaults
from optimenu.studies.bundle import Inputs, unpacked
from optimenu.studies.cases import cases_of
from optimenu.studies.study import read_study
from tests.studies.tiny import FEW, SIXTY, write_study


def cases(tmp_path, text):
    return cases_of(read_study(write_study(tmp_path / "project", text)))


def test_every_combination_is_a_case(tmp_path):
    found = cases(tmp_path, SIXTY)
    assert [c.number for c in found] == list(range(1, 61))
    assert len({tuple(c.labels.items()) for c in found}) == 60
    first, second = found[0], found[1]
    assert first.labels == {"days": "12", "stowage.gross_kg": "150", "crew": "pair"}
    assert second.labels == {"days": "12", "stowage.gross_kg": "150", "crew": "three"}
    assert first.changes == {
        "search.moves": 2000, "search.seed": 4, "stay.last_date": date(2031, 3, 12),
        "stowage.gross_kg": 150, "aboard": ["juno", "mira"],
    }  # fmt: skip
    assert "aboard" not in second.changes
    assert found[-1].labels["days"] == "180"
    assert found[-1].changes["stay.last_date"] == date(2031, 8, 27)
    assert first.title == "days 12, stowage.gross_kg 150, crew pair"


def test_cases_by_themselves_follow_the_grid(tmp_path):
    text = FEW + '[[cases]]\ndays = 9\nseed = 5\n[[cases]]\n"stay.first_date" = 2031-04-01\ndays = 3\n'
    found = cases(tmp_path, text)
    assert [c.number for c in found] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert found[6].labels == {"days": "9", "seed": "5"}
    assert found[6].changes == {
        "search.moves": 2000, "search.seed": 5, "stay.last_date": date(2031, 3, 9),
    }  # fmt: skip
    assert found[7].changes["stay.last_date"] == date(2031, 4, 3)


def test_configs_and_files_are_axes_too(tmp_path):
    path = write_study(tmp_path / "project", FEW)
    other = path.with_name("other.toml")
    other.write_text('extends = "plan.toml"\n[stay]\nlast_date = 2031-03-10\n')
    path.with_name("items2.csv").write_bytes(path.with_name("items.csv").read_bytes() + b"\n")
    path.write_text(
        'name = "x"\n[grid]\nconfig = ["plan.toml", "other.toml"]\n'
        'catalogue.file = ["items.csv", "items2.csv"]\n'
    )
    study = read_study(path)
    found = cases_of(study)
    assert [(c.config.name, c.changes["catalogue.file"]) for c in found] == [
        ("plan.toml", "items.csv"), ("plan.toml", "items2.csv"),
        ("other.toml", "items.csv"), ("other.toml", "items2.csv"),
    ]  # fmt: skip
    inputs = Inputs(study)
    names = [{p.name for p in inputs.paths(c)} for c in found]
    assert names[0] == {"plan.toml", "items.csv", "tasting.csv", "prescriptions.toml"}
    assert names[3] == {"other.toml", "plan.toml", "items2.csv", "tasting.csv", "prescriptions.toml"}
    assert len({inputs.key(c) for c in found}) == 4


def test_a_range_of_decimals_is_exact(tmp_path):
    text = FEW.replace("[25, 90]", "{ from = 0.1, to = 0.7, step = 0.2 }")
    found = cases(tmp_path, text)
    values = [c.changes["stowage.gross_kg"] for c in found[:4]]
    assert values == [Decimal("0.1"), Decimal("0.3"), Decimal("0.5"), Decimal("0.7")]
    assert [c.labels["stowage.gross_kg"] for c in found[:4]] == ["0.1", "0.3", "0.5", "0.7"]


GRID = 'name = "x"\nconfig = "plan.toml"\n[grid]\n'


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ('nam = "x"\n', ['1 no setting "nam". Did you mean "name"?', '1 setting "name" is missing: Name of']),
        ('name = "x"\ndays = 3\n', ["2 days: goes into [grid] as an axis, or into a table of [[cases]]"]),
        ('name = "x"\nconfig = "plan.toml"\n', ["1 name: no case: add axes to [grid], or tables [[cases]]"]),
        ('name = "x"\n[grid]\ndays = [3]\n', ["1 name: no config: set config, or name one in [grid] or in"]),
        (
            'name = "x"\nconfig = "plam.toml"\n[grid]\ndays = [3]\n',
            ['2 config: there is no file "plam.toml". Did'],
        ),
        (
            'name = "x"\nmoves = 10\nconfig = "plan.toml"\n[grid]\ndays = [3]\n',
            ["2 moves: needs a whole number, 1000 or"],
        ),
        (
            GRID + "days = 12\n",
            ["4 [grid] days: needs an array of values, or { from, to, step } for numbers, found 12"],
        ),
        (
            GRID + "days = []\n",
            ["4 [grid] days: needs an array of values, or { from, to, step } for numbers, found an"],
        ),
        (GRID + "days = [0]\n", ["4 [grid] days: needs whole numbers, 1 to 3650, found 0"]),
        (GRID + "days = [3, true]\n", ["4 [grid] days: needs whole numbers, 1 to 3650, found true"]),
        (GRID + "days = [3, 4, 3]\n", ["4 [grid] days: holds 3 twice; every combination is planned once"]),
        (GRID + "seed = [-1]\n", ["4 [grid] seed: needs whole numbers, 0 or more, found -1"]),
        (GRID + "config = [3]\n", ['4 [grid] config: needs files such as "station.toml", found 3']),
        (
            GRID + "days = { from = 3, to = 9 }\n",
            ["4 [grid] days: needs numbers for from, to and step, found from, to"],
        ),
        (
            GRID + "days = { from = 9, to = 3, step = 1 }\n",
            ["4 [grid] days: needs a step above 0 and from no more"],
        ),
        (
            GRID + "days = { from = 1, to = 3, step = 0 }\n",
            ["4 [grid] days: needs a step above 0 and from no more"],
        ),
        (
            GRID + "stowage.gross_kg = { from = 1, to = 3, step = 0.000001 }\n",
            ["4 [grid.stowage] gross_kg: would have 2,000,001 values; 100,000 are the most"],
        ),
        (
            GRID + "stowage.gros_kg = [3]\n",
            ['4 [grid.stowage] gros_kg: [stowage] has no setting "gros_kg". Did you mean "gross_kg"?'],
        ),
        (
            GRID + "stowagge.x = [3]\n",
            ['4 [grid.stowagge] x: the config has no setting "stowagge.x". Did you mean "stow'],
        ),
        (GRID + 'name = ["a"]\n', ["4 [grid] name: name says nothing of what is planned; take it out"]),
        (GRID + "day = [3]\n", ['4 [grid] day: the config has no setting "day". Did you mean "days"?']),
        (
            GRID + "days = [3]\n[[cases]]\ndays = 4\nstowage.gros_kg = 3\n",
            ['7 [cases] entry 1 stowage gros_kg: [stowage] has no setting "gros_kg". Did'],
        ),
        (
            GRID + "days = [3]\n[choices.crew.one]\nabord = [1]\n",
            ['6 [choices.crew.one] abord: the config has no setting "abord". Did you mean "aboard"?'],
        ),
        (
            GRID + "days = [3]\n[choices.days.one]\n",
            ["5 [choices] days: days is a setting already; give the choice another"],
        ),
        (
            GRID + "days = [3]\ncrew = [3]\n[choices.crew.one]\n",
            ["5 [grid] crew: crew is the name of a choice; every"],
        ),
        (
            GRID + "days = [3]\n[choices.crew.one]\n[choices.b.two]\ncrew = 1\n",
            ["7 [choices.b.two] crew: a choice cannot hold another"],
        ),
        (
            GRID + 'days = [3]\n[choices.crew.one]\n[[cases]]\ncrew = "oen"\n',
            ['7 [cases] entry 1 crew: no choice "oen" in [choices.crew]. Did you mean "one"?'],
        ),
        (
            GRID + "days = [3]\n[choices.crew.one]\ndays = 4\n",
            ["3 grid: days is set by days and by crew; leave it to one of them"],
        ),
        (
            GRID + "days = [3]\nstay.last_date = [2031-03-02]\n",
            ["3 grid: days and stay.last_date say the same; keep one"],
        ),
        (
            GRID + 'days = [3]\nstay.first_date = ["soon"]\n',
            ["3 grid: stay.first_date needs a date, found soon"],
        ),
        (
            GRID + "stowage = [3]\n[[cases]]\nstowage = 4\nstowage_ = 3\n",
            ['7 [cases] entry 1 stowage_: the config has no setting "stowage_". Did you mean "stowage"?'],
        ),
        (
            GRID
            + "stowage.gross_kg = { from = 1, to = 90000, step = 1 }\n"
            + "seed = { from = 1, to = 90, step = 1 }\n",
            ["3 grid: the grid has 8,100,000 cases; 1,000,000 are the most"],
        ),
    ],
)
def test_faults(tmp_path, text, faults):
    with pytest.raises(InputFaults) as error:
        cases(tmp_path, text)
    said = [f"{f.line} {f.message}" for f in error.value.faults]
    assert len(said) == len(faults), said
    for found, wanted in zip(said, faults, strict=True):
        assert found.startswith(wanted)


def test_a_config_without_a_first_date_cannot_count_days(tmp_path):
    path = write_study(tmp_path / "project", FEW)
    (path.parent / "plan.toml").write_text('name = "x"\n[stay]\ncycle_days = 3\n')
    with pytest.raises(InputFaults, match=r"plan.toml states no stay.first_date to count days from"):
        cases_of(read_study(path))


def test_faults_of_the_config_are_told_as_its_own(tmp_path):
    path = write_study(tmp_path / "project", FEW)
    (path.parent / "plan.toml").write_text('name = "x\n')
    with pytest.raises(InputFaults, match=r"plan.toml:1  column"):
        cases_of(read_study(path))


def test_the_key_tells_all_that_decides_the_answer(tmp_path):
    path = write_study(tmp_path / "project", FEW)

    def keys():
        study = read_study(path)
        inputs = Inputs(study)
        return [inputs.key(c) for c in cases_of(study)], inputs.packed(cases_of(study))

    before, packed = keys()
    assert len(set(before)) == 6
    assert keys() == (before, packed)
    # the study's own name changes no menu
    path.write_text(FEW.replace("A few", "Others"))
    assert keys()[0] == before and keys()[1] != packed
    path.write_text(FEW.replace("moves = 2000", "moves = 3000"))
    assert set(keys()[0]).isdisjoint(before)
    path.write_text(FEW)
    tasting = path.with_name("tasting.csv")
    tasting.write_text(tasting.read_text().replace("5.", "6.", 1))
    assert set(keys()[0]).isdisjoint(before)


def test_every_file_that_counts_is_in_the_key(tmp_path):
    path = write_study(tmp_path / "project", FEW)
    plan, script = path.with_name("plan.toml"), path.with_name("prescriptions.toml")
    # two files that are extended, one by the config and one by the prescriptions, and a file of losses
    plan.with_name("base.toml").write_text("# as it was\n" + plan.read_text())
    script.with_name("lower.toml").write_text("# as it was\n" + script.read_text())
    script.write_text('extends = "lower.toml"\n')
    plan.write_text('extends = "base.toml"\n[storage]\nlosses = "losses.csv"\n')
    losses = plan.with_name("losses.csv")
    losses.write_text("as it was\n")

    def key():
        study = read_study(path)
        return Inputs(study).key(cases_of(study)[0])

    seen = {key()}
    for file in (plan.with_name("base.toml"), script.with_name("lower.toml"), losses, plan, script):
        file.write_text(file.read_text() + "# other\n")
        seen.add(key())
    assert len(seen) == 6
    study = read_study(path)
    one = cases_of(study)[0]
    assert Inputs(study, (("numpy", "1"),)).key(one) != Inputs(study, (("numpy", "2"),)).key(one)


def test_what_the_key_tells_is_what_is_packed(tmp_path):
    path = write_study(tmp_path / "project", FEW)
    study = read_study(path)
    inputs, found = Inputs(study), cases_of(study)
    before, packed = inputs.key(found[0]), Inputs(study).packed(found)
    path.with_name("tasting.csv").write_text("changed between the two\n")
    assert (inputs.key(found[0]), inputs.packed(found)) == (before, packed)


def test_a_file_that_is_no_word_is_the_configs_to_judge(tmp_path):
    text = FEW.replace("stowage.gross_kg = [25, 90]", '"stock.file" = [["a"]]')
    path = write_study(tmp_path / "project", text)
    study = read_study(path)
    assert len({Inputs(study).key(c) for c in cases_of(study)}) == 3


def test_inputs_come_out_as_they_went_in(tmp_path):
    path = write_study(tmp_path / "project", FEW)
    study = read_study(path)
    packed = Inputs(study).packed(cases_of(study))
    unpacked(packed, tmp_path / "out")
    again = read_study(tmp_path / "out" / "study.toml", tmp_path / "out")
    assert [Inputs(again).key(c) for c in cases_of(again)] == [Inputs(study).key(c) for c in cases_of(study)]
    assert Inputs(again).packed(cases_of(again)) == packed


@pytest.mark.parametrize("name", ["station", "traverse", "submersible"])
def test_the_files_of_a_config_are_those_it_is_read_from(name):
    from pathlib import Path

    path = Path(__file__).parents[2] / "configs" / f"{name}.toml"
    case = load_case(path)
    assert set(input_paths(path, case.root)) == set(case.files)


def test_the_schema_takes_what_the_program_takes(tmp_path):
    import json

    page = CliRunner().invoke(app, ["schema", "--study"])
    judge = jsonschema.Draft202012Validator(json.loads(page.stdout))
    for text in (FEW, SIXTY):
        judge.validate(tomllib.loads(text))
    assert not judge.is_valid({"name": "x", "grd": {}})
    assert not judge.is_valid({"grid": {}})
