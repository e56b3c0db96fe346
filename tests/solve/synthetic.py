"""Made-up programs of the real shape, any size, from a seed; a hidden plan keeps the hard limits."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import ANY, CEIL, Program


class Made(NamedTuple):
    program: Program
    hidden: np.ndarray
    """The plan the limits were drawn around, int64 (n_menu,)."""


# (meal, course, kind of item, least = most servings)
PATTERN = (
    (0, 0, 0, 1),
    (0, 1, 1, 1),
    (0, 2, 2, 1),
    (1, 3, 3, 1),
    (1, 4, 4, 1),
    (1, 5, 5, 1),
    (1, 1, 1, 1),
    (2, 3, 3, 1),
    (2, 4, 4, 2),
    (2, 5, 5, 1),
    (2, 1, 1, 1),
    (3, 6, 6, 2),
    (3, 1, 1, 1),
)
KINDS = (0.1, 0.12, 0.1, 0.28, 0.18, 0.1, 0.12)
LONG = (9, 12, 9, 3, 5, 5, 7)
GAP = (1, 0, 1, 3, 2, 2, 1)


def made(
    people: int = 1,
    days: int = 8,
    items: int = 60,
    *,
    seed: int = 1,
    nutrients: int = 23,
    window: float = 0.05,
    stay: float = 0.02,
    mass_cap: float | None = 1.0,
    stock_items: int = 6,
    packs: bool = True,
    places: bool = True,
    variety: bool = True,
    texture: bool = True,
    free: bool = False,
    shared_dish: bool = False,
) -> Made:
    """Return an instance.

    ``mass_cap``: crew mass against the hidden plan's own; ``stock_items`` short of packs crew-wide;
    ``packs``: items in packs of 4 a person, counted into the mass; ``places``: hot water per meal and
    day; ``variety``: distinct mains; ``texture``: soft rows; ``free``: optional condiments.
    """
    rng = np.random.default_rng(seed)
    kind = np.repeat(np.arange(7), np.maximum(2, np.round(np.asarray(KINDS) * items).astype(int)))
    items = len(kind)
    size = np.asarray([90, 250, 40, 120, 60, 50, 35])[kind]
    mass = np.maximum(5, np.round(size * rng.lognormal(0, 0.3, items))).astype(np.int64)
    rate = rng.lognormal(0, 0.6, (items, nutrients)) * rng.lognormal(0, 0.3, (7, nutrients))[kind]
    rate[rng.random((items, nutrients)) < 0.15] = 0
    content = np.round(mass[:, None] * rate * 10).astype(np.int64)
    content[:, 0] = np.round(mass * rng.lognormal(1.2, 0.25, items) * 10)
    taste = rng.normal(0, 1, (people, items)) + rng.normal(0, 1, items)
    score = np.clip(np.round(6.8 + 0.8 * taste + 0.3 * (mass / size - 1), 2), 5.01, 9.0)
    worth = np.round((score - 5) * np.asarray([1, 0.4, 0.6, 2, 1, 0.9, 0.7])[kind] * 1e6 / days / people)
    worth = worth.astype(np.int64)
    hot = (kind == 3) & (rng.random(items) < 0.6)
    parties = tuple((p,) for p in range(people))
    if shared_dish:
        parties += ((0, 1),)
    b = Builder(6, parties)
    column: dict[tuple[int, int, int, int, int], int] = {}
    for p in range(people):
        for d in range(days):
            for meal, course, k, _ in PATTERN:
                for i in np.flatnonzero(kind == k):
                    column[p, d, meal, course, int(i)] = b.column(
                        labels=(p, d, meal, course, int(i)), merge=(p, meal, course, int(i))
                    )
            if free:
                b.column(labels=(p, d, 3, 9, 0), certain=False, high=2, merge=(p, "free"))
    joint: dict[tuple[int, int], int] = {}
    if shared_dish:
        for d in range(days):
            for i in np.flatnonzero(kind == 3)[:4]:
                joint[d, int(i)] = b.column(labels=(people, d, 2, 8, int(i)), merge=("joint", int(i)))
    hidden = np.zeros(b.n_menu, dtype=np.int64)
    for p in range(people):
        used = np.zeros(items, dtype=int)
        last = np.full(items, -99)
        first = np.full(items, 99)
        for d in range(days):
            for meal, course, k, count in PATTERN:
                pool = np.flatnonzero(kind == k)
                rng.shuffle(pool)
                # the wrap of the cycle counts as well
                far = (d - last[pool] >= GAP[k]) & (first[pool] + days - d >= GAP[k]) | (GAP[k] == 0)
                fits = [
                    i
                    for i in pool[far]
                    if used[i] < LONG[k] and not hidden[column[p, d, meal, course, int(i)]]
                ]
                assert len(fits) >= count, "too few items for this many days"
                good = sorted(fits[: 4 * count], key=lambda i: -int(worth[p, i]))[:count]
                for i in good:
                    hidden[column[p, d, meal, course, int(i)]] = 1
                    used[i] += 1
                    last[i] = d
                    first[i] = min(first[i], d)
    b_rows(b, rng, column, joint, hidden, kind, mass, content, people, days, window, stay)
    for p in range(people):
        for i in range(items):
            mine = [c for (q, _, _, _, j), c in column.items() if q == p and j == i]
            low = int(worth[p, i])
            b.group(
                [(c, int(worth[p, i])) for c in mine],
                [int((1 - 0.8**k) * low) for k in range(LONG[kind[i]])],
            )
    tall = Origin("crew", "crew")
    extras = {}
    packed = [int(i) for i in np.flatnonzero(kind == 6)] if packs else []
    for p in range(people):
        for i in packed:
            mine = [c for (q, _, _, _, j), c in column.items() if q == p and j == i]
            extras[p, i] = b.extra(CEIL, mine, 1, origin=tall, divisor=4, high=days * 2, merge=("pack", p, i))
    seen = {}
    if variety:
        for p in range(people):
            for i in np.flatnonzero(kind == 3):
                mine = [c for (q, _, _, _, j), c in column.items() if q == p and j == i]
                seen[p, int(i)] = b.extra(ANY, mine, 1, origin=tall, merge=("seen", p, int(i)))
    full = b.freeze().complete(hidden)
    if mass_cap is not None:
        cols = [c for (_, _, _, _, i), c in column.items() if i not in packed]
        coefs = [int(mass[i]) for (_, _, _, _, i) in column if i not in packed]
        cols += list(extras.values())
        coefs += [4 * int(mass[i]) for _, i in extras]
        total = int(np.asarray(coefs) @ full[cols])
        b.row(tall, cols, coefs, high=int(total * mass_cap), decimals=1, merge="mass")
    for i in rng.permutation(items)[:stock_items]:
        cols = [c for (_, _, _, _, j), c in column.items() if j == i]
        b.row(tall, cols, 1, high=int(full[cols].sum()) + 1, merge=("stock", int(i)))
    if places:
        for d in range(days):
            for meal in (1, 2):
                cols = [c for (_, e, m, _, i), c in column.items() if e == d and m == meal and hot[i]]
                b.row(tall, cols, 1, high=max(int(full[cols].sum()), (people + 1) // 2), merge=("hot", meal))
    for p in range(people):
        if variety:
            cols = [y for (q, _), y in seen.items() if q == p]
            b.row(Origin("variety", "mains", str(p)), cols, 1, low=int(full[cols].sum()) - 1)
    if texture:
        for p in range(people):
            soft_food = rng.random(items) < 0.4
            for d in range(days):
                cols = [c for (q, e, _, _, i), c in column.items() if q == p and e == d and soft_food[i]]
                price = int(worth[p].mean() * 0.3)
                b.row(
                    Origin("texture", "soft", str(p), d),
                    cols,
                    1,
                    low=4,
                    high=8,
                    price=price,
                    merge=("tex", p),
                )
    return Made(b.freeze(), hidden)


def b_rows(
    b: Builder,
    rng: np.random.Generator,
    column: dict[tuple[int, int, int, int, int], int],
    joint: dict[tuple[int, int], int],
    hidden: np.ndarray,
    kind: np.ndarray,
    mass: np.ndarray,
    content: np.ndarray,
    people: int,
    days: int,
    window: float,
    stay: float,
) -> None:
    """Rows of each person by itself: pattern, nutrients of day, run and stay, gaps."""
    nutrients = content.shape[1]
    by_day: dict[tuple[int, int], tuple[list[int], list[int]]] = {}
    by_cell: dict[tuple[int, int, int, int], list[int]] = {}
    for (p, d, meal, course, i), c in column.items():
        cols, its = by_day.setdefault((p, d), ([], []))
        cols.append(c)
        its.append(i)
        by_cell.setdefault((p, d, meal, course), []).append(c)
    for (d, i), c in joint.items():
        for p in (0, 1):
            by_day[p, d][0].append(c)
            by_day[p, d][1].append(i)
    count = {(meal, course): n for meal, course, _, n in PATTERN}
    for (p, d, meal, course), cols in by_cell.items():
        n = count[meal, course]
        b.row(Origin("pattern", "p", str(p), d), cols, 1, low=n, high=n, merge=("pat", p, meal, course))
    for d in range(days if joint else 0):
        cols = [c for (e, _), c in joint.items() if e == d]
        b.row(Origin("pattern", "joint", "", d), cols, 1, low=0, high=1, merge="joint")
    for p in range(people):
        daily = np.zeros((days, nutrients), dtype=np.int64)
        for d in range(days):
            cols, its = by_day[p, d]
            daily[d] = hidden[cols] @ content[its]
        mean = daily.mean(axis=0)
        for v in range(nutrients):
            kinds = rng.integers(0, 3)
            low_day = int(daily[:, v].min()) if kinds != 1 or v == 0 else None
            high_day = int(daily[:, v].max()) if kinds != 0 or v == 0 else None
            if v == 0:
                low_day, high_day = int(min(low_day, mean[0] * 0.9)), int(max(high_day, mean[0] * 1.1))
            else:
                low_day = None if low_day is None else int(low_day * 0.97)
                high_day = None if high_day is None else int(high_day * 1.03)
            for d in range(days):
                cols, its = by_day[p, d]
                b.row(
                    Origin("day", f"n{v}", str(p), d),
                    cols,
                    content[its, v],
                    low=low_day,
                    high=high_day,
                    decimals=1,
                    merge=("day", p, v),
                )
            total = int(daily[:, v].sum())
            cols = [c for d in range(days) for c in by_day[p, d][0]]
            its = [i for d in range(days) for i in by_day[p, d][1]]
            width = max(stay, 0.001)
            b.row(
                Origin("stay", f"n{v}", str(p)),
                cols,
                content[its, v],
                low=int(total * (1 - width)) if kinds != 1 or v == 0 else None,
                high=int(total * (1 + width)) if kinds != 0 or v == 0 else None,
                decimals=1,
                merge=("stay", p, v),
            )
            for run in (3, 7):
                if days < run or v % 4 != (1 if run == 3 else 2):
                    continue
                sums = [sum(int(daily[(d + k) % days, v]) for k in range(run)) for d in range(days)]
                for d in range(days):
                    cols = [c for k in range(run) for c in by_day[p, (d + k) % days][0]]
                    its = [i for k in range(run) for i in by_day[p, (d + k) % days][1]]
                    b.row(
                        Origin("run", f"n{v}", str(p), d),
                        cols,
                        content[its, v],
                        high=int(max(sums) * (1 + window)),
                        decimals=1,
                        merge=("run", p, run, v),
                    )
        per_item: dict[int, dict[int, list[int]]] = {}
        for (q, d, _, _, i), c in column.items():
            if q == p:
                per_item.setdefault(i, {}).setdefault(d, []).append(c)
        for i, on in per_item.items():
            gap = GAP[kind[i]]
            if gap < 2 or gap > days:
                continue
            for d in range(days):
                cols = [c for k in range(gap) for c in on[(d + k) % days]]
                b.row(Origin("gap", "g", str(p), d, what=str(i)), cols, 1, high=1, merge=("gap", p, i))
