from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimenu.audit.bound import check_bound
from optimenu.errors import AuditFailed
from optimenu.program.builder import Builder
from optimenu.program.certificate import HIGH, LOW, Certificate, Cut
from optimenu.program.origin import Origin
from optimenu.program.program import Program
from optimenu.solve.bound import certify, relax
from tests.solve.programs import brute, tiny

WHERE = Origin("rule", "rule.key")


def by_hand() -> tuple[Program, Certificate]:
    """Max 5a + 4b with 1.5a + b at most 3.0 and a soft cap of 1 on b at 2 each; a, b in 0..3.

    By hand with multipliers 3 (per unit, 0.3 a tenth) and 1: 9 + 1 + max(0, 0.5) 3 + 0 = 11.5, so 12.
    """
    b = Builder(0)
    x, y = b.column(high=3, gain=5), b.column(high=3, gain=4)
    b.row(Origin("mass", "mass.high", "p1"), [x, y], [15, 10], high=30, decimals=1)
    b.row(Origin("soft", "soft.high", what="b"), [y], [1], high=1, price=2)
    b.row(Origin("floor", "floor.low"), [x, y], [1, 1], low=0)
    program = b.freeze()
    # whole numbers of a tenth are not binary: 10 places of 0.3 are 307
    rows = np.asarray([0, 1], dtype=np.int64)
    return program, Certificate(program.digest, 10, rows, (307, 1024), 12)


def refused(program: Program, certificate: Certificate, sentence: str) -> None:
    with pytest.raises(AuditFailed, match=sentence) as caught:
        check_bound(program, certificate)
    assert str(caught.value).endswith(".")
    assert str(caught.value).count("\n") == 0


def test_the_hand_made_certificate_holds():
    program, certificate = by_hand()
    # 30 * 307 + 1024 + 3 (5120 - 15 * 307) + 3 (4096 - 3070 - 1024) = 11785 of 1024: 11.51
    got = check_bound(program, certificate)
    assert (got.proved, got.claimed, got.rows) == (12, 12, 2)
    assert brute(program)[0] <= 12


def test_a_claim_above_what_is_proved_is_accepted_for_less():
    program, certificate = by_hand()
    got = check_bound(program, replace(certificate, bound=40))
    assert (got.proved, got.claimed) == (12, 40)


def test_another_program_is_refused():
    program, certificate = by_hand()
    other = replace(program, row_high=program.row_high + 1)
    refused(other, certificate, "^the bound is of another program: [0-9a-f]{12}..., not [0-9a-f]{12}...")


@pytest.mark.parametrize("shift", [-1, 5000])
def test_binary_places_out_of_reason_are_refused(shift):
    program, certificate = by_hand()
    refused(program, replace(certificate, shift=shift), f"multipliers have {shift} binary places; 0 to 4096")


def test_unequal_lengths_are_refused():
    program, certificate = by_hand()
    refused(program, replace(certificate, multiplier=(1,)), "names 2 rows and 1 multipliers")
    refused(program, replace(certificate, use_worth=(1,)), "names 0 worth groups and 1 multipliers")


@pytest.mark.parametrize("number", [-1, 3])
def test_rows_out_of_range_are_refused(number):
    program, certificate = by_hand()
    rows = np.asarray(sorted([0, number]))
    refused(program, replace(certificate, rows=rows), f"names row {number}; there are 3")


@pytest.mark.parametrize("rows", [[1, 0], [1, 1]])
def test_rows_that_do_not_rise_are_refused(rows):
    program, certificate = by_hand()
    moved = replace(certificate, rows=np.asarray(rows))
    refused(program, moved, f"row numbers must rise, but {rows[1]} follows 1")


def test_a_wrong_sign_on_a_one_sided_row_is_refused():
    program, certificate = by_hand()
    low = replace(certificate, multiplier=(-307, 1024))
    refused(program, low, r"prices the low side of row 0 \(mass.high p1\), which has none")
    high = replace(certificate, rows=np.asarray([0, 2]), multiplier=(307, 1))
    refused(program, high, r"prices the high side of row 2 \(floor.low\), which has none")


