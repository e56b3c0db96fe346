"""Cuts hold for every menu, prove no more than is true, and are worked out twice with the same result."""

from __future__ import annotations

import json
import threading
from collections import Counter
from dataclasses import asdict, fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimenu.audit.bound import check_bound
from optimenu.audit.cuts import derive
from optimenu.errors import AuditFailed
from optimenu.program.builder import Builder
from optimenu.program.certificate import HIGH, LOW, Certificate, Cut
from optimenu.program.program import HARD, Program
from optimenu.solve import cuts as module
from optimenu.solve.bound import certify, relax
from optimenu.solve.cuts import tighten
from optimenu.solve.linear import OpenModel, maximise
from optimenu.solve.merge import merge
from optimenu.solve.rounding import PARTS, WholeRows
from tests.solve.families import (
    FAMILIES,
    WHERE,
    holds,
    merged_columns,
    packed,
    spread_out,
)
from tests.solve.programs import brute, menus

ROUNDS = 6


@pytest.fixture(autouse=True)
def to_the_last_round(monkeypatch: pytest.MonkeyPatch) -> None:
    """Go on although the bound falls little: several rounds are wanted even on tiny programs."""
    monkeypatch.setattr(module, "LITTLE", -1.0)


each_family = pytest.mark.parametrize("family", FAMILIES)


LEAST = {
    "tiny": (100, {"rounded": 200, "cover": 200, "linked": 100, "on a low side": 50, "from rounded": 2}),
    "hard": (100, {"rounded": 200, "cover": 200, "linked": 100, "on a low side": 50, "from rounded": 5}),
    # random kins mix decimals and classes, and rows like that make no cuts
    "scrambled": (50, {"rounded": 20, "cover": 50, "on a low side": 20}),
    "scrambled hard": (50, {"rounded": 30, "cover": 50, "on a low side": 30}),
    "packed": (130, {"rounded": 600, "cover": 50, "later": 20, "linked": 500, "from cover": 80}),
    "opened": (120, {"rounded": 600, "cover": 300, "later": 100, "linked": 400, "from cover": 250}),
}
"""Programs with menus and cuts among 150 of a family, and how many cuts there must be of a kind."""


def kind_of(cut: Cut) -> str:
    return "cover" if cut.cover else "later" if cut.later else "rounded"


@each_family
def test_every_cut_holds_for_every_menu_and_the_audit_derives_the_same(family: str) -> None:
    seen: Counter[str] = Counter()
    for seed in range(150):
        program = FAMILIES[family](seed)
        merged = merge(program)
        made = tighten(program, merged, ROUNDS).cuts
        x, _ = menus(program)
        counts = merged_columns(program, merged, x)
        limits = derive(program, [cut.cut for cut in made])
        for row, limit in zip(made, limits, strict=True):
            assert spread_out(program, merged, row) == {k: a for k, a in limit.coef.items() if a}
            assert row.high == limit.high
            room = row.high - counts[:, row.column] @ row.coef.astype(object)
            assert (room >= 0).all()
            cut, kind = row.cut, kind_of(row.cut)
            seen[kind] += 1
            seen[f"tight {kind}"] += bool(len(room) and (room == 0).any())
            seen["turned"] += bool(cut.turned or cut.turned_uses)
            seen["linked"] += bool(cut.links)
            seen["on a low side"] += any(side == LOW for *_, side in cut.kins)
            seen.update({f"from {kind_of(made[k].cut)}" for k, _ in cut.cuts})
        seen["programs"] += bool(len(x) and made)
    programs, least = LEAST[family]
    assert seen["programs"] > programs
    for what, number in least.items():
        assert seen[what] > number, what
    assert seen["tight rounded"] > seen["rounded"] / (12 if family == "packed" else 3)
    assert seen["tight cover"] > 0.7 * seen["cover"] and seen["tight later"] > 0.7 * seen["later"]
    assert seen["turned"] > 10
    if family in ("packed", "opened"):
        assert seen["from rounded"] > seen["rounded"] / 2 and seen["from later"] > 20


@each_family
def test_the_cuts_of_a_round_cut_off_the_answer_before_it(family: str) -> None:
    for seed in range(60):
        program = FAMILIES[family](seed)
        merged = merge(program)
        x = maximise(merged.model).x
        for cut in tighten(program, merged, 1).cuts:
            assert x[cut.column] @ (cut.coef / cut.size) > cut.high / cut.size


