"""The least-liking person first, against trying every menu of tiny plans of two people."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from optimenu.audit.least import Claims, check_least, check_mean, prove_least
from optimenu.audit.menu import audit_menu
from optimenu.errors import AuditFailed
from optimenu.menu.menu import from_counts
from optimenu.planning import claims_of
from optimenu.program.build import priced
from optimenu.program.page import GOAL_DECIMALS
from optimenu.solve.liking import Scale
from optimenu.solve.outcome import Outcome
from optimenu.solve.solve import solve
from optimenu.solve.standing import Crew
from optimenu.solve.two_goals import Effort, least_first
from tests import tiny_plans
from tests.quarrel import quarrel
from tests.solve.programs import judge

D = Decimal
SEEDS, MOVES, QUARRELS = 160, 12_000, 30
UNIT = 10**18
LITTLE = D("0.001")


@dataclass(frozen=True, eq=False)
class Case:
    """A tiny plan, every menu's least liking and mean, and what came of it.

    Attributes
    ----------
    least, mean : list of int
        Of every menu that holds, whole goal units, the price of soft breaches taken off.
    """

    plan: tiny_plans.Plan
    least: list[int]
    mean: list[int]
    outcome: Outcome


def effort(moves: int = MOVES, seed: int = 1, threads: int = 1, **more: Any) -> Effort:
    given = {"gap": 0.01, "ends_at_gap": False, "progress": lambda _: None, "stop": None, **more}
    return Effort(moves=moves, seed=seed, threads=threads, **given)


def worths(plan: tiny_plans.Plan) -> tuple[list[list[int]], list[int]]:
    """Worth to each, 15 decimals, and soft price of every menu that holds; one person priced a time."""
    menus = plan.menus[plan.judged.holds].astype(np.int64)
    people = range(len(plan.scale.best))
    soft = [-int(v) for v in judge(priced(plan.unpriced, [D(0) for _ in people]), menus).value]
    found = []
    for p in people:
        alone = priced(plan.unpriced, [LITTLE if k == p else D(0) for k in people])
        found.append([int(v) + s for v, s in zip(judge(alone, menus).value, soft, strict=True)])
    return found, soft


def levelled(plan: tiny_plans.Plan) -> tiny_plans.Plan:
    """Return the plan with each person's best the most that any menu is worth to them."""
    best = [D(max([1000000000, *own])).scaleb(-15).quantize(D("0.000001")) for own in worths(plan)[0]]
    scale = Scale(tuple(best))
    program = priced(plan.unpriced, scale.prices)
    return replace(plan, scale=scale, program=program, judged=judge(program, plan.menus.astype(np.int64)))


