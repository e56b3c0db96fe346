"""Ways out of ten small projects that have no menu, each planned from the files that are offered."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimenu.config.case import Case, load_case
from optimenu.explain.conflict import conflict_of
from optimenu.explain.levers import stays
from optimenu.explain.loosen import WaysOut, ways_out
from optimenu.exports.explain import way_files
from optimenu.planning import Options, plan
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