def test_a_soft_row_above_its_price_is_refused():
    program, certificate = by_hand()
    check_bound(program, replace(certificate, multiplier=(307, 2048), bound=14))
    over = replace(certificate, multiplier=(307, 2049), bound=14)
    refused(program, over, r"prices the soft row 1 \(soft.high b\) above its price 2")


def test_a_claim_one_unit_too_low_is_refused():
    program, certificate = by_hand()
    refused(program, replace(certificate, bound=11), "bound 11 is claimed .* prove no less than 12")


def test_the_odd_unit_of_a_shared_column_is_not_lost():
    b = Builder(0)
    both = b.column()
    b.group([(both, 1)], [0])
    b.group([(both, 0)], [0])
    program = b.freeze()
    claim = Certificate(program.digest, 0, np.zeros(0, dtype=np.int64), (), 1)
    assert check_bound(program, claim).proved == brute(program)[0] == 1
    refused(program, replace(claim, bound=0), "bound 0 is claimed")


def test_programs_the_proof_does_not_cover_are_refused():
    b = Builder(0)
    b.group([(b.column(low=-1), 3)], [0])
    program = b.freeze()
    none = Certificate(program.digest, 0, np.zeros(0, dtype=np.int64), (), 9)
    refused(program, none, "column 0 counts uses in a worth group but may be negative")


def test_deductions_that_fall_are_proved_by_trying_every_number_of_uses():
    b = Builder(0)
    x = b.column(high=3)
    b.group([(x, 3)], [0, 0, 0])
    program = replace(b.freeze(), deduction=np.asarray([5, 4, -3]))
    # the first two uses lose 2 and 1, the third makes 6: all three are worth 3, none of them 0
    claim = Certificate(program.digest, 0, np.zeros(0, dtype=np.int64), (), 3)
    assert check_bound(program, claim).proved == brute(program)[0] == 3
    refused(program, replace(claim, bound=2), "bound 2 is claimed")


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 10**6), st.data())
def test_deductions_in_any_order_prove_a_true_bound(seed, data):
    program = tiny(seed)
    steps = st.integers(-30, 30)
    count = len(program.deduction)
    program = replace(
        program, deduction=np.asarray(data.draw(st.lists(steps, min_size=count, max_size=count)))
    )
    # every row without a price: then the best of the groups is all there is
    claim = Certificate(program.digest, 0, np.zeros(0, dtype=np.int64), (), 10**9)
    best = brute(program)
    if best is not None:
        assert check_bound(program, claim).proved >= best[0]


def one_cut() -> tuple[Program, Certificate]:
    """Max a + b with 2 a + 2 b at most 3 and a soft row, in one group: half of the first says a + b <= 1."""
    b = Builder(0)
    x, y = b.column(high=2, gain=1), b.column(high=2, gain=1)
    b.group([(x, 0), (y, 0)], [0, 0, 0, 0])
    b.row(WHERE, [x, y], [2, 2], high=3, merge="cut")
    b.row(WHERE, [x], [1], high=2, price=3, merge="soft")
    program = b.freeze()
    none = np.zeros(0, dtype=np.int64)
    cut = Cut(parts=2, unit=1, kins=((0, 1, HIGH),))
    return program, Certificate(program.digest, 0, none, (), 1, cuts=(cut,), cut_price=(1,))


