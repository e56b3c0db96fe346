"""Dealing shared limits: whole units, sums never past the limit."""

from __future__ import annotations

import numpy as np
import pytest

from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import NO_HIGH, NO_LOW, Program
from optimenu.solve.components import components, whole
from optimenu.solve.split import crowded, deal
from tests.solve.synthetic import made

WHERE = Origin("stock", "stock")


def shared(low: int | None, high: int | None, coefs: tuple[int, ...] = (1, 1, 1)) -> Program:
    """Three people, one column each, one row over all of them."""
    b = Builder(0, ((0,), (1,), (2,)))
    cols = [b.column(labels=(p, 0, 0, 0, 0), high=9) for p in range(3)]
    b.row(WHERE, cols, coefs, low=low, high=high)
    return b.freeze()


def test_people_joined_by_a_shared_row_alone_are_three_components() -> None:
    parts = components(shared(None, 7))
    assert parts.count == 3
    assert parts.shared.tolist() == [0]
    assert sorted(parts.of_column.tolist()) == [0, 1, 2]


def test_a_party_with_two_members_joins_them() -> None:
    b = Builder(0, ((0,), (1,), (0, 1)))
    for party in range(3):
        b.column(labels=(party, 0, 0, 0, 0))
    assert components(b.freeze()).count == 1


@pytest.mark.parametrize(
    ("use", "dealt"),
    [
        # seven packs: 2.4 + 2.4 + 2.2 used, nothing left: largest remainders take the odd one
        ([2.4, 2.4, 2.2], {2, 3}),
        # three used of seven: each gets its one and a third of the four left, the last by remainder
        ([1.0, 1.0, 1.0], {2, 3}),
        ([7.0, 0.0, 0.0], {7, 0}),
    ],
)
def test_whole_packs_are_dealt_whole(use: list[float], dealt: set[int]) -> None:
    program = shared(None, 7)
    low, high = deal(program, components(program), np.asarray([use]))
    assert high.sum() == 7
    assert set(high[0].tolist()) <= dealt
    assert (low == NO_LOW).all()


def test_floors_are_dealt_to_no_less_than_the_floor() -> None:
    program = shared(5, None)
    low, high = deal(program, components(program), np.asarray([[1.5, 1.5, 1.5]]))
    assert low.sum() >= 5
    assert (high == NO_HIGH).all()


def test_shares_are_multiples_of_what_the_coefficients_share() -> None:
    # mass in grams, every item 40 g or 120 g: 1,000 g holds 25 units of 40
    program = shared(None, 1000, (40, 120, 40))
    _, high = deal(program, components(program), np.asarray([[100.0, 300.0, 100.0]]))
    assert high.sum() == 1000
    assert (high % 40 == 0).all()


def test_no_deal_of_a_real_shape_passes_its_cap() -> None:
    program = made(3, 4, 50, seed=5).program
    parts = components(program)
    rng = np.random.default_rng(1)
    use = rng.random((len(parts.shared), parts.count)) * 50
    low, high = deal(program, parts, use)
    for k, r in enumerate(parts.shared):
        if program.row_high[r] != NO_HIGH:
            assert high[k].sum() <= program.row_high[r]
        if program.row_low[r] != NO_LOW:
            assert low[k].sum() >= program.row_low[r] or (low[k] == high[k]).any()


def heaters(high: int, *, days: int = 1, coef: int = 1) -> Program:
    """Three people, one dish each worth 10, on each day; one row over the dishes of all days."""
    b = Builder(0, ((0,), (1,), (2,)))
    cols = [b.column(labels=(p, d, 0, 0, 0), high=9) for d in range(days) for p in range(3)]
    for c in cols:
        b.group([(c, 10)], [0] * 9)
    b.row(WHERE, cols, coef, high=high)
    return b.freeze()


@pytest.mark.parametrize(
    ("program", "price", "together"),
    [
        # three dishes of 10 are used; 2 places priced at 2 each decide over 4 of 30, at 1 each over 2
        (heaters(2), 2.0, True),
        (heaters(2), 1.0, False),
        (heaters(2), 0.0, False),
        # a limit that holds 12 dishes of three people is one of few, 13 are many: 300 g of 25 g and of 23 g
        (heaters(12), 1.0, True),
        (heaters(13), 1.0, False),
        (heaters(300, coef=25), 1.0, True),
        (heaters(300, coef=23), 1.0, False),
        # a limit of several days is dealt
        (heaters(2, days=2), 9.0, False),
    ],
)
def test_tight_limits_of_a_day_that_hold_few_servings_are_not_dealt(
    program: Program, price: float, together: bool
) -> None:
    use, multiplier = np.ones(program.n), np.asarray([price])
    assert crowded(program, components(program), use, multiplier) is together


def test_as_a_whole_nothing_is_shared() -> None:
    program = heaters(2)
    parts = whole(program)
    assert (parts.count, parts.shared.tolist()) == (1, [])
    assert parts.columns(0).tolist() == [0, 1, 2] and parts.rows(0).tolist() == [0]