@each_family
def test_bounds_with_cuts_are_lower_true_and_proved_again(family: str) -> None:
    lower = 0
    for seed in range(150):
        program = FAMILIES[family](seed)
        merged = merge(program)
        without, relaxation = relax(program, merged), relax(program, merged, rounds=ROUNDS)
        best = brute(program)
        assert relaxation.status == without.status
        if relaxation.status != "solved":
            assert best is None
            continue
        certificate = certify(program, relaxation)
        assert check_bound(program, certificate).proved == certificate.bound
        linear = relaxation.value * 10**program.goal_decimals
        # rounding up to a whole goal unit is the only loss of size
        assert certificate.bound <= linear + 1 + 1e-7 * abs(linear)
        assert relaxation.value <= without.value + 1e-7 * abs(without.value)
        lower += certificate.bound < certify(program, without).bound
        if best is not None:
            assert certificate.bound >= best[0]
    # the tiny ones have mostly answers in whole numbers as they are
    assert lower > {"packed": 100, "opened": 50, "tiny": 5, "hard": 5}.get(family, -1)


def three_rows() -> Program:
    """Max 4 a - b under 7 a - 2 b <= 14, b <= 3, 2 a - 2 b <= 3 in whole numbers; the best is (2, 1), 7.

    The example of Gomory's cuts in L. A. Wolsey, Integer Programming, Wiley 1998, chapter 8 (from
    memory). Its first tableau has a + s1 / 7 + 2 s2 / 7 = 20 / 7, which gives a <= 2; the next one has
    b - s3 / 2 + s4 = 1 / 2, where s4 is the slack of the first cut, which gives a - b <= 1.
    """
    b = Builder(0)
    x, y = b.column(high=9, gain=4), b.column(high=9, gain=-1)
    b.row(WHERE, [x, y], [7, -2], high=14)
    b.row(WHERE, [y], [1], high=3)
    b.row(WHERE, [x, y], [2, -2], high=3)
    return b.freeze()


def test_the_published_cuts_come_out_of_the_rows() -> None:
    program = three_rows()
    rows = WholeRows(program, merge(program))
    none = np.zeros(0, dtype=np.int64)
    high = np.full(2, HIGH)
    first = rows.round(np.asarray([0, 1]), np.asarray([1 / 7, 2 / 7]), high, none)
    assert first is not None
    assert (first.column.tolist(), first.coef.tolist(), first.high) == ([0], [1], 2)
    rows.add([first])
    # the second equation with its sign turned: s3 / 2 - b - s4 = -1 / 2
    second = rows.round(np.asarray([2, 3]), np.asarray([1 / 2, -1.0]), high, none)
    assert second is not None
    assert (second.column.tolist(), second.coef.tolist(), second.high) == ([0, 1], [1, -1], 1)
    limits = derive(program, [first.cut, second.cut])
    assert [(limit.coef, limit.high) for limit in limits] == [({0: 1, 1: 0}, 2), ({0: 1, 1: -1}, 1)]


def test_the_audit_rounds_the_published_example_in_small_parts() -> None:
    first = Cut(parts=7, unit=1, kins=((0, 1, HIGH), (1, 2, HIGH)))
    second = Cut(parts=2, unit=1, kins=((2, 1, HIGH),), cuts=((0, -2),))
    limits = derive(three_rows(), [first, second])
    assert [(limit.coef, limit.high) for limit in limits] == [({0: 1, 1: 0}, 2), ({0: 1, 1: -1}, 1)]


def test_the_published_example_is_solved_by_its_cuts() -> None:
    program = three_rows()
    # 59 / 7 by the book
    assert relax(program).value == pytest.approx(59 / 7)
    relaxation = relax(program, rounds=ROUNDS)
    assert relaxation.value == pytest.approx(7)
    certificate = certify(program, relaxation)
    assert certificate.bound == check_bound(program, certificate).proved == 7 == brute(program)[0]
    assert any(cut.cuts for cut in certificate.cuts)


def test_a_low_side_and_a_high_end_are_rounded_as_by_hand() -> None:
    """3 a + 5 b - s = 7 with b = 2 - b', less a quarter of it: -3/4 a + 5/4 b' + s/4 = 3/4.

    Rounded with f = 3/4 that is -1/4 a + 1/4 b' + 0 s <= 0, or a + b >= 2.
    """
    b = Builder(0)
    x, y = b.column(high=4), b.column(high=2)
    b.row(WHERE, [x, y], [3, 5], low=7)
    program = b.freeze()
    rows = WholeRows(program, merge(program))
    cut = rows.round(np.asarray([0]), np.asarray([-0.25]), np.asarray([LOW]), np.asarray([1]))
    assert cut is not None
    assert cut.cut.turned == (1,)
    assert (cut.coef.tolist(), cut.high) == ([-1, -1], -2)
    (limit,) = derive(program, [cut.cut])
    assert (limit.coef, limit.high) == ({0: -1, 1: -1}, -2)


