"""The benchmarks stand: every instance builds (small), its tables print, its solvers get one program."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from optimenu.program.build import build, priced
from optimenu.program.program import HARD
from optimenu.solve.bound import relax
from optimenu.solve.direct import direct
from optimenu.solve.liking import scale_of
from tests.benchmarks import __main__ as command
from tests.benchmarks import curves, table
from tests.benchmarks.__main__ import main
from tests.benchmarks.answer import Answer
from tests.benchmarks.curves import curve_tables, fit, least
from tests.benchmarks.ours import thinned, whole_road
from tests.benchmarks.peers import cbc, highs, relaxation
from tests.benchmarks.project import case_of
from tests.benchmarks.registry import INSTANCES, TOY, VARIANTS, Instance, Size, chosen
from tests.benchmarks.run import job_of, measure
from tests.benchmarks.sampled import sample
from tests.benchmarks.settings import toml
from tests.benchmarks.split import shares, split_table
from tests.solve.programs import tiny


@cache
def toy(variant):
    case = case_of(Instance(f"toy-{variant}", variant, TOY))
    return case, build(case.problem, case.rules)


def unpriced(program):
    return np.where(program.row_price == HARD, HARD, 1)


@pytest.mark.parametrize("name", INSTANCES)
def test_every_named_instance_builds_at_toy_scale(name):
    case, program = toy(INSTANCES[name].variant)
    assert program.n > 100 and program.m > 100
    assert {r.table for r in case.rules} >= {o.rule for o in program.origins} >= {"nutrients", "stowage"}


def test_the_variants_are_what_they_say():
    programs = {v: toy(v)[1] for v in VARIANTS}
    assert len({p.digest for p in programs.values()}) == len(VARIANTS)
    values = {}
    for variant, program in programs.items():
        if variant.startswith("no"):
            # in worth, soft prices are out of all proportion; what counts here is what can hold
            bare = replace(program, gain=np.zeros_like(program.gain), row_price=unpriced(program))
            assert relax(bare).status == "impossible", variant
        else:
            scale = scale_of(toy(variant)[0].problem, program)
            values[variant] = relax(priced(program, scale.prices)).value * float(scale.best[0])
    assert max(values["tight"], values["narrow"], values["whole"]) <= values["slack"] + 1e-6
    caps = {
        v: [p.row_high[r] for r, o in enumerate(p.origins) if o.rule == "stowage"]
        for v, p in programs.items()
    }
    assert len(caps["slack"]) == 2
    assert all(new < old / 2 for old, new in zip(caps["slack"], caps["tight"], strict=True))
    assert caps["noroom"][1] < caps["tight"][1]


def test_the_same_seed_is_the_same_program_and_another_is_not():
    one = Instance("toy", "slack", TOY)
    case = case_of(one)
    assert build(case.problem, case.rules).digest == toy("slack")[1].digest
    other = case_of(replace(one, seed=2))
    assert build(other.problem, other.rules).digest != toy("slack")[1].digest


def test_a_large_catalogue_repeats_the_demo_s_items_under_other_names():
    rows = sample(1000, np.random.default_rng(1))
    ids = [r["id"] for r in rows]
    assert len(set(ids)) == len(ids) and abs(len(ids) - 1000) <= 10
    assert len({r["id"] for r in rows if r["id"].endswith("_2")}) > 300


def test_our_road_and_its_tables(tmp_path):
    run, program = whole_road(Instance("toy-slack", "slack", TOY), tmp_path, 20_000, 60, 1)
    assert run["answer"]["end"] in ("menu", "closed") and run["answer"]["note"] == ""
    plain = relaxation(program, 60, 1)
    assert plain.bound <= run["answer"]["bound"] + 1e-9
    run["peers"] = [{"answer": Answer("HiGHS", "closed", 1.0, 0.9, 0.9, 0.95, [(0.5, 0.9, None)]).to_json()}]
    run["peers"] += [{"answer": plain.to_json()}]
    for made_table in (table.size_table, table.phase_table, table.compare_table, split_table):
        lines = made_table([run]).splitlines()
        assert len({len(line) for line in lines}) == 1 and "toy-slack" in lines[2]


def test_an_impossible_person_is_told_as_such(tmp_path):
    run, _ = whole_road(Instance("toy-noiron", "noiron", TOY), tmp_path, 20_000, 60, 1)
    assert run["answer"]["end"] == "impossible"
    assert "p1" in table.notes([run])[0]


@pytest.mark.parametrize("seed", range(6))
def test_every_solver_gets_the_program_to_pulp_gives(seed):
    # soft rows, extra columns, worth groups, two-sided rows: the optimum is the same by both roads
    program = tiny(seed)
    by_pulp = direct(program)
    for peer in (highs, cbc):
        answer = peer(program, 60, 1)
        if by_pulp.status == "impossible":
            assert answer.end == "impossible"
            continue
        assert by_pulp.status == "optimal" and answer.end == "closed"
        assert answer.value == by_pulp.value / 10.0**program.goal_decimals
        assert answer.bound == pytest.approx(answer.value)
        assert answer.first() is None or answer.first() <= answer.seconds


def test_peers_say_impossible_where_it_is():
    program = tiny(0)
    program = replace(program, row_low=program.row_high + 1, row_price=np.full_like(program.row_price, HARD))
    assert [peer(program, 60, 1).end for peer in (highs, cbc, relaxation)] == ["impossible"] * 3


def test_an_exponent_by_hand():
    # y = 3 x^2 exactly: exponent 2, no width. With the middle point doubled the slope is the same by
    # symmetry; residuals -ln2/3, 2 ln2/3, -ln2/3, so the error is ln2 sqrt(2/3) / sqrt(2) / ln2 = 1/sqrt(3).
    slope, half = fit([1, 2, 4], [3, 12, 48])
    assert slope == pytest.approx(2) and half == pytest.approx(0, abs=1e-9)
    slope, half = fit([1, 2, 4], [3, 24, 48])
    assert slope == pytest.approx(2) and half == pytest.approx(12.706 / 3**0.5)
    with pytest.raises(ValueError, match="three points"):
        fit([1, 2], [1, 2])


def test_curves_print_what_failed_too():
    phases = {"rows": 1.0, "merge": 0.5, "bound": 1.0, "certificate": 0.5}
    good = [
        {"instance": f"{n}", "at": n, "columns": 10 * n, "nonzeros": n, "search": float(n), "phases": phases}
        for n in (1, 2, 4)
    ]
    text = curve_tables({"people": [*good, {"instance": "8", "at": 8, "failed": "ended after 600 s"}]})
    assert "ended after 600 s" in text
    assert text.splitlines()[-1].split("|")[2:5] == [" 0.00 ± 0.00 ", " 0.00 ± 0.00 ", " 1.00 ± 0.00 "]


def test_a_measurement_over_its_limit_is_ended_and_a_broken_one_says_why(tmp_path):
    job = job_of(Instance("toy", "slack", TOY), tmp_path, do="point", moves_a_column=1)
    assert measure(job, 0.01) == {"failed": "ended after 0 s"}
    # nobody left a Program there
    assert "program.pickle" in measure({**job, "do": "peer"}, 60)["failed"]


def test_the_least_of_several_measurements_stands():
    one = {"phases": {"rows": 2.0, "bound": 1.0}, "search": 5.0}
    two = {"phases": {"rows": 1.0, "bound": 3.0}, "search": 6.0}
    assert least([{"failed": "x"}, one, two]) == {"phases": {"rows": 1.0, "bound": 1.0}, "search": 5.0}
    assert least([{"failed": "x"}]) == {"failed": "x"}


def test_shares_by_hand():
    def run(end, value, bound):
        peers = [Answer("HiGHS", end, 1.0, value, bound), Answer("plain LP", "relaxation", bound=0.98)]
        return {
            "answer": Answer("ours", "menu", 1.0, 0.9, 1.0).to_json(),
            "peers": [{"answer": p.to_json()} for p in peers],
        }

    # optimum 0.95 between 0.9 and 1.0; the plain relaxation 0.98
    found = shares(run("closed", 0.95, 0.95))
    assert [round(v, 9) for v in found.values()] == [0.1, 0.05, 0.05, 0.05, 0.05, -0.02]
    # not closed: the optimum lies between 0.95 and 0.97
    found = shares(run("menu", 0.95, 0.97))
    assert [round(v, 9) for v in found.values()] == [0.1, 0.05, 0.07, 0.03, 0.05, -0.02]


def test_only_what_tells_more_is_kept_of_the_events():
    events = [(2.0, 0.5, 1.0), (1.0, None, 1.0), (3.0, 0.4, 1.0), (4.0, 0.6, 1.0)]
    assert thinned(events) == [(1.0, None, 1.0), (2.0, 0.5, 1.0), (4.0, 0.6, 1.0)]
    answer = Answer("x", events=events)
    assert (answer.first(), answer.when(1.0, 0.45), answer.when(1.0, 0.1)) == (2.0, 4.0, None)


def test_the_command_names_what_it_does_not_know(capsys):
    assert main(["--list"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(INSTANCES)
    assert main(["--instances", "Q"]) == 2 and "no instance Q" in capsys.readouterr().err
    assert main(["--instances", "S", "--peers", "x"]) == 2 and "no solver x" in capsys.readouterr().err
    assert main([]) == 2 and "--curves" in capsys.readouterr().err
    assert [i.name for i in chosen("S,M-tight")][-1] == "M-tight"


def test_the_command_measures_what_it_is_asked_for_and_writes_it(monkeypatch, capsys, tmp_path):
    toy_size = Size(1, 2, 120)
    monkeypatch.setattr(curves, "VARIED", {"people": [toy_size]})
    monkeypatch.setattr(command, "NEARLY_CLOSED", (Instance("toy", "slack", toy_size),))
    monkeypatch.setattr(command, "chosen", lambda _names, _seed: [Instance("toy-tight", "tight", toy_size)])
    file = tmp_path / "found.json"
    given = ["--instances", "any", "--peers", "lp", "--curves", "--repeats", "1", "--split"]
    assert main([*given, "--moves", "2000", "--seconds", "30", "--json", str(file)]) == 0
    out = capsys.readouterr().out
    found = json.loads(file.read_text())
    assert set(found) == {"instances", "curves", "split"} and "failed" not in found["instances"][0]
    assert found["curves"]["people"][0]["moves"] > 0
    assert "exponent in" in out and "plain relaxation above" in out and "plain LP" in out
    # every Program in one run is the same for all who solve it
    assert {p["digest"] for p in found["instances"][0]["peers"]} == {found["instances"][0]["digest"]}


def test_toml_of_values():
    assert (
        toml({"a": {"b": True, "c": ["x", 1]}, "d": 'q"'}) == 'a = { b = true, c = ["x", 1] }\nd = "q\\""\n'
    )
