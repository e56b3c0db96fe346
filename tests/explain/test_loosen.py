"""Ways out of ten small projects that have no menu, each planned from the files that are offered."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from io import StringIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from rich.console import Console, RenderableType

from optimenu.config.case import Case, load_case
from optimenu.errors import InputFaults, ProvedImpossible, Undecided
from optimenu.explain import loosen, steps
from optimenu.explain.changed import changed
from optimenu.explain.conflict import conflict_of
from optimenu.explain.levers import stays
from optimenu.explain.loosen import ways_out
from optimenu.explain.ways import Kept, WaysOut
from optimenu.exports.explain import way_files
from optimenu.planning import Options, plan
from optimenu.rules.edits import Edit
from optimenu.rules.stowage import Stowage
from optimenu.solve.give import Given
from optimenu.solve.halt import Halt
from optimenu.solve.outcome import Outcome
from optimenu.views.explain import ways_page
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
    text = flat_page(ways_page(case, ways, ""))
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


@pytest.mark.parametrize("by_kind", [False, True])
def test_one_line_is_narrowed_to_a_person_and_no_day_kind_but_those_the_config_tells_apart(
    tmp_path: Path, *, by_kind: bool
) -> None:
    one = CASES["heater places"]
    config = one.write(tmp_path / "project")
    kinds = 'cycle_days = 2\nordinary_kind = "work"\nkinds = { heavy = [2] }\n'
    text = one.config.replace("cycle_days = 2\n", kinds)
    on = "[nutrients.limits.PROCNT_g.day.on.heavy]\nhigh = 95\n" if by_kind else ""
    config.write_text(text + f"[nutrients.limits.PROCNT_g.day]\nhigh = 90\n{on}")
    rule = rule_of(load_case(config), "nutrients")
    asks = [a for a in rule.asks if (a.top, a.window, a.side) == ("PROCNT_g", "day", "high")]
    heavy = next(a for a in asks if a.origin.day == 1 and a.origin.person == "tor")
    ((edit,),) = rule.further(heavy.origin, Decimal("3.2"), low=False)
    if by_kind:
        assert edit.key == "nutrients.limits.PROCNT_g.day.for.tor.on.heavy.high"
        assert str(edit) == "raise most protein of tor a day on heavy days from 95 to 98.2 g"
    else:
        assert edit.key == "nutrients.limits.PROCNT_g.day.for.tor.high"
        assert str(edit) == "raise most protein of tor a day from 90 to 93.2 g"
    # where heavy days have a number of their own, one for tor on all days would win over it
    assert len({rule.lever(a.origin) for a in asks}) == (4 if by_kind else 2)


def test_a_way_of_too_many_changes_is_passed_over_and_said_to_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = load_case(CASES["stock"].write(tmp_path / "project"))
    solves: list[int] = []

    def seven_needed(program: Any, merged: Any, moved: Any, free: Any) -> Given | None:
        """The first seven levers move, and only all of them together help."""
        solves.append(int(free.sum()))
        return Given(np.r_[np.ones(7), np.zeros(len(free) - 7)], np.zeros(1)) if free[:7].all() else None

    monkeypatch.setattr(steps, "give", seven_needed)
    told: list[str] = []
    ways = ways_out(case, "dietitian", FEW, tell=told.append)
    # of seven, four are tried to be left out: with the largest step that makes five that are needed
    assert solves[:5] == [solves[0], 6, 6, 6, 6] and solves[5] == solves[0] - 1
    note = "A way was passed over that would need 5 or more changes; 4 at most are offered."
    assert ways.notes[0] == note and not ways.ways
    assert told[:2] == ["looking for way 1", note.rstrip(".")]
    page = flat_page(ways_page(case, ways, ""))
    assert note in page and "No way out for the dietitian was found" in page


def test_no_more_least_steps_are_solved_for_than_a_way_may_take(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    solves: list[int] = []
    for name in ("give", "search"):
        real = getattr(steps, name)
        monkeypatch.setattr(steps, name, lambda *a, real=real, **k: solves.append(1) or real(*a, **k))
    monkeypatch.setattr(steps, "SOLVES", 2)
    monkeypatch.setattr(loosen, "SOLVES", 2)
    monkeypatch.setattr(loosen._Finder, "_alternatives", lambda self, least: iter(()))
    _, ways = found(tmp_path, "energy in the allowed mass", "physician")
    assert len(solves) == 2
    assert ways.notes == ("No further way was looked for after 2 solves without a new one.",)


def test_ways_found_before_a_stop_are_kept_and_no_more_are_looked_for(tmp_path: Path) -> None:
    case = load_case(CASES["energy in the allowed mass"].write(tmp_path / "project"))
    halt, kept = Halt(None), Kept("dietitian", MOVES)

    def stop_at_the_second(text: str) -> None:
        if text == "looking for way 2":
            halt.set()

    ways = ways_out(case, "dietitian", FEW, tell=stop_at_the_second, stop=halt, kept=kept)
    assert [w.state for w in ways.ways] == ["menu"] and ways.stopped and kept.ways == list(ways.ways)
    assert "more ways were not looked for" in flat_page(ways_page(case, ways, ""))


def test_a_change_whose_plan_was_cut_short_is_not_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = load_case(CASES["energy in the allowed mass"].write(tmp_path / "project"))
    halt = Halt(None)

    def cut(case: Case, options: Options, stop: object = None) -> Any:
        halt.set()
        return SimpleNamespace(outcome=Outcome("undecided", "search", 1, 1, 16, bound=7))

    monkeypatch.setattr(loosen, "plan", cut)
    ways = ways_out(case, "planner", FEW, stop=halt)
    assert (ways.ways, ways.others, ways.stopped) == ((), (), True)


def test_a_way_that_changes_too_many_courses_is_passed_over_and_said_to_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(loosen, "MOST_SHAPES", 0)
    _, ways = found(tmp_path, "an allergen leaves no breakfast", "dietitian", most=1)
    note = "A way was passed over that would need 2 changes, 1 of them of the courses of a meal."
    assert note in ways.notes