def test_a_program_with_continuous_columns_has_no_cuts() -> None:
    program = three_rows()
    assert relax(program, rounds=ROUNDS).cuts
    fractions = replace(program, continuous=np.asarray([False, True]))
    assert relax(fractions, rounds=ROUNDS).cuts == ()


def test_without_rounds_or_after_a_stop_there_are_no_cuts() -> None:
    stop = threading.Event()
    assert relax(three_rows(), rounds=ROUNDS, stop=stop).cuts
    stop.set()
    stopped = relax(three_rows(), rounds=ROUNDS, stop=stop)
    assert (stopped.status, stopped.cuts) == ("solved", ())
    assert relax(three_rows(), rounds=0).cuts == ()


def test_the_little_that_a_round_gains_ends_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LITTLE", 1.0)
    assert len(relax(three_rows(), rounds=ROUNDS).cuts) == 1


def test_soft_rows_serve_no_cut() -> None:
    program = three_rows()
    soft = replace(program, row_price=np.asarray([HARD, 10, HARD]))
    rows = WholeRows(soft, merge(soft))
    assert rows.usable.tolist() == [True, False, True]
    # still true, and lower for what the hard rows alone give
    relaxation = relax(soft, rounds=ROUNDS)
    assert check_bound(soft, certify(soft, relaxation)).proved >= brute(soft)[0]


def test_where_cuts_leave_nothing_the_bound_before_them_stands() -> None:
    b = Builder(0)
    x, y = b.column(high=3, gain=1), b.column(high=3, gain=1)
    b.row(WHERE, [x, y], [2, 2], low=3, high=3)
    program = b.freeze()
    relaxation = relax(program, rounds=ROUNDS)
    # 2 a + 2 b = 3 has no answer in whole numbers; 3 / 2 is what fractions reach
    assert (relaxation.status, relaxation.value, relaxation.cuts) == ("solved", pytest.approx(1.5), ())
    assert certify(program, relaxation).bound == 2


def test_numbers_too_large_for_floating_point_serve_no_cut() -> None:
    large = 1 << 49
    b = Builder(0)
    x, y, wide = b.column(high=3, gain=3), b.column(high=3, gain=2), b.column(high=large, gain=0)
    b.row(WHERE, [x, y], [3, 2], high=8)
    # too large a coefficient, too large a limit, too many uses of a column
    b.row(WHERE, [x, y], [1 - large, 1], high=5)
    b.row(WHERE, [x, y], [3, 2], high=large)
    b.row(WHERE, [x, wide], [1, 1], high=5)
    program = b.freeze()
    assert WholeRows(program, merge(program)).usable.tolist() == [True, False, False, False]
    certificate = certify(program, relax(program, rounds=ROUNDS))
    assert check_bound(program, certificate).proved == certificate.bound


def test_limits_are_summed_in_whole_numbers() -> None:
    """Three times 0.29 are 87 hundredths, whatever 0.29 + 0.29 + 0.29 comes to."""
    b = Builder(0)
    for _ in range(3):
        b.row(WHERE, [b.column(merge="x")], [1], high=29, decimals=2, merge="k")
    program = b.freeze()
    rows = WholeRows(program, merge(program))
    assert (rows.usable.tolist(), rows.high.tolist(), rows.coef.tolist()) == ([True], [87.0], [1])


def test_groups_without_rows_have_nothing_to_cut() -> None:
    b = Builder(0)
    b.group([(b.column(high=2), 3)], [0, 4])
    program = b.freeze()
    relaxation = relax(program, rounds=ROUNDS)
    assert (relaxation.value, relaxation.cuts) == (pytest.approx(3), ())
    assert relax(Builder(0).freeze(), rounds=ROUNDS).cuts == ()
    b = Builder(0)
    b.row(WHERE, [], [], high=1)
    assert relax(b.freeze(), rounds=ROUNDS).cuts == ()


