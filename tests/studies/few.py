"""A project of so few menus that all of them can be tried."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.config.variant import variant
from optimenu.menu.menu import from_counts
from optimenu.menu.tally import Tally
from optimenu.program.build import build, priced
from optimenu.solve.liking import Scale
from tests.commands.small import CONFIG, write_project
from tests.solve.programs import judge
from tests.tiny_plans import menus_of

if TYPE_CHECKING:
    from pathlib import Path

LEFT_OUT = """
[catalogue.leave_out]
items = ["millet_porridge", "groundnut_soup_pot", "plum_compote", "mint_infusion"]
"""


def write_few(folder: Path) -> Path:
    """Write the project: one person, two days, two or three dishes a course."""
    path = write_project(folder, CONFIG.replace("gross_kg = 8", "gross_kg = 80") + LEFT_OUT)
    lines = (folder / "items.csv").read_text().splitlines()
    # pennies by the length of the name: nothing else goes with them
    head, *rest = [line.replace(",170,0,none,pear", ",170.25,0,none,pear") for line in lines]
    text = [head + ",cost", *(f"{line},{len(line.split(',')[0]) / 10}" for line in rest)]
    (folder / "items.csv").write_text("\n".join(text) + "\n")
    return path


@dataclass(frozen=True)
class Tried:
    """A menu that keeps every limit but those that are traded: what it takes, liking in per cent."""

    volume: Decimal
    mass: Decimal
    cost: Decimal
    variety: int
    liking: Decimal


def every(config: Path, best: tuple[str, ...]) -> list[Tried]:
    """Return every menu of the project without the limits that are traded."""
    case = variant(config, {"stowage.gross_kg": 10**6})
    program = priced(build(case.problem, case.rules), Scale(tuple(map(Decimal, best))).prices)
    menus = menus_of(case.problem, program)
    judged = judge(program, menus)
    found = []
    for n in np.flatnonzero(judged.holds):
        tally = Tally.of(case.problem, from_counts(case.problem, program, menus[n]))
        packs: dict[str, int] = {}
        for e in tally.entries:
            packs[e.item.id] = packs.get(e.item.id, 0) + e.count * e.day.weight
        # whole packs over the dates; bread of eight servings is opened once in so short a stay
        volume = mass = cost = Decimal(0)
        for name, servings in packs.items():
            item = case.problem.catalogue.by_id[name]
            whole = -(-servings // item.servings_per_pack) if item.open_hours is not None else servings
            volume += whole * item.volume_ml
            mass += whole * item.gross_g
            cost += whole * (item.cost or 0)
        value = Decimal(program.value(program.complete(menus[n]))).scaleb(-16)
        found.append(Tried(volume / 1000, mass / 1000, cost, len(packs), value))
    return found