def test_a_cut_lowers_what_is_proved():
    program, certificate = one_cut()
    assert check_bound(program, certificate).proved == brute(program)[0] == 1
    # without it: two and two at 1 each
    without = replace(certificate, cuts=(), cut_price=())
    refused(program, without, "bound 1 is claimed but its multipliers prove no less than 4")
    free = replace(certificate, cut_price=(0,))
    refused(program, free, "bound 1 is claimed but its multipliers prove no less than 4")


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"parts": 0}, "cut 0 of the bound counts in parts 0 and units 1; both must be 1 or more"),
        ({"unit": -3}, "cut 0 of the bound counts in parts 2 and units -3; both must be 1 or more"),
        ({"kins": ((7, 1, HIGH),)}, "cut 0 of the bound names rows 7, side 0, which are not there"),
        ({"kins": ((0, 1, 2),)}, "cut 0 of the bound names rows 0, side 2, which are not there"),
        ({"kins": ((0, 1, LOW),)}, "cut 0 of the bound leans on a side of row 0 that nothing has to keep"),
        ({"kins": ((1, 1, HIGH),)}, "cut 0 of the bound leans on a side of row 1 that nothing has to keep"),
        ({"cuts": ((0, 1),)}, "cut 0 of the bound follows from cut 0, which does not come before it"),
        ({"cuts": ((-1, 1),)}, "cut 0 of the bound follows from cut -1, which does not come before it"),
        ({"links": ((1, 1),)}, "cut 0 of the bound names worth group 1; there are 1"),
        ({"links": ((-1, 1),)}, "cut 0 of the bound names worth group -1; there are 1"),
        ({"turned": (5,)}, "cut 0 of the bound turns columns 5, which are not there"),
        ({"turned_uses": (4,)}, "cut 0 of the bound turns use 4; there are 4"),
        ({"turned_uses": (-1,)}, "cut 0 of the bound turns use -1; there are 4"),
    ],
)
def test_a_cut_of_what_is_not_there_is_refused(change, sentence):
    program, certificate = one_cut()
    refused(program, replace(certificate, cuts=(replace(certificate.cuts[0], **change),)), f"^{sentence}.$")


def test_prices_that_do_not_fit_the_cuts_are_refused():
    program, certificate = one_cut()
    refused(program, replace(certificate, cut_price=()), "the bound names 1 cuts and 0 multipliers")
    refused(program, replace(certificate, cut_price=(-1,)), "prices the low side of cut 0, which has none")


def test_cuts_of_programs_that_are_not_in_whole_numbers_from_0_are_refused():
    program, certificate = one_cut()
    fraction = replace(program, continuous=np.asarray([False, True]))
    moved = replace(certificate, digest=fraction.digest)
    refused(fraction, moved, "column 1 may be a fraction, which the bound's cuts do not cover")
    below = replace(program, low=np.asarray([0, -1]))
    moved = replace(certificate, digest=below.digest)
    refused(below, moved, "column 1 may be negative, which the bound's cuts do not cover")


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.data())
def test_a_spoiled_certificate_proves_more_or_is_refused(seed, data):
    program = tiny(seed)
    relaxation = relax(program)
    if relaxation.status != "solved":
        return
    good = certify(program, relaxation)
    best = brute(program)
    if not len(good.rows):
        return
    k = data.draw(st.integers(0, len(good.rows) - 1))
    change = data.draw(st.sampled_from(["zero", "double", "turn"]))
    v = {"zero": 0, "double": 2 * good.multiplier[k], "turn": -good.multiplier[k]}[change]
    spoiled = replace(good, multiplier=(*good.multiplier[:k], v, *good.multiplier[k + 1 :]))
    try:
        got = check_bound(program, spoiled)
    except AuditFailed:
        return
    # accepted: then the claim is as true as before
    assert got.proved <= good.bound
    assert best is None or got.proved >= best[0]


def test_a_multiplier_taken_out_makes_the_claim_fall_short():
    refusals = 0
    for seed in range(40):
        program = tiny(seed)
        relaxation = relax(program)
        if relaxation.status != "solved":
            continue
        good = certify(program, relaxation)
        for k in range(len(good.rows)):
            without = replace(
                good,
                rows=np.delete(good.rows, k),
                multiplier=good.multiplier[:k] + good.multiplier[k + 1 :],
            )
            try:
                assert check_bound(program, without).proved <= good.bound
            except AuditFailed as refusal:
                refusals += 1
                assert "its multipliers prove no less than" in str(refusal)
    assert refusals > 20


def test_a_claim_lowered_by_a_millionth_is_refused():
    lowered = 0
    for seed in range(20):
        small = tiny(seed)
        program = replace(
            small,
            gain=small.gain * 10**7,
            group_gain=small.group_gain * 10**7,
            deduction=small.deduction * 10**7,
        )
        relaxation = relax(program)
        if relaxation.status != "solved":
            continue
        good = certify(program, relaxation)
        less = good.bound - abs(good.bound) // 10**6
        if less < good.bound:
            lowered += 1
            refused(program, replace(good, bound=less), "is claimed but its multipliers prove no less")
    assert lowered >= 10
