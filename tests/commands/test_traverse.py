"""The shipped traverse: what hauling costs, what may be carried, and the caps that bite."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.config.case import Case, load_case
from optimenu.program.build import build, priced
from optimenu.solve.bound import certify, relax
from optimenu.solve.liking import scale_of

ROOT = Path(__file__).parents[2]
CONFIG = ROOT / "configs" / "traverse.toml"


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(CONFIG)


@pytest.fixture(scope="module")
def page() -> str:
    done = CliRunner().invoke(app, ["check", str(CONFIG)], env={"COLUMNS": "120"})
    assert done.exit_code == 0, done.output
    return " ".join(done.stdout.split())


def test_a_day_of_hauling_is_a_sum_of_published_costs(case: Case, page: str) -> None:
    # Mifflin 1990: 10 x 80 + 6.25 x 180 - 5 x 35 + 5 = 1755 kcal a day. Sleep at 1.0 x basal: 1755 / 3 =
    # 585; about the camp at 1.6: 936. Hauling (Halsey et al. 2016): 480 min x 31.1 kJ = 14,928 kJ, over
    # 4.184: 3567.9 kcal. 585 + 936 + 3568 = 5089.
    corin = case.problem.people[case.problem.person_number["corin"]]
    assert corin.kcal_on("heavy") == Decimal(5089)
    # light: 9/24 x 1755 = 658; 11/24 x 1.6 x 1755 = 1287; half of the hauling, 1784
    assert corin.kcal_on("light") == Decimal(658 + 1287 + 1784)
    # rest: 10/24 x 1755 = 731; 14/24 x 1.6 x 1755 = 1638
    assert corin.kcal_on("rest") == Decimal(731 + 1638)
    for words in (
        "5089 kcal a day, the sum of: sleep 8 h x 1.0 x 1755 kcal / 24 h = 585 kcal; "
        "light camp work 8 h x 1.6 x 1755 kcal / 24 h = 936 kcal; "
        "polar hauling 8 h x 60 min x 31.1 kJ/min / 4.184 kJ/kcal = 3568 kcal",
        "Where the costs of activities come from",
        "polar hauling: Halsey et al. 2016, Antarctica on foot",
        "basal metabolism: Mifflin et al.",
        "light camp work: common practice, no source",
    ):
        assert words in page


def test_two_tents_of_three_share_pots_for_forty_days(case: Case) -> None:
    problem = case.problem
    assert (len(problem.people), len(problem.dates), problem.cycle_length) == (6, 40, 20)
    assert [d.kind for d in problem.cycle].count("heavy") == 15
    tents = {p.id: [problem.people[m].id for m in p.members] for p in problem.parties if len(p.members) > 1}
    assert tents == {"tent_a": ["aud", "corin", "pilar"], "tent_b": ["tevita", "noor", "jonas"]}
    pots = {(c.name, c.shared_by) for d in problem.cycle for m in d.meals for c in m.courses if c.shared_by}
    assert pots == {("soup", ("tent_a", "tent_b")), ("main", ("tent_a", "tent_b"))}
    assert len(problem.reserve) == 4


def test_everything_carried_is_known_to_survive_frost(case: Case, page: str) -> None:
    catalogue = case.problem.catalogue
    assert all(i.may_freeze == "yes" for i in catalogue.items)
    assert all(i.form not in ("canned", "retorted", "chilled", "frozen") for i in catalogue.items)
    kept, out = len(catalogue.items), len(catalogue.left_out)
    assert out > 0
    assert f"Items in the catalogue: {kept} of {kept + out}, {out} left out by this config." in page


def test_everybody_has_a_choice_in_every_course_that_must_be_served(page: str, case: Case) -> None:
    assert "never: tree nuts (severe)" in page
    nuts = case.problem.person_number["pilar"]
    script = case.problem.people[nuts].prescription
    assert script.allergies == {"tree_nuts": "severe"}
    safe = [i for i in case.problem.catalogue.items if i.allergen("tree_nuts") == "free"]
    for course in ("main", "soup", "bread", "spread", "drink", "snack", "dessert", "condiment"):
        assert sum(course in i.courses for i in safe) >= 3


def test_mass_and_fuel_cost_liking(case: Case) -> None:
    worth = build(case.problem, case.rules)
    program = priced(worth, scale_of(case.problem, worth).prices)
    certificate = certify(program, relax(program))
    dear = {program.origins[r].key for r in certificate.rows}
    assert {"stowage.gross_kg", "water.fuel_kg"} <= dear