def test_links_lean_on_one_side_whatever_the_noise(monkeypatch: pytest.MonkeyPatch) -> None:
    real = OpenModel.row_values
    linked = 0
    for noise in (-1e-12, 1e-12):
        monkeypatch.setattr(OpenModel, "row_values", lambda self, noise=noise: real(self) + noise)
        for seed in range(20):
            program = packed(seed)
            merged = merge(program)
            made = tighten(program, merged, ROUNDS).cuts
            for cut, limit in zip(made, derive(program, [cut.cut for cut in made]), strict=True):
                linked += bool(cut.cut.links)
                assert spread_out(program, merged, cut) == {k: a for k, a in limit.coef.items() if a}
    assert linked > 20


@pytest.mark.parametrize("limit", ["LARGEST", "MOST_NONZEROS", "MOST_ADDED"])
def test_cuts_beyond_a_limit_are_left_out(limit: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, limit, 0)
    assert relax(three_rows(), rounds=ROUNDS).cuts == ()


def test_what_the_solver_cannot_tell_makes_no_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(OpenModel, "inverse_row", lambda self, _: np.zeros(self.m))
    assert relax(three_rows(), rounds=ROUNDS).cuts == ()


def spoiled(rng: np.random.Generator, program: Program, cuts: list[Cut]) -> tuple[str, list[Cut]]:
    """Change something in one of the cuts; say what."""
    k = int(rng.integers(len(cuts)))
    cut = cuts[k]
    factor = [0, -1, 2, int(rng.integers(-PARTS, PARTS))][int(rng.integers(4))]

    def times(entries: tuple[tuple[int, ...], ...]) -> tuple[tuple[int, ...], ...]:
        one = int(rng.integers(len(entries))) if entries else 0
        return tuple((e[0], e[1] * factor, *e[2:]) if i == one else e for i, e in enumerate(entries))

    any_kin = int(rng.choice(program.row_kin))
    any_class = int(rng.choice(program.column_class))
    any_group, a, b = int(rng.integers(program.n_groups + 1)), int(rng.integers(5)), int(rng.integers(5))
    uses = len(program.deduction)
    changes = {
        "kin": {"kins": times(cut.kins)},
        "side": {"kins": tuple((kin, t, 1 - side) for kin, t, side in cut.kins)},
        "more kins": {"kins": (*cut.kins, (any_kin, factor, int(rng.integers(2))))},
        "link": {"links": times(cut.links)},
        "without links": {"links": ()},
        "earlier": {"cuts": times(cut.cuts)},
        "itself": {"cuts": ((k, 1),)},
        "turned": {"turned": tuple({any_class} ^ set(cut.turned))},
        "turned uses": {"turned_uses": (int(rng.integers(uses)),) if uses else (0,)},
        "unit": {"unit": int(rng.integers(1, 4 * cut.unit))},
        "parts": {"parts": int(rng.integers(1, 4 * PARTS))},
        "few parts": {"parts": int(rng.integers(0, 9))},
        "cover": {"cover": (any_group, any_class, a)},
        "more": {"cover": (*cut.cover[:2], cut.cover[2] + 1) if cut.cover else ()},
        "later": {"cover": (), "later": (any_group, a, b)},
    }
    what = list(changes)[int(rng.integers(len(changes) + 1)) - 1]
    if rng.random() < 0.1:
        return "order", cuts[::-1]
    return what, [*cuts[:k], replace(cut, **changes[what]), *cuts[k + 1 :]]


