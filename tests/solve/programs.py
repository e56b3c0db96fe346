"""Tiny random Programs with every feature, and their optimum by trying every choice."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.program import ANY, CEIL, HARD, IMPLIED, NO_HIGH, NO_LOW, ORDINARY, Program

DAYS, ITEMS = 2, 2
PARTIES = ((0,), (1,), (0, 1))


def tiny(seed: int, *, scramble: bool = False, tight: float = 1.0) -> Program:
    """Return a random program of two people, two days, two items and a shared dish.

    It has packs, items used at all, soft rows, windows, use groups with deductions, columns that count
    in two groups, allowances, a crew row, an implied row and a few columns with a low of 1.

    Parameters
    ----------
    scramble : bool
        Put columns into random classes and rows into random kins; any grouping must stay true.
    tight : float
        Width of the limits; small ones make many programs impossible.
    """
    rng = np.random.default_rng(seed)
    b = Builder(goal_decimals=int(rng.integers(0, 4)), members=PARTIES)

    def kin(*parts: object) -> object:
        if scramble:
            return ("scrambled", int(rng.integers(6)))
        return parts if rng.random() < 0.8 else None

    where: dict[int, tuple[int, int, int]] = {}
    highs = []
    for party, day, item in product(range(3), range(DAYS), range(ITEMS)):
        if party == 2 and item != 0:
            continue
        allowance = party == 1 and item == 1
        low = int(rng.random() < 0.08)
        high = max(low, int(rng.integers(1, 3)) if allowance else 1)
        klass: object = ("class", int(rng.integers(4))) if scramble else (party, item, low, high)
        c = b.column(
            labels=(party, day, 0, 0, item),
            low=low,
            high=high,
            gain=int(rng.integers(-3, 12)) if allowance else 0,
            certain=not allowance,
            merge=klass,
        )
        where[c] = (party, day, item)
        highs.append(high)

    worth = rng.integers(1, 40, (2, ITEMS))
    for person, item in product(range(2), range(ITEMS)):
        columns = [c for c, (p, _, i) in where.items() if i == item and person in PARTIES[p]]
        if rng.random() < 0.85:
            uses = int(rng.integers(1, 4))
            steps = np.concatenate([[0], np.cumsum(rng.integers(0, 9, uses - 1))]).tolist()
            b.group([(c, int(worth[person, item])) for c in columns], steps)

    def limits(cols: list[int], coef: np.ndarray) -> tuple[int | None, int | None]:
        reach = int(np.abs(coef) @ np.asarray([highs[c] for c in cols]))
        middle = int(coef @ [rng.integers(0, highs[c] + 1) for c in cols])
        low = middle - int(tight * rng.integers(reach // 3, reach + 1))
        high = middle + int(tight * rng.integers(reach // 3, reach + 1))
        side = rng.random()
        return (None if side < 0.25 else low), (None if side > 0.75 else high)

    def price() -> int:
        return int(rng.integers(1, 6)) if rng.random() < 0.3 else HARD

    content = rng.integers(0, 60, (2, ITEMS))
    for nutrient, person, day in product(range(2), range(2), range(DAYS)):
        cols = [c for c, (p, d, _) in where.items() if d == day and person in PARTIES[p]]
        coef = np.asarray([content[nutrient, where[c][2]] for c in cols])
        low, high = limits(cols, coef)
        places = 1 + nutrient if not scramble else int(rng.integers(0, 3))
        b.row(
            Origin("nutrients", f"n{nutrient}", f"p{person}", day),
            cols,
            coef,
            low=low,
            high=high,
            decimals=places,
            price=price(),
            merge=kin("day", nutrient, person),
        )
    everything = sorted(where)
    mass = rng.integers(5, 30, ITEMS)
    coef = np.asarray([mass[where[c][2]] for c in everything])
    b.row(Origin("mass", "mass"), everything, coef, high=limits(everything, coef)[1], price=price())
    for person, item in product(range(2), range(ITEMS)):
        cols = [c for c, (p, _, i) in where.items() if i == item and person in PARTIES[p]]
        most = int(sum(highs[c] for c in cols))
        if rng.random() < 0.5:
            cap = int(rng.integers(1, most + 1))
            row = Origin("repeats", "at_most", f"p{person}", what=f"i{item}")
            b.row(row, cols, 1, high=cap, merge=kin("cap", person))
            b.row(row, cols, 1, high=cap + 1, kind=IMPLIED, merge=kin("implied", person))
    for item in range(ITEMS):
        cols = [c for c, (*_, i) in where.items() if i == item]
        origin = Origin("stock", "packs", what=f"i{item}")
        packs = b.extra(CEIL, cols, 1, origin=origin, divisor=int(rng.integers(2, 4)), high=6)
        used = b.extra(ANY, cols, int(rng.integers(1, 4)), origin=origin, merge=("any", item))
        b.row(origin, [packs], 1, high=int(rng.integers(2, 6)), price=price())
        b.row(Origin("variety", "least"), [used, packs], [3, -1], low=int(rng.integers(-2, 3)), price=price())
    return b.freeze()


def choices(program: Program) -> np.ndarray:
    """Every choice of servings within the column bounds, int64 (N, n_menu)."""
    spans = [range(int(a), int(z) + 1) for a, z in zip(program.low, program.high, strict=True)]
    return np.asarray(list(product(*spans[: program.n_menu])), dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Judged:
    """What became of N choices of servings.

    Attributes
    ----------
    value : int64 or int (N,)
        Whole goal units.
    outside, overused : bool (N,)
        A column bound is left; an item is used more often than its worth group allows.
    broken : dict of (rule, row kind) to bool (N,)
        Where a hard row of that rule and kind is broken.
    """

    value: np.ndarray
    outside: np.ndarray
    overused: np.ndarray
    broken: dict[tuple[str, int], np.ndarray]

    @property
    def holds(self) -> np.ndarray:
        """Where everything is kept, bool (N,)."""
        return ~np.any([self.outside, self.overused, *self.broken.values()], axis=0)

    def breaks(self, rule: str) -> np.ndarray:
        """Where a promise of this rule is broken, bool (N,)."""
        return self.broken.get((rule, ORDINARY), np.zeros(len(self.value), dtype=bool))

    def keeps(self, *, but: str = "") -> np.ndarray:
        """Where every promise is kept, one rule's left aside, bool (N,); implied rows are no promises."""
        others = [bad for (rule, kind), bad in self.broken.items() if kind == ORDINARY and rule != but]
        return ~np.any([self.outside, *others], axis=0)

    @property
    def best(self) -> int | None:
        """Highest value of a choice that keeps everything; None when none does."""
        good = self.value[self.holds]
        return int(good.max()) if len(good) else None


