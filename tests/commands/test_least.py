"""A config that puts the least liking first, from the command line to the run folder and its audit."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.config.case import load_case
from optimenu.errors import AuditFailed
from optimenu.planning import Options, plan
from optimenu.solve.halt import Halt
from optimenu.views.summary import least_verdict, verdict
from tests.commands.called import main_ends
from tests.commands.small import CREW, write_crew
from tests.commands.test_same_bytes import files

MOVES = "60000"
LEAST = '[goal]\nfirst = "least"\n'


def write_least(folder: Path) -> Path:
    path = write_crew(folder)
    path.write_text(CREW + LEAST)
    return path


def call(*words: str) -> Any:
    return CliRunner(env={"COLUMNS": "100"}).invoke(app, [*words])


def planned(config: Path, out: Path, *more: str) -> Any:
    done = call("plan", str(config), "--out", str(out), "--moves", MOVES, *more)
    assert done.exit_code == 0, done.output
    return done


@pytest.fixture(scope="module")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_least(tmp_path_factory.mktemp("crew") / "project")


@pytest.fixture(scope="module")
def run(config: Path) -> Path:
    folder = config.parent.parent / "run"
    planned(config, folder)
    return folder


def record_of(folder: Path) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((folder / "record.json").read_text())
    return data


def test_the_record_tells_both_values_both_bounds_and_both_gaps(run: Path) -> None:
    data = record_of(run)
    least = data["least"]
    assert set(least) == {
        "value", "bound", "gap", "gap_reached", "gap_closed", "prices", "mean_prices", "mean_factor"
    }  # fmt: skip
    ids = [p["id"] for p in data["people"]]
    assert list(least["prices"]) == list(least["mean_prices"]) == ids
    likings = [Decimal(p["worth"]) / Decimal(p["best"]) for p in data["people"]]
    soft = Decimal(data["price_of_soft_limits"])
    assert abs(min(likings) - soft - Decimal(least["value"])) < Decimal("1e-17")
    for told in (data, least):
        value, bound = Decimal(told["value"]), Decimal(told["bound"])
        assert value <= bound
        assert abs((bound - value) / bound - Decimal(told["gap"])) < Decimal("1e-8")
    assert Decimal(least["value"]) <= Decimal(data["value"])
    assert data["gap_reached"] == (least["gap_reached"] and Decimal(data["gap"]) <= Decimal("0.01"))
    assert (run / "certificate.json").is_file()
    assert (run / "certificate_least.json").is_file()


def test_threads_do_not_matter(config: Path, tmp_path: Path, run: Path) -> None:
    planned(config, tmp_path / "one", "--threads", "1")
    one, two = files(tmp_path / "one"), files(run)
    assert "certificate_least.json" in two
    assert one == two


def test_a_config_without_it_has_nothing_of_it(tmp_path: Path) -> None:
    planned(write_crew(tmp_path / "project"), tmp_path / "run")
    assert "least" not in record_of(tmp_path / "run")
    assert not (tmp_path / "run" / "certificate_least.json").exists()
    # to write the default is to change nothing but that input
    path = tmp_path / "project" / "plan.toml"
    path.write_text(CREW + '[goal]\nfirst = "mean"\n')
    planned(path, tmp_path / "said")
    before, after = files(tmp_path / "run"), files(tmp_path / "said")
    differ = {name for name in before if before[name] != after[name]}
    assert differ == {"inputs/plan.toml", "record.json"}


def test_screens_say_both_in_words(config: Path, run: Path, tmp_path: Path) -> None:
    page = planned(config, tmp_path / "again").stdout
    shown = call("show", str(run)).stdout
    for text in (page, shown):
        flat = " ".join(text.split())
        assert "Least liking, " in flat
        assert "No menu within these limits gives the least-liking person more than " in flat
        assert "No menu that gives nobody less than this one's least liking scores more than" in flat


def test_verdicts_round_up_and_speak_of_a_closed_gap(run: Path) -> None:
    least = {"value": "0.5", "bound": "0.900000000000000001"}
    assert "more than 90.01 % of their best" in least_verdict(least)
    assert "gives the least-liking person more, soft" in least_verdict({**least, "value": least["bound"]})
    data = record_of(run)
    closed = verdict({**data, "bound": data["value"]})
    assert "the best of its kind: no menu that gives nobody less" in closed
    assert "optimal" not in closed


def test_the_audit_proves_both_again(run: Path) -> None:
    done = call("audit", str(run))
    assert done.exit_code == 0, done.output
    assert " ".join(done.stdout.split()).count("is proved again from its multipliers") == 2
    data = json.loads(call("audit", str(run), "--json").stdout)
    record = record_of(run)
    assert data["least_liking"] == record["least"]["value"]
    assert data["least_bound_proved"] == record["least"]["bound"]
    assert data["bound_proved"] == record["bound"]


LAST = Decimal(1).scaleb(-18)


def moved(text: str, by: Decimal) -> str:
    return format(Decimal(text) + by, "f")


def first_of(prices: dict[str, str]) -> str:
    return next(iter(prices))


def change(key: str, by: Decimal) -> Callable[[dict[str, Any]], None]:
    def spoil(data: dict[str, Any]) -> None:
        table = data["least"]
        if isinstance(table[key], dict):
            who = first_of(table[key])
            table[key][who] = moved(table[key][who], by)
        else:
            table[key] = moved(table[key], by)

    return spoil


@pytest.mark.parametrize(
    ("spoil", "sentence"),
    [
        (change("bound", -LAST), "on the least liking is claimed, its multipliers prove"),
        (change("value", LAST), "the least liking .* is claimed, the menu's is"),
        (change("value", -LAST), "the least liking .* is claimed, the menu's is"),
        (change("prices", Decimal("1e-12")), "the least liking: the bound is of another program"),
        (change("prices", Decimal(-1)), "the least liking: the price .* is not from 0 on"),
        (change("mean_prices", Decimal("1e-12")), "the mean: the bound is of another program"),
        (change("mean_factor", Decimal(-1)), "the mean: the factor .* is not 1 or more"),
        (lambda data: data.pop("least"), "does not say what is claimed of the least liking"),
        (lambda data: data["least"].update(bound=1), "does not say what is claimed of the least liking"),
        (lambda data: data["least"].update(bound="NaN"), "does not say what is claimed of the least liking"),
        (lambda data: data.update(bound=moved(data["bound"], -LAST)), "is claimed, the multipliers prove"),
        (lambda data: data.update(value=moved(data["value"], LAST)), "is claimed, the menu is worth"),
    ],
)
def test_the_audit_refuses_a_record_tampered_with(
    run: Path, spoil: Callable[[dict[str, Any]], None], sentence: str
) -> None:
    path = run / "record.json"
    before = path.read_text()
    data = json.loads(before)
    spoil(data)
    path.write_text(json.dumps(data))
    try:
        done = call("audit", str(run))
        assert isinstance(done.exception, AuditFailed)
        assert re.search(sentence, " ".join(done.stdout.split())), done.stdout
    finally:
        path.write_text(before)


def test_the_audit_refuses_a_certificate_that_is_gone_or_another_s(run: Path) -> None:
    mean, least = run / "certificate.json", run / "certificate_least.json"
    texts = mean.read_text(), least.read_text()
    try:
        least.unlink()
        done = call("audit", str(run))
        assert isinstance(done.exception, AuditFailed)
        assert "the least liking: there is no certificate" in " ".join(done.stdout.split())
        least.write_text(texts[0])
        done = call("audit", str(run))
        assert isinstance(done.exception, AuditFailed)
        assert "the least liking: the bound is of another program" in " ".join(done.stdout.split())
    finally:
        mean.write_text(texts[0])
        least.write_text(texts[1])


def test_direct_knows_the_mean_alone(
    config: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out = str(tmp_path / "run")
    assert main_ends(monkeypatch, "plan", str(config), "--out", out, "--method", "direct") == 2
    told = capsys.readouterr().err
    line = CREW.count("\n") + 2
    assert f'plan.toml:{line}  [goal] first = "least": --method direct knows the mean alone' in told
    assert not (tmp_path / "run").exists()


def test_a_word_that_is_none_is_a_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_crew(tmp_path / "project")
    path.write_text(CREW + '[goal]\nfirst = "leest"\n')
    assert main_ends(monkeypatch, "plan", str(path), "--out", str(tmp_path / "run")) == 2
    assert 'Did you mean "least"?' in capsys.readouterr().err


def test_a_start_and_a_gap_are_heeded(config: Path, run: Path, tmp_path: Path) -> None:
    planned(config, tmp_path / "near", "--start", str(run))
    near, first = record_of(tmp_path / "near"), record_of(run)
    assert near["options"]["start"]["lines"] > 0
    assert Decimal(near["least"]["value"]) >= Decimal(first["least"]["value"])
    done = planned(config, tmp_path / "gap", "--gap", "0.5")
    data = record_of(tmp_path / "gap")
    assert data["ended"] == "gap"
    assert data["gap_reached"] and data["least"]["gap_reached"]
    assert "Ended early: the gap asked for, 50.00%, is proved." in done.stderr


def test_a_stop_keeps_the_best_menu_so_far(config: Path) -> None:
    case = load_case(config)
    for phase, ended in (("search", "stopped"), ("others", "stopped")):
        halt = Halt()

        def hear(name: str, message: Any, phase: str = phase, halt: Halt = halt) -> None:
            if name == phase and message is not None and message.value is not None:
                halt.set()

        got = plan(case, Options(moves=200_000), hear, halt)
        assert got.outcome.end == "menu"
        assert got.outcome.ended == ended
        assert got.report is not None and got.report.holds
        assert got.outcome.first is not None
        assert got.outcome.first.value <= got.outcome.first.bound


def test_the_planner_may_change_what_goes_first(tmp_path: Path) -> None:
    path = write_crew(tmp_path / "project")
    more = path.with_name("more.toml")
    more.write_text('extends = "plan.toml"\nrole = "planner"\n' + LEAST)
    assert load_case(more).least_first
    assert not load_case(path).least_first