def test_spoiled_cuts_are_refused_or_still_true() -> None:
    refused: Counter[str] = Counter()
    changed: Counter[str] = Counter()
    families = [*FAMILIES.values(), packed]
    for seed in range(420):
        program = families[seed % len(families)](seed)
        relaxation = relax(program, rounds=ROUNDS)
        if not relaxation.cuts:
            continue
        rng = np.random.default_rng(seed)
        good = certify(program, relaxation)
        cuts = [cut.cut for cut in relaxation.cuts]
        price = tuple(rng.integers(0, 1 << max(1, good.shift - 20), len(cuts)).tolist())
        x, value = menus(program)
        for _ in range(12):
            what, other = spoiled(rng, program, cuts)
            claim = replace(good, cuts=tuple(other), cut_price=price, bound=1 << 200)
            try:
                proved = check_bound(program, claim).proved
            except AuditFailed:
                refused[what] += 1
                continue
            changed[what] += derive(program, other) != derive(program, cuts)
            assert holds(program, claim.cuts, x)
            assert not len(value) or proved >= value.max()
    assert refused["side"] > 20 and refused["itself"] > 20 and refused["order"] > 5
    assert refused["few parts"] > 5 and refused["more kins"] > 20
    assert refused["cover"] > 50 and refused["more"] > 50 and refused["later"] > 50
    for what in (
        "kin",
        "side",
        "more kins",
        "link",
        "without links",
        "earlier",
        "turned",
        "turned uses",
        "cover",
        "later",
    ):
        assert changed[what] > 5, what
    assert changed["unit"] > 20 and changed["parts"] > 20 and changed["few parts"] > 20


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(sorted(FAMILIES)), st.integers(0, 10**6), st.data())
def test_any_cut_and_any_price_prove_a_true_bound(family: str, seed: int, data: st.DataObject) -> None:
    program = FAMILIES[family](seed)
    times = st.integers(-(2**70), 2**70) | st.integers(-9, 9)
    kin = st.sampled_from(sorted(set(program.row_kin.tolist())))
    klass = st.sampled_from(sorted(set(program.column_class.tolist())))
    group = st.integers(0, max(0, program.n_groups - 1))
    use = st.integers(0, max(0, len(program.deduction) - 1))

    def some(what: st.SearchStrategy[int]) -> st.SearchStrategy[tuple[int, ...]]:
        return st.lists(what, max_size=3).map(tuple)

    cuts = [
        Cut(
            parts=data.draw(st.integers(1, 12) | st.just(PARTS)),
            unit=data.draw(st.integers(1, 12) | st.integers(1, 2**50)),
            kins=data.draw(st.lists(st.tuples(kin, times, st.integers(0, 1)), max_size=3).map(tuple)),
            links=data.draw(st.lists(st.tuples(group, times), max_size=3).map(tuple)),
            cuts=data.draw(st.lists(st.tuples(st.just(k - 1), times), max_size=1).map(tuple)) if k else (),
            turned=data.draw(some(klass)),
            turned_uses=data.draw(some(use)),
            cover=data.draw(st.just(()) | st.tuples(group, klass, st.integers(1, 3))),
            later=data.draw(st.just(()) | st.tuples(group, *[st.integers(2, 4)] * 2)),
        )
        for k in range(2)
    ]
    x, value = menus(program)
    price = data.draw(st.tuples(*[st.integers(0, 2**20)] * 2))
    none = np.zeros(0, dtype=np.int64)
    claim = Certificate(program.digest, 4, none, (), 1 << 200, cuts=tuple(cuts), cut_price=price)
    try:
        proved = check_bound(program, claim).proved
    except AuditFailed:
        return
    assert holds(program, claim.cuts, x)
    assert not len(value) or proved >= value.max()


def with_cuts() -> tuple[Program, Certificate]:
    """A certificate that names rows, links, earlier cuts, classes and uses."""
    for seed in range(50):
        program = packed(seed)
        good = certify(program, relax(program, rounds=ROUNDS))
        named = {f for cut in good.cuts for f, entries in asdict(cut).items() if entries}
        if len(named) == len(fields(Cut)):
            return program, good
    pytest.fail("no such certificate among these programs")


def test_certificates_with_cuts_survive_their_file() -> None:
    program, good = with_cuts()
    again = Certificate.from_json(good.to_json())
    assert (again.cuts, again.cut_price) == (good.cuts, good.cut_price)
    assert again.to_json() == good.to_json()
    assert check_bound(program, again) == check_bound(program, good)
    data = json.loads(good.to_json())
    del data["cuts"], data["cut_price"]
    assert Certificate.from_json(json.dumps(data)).cuts == ()


@pytest.mark.parametrize("value", [None, "", "12", 1.5, True, {}, [[1]], [None], 10**2 / 3])
@pytest.mark.parametrize("field", [f.name for f in fields(Cut)] + ["cuts of all", "cut_price"])
def test_a_cut_with_anything_but_whole_numbers_is_refused(field: str, value: object) -> None:
    """Whatever JSON may put in a field's place, one number too few or many included."""
    _, good = with_cuts()
    data = json.loads(good.to_json())
    where = data if field in ("cuts of all", "cut_price") else data["cuts"][-1]
    name = "cuts" if field == "cuts of all" else field
    for spoil in (value, [value], [[value]], [[1, value]], [[1, 2, value]], [[1, 2, 3, 4]]):
        if name in ("turned", "turned_uses", "cut_price") and spoil == [1]:
            continue
        where[name] = spoil
        with pytest.raises(ValueError, match="not a certificate: a field is missing or no whole number"):
            Certificate.from_json(json.dumps(data))
    if where is not data:
        del where[name]
        with pytest.raises(ValueError, match="not a certificate: a field is missing or no whole number"):
            Certificate.from_json(json.dumps(data))