def completed(program: Program, menus: np.ndarray) -> np.ndarray:
    """Choices of servings (N, n_menu) with the extra columns' values, int64 (N, n)."""
    x = np.zeros((len(menus), program.n), dtype=np.int64)
    x[:, : program.n_menu] = menus
    for k in range(len(program.extra_kind)):
        a, z = program.extra_start[k], program.extra_start[k + 1]
        total = x[:, program.extra_column[a:z]] @ program.extra_coef[a:z]
        divisor = int(program.extra_divisor[k])
        x[:, program.n_menu + k] = (
            total > 0 if program.extra_kind[k] == ANY else (total + divisor - 1) // divisor
        )
    return x


def judge(program: Program, menus: np.ndarray) -> Judged:
    """Weigh choices of servings (N, n_menu) against every row. Written apart from Program."""
    x = completed(program, menus)
    outside = (x > program.high).any(axis=1) | (x < program.low).any(axis=1)
    value = x @ program.gain
    size = float(np.abs(program.gain.astype(np.float64)) @ program.high)
    broken: dict[tuple[str, int], np.ndarray] = {}
    for r in range(program.m):
        a, z = program.row_start[r], program.row_start[r + 1]
        activity = x[:, program.row_column[a:z]] @ program.row_coef[a:z]
        over = np.zeros(len(x), dtype=np.int64)
        if program.row_high[r] != NO_HIGH:
            over = np.maximum(over, activity - program.row_high[r])
        if program.row_low[r] != NO_LOW:
            over = np.maximum(over, program.row_low[r] - activity)
        if program.row_price[r] == HARD:
            key = (program.origins[r].rule, int(program.row_kind[r]))
            broken[key] = broken.get(key, False) | (over > 0)
        else:
            price = int(program.row_price[r])
            size += price * float(over.max(initial=0))
            if size > float(NO_HIGH):
                # dear breaches leave 64 bits
                value, over = value.astype(object), over.astype(object)
            value = value - price * over
    overused = np.zeros(len(x), dtype=bool)
    for g, uses in enumerate(uses_of(program, x).T):
        steps = program.deduction[program.deduct_start[g] : program.deduct_start[g + 1]]
        overused |= uses > len(steps)
        cost = np.concatenate([[0], np.cumsum(steps)])
        value -= cost[np.minimum(uses, len(steps))]
    return Judged(value, outside, overused, broken)


def brute(program: Program) -> tuple[int, np.ndarray] | None:
    """Best value and choice (n,) among all; None when no choice is feasible."""
    every = choices(program)
    judged = judge(program, every)
    if judged.best is None:
        return None
    at = np.flatnonzero(judged.holds & (judged.value == judged.best))[0]
    return judged.best, completed(program, every[at : at + 1])[0]


def menus(program: Program) -> tuple[np.ndarray, np.ndarray]:
    """Every choice that keeps everything, with its extra columns, int64 (N, n), and its worth (N,)."""
    every = choices(program)
    judged = judge(program, every)
    return completed(program, every[judged.holds]), judged.value[judged.holds]


def uses_of(program: Program, x: np.ndarray) -> np.ndarray:
    """Uses counted in every worth group, int64 (N, G)."""
    start = program.group_start
    columns = [program.group_column[start[g] : start[g + 1]] for g in range(program.n_groups)]
    return np.stack([x[:, c].sum(axis=1) for c in columns], axis=1) if columns else np.zeros((len(x), 0), int)
