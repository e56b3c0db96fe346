"""What limits are worth, against finite differences of the exact bound and every menu of tiny plans."""

from __future__ import annotations

from decimal import Decimal
from types import SimpleNamespace

import numpy as np
import pytest

from optimenu.config.variant import variant
from optimenu.explain.prices import prices_of
from optimenu.explain.reading import Readings
from optimenu.explain.worth import binding, moved, soft_costs, stride, tried
from optimenu.planning import whole
from optimenu.program.page import GOAL_DECIMALS
from optimenu.program.program import HARD
from optimenu.solve.again import Again
from optimenu.solve.bound import proved_bound, relax
from optimenu.solve.dual import dual_value, whole_multipliers
from tests import tiny_plans
from tests.explain.larder import TIGHT_L, larder, larder_case
from tests.solve.programs import judge

D = Decimal
PLANS = 150
UNIT = 10.0**-GOAL_DECIMALS


@pytest.fixture(scope="module")
def plans():
    """Tiny plans with a solved relaxation: (plan, its open relaxation, bound, limits that bind)."""
    found = []
    for seed in range(PLANS):
        p = tiny_plans.plan(seed)
        again = Again(p.program)
        if again.first.status == "solved":
            case = SimpleNamespace(problem=p.question, rules=p.rules)
            limits = binding(p.program, again.first, Readings(case))
            found.append((p, again, proved_bound(p.program, again.first), limits))
    assert len(found) > PLANS / 3
    return found


def test_the_promise_lies_between_loss_and_gain_of_any_step(plans):
    """The optimum is concave in the limits: a step tighter loses no less, a step looser gains no more."""
    seen = impossible = strict = 0
    for p, again, base, limits in plans:
        for limit in limits:
            for step in (limit.finest, stride(limit)):
                trial = tried(again, base, limit, step)
                promised = float(trial.promised)
                slack = 2e-7 + 1e-6 * promised
                assert trial.gain is not None
                assert -slack <= float(trial.gain) <= promised + slack, (p.question.name, limit)
                seen += 1
                strict += float(trial.gain) < promised - slack
                if trial.loss is None:
                    impossible += 1
                else:
                    assert float(trial.loss) >= promised - slack
    assert seen > 100
    assert impossible > 0
    assert strict > 10


def test_the_multipliers_prove_the_promise_in_whole_numbers(plans):
    """Moving a limit moves what the same multipliers prove by rate times step, to the last unit."""
    seen = 0
    for p, again, _, limits in plans:
        y, worth, shift = whole_multipliers(p.program, again.first.multiplier, again.first.use_worth)
        before = dual_value(p.program, y, worth, shift)
        for limit in limits:
            other = moved(p.program, limit, limit.step)
            low, high = other.row_low - p.program.row_low, other.row_high - p.program.row_high
            change = sum(v * int(high[r] if v > 0 else low[r]) for r, v in y.items())
            assert dual_value(other, y, worth, shift) == before + change
            assert change >= 0
            got, told = change / 2.0**shift * UNIT, limit.worth
            assert got == pytest.approx(told, rel=1e-6, abs=1e-12)
            seen += 1
    assert seen > 100


def test_no_menu_under_the_looser_limit_beats_its_bound(plans):
    better = 0
    for p, again, base, limits in plans:
        for limit in limits:
            if p.judged.best is None:
                continue
            step = stride(limit)
            best = judge(moved(p.program, limit, step), p.menus.astype(np.int64)).best
            trial = tried(again, base, limit, step)
            assert best is not None
            assert best >= p.judged.best
            assert D(best - base).scaleb(-GOAL_DECIMALS) <= trial.gain
            # and so no more than the promise over the bound; the solver's rounding is far below that
            assert float(D(best - base).scaleb(-GOAL_DECIMALS)) <= float(trial.promised) + 1e-7
            better += best > p.judged.best
    assert better > 10


def test_soft_costs_are_the_price_in_the_value(plans):
    seen = 0
    for p, _, _, _ in plans:
        good = np.flatnonzero(p.judged.holds)[:20]
        case = SimpleNamespace(problem=p.question, rules=p.rules)
        readings = Readings(case)
        for at in good.tolist():
            x = p.program.complete(p.menus[at].astype(np.int64))
            over = p.program.excess(x)
            soft = np.flatnonzero((over > 0) & (p.program.row_price != HARD))
            price = sum(int(p.program.row_price[r]) * int(over[r]) for r in soft) * UNIT
            told = sum(c.cost for c in soft_costs(p.program, x.astype(float), readings))
            assert told == pytest.approx(price, rel=1e-9, abs=1e-10)
            seen += price > 0
    assert seen >= 20


def test_a_cap_moved_in_the_config_moves_the_same_bound(tmp_path):
    """The rows moved give the bound of a config in which a person changes the setting."""
    path = larder(tmp_path)
    prices = prices_of(larder_case(tmp_path))
    limit = binding(prices.program, prices.relaxation, prices.readings)[0]
    assert limit.origin.key == "stowage.volume_l"
    assert (limit.reading.limit, limit.reading.unit) == (D(TIGHT_L), "L")
    assert limit.step == D("0.01")
    trial = tried(prices.again, prices.bound, limit, D("0.25"))
    for size, told in ((D("5.25"), trial.gain), (D("4.75"), -trial.loss)):
        program = whole(variant(path, {"stowage.volume_l": size}), prices.scale)
        bound = proved_bound(program, relax(program))
        assert float(D(bound - prices.bound).scaleb(-GOAL_DECIMALS)) == pytest.approx(float(told), abs=1e-9)
        assert told


def test_the_fullest_cap_is_worth_what_the_fish_pie_adds_by_hand(tmp_path):
    """Each more mL goes into fish pie for lentil curry: 2 points in two dates of four, for 980 mL a date.

    (8.5 - 6.5) x 2/4 worth for 2 x 980 mL, divided by the person's best.
    """
    prices = prices_of(larder_case(tmp_path))
    limit = next(k for k in binding(prices.program, prices.relaxation, prices.readings) if not k.shape)
    best = float(prices.scale.best[0])
    assert limit.worth == pytest.approx(2 * 2 / 4 / (2 * 980) * 10 / best, rel=1e-3)
