"""People who share every dish and seldom like the same: few menus, and goals that pull apart."""

from __future__ import annotations

from decimal import Decimal
from itertools import product

import numpy as np

from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.page import GOAL_DECIMALS
from optimenu.program.program import Program
from optimenu.solve.liking import Scale

D = Decimal


def quarrel(seed: int) -> tuple[Program, np.ndarray, Scale]:
    """Return a table of three who share one dish of five a day and seldom like the same; all its menus.

    Three dishes a use are worth less, a limit of mass binds, one of salt has a price.
    """
    rng = np.random.default_rng(seed)
    people, days, dishes = 3, 4, 5
    b = Builder(GOAL_DECIMALS, ((0, 1, 2),))
    column = np.asarray(
        [
            [b.column(labels=(0, d, 0, 0, i), high=1, merge=("dish", i)) for i in range(dishes)]
            for d in range(days)
        ]
    )
    for d in range(days):
        b.row(Origin("meals", "least"), column[d].tolist(), 1, low=1, high=1, merge="one a day")
    for p in range(people):
        for i in range(dishes):
            worth = int(rng.integers(1, 10)) * 400_000
            steps = [0, worth // 5, worth // 3, worth // 2]
            b.group([(int(c), worth) for c in column[:, i]], steps, person=p)
    mass, salt = rng.integers(20, 60, dishes), rng.integers(5, 30, dishes)
    every = column.reshape(-1).tolist()
    b.row(Origin("stowage", "mass"), every, np.tile(mass, days), high=int(mass.mean() * days), decimals=1)
    b.row(Origin("nutrients", "salt"), every, np.tile(salt, days), high=int(salt.mean() * days), price=10**15)
    program = b.freeze()
    menus = np.zeros((dishes**days, program.n_menu), dtype=np.int64)
    for k, chosen in enumerate(product(range(dishes), repeat=days)):
        menus[k, [column[d, i] for d, i in enumerate(chosen)]] = 1
    scale = Scale(tuple(D(int(rng.integers(80, 120))) / 10 for _ in range(people)))
    return program, menus, scale