def likings(plan: tiny_plans.Plan) -> tuple[list[int], list[int]]:
    """Least liking and mean of every menu that holds."""
    found, soft = worths(plan)
    likes = [
        [v * 10**9 // int(b * 10**6) for v in own] for own, b in zip(found, plan.scale.best, strict=True)
    ]
    least = [min(several) - s for *several, s in zip(*likes, soft, strict=True)]
    return least, [int(v) for v in plan.judged.value[plan.judged.holds]]


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    found = []
    for seed in range(SEEDS):
        plan = tiny_plans.plan(seed)
        if len(plan.scale.best) == 2 and plan.judged.best is not None:
            plan = levelled(plan) if seed % 4 else plan
            outcome = least_first(plan.unpriced, plan.scale, effort())
            found.append(Case(plan, *likings(plan), outcome))
    return found


def test_bounds_then_best_then_menu(cases: list[Case]) -> None:
    found = best = both = 0
    for c in cases:
        assert c.outcome.end in ("menu", "undecided")
        if c.outcome.first is None:
            continue
        found += 1
        first, value = c.outcome.first, c.outcome.value
        assert first.bound >= max(c.least) >= first.value
        kept = [m for a, m in zip(c.least, c.mean, strict=True) if a >= first.value]
        assert c.outcome.bound >= max(kept) >= value
        assert (first.value, value) in set(zip(c.least, c.mean, strict=True))
        best += first.value == max(c.least)
        both += first.value == max(c.least) and value == max(kept)
    assert len(cases) >= 40
    assert found >= 0.97 * len(cases)
    assert best >= 0.85 * len(cases), (best, len(cases))
    assert both >= 0.8 * len(cases), (both, len(cases))


def test_where_the_goals_differ_the_menus_do_in_the_right_direction() -> None:
    differ = least = mean = 0
    for seed in range(QUARRELS):
        worth, menus, scale = quarrel(seed)
        program = priced(worth, scale.prices)
        judged = judge(program, menus)
        menus = menus[judged.holds]
        crew = Crew(worth, scale)
        stands = [crew.standing(x, worth.excess(x)) for x in menus]
        assert [s.mean for s in stands] == judged.value[judged.holds].tolist()
        by_mean = max(stands, key=lambda s: s.mean)
        wanted = max(stands)
        got = least_first(worth, scale, effort())
        assert got.first is not None and got.counts is not None
        assert got.first.bound >= wanted.least >= got.first.value
        kept = [s.mean for s in stands if s.least >= got.first.value]
        assert got.bound >= max(kept) >= got.value
        assert check_least(worth, scale, got.first.certificate, got.first.prices) * UNIT == got.first.bound
        level = D(got.first.value).scaleb(-GOAL_DECIMALS)
        prices, factor = got.first.mean_prices, got.first.factor
        assert check_mean(worth, scale, got.certificate, prices, factor, level) * UNIT == got.bound
        if by_mean.least < wanted.least:
            differ += 1
            assert by_mean.least < got.first.value
            assert by_mean.mean >= got.value
            least += got.first.value == wanted.least
            mean += got.first.value == wanted.least and got.value == wanted.mean
    assert differ >= 0.5 * QUARRELS, differ
    assert least >= 0.9 * differ, (least, differ)
    assert mean >= 0.9 * differ, (mean, differ)


def test_the_audit_proves_both_bounds_and_the_likings_from_the_tables(cases: list[Case]) -> None:
    for c in cases:
        if c.outcome.first is None:
            continue
        report, certificates, claims = told(c)
        proof = prove_least(c.plan.unpriced, c.plan.scale, certificates, report, claims)
        assert proof.faults == ()
        assert proof.least == claims.bound
        assert proof.mean == claims.mean_bound
        assert report.least == claims.value


def told(c: Case) -> tuple[Any, Any, Claims]:
    assert c.outcome.first is not None and c.outcome.counts is not None
    menu = from_counts(c.plan.question, c.plan.program, c.outcome.counts)
    report = audit_menu(c.plan.question, c.plan.rules, menu, c.plan.scale)
    return report, (c.outcome.first.certificate, c.outcome.certificate), claims_of(c.outcome.first, c.outcome)


def some(cases: list[Case]) -> list[Case]:
    return [c for c in cases if c.outcome.first is not None and c.outcome.first.value < c.outcome.first.bound]


UNDER = D("0.000000000001")


def test_the_audit_refuses_what_is_tampered_with(cases: list[Case]) -> None:
    c = some(cases)[0]
    report, certificates, claims = told(c)

    def faults(**change: Any) -> str:
        other = replace(claims, **change)
        return " ".join(prove_least(c.plan.unpriced, c.plan.scale, certificates, report, other).faults)

    assert faults() == ""
    low = D(1).scaleb(-18)
    assert "on the least liking is claimed, its multipliers prove" in faults(bound=claims.bound - low)
    assert "is claimed, the multipliers prove" in faults(mean_bound=claims.mean_bound - low)
    assert "the least liking" in faults(value=claims.value + low)
    assert "is claimed, the menu is worth" in faults(mean_value=claims.mean_value + low)
    more = (claims.prices[0] + UNDER, *claims.prices[1:])
    assert "the least liking: the bound is of another program" in faults(prices=more)
    less = tuple(p / 2 for p in claims.prices)
    less = tuple(p.quantize(UNDER) for p in less)
    assert "weights in the bound on the least liking sum to less than 1" in faults(prices=less)
    assert "is not from 0 on" in faults(prices=(D("-0.1"), *claims.prices[1:]))
    assert "is not from 0 on" in faults(prices=(D("0.1234567890123"), *claims.prices[1:]))
    assert "too high for whole numbers of 64 bits: 999999" in faults(prices=(D(999999), *claims.prices[1:]))
    assert "a bound has 1 prices for 2 people" in faults(prices=claims.prices[:1])
    assert "the mean: the bound is of another program" in faults(
        mean_prices=tuple(p + UNDER for p in claims.mean_prices)
    )
    assert "weighs less in the bound on the mean" in faults(mean_prices=(D(0), *claims.mean_prices[1:]))
    assert "is not 1 or more" in faults(factor=D("0.5"))
    light = tuple((p * D("0.6")).quantize(UNDER) for p in c.plan.scale.prices)
    assert "sum to less than its factor asks" in faults(factor=D(2), mean_prices=light)


def test_the_audit_refuses_a_multiplier_taken_out_and_a_certificate_that_is_missing(
    cases: list[Case],
) -> None:
    refused = 0
    for c in some(cases):
        report, (least, mean), claims = told(c)
        for k, certificate in enumerate((least, mean)):
            if not len(certificate.rows):
                continue
            spoiled = replace(certificate, rows=certificate.rows[1:], multiplier=certificate.multiplier[1:])
            pair = (spoiled, mean) if k == 0 else (least, spoiled)
            proof = prove_least(c.plan.unpriced, c.plan.scale, pair, report, claims)
            refused += any("multipliers prove" in f for f in proof.faults)
        gone = prove_least(c.plan.unpriced, c.plan.scale, (None, None), report, claims).faults
        assert gone == ("the least liking: there is no certificate", "the mean: there is no certificate")
    assert refused >= 10


def test_any_weights_prove_a_true_bound(cases: list[Case]) -> None:
    """Prices drawn at random, rounded anyhow: what the audit accepts is true of every menu."""
    from optimenu.solve.bound import certify, relax

    rng = np.random.default_rng(3)
    accepted = 0
    for c in cases[:30]:
        scale, worth = c.plan.scale, c.plan.unpriced
        weight = rng.dirichlet(np.ones(2)) * rng.uniform(0.95, 1.3)
        prices = tuple((D(float(w)) / b).quantize(UNDER) for w, b in zip(weight, scale.best, strict=True))
        program = priced(worth, prices)
        certificate = certify(program, relax(program, rounds=2))
        try:
            assert check_least(worth, scale, certificate, prices) * UNIT >= max(c.least)
            accepted += 1
        except AuditFailed as error:
            assert "sum to less than 1" in str(error)
            assert weight.sum() < 1 + 1e-9
        factor = D(float(rng.uniform(1, 3))).quantize(UNDER)
        level = D(int(np.median([float(v) for v in c.least]))).scaleb(-18)
        try:
            bound = check_mean(worth, scale, certificate, prices, factor, level)
        except AuditFailed:
            continue
        accepted += 1
        kept = [m for a, m in zip(c.least, c.mean, strict=True) if a >= level * UNIT]
        assert all(bound * UNIT >= m for m in kept)
    assert accepted >= 25


def test_threads_do_not_matter_and_seeds_may(cases: list[Case]) -> None:
    for c in some(cases)[:3]:
        one, two = (least_first(c.plan.unpriced, c.plan.scale, effort(threads=t)) for t in (1, 2))
        assert (one.counts == two.counts).all()
        assert (one.value, one.bound) == (two.value, two.bound)


def test_a_start_is_never_made_worse(cases: list[Case]) -> None:
    for c in some(cases)[:6]:
        again = least_first(c.plan.unpriced, c.plan.scale, effort(moves=2000), c.outcome.counts)
        assert again.first is not None
        assert again.first.value >= c.outcome.first.value


class _Set:
    def is_set(self) -> bool:
        return True


def test_one_stopped_at_once_has_no_menu(cases: list[Case]) -> None:
    c = cases[0]
    got = least_first(c.plan.unpriced, c.plan.scale, effort(stop=_Set()))
    assert (got.end, got.ended, got.counts) == ("stopped", "stopped", None)


def test_impossible_is_proved_as_for_the_mean() -> None:
    proved = 0
    for seed in range(80):
        plan = tiny_plans.plan(seed)
        if plan.judged.best is None:
            got = least_first(plan.unpriced, plan.scale, effort(moves=1000))
            assert got.end in ("impossible", "undecided")
            assert (got.end == "impossible") == (
                solve(plan.program, moves=1000, threads=1).end == "impossible"
            )
            proved += got.end == "impossible"
    assert proved >= 5
