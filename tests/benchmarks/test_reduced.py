"""Reduced scenarios are of the size they say, keep what makes the scenario, and their cap binds as hard."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimenu.config.variant import variant
from optimenu.program.build import build, priced
from optimenu.solve.bound import relax
from optimenu.solve.liking import scale_of
from tests.benchmarks.project import dense, in_units
from tests.benchmarks.reduced import SCENARIOS, reduced
from tests.benchmarks.registry import NEARLY_CLOSED, REDUCED
from tests.benchmarks.sampled import DEMO

NEAR = 0.15
"""A cap is set to 10 g or 10 mL, so what it takes of the value is not met exactly."""


@pytest.mark.parametrize("instance", REDUCED, ids=lambda i: i.name)
def test_a_reduced_scenario_is_of_its_size_and_its_cap_binds(instance):
    assert instance in NEARLY_CLOSED
    case = reduced(instance)
    problem, size = case.problem, instance.size
    assert [len(problem.people), len(problem.cycle)] == [size.people, size.days]
    assert len(problem.catalogue.items) == size.items
    assert len(problem.reserve) == 1
    # a pot for all who go, and packs that they keep open together
    everyone = tuple(range(size.people))
    assert any(p.members == everyone for p in problem.parties) and problem.shared_packs
    assert any(i.servings_per_pack > 1 for i in problem.catalogue.items)

    scenario = SCENARIOS[instance.variant]
    program = build(problem, case.rules)
    program = priced(program, scale_of(problem, program).prices)
    (row,) = (r for r, o in enumerate(program.origins) if o.key == scenario.cap)
    capped = relax(program)
    allowed = in_units(program, row, float(program.row_high[row]))
    assert in_units(program, row, float(dense(program, row) @ capped.x)) == pytest.approx(allowed, rel=1e-6)
    highest = program.row_high.copy()
    highest[row] *= 100
    loose = relax(replace(program, row_high=highest)).value
    assert (loose - capped.value) / loose == pytest.approx(scenario.loss, rel=NEAR)


def test_the_loss_asked_for_is_the_scenario_s():
    # the traverse; the submersible's relaxation takes ten times as long
    values = []
    for changes in ({}, {"stowage.gross_kg": 10_000}):
        case = variant(DEMO / "configs" / "traverse.toml", changes)
        program = build(case.problem, case.rules)
        values.append(relax(priced(program, scale_of(case.problem, program).prices)).value)
    assert 1 - values[0] / values[1] == pytest.approx(SCENARIOS["traverse"].loss, rel=NEAR)
