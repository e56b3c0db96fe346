"""Families of small programs in which limits of whole numbers cut something off, and what to hold them to."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from optimenu.audit.cuts import derive
from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import ANY, CEIL, HARD, LINK, NO_HIGH, NO_LOW, Program
from tests.solve.programs import tiny, uses_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimenu.program.certificate import Cut
    from optimenu.solve.merge import Merged
    from optimenu.solve.rounding import CutRow

WHERE = Origin("rule", "rule.key")


def small(seed: int, *, scramble: bool = False, hard: bool = False) -> Program:
    """A tiny program in millionths, so that rounding up to whole goal units hides no change of a bound."""
    program = tiny(seed, scramble=scramble)
    soft = (program.row_price != HARD) & (not hard)
    return replace(
        program,
        gain=program.gain * 10**6,
        group_gain=program.group_gain * 10**6,
        deduction=program.deduction * 10**6,
        row_price=np.where(soft, program.row_price * 10**6, HARD),
    )


def packed(seed: int) -> Program:
    """Three items on two like days, up to twice each, where a few sizes fit together badly: much to cut."""
    rng = np.random.default_rng(seed)
    b = Builder(0)
    days = [[b.column(high=2, low=int(rng.random() < 0.05), merge=i) for i in range(3)] for _ in range(2)]
    every = days[0] + days[1]
    for i in range(3):
        steps = np.cumsum(rng.integers(0, 3 * 10**6, 3)).tolist()
        b.group([(cols[i], int(rng.integers(4, 20) * 10**6)) for cols in days], steps)
    size, mass = rng.integers(3, 30, 3), rng.integers(30, 300, 3)
    packs = b.extra(CEIL, every[::3], 1, origin=WHERE, divisor=int(rng.integers(2, 4)), high=4)
    for cols in days:
        b.row(WHERE, cols, size, high=int(rng.integers(35, 70) * size.sum() // 50), merge="size")
        b.row(WHERE, cols, size[::-1], low=int(rng.integers(5, 30) * size.sum() // 50), merge="low")
    coefs = np.append(np.tile(mass, 2), 40)
    b.row(WHERE, [*every, packs], coefs, high=int(rng.integers(40, 100) * mass.sum() // 40), decimals=1)
    return b.freeze()


def opened(seed: int, *, scramble: bool = False) -> Program:
    """Two people, two items on some of three plan days that come round on more dates.

    Jars of several servings are opened anew in every few dates, and there is room for few of them. Some
    columns are never or twice used, some jars short. Scrambled, servings and jars share random classes.
    """
    rng = np.random.default_rng(seed)
    b = Builder(0)
    dates, span = int(rng.integers(4, 8)), int(rng.integers(1, 4))
    where = {
        (p, i, d): b.column(high=int(rng.choice([0, 1, 1, 1, 1, 2])), merge=(p, i))
        for i in range(2)
        for d in np.flatnonzero(rng.random(3) < 0.6).tolist()
        for p in range(2)
    }
    jars, size = [], []
    for p, i in product(range(2), range(2)):
        worth, steps = int(rng.integers(4, 20) * 10**6), np.cumsum(rng.integers(0, 3 * 10**6, 3)).tolist()
        b.group([(c, worth) for (q, j, _), c in where.items() if (q, j) == (p, i)], steps)
    for i in range(2):
        servings, room = int(rng.integers(2, 9)), int(rng.integers(2, 9))
        for first in range(0, dates, span):
            times = np.bincount(np.arange(first, min(first + span, dates)) % 3, minlength=3)
            columns = [c for (_, j, d), c in where.items() if j == i and times[d]]
            coefs = [int(times[d]) for (_, j, d) in where if j == i and times[d]]
            high = int(rng.choice([0, 1, 4, 4, 4, 4]))
            jars.append(b.extra(CEIL, columns, coefs, origin=WHERE, divisor=servings, high=high, merge=i))
            size.append(room)
        b.extra(ANY, [c for (_, j, _), c in where.items() if j == i], 1, origin=WHERE, merge=("used", i))
    b.row(WHERE, jars, size, high=int(rng.integers(5, 30)))
    program = b.freeze()
    if not scramble:
        return program
    return replace(program, column_class=rng.integers(0, 4, program.n).astype(np.int32))


def odd(seed: int) -> Program:
    """As ``opened``, but with extra columns that no builder writes; nothing but their definition ties them.

    Some coefficients and divisors are negative, some columns named twice.
    """
    rng = np.random.default_rng(seed)
    program = opened(seed)
    entries, extras = len(program.extra_coef), len(program.extra_kind)
    owner = np.repeat(np.arange(extras), np.diff(program.extra_start))
    first = program.extra_start[owner]
    link = program.row_kind == LINK
    return replace(
        program,
        extra_coef=program.extra_coef * rng.choice([-1, 0, 1], entries, p=[0.05, 0.05, 0.9]),
        extra_divisor=program.extra_divisor * rng.choice([-1, 1], extras, p=[0.1, 0.9]),
        extra_column=np.where(rng.random(entries) < 0.1, program.extra_column[first], program.extra_column),
        row_low=np.where(link, NO_LOW, program.row_low),
        row_high=np.where(link, NO_HIGH, program.row_high),
    )


FAMILIES: dict[str, Callable[[int], Program]] = {
    "tiny": small,
    "hard": partial(small, hard=True),
    "scrambled": partial(small, scramble=True),
    "scrambled hard": partial(small, scramble=True, hard=True),
    "packed": packed,
    "opened": opened,
}


def uses_made(program: Program, x: np.ndarray) -> np.ndarray:
    """1 for every place in ``deduction`` whose use a menu makes: bool (N, uses)."""
    owner = np.repeat(np.arange(program.n_groups), np.diff(program.deduct_start))
    number = np.arange(len(owner)) - program.deduct_start[owner]
    made: np.ndarray = uses_of(program, x)[:, owner] > number
    return made


def merged_columns(program: Program, merged: Merged, x: np.ndarray) -> np.ndarray:
    """Class totals and uses as the merged model counts them, Python integers (N, n)."""
    totals = np.zeros((len(x), merged.n_class), dtype=np.int64)
    np.add.at(totals.T, merged.class_of, x.T)
    made = uses_made(program, x)
    uses = [made[:, list(merged.places(u))].sum(axis=1) for u in range(len(merged.use_group))]
    return np.column_stack([totals, *uses]).astype(object)


def spread_out(program: Program, merged: Merged, cut: CutRow) -> dict[int, int]:
    """Nonzero coefficients of a cut by column of the Program, uses after the columns."""
    out = {}
    for c, coef in zip(cut.column.tolist(), cut.coef.tolist(), strict=True):
        if c < merged.n_class:
            out.update(dict.fromkeys(np.flatnonzero(merged.class_of == c).tolist(), coef))
        else:
            out.update({program.n + k: coef for k in merged.places(c - merged.n_class)})
    return out


def holds(program: Program, cuts: tuple[Cut, ...], x: np.ndarray) -> bool:
    """Whether every menu keeps what the audit makes of some cuts."""
    wide = np.column_stack([x, uses_made(program, x)]).astype(object)
    for limit in derive(program, cuts):
        columns = list(limit.coef)
        if not (wide[:, columns] @ np.asarray(list(limit.coef.values()), dtype=object) <= limit.high).all():
            return False
    return True
