"""Diet problems with a published answer; the sources stand in the data files."""

from __future__ import annotations

import csv
import json
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from optimenu.audit.bound import check_bound
from optimenu.program.builder import Builder, decimals_of, scaled
from optimenu.program.origin import Origin
from optimenu.program.program import Program
from optimenu.solve.bound import certify, relax
from optimenu.solve.direct import direct
from optimenu.solve.elastic import elastic

DATA = Path(__file__).parent / "data"
PROBLEMS = json.loads((DATA / "diet_problems.json").read_text(), parse_float=Decimal)


def rows_of(name: str) -> list[dict[str, str]]:
    lines = (DATA / name).read_text().splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def add_row(b: Builder, name: str, coefs: list[Decimal], low: Decimal | None, high: Decimal | None) -> None:
    places = decimals_of([*coefs, *(v for v in (low, high) if v is not None)])
    b.row(
        Origin("diet", name),
        np.arange(len(coefs)),
        [scaled(c, places) for c in coefs],
        low=None if low is None else scaled(low, places),
        high=None if high is None else scaled(high, places),
        decimals=places,
    )


def diet(name: str) -> Program:
    data = PROBLEMS[name]
    foods = data["foods"]
    b = Builder(goal_decimals=3)
    for food in foods:
        b.column(
            low=food["min"],
            high=food["max"],
            gain=-scaled(Decimal(food["cost"]), 3),
            continuous=not data["integer"],
        )
    limits = [(n, data["amount_per_package"][n["id"]]) for n in data["nutrients"]]
    limits += [(e, [e["coef"][f["id"]] for f in foods]) for e in data.get("extra_constraints", ())]
    for limit, amounts in limits:
        low, high = (None if limit[s] is None else Decimal(limit[s]) for s in ("min", "max"))
        add_row(b, limit["id"], [Decimal(a) for a in amounts], low, high)
    return b.freeze()


def stigler() -> tuple[Program, list[str]]:
    """Dollars a day spent on each food, a dollar at the most; the goal in dollars to 12 decimals."""
    foods = rows_of("stigler_foods.csv")
    b = Builder(goal_decimals=12)
    for _ in foods:
        b.column(gain=-(10**12), continuous=True)
    for allowance in rows_of("stigler_allowances.csv"):
        name = allowance["nutrient"]
        coefs = [Decimal(food[name]) for food in foods]
        add_row(b, name, coefs, Decimal(allowance["daily_allowance"]), None)
    return b.freeze(), [food["food"] for food in foods]


def proved(program: Program) -> float:
    """Bound of a certificate that the audit accepts, in units of the goal."""
    certificate = certify(program, relax(program))
    return check_bound(program, certificate).proved / 10**program.goal_decimals


def test_stigler():
    program, names = stigler()
    assert len(names) == 77
    for solver in ("HiGHS", "CBC"):
        got = direct(program, solver)
        assert got.status == "optimal"
        # the figure handed down is cut off after the ninth decimal, not rounded
        assert int(-got.objective * 10**9) == 108_662_278
        bought = {names[c] for c in np.flatnonzero(got.amounts > 1e-9)}
        assert bought == {
            "Wheat Flour (Enriched)",
            "Liver (Beef)",
            "Cabbage",
            "Spinach",
            "Navy Beans, Dried",
        }
    assert -got.objective * 365 == pytest.approx(39.6617, abs=5e-5)
    assert int(-proved(program) * 10**9) == 108_662_278
    # the bound is on the right side of the best: no amount of money less than it will do
    assert proved(program) >= got.objective - 1e-12


@pytest.mark.parametrize("name", ["ampl_diet", "ampl_diet2a", "pulp_blending_full"])
@pytest.mark.parametrize("solver", ["HiGHS", "CBC"])
def test_continuous(name, solver):
    program = diet(name)
    got = direct(program, solver)
    want = PROBLEMS[name]["published"]
    assert got.status == "optimal"
    assert got.objective == pytest.approx(-float(want["objective"]), rel=1e-8)
    foods = [f["id"] for f in PROBLEMS[name]["foods"]]
    amounts = dict(zip(foods, got.amounts.tolist(), strict=True))
    for food in foods:
        assert amounts[food] == pytest.approx(float(want["solution"].get(food, 0)), abs=1e-4)
    # 3 decimals: rounded up by less than a thousandth
    assert 0 <= proved(program) - got.objective + 1e-9 <= 0.001 + 1e-6


@pytest.mark.parametrize("solver", ["HiGHS", "CBC"])
def test_integer(solver):
    program = diet("ampl_diet2a_integer")
    got = direct(program, solver)
    want = PROBLEMS["ampl_diet2a_integer"]["published"]
    assert (got.status, got.value) == ("optimal", -119300)
    assert Decimal(-got.value).scaleb(-3) == want["objective"]
    foods = [f["id"] for f in PROBLEMS["ampl_diet2a_integer"]["foods"]]
    assert dict(zip(foods, got.x.tolist(), strict=True)) == want["solution"]
    assert proved(program) == pytest.approx(-118.059, abs=1e-9)


def test_infeasible():
    program = diet("ampl_diet2")
    for solver in ("HiGHS", "CBC"):
        assert direct(program, solver).status == "impossible"
    assert relax(program).status == "impossible"
    got = elastic(program)
    assert got.proved
    assert got.shortfalls
    assert {s.origin.key for s in got.shortfalls} <= {"A", "C", "B1", "B2", "NA", "CAL"}
