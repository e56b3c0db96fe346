from __future__ import annotations

import pytest

from optimenu.program.builder import Builder
from optimenu.program.certificate import Certificate
from optimenu.program.origin import Origin
from optimenu.solve.bound import certify, relax
from optimenu.solve.direct import direct
from optimenu.solve.solve import solve
from tests.solve.programs import brute, tiny


@pytest.mark.parametrize("tight", [1.0, 0.3, 0.1])
def test_highs_agrees_with_trying_every_choice(tight):
    found = {True: 0, False: 0}
    for seed in range(120):
        program = tiny(seed, tight=tight)
        best = brute(program)
        got = direct(program)
        found[best is None] += 1
        if best is None:
            assert got.status == "impossible"
            continue
        value, x = best
        assert program.feasible(x)
        assert program.value(x) == value
        assert (got.status, got.value) == ("optimal", value)
        assert program.value(got.x) == value
        relaxation = relax(program)
        assert relaxation.status == "solved"
        assert certify(program, relaxation).bound >= value
    assert min(found.values()) >= 10


def test_cbc_agrees_with_trying_every_choice():
    found = {True: 0, False: 0}
    for seed in range(60):
        program = tiny(seed, tight=0.6)
        best = brute(program)
        got = direct(program, "CBC")
        found[best is None] += 1
        if best is None:
            assert got.status == "impossible"
        else:
            assert (got.status, got.value) == ("optimal", best[0])
    assert min(found.values()) >= 10


def test_the_whole_road_agrees_with_trying_every_choice():
    proofs = {"exact": 0, "solver": 0}
    for seed in range(80):
        program = tiny(seed, tight=0.3)
        best = brute(program)
        got = solve(program, method="direct")
        if best is None:
            assert got.end == "impossible"
            proofs[got.proof] += 1
        else:
            assert (got.end, got.value, got.closed) == ("menu", best[0], True)
            assert got.bound >= got.value
    assert min(proofs.values()) >= 5


def test_numbers_that_would_leave_64_bits_are_refused():
    b = Builder(0)
    x = b.column(high=1 << 20)
    with pytest.raises(ValueError, match="limit of .* is too large for exact arithmetic"):
        b.row(Origin("mass", "mass"), [x], [1], high=1 << 61)
    b.row(Origin("mass", "mass"), [x], [1 << 41], high=5)
    with pytest.raises(ValueError, match="coefficients of .* are too large for exact arithmetic"):
        b.freeze()


@pytest.mark.parametrize(
    "text",
    [
        "[]",
        "{}",
        '{"digest":"a","shift":0,"bound":1.5,"rows":[],"multiplier":[],"groups":[],"use_worth":[]}',
        '{"digest":"a","shift":0,"bound":1,"rows":"7","multiplier":[],"groups":[],"use_worth":[]}',
        '{"digest":"a","shift":0,"bound":1,"rows":[99999999999999999999],"multiplier":[1],'
        '"groups":[],"use_worth":[]}',
    ],
)
def test_a_certificate_file_with_anything_but_whole_numbers_is_refused(text):
    with pytest.raises(ValueError, match="not a certificate: a field is missing or no whole number"):
        Certificate.from_json(text)
