"""The shipped station, planned in full: its limits, its bound, and what an audit says of broken copies."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from optimenu.audit.bound import check_bound
from optimenu.commands.app import app
from optimenu.config.case import Case, load_case
from optimenu.errors import AuditFailed
from optimenu.explain.prices import prices_of
from optimenu.explain.told import tell
from optimenu.exports.record import run_files
from optimenu.exports.run_folder import write_folder
from optimenu.planning import Options, Planned, plan
from optimenu.program.program import NO_HIGH, NO_LOW
from optimenu.solve.bound import certify, relax
from tests.commands.by_hand import LOST, Station

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(ROOT / "configs" / "station.toml")


@pytest.fixture(scope="module")
def options(case: Case) -> Options:
    return Options(moves=case.settings.search.moves, seed=case.settings.search.seed)


@pytest.fixture(scope="module")
def planned(case: Case, options: Options) -> Planned:
    return plan(case, options)


@pytest.fixture(scope="module")
def run(planned: Planned, options: Options, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("runs") / "station-001"
    return write_folder(folder, run_files(planned, options, {}))


def test_every_limit_holds_with_a_proved_gap_of_one_percent(planned: Planned) -> None:
    assert planned.report is not None and planned.report.holds
    assert planned.outcome.gap is not None and 0 <= planned.outcome.gap <= 0.01


def test_the_caps_bite(planned: Planned) -> None:
    certificate, program = planned.outcome.certificate, planned.program
    assert certificate is not None
    priced = {(program.origins[r].rule, program.origins[r].key) for r in certificate.rows}
    assert ("stowage", "stowage.volume_l") in priced
    assert ("stock", "stock.first") in priced
    assert any(rule == "condiments" and key.startswith("condiments.crew") for rule, key in priced)


def test_lifting_the_volume_raises_the_bound_by_one_percent(planned: Planned) -> None:
    program = planned.program
    volume = np.asarray([o.key == "stowage.volume_l" for o in program.origins])
    lifted = replace(program, row_high=np.where(volume, NO_HIGH, program.row_high))
    higher = certify(lifted, relax(lifted)).bound
    assert planned.outcome.bound is not None
    assert higher >= planned.outcome.bound * 1.01


def test_the_audit_refuses_what_the_multipliers_do_not_prove(planned: Planned) -> None:
    certificate, program = planned.outcome.certificate, planned.program
    assert certificate is not None
    assert check_bound(program, certificate).claimed == certificate.bound
    low = replace(certificate, bound=certificate.bound - certificate.bound // 1_000_000)
    with pytest.raises(AuditFailed, match="claims|prove"):
        check_bound(program, low)
    with pytest.raises(AuditFailed, match="another program"):
        other = replace(program, high=program.high.copy())
        other.high[0] += 1
        check_bound(other, certificate)
    # zeroing the multiplier of the volume loses what it proved
    k = next(k for k, r in enumerate(certificate.rows) if program.origins[r].key == "stowage.volume_l")
    weaker = replace(
        certificate,
        rows=np.delete(certificate.rows, k),
        multiplier=certificate.multiplier[:k] + certificate.multiplier[k + 1 :],
    )
    with pytest.raises(AuditFailed, match="claims|prove"):
        check_bound(program, weaker)
    assert program.row_low[certificate.rows[k]] == NO_LOW
    wrong = replace(
        certificate,
        multiplier=(
            *certificate.multiplier[:k],
            -certificate.multiplier[k],
            *certificate.multiplier[k + 1 :],
        ),
    )
    with pytest.raises(AuditFailed, match="prices the low side"):
        check_bound(program, wrong)


def _labels(breach: dict[str, object]) -> tuple[str, str, str]:
    """Key, person and place of a breach as the hand computation names them."""
    key, person, day = str(breach["key"]), str(breach["person"]), str(breach["day"])
    text = str(breach["text"])
    if key.startswith("nutrients.reference.RDA"):
        return key, person, str(breach["what"])
    if key.startswith("repeats.") and key.endswith("gap_days"):
        numbers = text[text.index("(days ") + 6 : text.index(")")].split(", ")
        return key, person, f"{', '.join(f'day {n}' for n in numbers)} {breach['what']}"
    if key.startswith("repeats.") and key.endswith("most_a_day"):
        return key, person, f"{day} {breach['what']}"
    if key.startswith("repeats."):
        return key, person, str(breach["what"])
    if "days, " in text and not day:
        numbers = text.split("days, ")[1].split(":")[0].split(", ")
        return key, person, ", ".join(f"day {n}" for n in numbers)
    return key, person, day


def test_what_storage_leaves_is_the_same_computed_by_hand(case: Case) -> None:
    kept = case.problem.retention
    assert kept is not None
    station = Station(ROOT, {})
    compared = lost = 0
    for item in case.problem.catalogue.items:
        for column in (*LOST, "VITA_RAE_ug"):
            for when in case.problem.dates[::20] if station.kept.lots[item.id] else ():
                low, high, _ = kept.on(item, column, when)
                assert (float(low), float(high)) == pytest.approx(
                    station.kept.on(item.id, column, when), abs=1e-9
                )
                compared, lost = compared + 1, lost + (low < 1)
    assert compared > 15_000 and lost > 0.5 * compared


def test_a_menu_broken_by_hand_is_named(run: Path, case: Case, tmp_path: Path) -> None:
    kcal = {(p.id, kind): int(value) for p in case.problem.people for kind, value in p.kcal.items()}
    station = Station(run / "inputs", kcal)
    menu = pd.read_csv(run / "menu.csv", keep_default_na=False)
    assert station.broken(menu) == set()

    # an allergen swapped in: wheat bread for Bram, who must have neither wheat nor gluten
    cycle = menu.block == "cycle"
    bread = menu.index[cycle & (menu.party == "bram") & (menu.day == 2) & (menu.course == "bread")][0]
    menu.loc[bread, "item"] = "soft_wheat_rolls"
    # a meal dropped: Tomas's snack on day 5
    menu = menu[
        ~((menu.block == "cycle") & (menu.party == "tomas") & (menu.day == 5) & (menu.meal == "snack"))
    ]
    # an item repeated next day: Ines's dinner dessert of day 9 again on day 10
    ines = (
        (menu.block == "cycle")
        & (menu.party == "ines")
        & (menu.meal == "dinner")
        & (menu.course == "dessert")
    )
    again = menu.loc[ines & (menu.day == 9), "item"].iloc[0]
    menu.loc[ines & (menu.day == 10), "item"] = again
    path = tmp_path / "edited.csv"
    menu.to_csv(path, index=False)

    result = CliRunner().invoke(app, ["audit", str(run), "--menu", str(path), "--json"])
    assert isinstance(result.exception, AuditFailed)
    assert result.exception.exit_code == 5
    found = json.loads(result.stdout)
    assert not found["faults"]
    breaches = found["breaches"]
    allergen = [b for b in breaches if b["rule"] == "avoid" and b["key"] == "avoid"]
    assert [(b["person"], b["what"]) for b in allergen] == [("bram", "soft_wheat_rolls")]
    assert "contains" in allergen[0]["text"]
    others = {_labels(b) for b in breaches if b not in allergen}
    expected = station.broken(pd.read_csv(path, keep_default_na=False))
    assert others == expected
    assert {
        ("meals.snack.courses.snack", "tomas", "day 5"),
        ("meals.snack.courses.drink", "tomas", "day 5"),
    } <= others
    assert any(
        key == "repeats.same_dish.gap_days" and who == "ines" and again in what for key, who, what in others
    )


def test_what_its_limits_are_worth_and_why_an_item_is_missing(planned: Planned) -> None:
    assert planned.report is not None
    prices = prices_of(planned.case, scale=planned.scale, program=planned.program, menu=planned.menu)
    told = tell(prices, planned.report.value)
    first, trial = told.limits[0], told.trials[0]
    assert (first.origin.key, first.reading.unit, first.step) == ("stowage.volume_l", "L", 1)
    # 10 L more: more than nothing, less than promised; 10 L less costs more than promised
    assert trial is not None and trial.gain is not None and trial.loss is not None
    assert 0 < trial.gain < trial.promised < trial.loss
    for limit, tried in zip(told.limits, told.trials, strict=False):
        if limit.alone and tried is not None and tried.gain is not None:
            assert float(tried.gain) <= float(tried.promised) + 1e-7
    assert sum(c.cost for c in told.soft) == pytest.approx(float(planned.report.price), abs=1e-9)
    people = {w.person for w in told.items}
    assert people == {p.id for p in planned.case.problem.people}
    on_menu = {(line.party, line.item) for line in planned.menu.lines if line.block == "cycle"}
    for why in told.items:
        assert (why.person, why.item) not in on_menu
        assert why.status != "refused"
        if why.status == "dear" and why.entry is not None and why.entry.needed is not None:
            assert why.score is not None and why.entry.needed >= why.score
