from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import Program
from optimenu.solve.linear import maximise
from optimenu.solve.merge import Merged, merge
from tests.solve.programs import brute

WHERE = Origin("rule", "rule.key")


def dense(merged: Merged) -> np.ndarray:
    m = merged.model
    out = np.zeros((len(m.row_low), len(m.cost)))
    for r in range(len(m.row_low)):
        out[r, m.index[m.start[r] : m.start[r + 1]]] = m.value[m.start[r] : m.start[r + 1]]
    return out


def two_days(**row: object) -> Program:
    """Two items on each of two days; a row a day with 25 and 40 per serving, one decimal."""
    b = Builder(0)
    cols = [[b.column(gain=5 + i, merge=i) for i in range(2)] for _ in range(2)]
    for day in range(2):
        b.row(WHERE, cols[day], [25, 40], decimals=1, merge="day", **row)
    return b.freeze()


def test_days_of_one_kind_become_one_row():
    merged = merge(two_days(low=30, high=60))
    # the sum over both days has 25 + 0 per serving of item 0 on day 0, 0 + 25 on day 1: the same
    assert dense(merged).tolist() == [[2.5, 4.0]]
    assert merged.model.row_low.tolist() == [6.0]
    assert merged.model.row_high.tolist() == [12.0]
    assert merged.model.high.tolist() == [2, 2]
    assert (merged.high_row.tolist(), merged.low_row.tolist()) == ([0], [0])


def test_unequal_sums_take_the_least_above_and_the_greatest_below():
    b = Builder(0)
    cols = [b.column(merge="x") for _ in range(3)]
    b.row(WHERE, cols[:2], [3, 5], low=1, high=9)
    merged = merge(b.freeze())
    # column 2 is not in the row: its coefficient is 0
    assert dense(merged).tolist() == [[0.0], [5.0]]
    assert merged.model.row_high.tolist() == [9.0, np.inf]
    assert merged.model.row_low.tolist() == [-np.inf, 1.0]


def test_a_column_outside_a_row_of_negative_coefficients_counts_as_nothing():
    b = Builder(0)
    cols = [b.column(merge="x") for _ in range(3)]
    b.row(WHERE, cols[:2], [-3, -5], low=-4)
    assert dense(merge(b.freeze())).tolist() == [[0.0]]


def test_the_best_gain_of_a_class_counts():
    b = Builder(0)
    for gain in (-4, -2):
        b.column(gain=gain, merge="x")
    merged = merge(b.freeze())
    assert (merged.model.cost * merged.goal_unit).tolist() == [-2]


def test_soft_rows_take_the_least_price_and_soften_hard_ones():
    b = Builder(0)
    cols = [b.column(gain=1, merge="x") for _ in range(3)]
    for c, price in zip(cols, (7, 4, -1), strict=True):
        b.row(WHERE, [c], [10], low=10, high=10, decimals=1, price=price, merge="soft")
    merged = merge(b.freeze())
    slacks = merged.model.cost[1:] * merged.goal_unit
    # 4 a tenth is 40 a unit, on either side
    assert slacks.tolist() == pytest.approx([-40, -40])
    assert dense(merged)[0].tolist() == [1.0, -1.0, 1.0]


def test_rows_of_different_decimals_are_summed_in_units():
    b = Builder(0)
    cols = [b.column(gain=1, merge="x") for _ in range(2)]
    b.row(WHERE, [cols[0]], [15], high=30, decimals=1, price=5, merge="k")
    b.row(WHERE, [cols[1]], [150], high=250, decimals=2, price=1, merge="k")
    merged = merge(b.freeze())
    assert dense(merged)[0, 0] == pytest.approx(1.5)
    assert merged.model.row_high[0] == pytest.approx(5.5)
    # 5 per tenth is 0.5 per hundredth, less than 1
    assert merged.kin_price.tolist() == pytest.approx([0.5])


def test_a_limit_that_one_row_lacks_is_lost_for_all():
    b = Builder(0)
    cols = [b.column(merge="x") for _ in range(2)]
    b.row(WHERE, [cols[0]], [1], low=0, high=1, merge="k")
    b.row(WHERE, [cols[1]], [1], low=0, merge="k")
    merged = merge(b.freeze())
    assert (merged.high_row.tolist(), merged.low_row.tolist()) == ([-1], [0])


def test_equal_deductions_after_the_first_share_a_use_column_and_lengths_forbid_more():
    b = Builder(0)
    cols = [b.column(merge="x") for _ in range(6)]
    b.group([(c, 10) for c in cols], [0, 0, 0, 4])
    b.group([], [2])
    merged = merge(b.freeze())
    assert merged.use_group.tolist() == [0, 0, 0, 1]
    assert merged.model.high.tolist() == [6, 1, 2, 1, 1]
    result = maximise(merged.model)
    # four uses at 10 each, 4 off the fourth
    assert result.objective * merged.goal_unit == pytest.approx(36)
    assert [list(merged.places(u)) for u in range(4)] == [[0], [1, 2], [3], [4]]


def test_a_class_partly_in_a_group_counts_no_uses():
    b = Builder(0)
    cols = [b.column(merge="x") for _ in range(2)]
    b.group([(cols[0], 10)], [0])
    merged = merge(b.freeze())
    assert dense(merged).tolist() == [[0.0, -1.0]]
    assert merged.model.row_low.tolist() == [-np.inf]


def test_a_class_with_a_column_that_counts_twice_counts_no_uses():
    b = Builder(0)
    first, second, _ = (b.column(gain=9, merge="x") for _ in range(3))
    b.group([(first, 0), (first, 0), (second, 0)], [0])
    program = b.freeze()
    merged = merge(program)
    assert dense(merged)[0, 0] == 0
    assert merged.model.row_low.tolist() == [-np.inf]
    # the second and the third are one use; as many entries as columns would say two
    assert brute(program)[0] == 18
    assert maximise(merged.model).objective * merged.goal_unit >= 18 - 1e-9


def test_only_kins_whose_sums_are_exact_say_so():
    b = Builder(0)
    cols = [b.column(merge="x") for _ in range(2)]
    b.row(WHERE, cols, [3, 3], high=9)
    b.row(WHERE, cols, [3, 5], high=9)
    for c, decimals in zip(cols, (1, 2), strict=True):
        b.row(WHERE, [c], [10**decimals], high=3 * 10**decimals, decimals=decimals, merge="mixed")
    assert merge(b.freeze()).exact.tolist() == [True, False, False]


def test_a_column_that_may_be_negative_is_refused():
    b = Builder(0)
    b.column()
    b.column(low=-1)
    with pytest.raises(ValueError, match="column 1 may be negative; uses are counted from 0"):
        merge(b.freeze())


def test_merging_days_that_are_alike_loses_nothing():
    program = two_days(low=30, high=60)
    apart = replace(
        program,
        column_class=np.arange(program.n, dtype=np.int32),
        row_kin=np.arange(program.m, dtype=np.int32),
    )
    values = [maximise(merge(p).model).objective * merge(p).goal_unit for p in (program, apart)]
    assert values[0] == pytest.approx(values[1])
