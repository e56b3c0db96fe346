"""Covers and the order of uses: true for every menu, all that the audit grants, and they lower the bound."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import partial
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import pytest

from optimenu.audit.bound import check_bound
from optimenu.audit.cuts import derive
from optimenu.errors import AuditFailed
from optimenu.program.builder import Builder
from optimenu.program.certificate import Certificate, Cut
from optimenu.program.program import CEIL, LINK, NO_HIGH, NO_LOW, Program
from optimenu.solve import cuts as module
from optimenu.solve.bound import certify, relax
from optimenu.solve.covers import Waiting, covers, laters
from optimenu.solve.cuts import ROUNDS
from optimenu.solve.linear import maximise
from optimenu.solve.merge import Merged, merge
from tests.solve.families import FAMILIES, WHERE, holds, odd, opened, spread_out
from tests.solve.programs import brute, menus

if TYPE_CHECKING:
    from collections.abc import Callable

EVERY: dict[str, Callable[[int], Program]] = {
    **FAMILIES,
    "scrambled opened": partial(opened, scramble=True),
    "odd": odd,
}
each_family = pytest.mark.parametrize("family", EVERY)


@pytest.fixture
def nothing_rounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_COLUMNS", 0)
    monkeypatch.setattr(module, "MOST_ROWS", 0)


def jars() -> Program:
    """A dish on plan days that come round by turns on four dates; a jar of ten is opened every two dates.

    Worth 10 a time, 1 less the second time. Each jar takes 3 of the room of 4, and one use takes two.
    """
    b = Builder(0)
    days = [b.column(merge="dish"), b.column(merge="dish")]
    b.group([(c, 10) for c in days], [0, 1])
    both = [b.extra(CEIL, days, 1, origin=WHERE, divisor=10, high=2, merge="jars") for _ in range(2)]
    b.row(WHERE, both, 3, high=4)
    return b.freeze()


def named(waiting: Waiting) -> list[tuple[int, ...]]:
    return [tuple(name) for name in waiting.name.tolist()]


def granted(program: Program, cut: Cut) -> bool:
    """Whether the audit grants a limit; it must then hold for every menu."""
    try:
        derive(program, [cut])
    except AuditFailed:
        return False
    assert holds(program, (cut,), menus(program)[0])
    return True


def test_the_jars_by_hand() -> None:
    program = jars()
    merged = merge(program)
    label = int(program.column_class[-1])
    assert named(covers(program, merged)) == [(0, label, 2)]
    assert named(laters(program, merged)) == [(0, 2, 2)]
    # uses stand after the two columns of the dish and the two of the jars
    (cover, later) = derive(program, [Cut(1, 1, cover=(0, label, 2)), Cut(1, 1, later=(0, 2, 2))])
    assert (cover.coef, cover.high) == ({4: 2, 2: -1, 3: -1}, 0)
    assert (later.coef, later.high) == ({4: -1, 5: 1}, 0)


@pytest.mark.usefixtures("nothing_rounded")
def test_the_bound_of_the_jars_by_hand() -> None:
    program = jars()
    # both uses at once take 2 / 5 of a jar
    assert relax(program, rounds=0).value == pytest.approx(19)
    # the room holds 4 / 3 jars, so 2 / 3 of a first use; the second would come without it: 20 / 3 + 9
    assert relax(program, rounds=1).value == pytest.approx(47 / 3)
    # it comes after the first: 2 / 3 of 19
    relaxation = relax(program, rounds=2)
    assert relaxation.value == pytest.approx(38 / 3)
    certificate = certify(program, relaxation)
    assert [bool(cut.cover) for cut in certificate.cuts] == [True, False]
    assert check_bound(program, certificate).proved == certificate.bound == 13


def test_rounding_goes_on_from_covers() -> None:
    # 4 / 3 jars are one jar, half a first use is none, and then there is no second
    program = jars()
    certificate = certify(program, relax(program, rounds=ROUNDS))
    assert check_bound(program, certificate).proved == certificate.bound == brute(program)[0] == 0


def all_of(waiting: Waiting, merged: Merged) -> list[Cut]:
    return [row.cut for row in waiting.broken(np.zeros(len(merged.model.cost)), -1.0)]


@each_family
def test_covers_claim_all_that_the_audit_grants_and_no_more(family: str) -> None:
    seen: Counter[int] = Counter()
    for seed in range(60):
        program = EVERY[family](seed)
        merged = merge(program)
        waiting = covers(program, merged)
        claims = {(g, k): n for g, k, n in named(waiting)}
        assert len(claims) == len(waiting.name)
        for row in waiting.broken(np.zeros(len(merged.model.cost)), -1.0):
            (limit,) = derive(program, [row.cut])
            assert spread_out(program, merged, row) == limit.coef
            assert (row.high, row.size) == (limit.high, 1.0) == (0, 1.0)
        every = product(range(program.n_groups), np.unique(program.column_class).tolist())
        for g, k in every:
            if program.group_start[g] == program.group_start[g + 1]:
                continue
            n = claims.get((g, k), 0)
            assert all(granted(program, Cut(1, 1, cover=(g, k, less))) for less in range(1, n + 1))
            assert not granted(program, Cut(1, 1, cover=(g, k, n + 1)))
            seen[n] += 1
    assert seen[0] > 30 and seen[1] > 30
    if "opened" in family or family == "odd":
        assert seen[2] + seen[3] > 30


@each_family
def test_laters_are_all_that_the_audit_grants(family: str) -> None:
    seen = 0
    for seed in range(25):
        program = EVERY[family](seed)
        merged = merge(program)
        waiting = laters(program, merged)
        for row in waiting.broken(np.zeros(len(merged.model.cost)), -1.0):
            (limit,) = derive(program, [row.cut])
            assert spread_out(program, merged, row) == limit.coef
            seen += 1
        for g, a, b in product(range(program.n_groups), range(-1, 6), range(-1, 6)):
            uses = int(program.deduct_start[g + 1] - program.deduct_start[g])
            assert granted(program, Cut(1, 1, later=(g, a, b))) == (2 <= a <= b <= uses)
        # the uses after a group's first, each once
        told = [(g, k) for g, a, b in named(waiting) for k in range(a, b + 1)]
        lengths = np.diff(program.deduct_start).tolist()
        assert told == [(g, k) for g, n in enumerate(lengths) for k in range(2, n + 1)]
    assert seen > 40


@each_family
def test_only_what_an_answer_breaks_is_added(family: str) -> None:
    seen: Counter[str] = Counter()
    for seed in range(60):
        program = EVERY[family](seed)
        merged = merge(program)
        x = maximise(merged.model).x
        for waiting in (covers(program, merged), laters(program, merged)):
            broken = [row.cut for row in waiting.broken(x, 1e-4)]
            values = [
                float(coef @ x[column]) for column, coef in zip(waiting.column, waiting.coef, strict=True)
            ]
            every = all_of(waiting, merged)
            assert broken == [cut for cut, value in zip(every, values, strict=True) if value > 1e-4]
            seen[waiting.field] += len(broken)
    assert family == "scrambled opened" or seen["cover"] > 10
    # the first use is never dearer than a later one, as long as no cover makes it so
    assert seen["later"] == 0


@pytest.mark.usefixtures("nothing_rounded")
def test_covers_alone_lower_the_bound_where_jars_are_opened() -> None:
    lower, ordered = 0, 0
    for seed in range(150):
        program = opened(seed)
        without, relaxation = relax(program), relax(program, rounds=ROUNDS)
        assert {bool(row.cut.cover or row.cut.later) for row in relaxation.cuts} <= {True}
        before, certificate = certify(program, without), certify(program, relaxation)
        assert check_bound(program, certificate).proved == certificate.bound
        best = brute(program)
        assert best is None or certificate.bound >= best[0]
        lower += certificate.bound < before.bound * 0.99
        ordered += any(cut.later for cut in certificate.cuts)
    assert lower > 40 and ordered > 20


def opened_by_a_use(program: Program) -> int:
    """The fewest jars of the last class that are 1 or more in a menu that uses the first group."""
    x, _ = menus(program)
    extras = np.flatnonzero(program.column_class == program.column_class[-1])
    extras = extras[extras >= program.n_menu]
    members = program.group_column[: program.group_start[1]]
    return int((x[x[:, members].any(axis=1)][:, extras] >= 1).sum(axis=1).min())


@pytest.mark.parametrize(
    ("change", "n"),
    [
        ({}, 2),
        # the fourth entry is the second day's in the second jar
        ({"extra_coef": [1, 1, 1, -1]}, 1),
        ({"extra_coef": [1, 1, 1, 0]}, 1),
        ({"extra_coef": [1, -1, 1, 0]}, 0),
        ({"extra_divisor": [10, -10]}, 1),
        ({"extra_divisor": [-1, -1]}, 0),
        ({"extra_column": [0, 1, 1, 1]}, 1),
        ({"extra_column": [0, 0, 1, 1]}, 1),
        ({"extra_column": [0, 0, 0, 0]}, 0),
    ],
)
def test_only_what_every_use_opens_is_claimed(change: dict[str, list[int]], n: int) -> None:
    program = jars()
    link = program.row_kind == LINK
    # nothing but their definition ties the jars, and there is room for all
    program = replace(
        program,
        row_low=np.where(link, NO_LOW, program.row_low),
        row_high=np.full(program.m, NO_HIGH),
        **{f: np.asarray(values) for f, values in change.items()},
    )
    label = int(program.column_class[-1])
    assert named(covers(program, merge(program))) == ([(0, label, n)] if n else [])
    assert [granted(program, Cut(1, 1, cover=(0, label, k))) for k in (1, 2, 3)] == [n >= 1, n >= 2, False]
    assert opened_by_a_use(program) >= n


def test_what_else_may_be_in_a_class_group_or_bound() -> None:
    program = jars()
    label = int(program.column_class[-1])
    cover = Cut(1, 1, cover=(0, label, 2))
    # a jar that the dish does not feed, a jar that may not be opened, a day on which there is none
    apart = replace(program, extra_column=np.asarray([0, 1, 0, 0]), extra_coef=np.asarray([1, 1, 1, 1]))
    assert named(covers(apart, merge(apart))) == [(0, label, 1)]
    shut = replace(program, high=np.asarray([1, 1, 2, 0]))
    never = replace(program, high=np.asarray([0, 0, 2, 2]))
    for other in (shut, never):
        assert named(covers(other, merge(other))) == [(0, label, 2)]
        assert granted(other, cover)
        certificate = certify(other, relax(other, rounds=ROUNDS))
        assert check_bound(other, certificate).proved == certificate.bound == 0
    # the whole class counts, whatever else is in it
    mixed = replace(program, column_class=np.asarray([label, label, label, label], dtype=np.int32))
    (row,) = covers(mixed, merge(mixed)).broken(np.zeros(5), -1.0)
    (limit,) = derive(mixed, [row.cut])
    assert spread_out(mixed, merge(mixed), row) == limit.coef == {4: 2, 0: -1, 1: -1, 2: -1, 3: -1}
    # numbers beyond what floating point counts in are left alone, as in rows
    wide = replace(program, high=np.asarray([1, 1, 1, 1 << 48]))
    assert named(covers(wide, merge(wide))) == []


def test_groups_without_columns_or_uses() -> None:
    b = Builder(0)
    day = b.column(merge="dish")
    b.group([], [0, 1])
    b.group([(day, 3)], [])
    jar = b.extra(CEIL, [day], 1, origin=WHERE, divisor=4, merge="jars")
    program = b.freeze()
    merged = merge(program)
    assert named(covers(program, merged)) == []
    assert named(laters(program, merged)) == [(0, 2, 2)]
    # whatever is said of a use that never comes is true
    assert granted(program, Cut(1, 1, cover=(0, int(program.column_class[jar]), 10**30)))
    relaxation = relax(program, merged, rounds=ROUNDS)
    certificate = certify(program, relaxation)
    assert check_bound(program, certificate).proved == certificate.bound == 0
    empty = Builder(0).freeze()
    assert named(covers(empty, merge(empty))) == named(laters(empty, merge(empty))) == []


def refused(program: Program, cut: Cut, sentence: str) -> None:
    none = np.zeros(0, dtype=np.int64)
    claim = Certificate(program.digest, 0, none, (), 1 << 200, cuts=(cut,), cut_price=(1,))
    again = Certificate.from_json(claim.to_json())
    assert again.cuts == (cut,)
    with pytest.raises(AuditFailed) as caught:
        check_bound(program, again)
    assert str(caught.value) == f"cut 0 of the bound {sentence}."


@pytest.mark.parametrize(
    ("cover", "sentence"),
    [
        ((0,), "covers [0], which is not there"),
        ((0, 1), "covers [0, 1], which is not there"),
        ((0, 1, 2, 3), "covers [0, 1, 2, 3], which is not there"),
        ((-1, 1, 1), "covers [-1, 1, 1], which is not there"),
        ((2, 1, 1), "covers [2, 1, 1], which is not there"),
        ((0, 9, 1), "covers [0, 9, 1], which is not there"),
        ((0, 1, 0), "covers [0, 1, 0], which is not there"),
        ((0, 1, -2), "covers [0, 1, -2], which is not there"),
        ((1, 1, 1), "covers worth group 1, which has no uses"),
        ((0, 1, 3), "claims 3 extra columns for column 0, which feeds 2"),
        ((0, 0, 1), "claims 1 extra columns for column 0, which feeds 0"),
    ],
)
def test_covers_of_what_is_not_there_are_refused(cover: tuple[int, ...], sentence: str) -> None:
    program = jars()
    program = replace(
        program,
        group_start=np.asarray([0, 2, 3]),
        group_column=np.asarray([0, 1, 0], dtype=np.int32),
        group_gain=np.asarray([10, 10, 0]),
        group_person=np.zeros(2, dtype=np.int32),
        deduct_start=np.asarray([0, 2, 2]),
    )
    refused(program, Cut(1, 1, cover=cover), sentence)


@pytest.mark.parametrize(
    ("later", "sentence"),
    [
        ((0,), "orders [0], which is not there"),
        ((0, 2, 2, 2), "orders [0, 2, 2, 2], which is not there"),
        ((-1, 2, 2), "orders [-1, 2, 2], which is not there"),
        ((1, 2, 2), "orders [1, 2, 2], which is not there"),
        ((0, 1, 2), "orders [0, 1, 2]; the group has 2 uses"),
        ((0, 2, 3), "orders [0, 2, 3]; the group has 2 uses"),
        ((0, 2, 1), "orders [0, 2, 1]; the group has 2 uses"),
    ],
)
def test_uses_that_are_not_there_are_refused(later: tuple[int, ...], sentence: str) -> None:
    refused(jars(), Cut(1, 1, later=later), sentence)


def test_covers_survive_the_file_of_a_certificate() -> None:
    kept = 0
    for seed in range(40):
        program = opened(seed)
        good = certify(program, relax(program, rounds=ROUNDS))
        again = Certificate.from_json(good.to_json())
        assert again.cuts == good.cuts
        assert check_bound(program, again) == check_bound(program, good)
        kept += any(cut.cover for cut in again.cuts) and any(cut.later for cut in again.cuts)
    assert kept > 5


def test_many_columns_and_classes_are_told_apart() -> None:
    """Columns times classes beyond 32 bits, in which the Program numbers its columns."""
    b = Builder(0)
    for _ in range(50_000):
        b.column()
    dish = [b.column(merge="dish"), b.column(merge="dish")]
    b.group([(c, 1) for c in dish], [0])
    for _ in range(2):
        b.extra(CEIL, dish, 1, origin=WHERE, divisor=4, merge="jars")
    program = b.freeze()
    assert named(covers(program, merge(program))) == [(0, int(program.column_class[-1]), 2)]
