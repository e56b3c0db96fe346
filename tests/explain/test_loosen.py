"""Ways out of ten small projects that have no menu, each planned from the files that are offered."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from io import StringIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from rich.console import Console, RenderableType

from optimenu.config.case import Case, load_case
from optimenu.errors import InputFaults, ProvedImpossible, Undecided
from optimenu.explain import loosen
from optimenu.explain.changed import changed
from optimenu.explain.conflict import Conflict, conflict_of
from optimenu.explain.levers import stays
from optimenu.explain.loosen import ways_out
from optimenu.explain.ways import WaysOut
from optimenu.exports.explain import way_files
from optimenu.planning import Options, plan
from optimenu.rules.edits import Edit
from optimenu.rules.stowage import Stowage
from optimenu.solve.outcome import Outcome
from optimenu.views.explain import explain_page
from tests.explain.no_menu import CASES

MOVES = 20_000
FEW = Options(moves=MOVES, threads=1)


def found(tmp_path: Path, name: str, role: str | None = None, most: int = 2) -> tuple[Case, WaysOut]:
    one = CASES[name]
    case = load_case(one.write(tmp_path / "project"))
    return case, ways_out(case, role or one.role, FEW, most=most)


@pytest.mark.parametrize("name", CASES)
def test_the_limits_that_conflict_are_named_and_none_can_be_left_out(tmp_path: Path, name: str) -> None:
    case = load_case(CASES[name].write(tmp_path / "project"))
    conflict = conflict_of(case)
    assert conflict.status == "conflict" and conflict.proof
    assert {m.limit.key for m in conflict.members} == CASES[name].keys
    assert conflict.irreducible


@pytest.mark.parametrize("name", CASES)
def test_a_way_out_is_offered_that_plans_from_its_files(tmp_path: Path, name: str) -> None:
    case, ways = found(tmp_path, name)
    assert ways.working
    words = ["; ".join(map(str, w.edits)) for w in ways.working]
    assert any(CASES[name].words in text for text in words), words
    for way in ways.ways:
        assert not any(stays(e.key) for e in way.edits)
    folder = tmp_path / "project" / "ways"
    folder.mkdir()
    for file, contents in way_files(case, ways, folder).items():
        (folder / file).write_bytes(contents)
    for n, way in enumerate(ways.ways, 1):
        if way.state != "menu":
            continue
        again = plan(load_case(folder / f"plan-way-{n}.toml"), FEW)
        assert again.outcome.end == "menu"
        assert again.report is not None and again.report.holds
        liking = ways.liking(way)
        assert liking is not None and 0 < liking <= 1


@pytest.mark.parametrize("name", [n for n, c in CASES.items() if c.role == "dietitian"])
def test_who_may_change_nothing_that_helps_is_told_who_could(tmp_path: Path, name: str) -> None:
    _, ways = found(tmp_path, name, "planner")
    assert not ways.working
    assert [w.who for w in ways.others] == ["dietitian"]


def flat_page(page: RenderableType) -> str:
    out = StringIO()
    Console(file=out, width=140).print(page)
    return " ".join(out.getvalue().split())


def rule_of(case: Case, table: str) -> Any:
    return next(r for r in case.rules if r.table == table)


def test_no_ceiling_is_raised_above_a_tolerable_upper_intake(tmp_path: Path) -> None:
    # iron: 45 mg a day (National Academies, Dietary Reference Intakes, 2001)
    one = CASES["iron floor over iron ceiling"]
    config = one.write(tmp_path / "project")
    config.write_text(one.config.replace("high = 8\n", "high = 40\n"))
    rule = rule_of(load_case(config), "nutrients")
    ask = next(a for a in rule.asks if a.origin.key == "nutrients.limits.FE_mg.day.high")
    ((edit,),) = rule.further(ask.origin, Decimal(5), low=False)
    assert str(edit) == "raise most iron a day from 40 to 45 mg"
    assert not list(rule.further(ask.origin, Decimal("5.1"), low=False))
    published = replace(ask.origin, key="nutrients.reference.UL")
    assert stays(published.key) and not list(rule.further(published, Decimal(1), low=False))


def test_energy_is_not_offered_far_from_the_requirement(tmp_path: Path) -> None:
    case = load_case(CASES["stock"].write(tmp_path / "project"))
    rule = rule_of(case, "nutrients")
    ask = next(a for a in rule.asks if a.origin.key == "nutrients.energy.day_within" and a.side == "low")
    # 20 % of 1500 kcal; 150 kcal are 10 % more
    ((edit,),) = rule.further(ask.origin, Decimal(150), low=True)
    assert (edit.old, edit.new) == (20, 30)
    assert not list(rule.further(ask.origin, Decimal(151), low=True))


@pytest.mark.parametrize(
    "key", ["allergies.peanuts", "intolerances.milk.servings_a_day", "fasts.lent", "diets", "never_items"]
)
def test_what_a_physician_forbids_stays(key: str) -> None:
    for person in ("juno", "limits"):
        assert stays(f"prescriptions.people.{person}.{key}")
        assert not stays(f"prescriptions.people.{person}.limits.NA_mg.day.high")


@pytest.mark.parametrize(
    ("outcome", "state"),
    [
        (Undecided("cannot tell"), "undecided"),
        (Outcome("undecided", "search", 1, 1, 16), "undecided"),
        (Outcome("undecided", "search", 1, 1, 16, bound=7), "relaxation"),
        (Outcome("impossible", "search", 1, 1, 16, proof="exact"), "impossible"),
        (ProvedImpossible("proved"), "impossible"),
    ],
)
def test_no_more_is_said_of_a_change_than_planning_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, outcome: Any, state: str
) -> None:
    def ended(case: Case, options: Options, stop: object = None) -> Any:
        if isinstance(outcome, Exception):
            raise outcome
        return SimpleNamespace(outcome=outcome)

    monkeypatch.setattr(loosen, "plan", ended)
    case, ways = found(tmp_path, "energy in the allowed mass", most=1)
    assert {w.state for w in ways.ways} == {state}
    text = flat_page(explain_page(case, Conflict("undecided"), ways, ""))
    words = {"undecided": "not decided", "relaxation": "no menu found", "impossible": "still none"}
    assert words[state] in text


@pytest.mark.parametrize(
    "key",
    [
        "nutrients.reference.UL",
        "prescriptions.people.juno.allergies.peanuts",
        "prescriptions.people.juno.diets",
    ],
)
def test_what_stays_is_not_offered_even_by_a_rule_that_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    def bold(self: Stowage, origin: Any, amount: Any, *, low: bool) -> Any:
        yield (Edit(key, 1, 2, "what stays"),)

    monkeypatch.setattr(Stowage, "further", bold)
    for role in ("planner", "dietitian", "physician"):
        project = tmp_path / role
        _, ways = found(project, "energy in the allowed mass", role, most=1)
        assert not [e for w in (*ways.ways, *ways.others) for e in w.edits if e.key == key]


def test_what_a_physician_laid_down_is_the_physicians_to_change(tmp_path: Path) -> None:
    case = load_case(CASES["stock"].write(tmp_path / "project"))
    edit = Edit("prescriptions.people.juno.limits.NA_mg.day.high", Decimal(1), Decimal(2), "sodium")
    for role in ("planner", "dietitian"):
        with pytest.raises(InputFaults, match="only the physician may change it"):
            changed(case, (edit,), role)


def test_one_line_is_narrowed_to_a_person_and_a_day_kind(tmp_path: Path) -> None:
    one = CASES["heater places"]
    config = one.write(tmp_path / "project")
    kinds = 'cycle_days = 2\nordinary_kind = "work"\nkinds = { heavy = [2] }\n'
    text = one.config.replace("cycle_days = 2\n", kinds)
    config.write_text(text + "[nutrients.limits.PROCNT_g.day]\nhigh = 90\n")
    rule = rule_of(load_case(config), "nutrients")
    asks = [a for a in rule.asks if a.origin.key == "nutrients.limits.PROCNT_g.day.high"]
    heavy = next(a for a in asks if a.origin.day == 1 and a.origin.person == "tor")
    ((edit,),) = rule.further(heavy.origin, Decimal("3.2"), low=False)
    assert edit.key == "nutrients.limits.PROCNT_g.day.for.tor.on.heavy.high"
    assert str(edit) == "raise most protein of tor a day on heavy days from 90 to 93.2 g"
    assert len({rule.lever(a.origin) for a in asks}) == 4
