"""Named, seeded instances: how large, how tight."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Size:
    """People, days of the cycle, items of the catalogue."""

    people: int
    days: int
    items: int

    @property
    def dates(self) -> int:
        """Dates of the stay: as many to a plan day as at the demo station, 60 to 16."""
        return self.days * 15 // 4


SIZES = {
    "S": Size(2, 8, 120),
    "M": Size(4, 16, 240),
    "L": Size(8, 30, 600),
    "XL": Size(12, 30, 1000),
}
VARIANTS = {
    "slack": "shared caps far away",
    "tight": "mass and volume at 97 % of what the merged relaxation of slack uses",
    "narrow": "narrow ranges of energy and its sources",
    "whole": "few places in the heaters, few packs in stock",
    "noroom": "impossible: volume at 60 % of the least there can be",
    "noiron": "impossible: iron floor 5 % above the most there can be",
}


@dataclass(frozen=True)
class Instance:
    """One instance; the same name, size and seed give the same Program on the same releases."""

    name: str
    variant: str
    size: Size
    seed: int = 1


INSTANCES = {
    f"{size}-{variant}": Instance(f"{size}-{variant}", variant, SIZES[size])
    for size in SIZES
    for variant in VARIANTS
}
TOY = Size(1, 2, 120)
REDUCED = (
    Instance("traverse-2x3x200", "traverse", Size(2, 3, 200)),
    Instance("traverse-2x4x265", "traverse", Size(2, 4, 265)),
    Instance("submersible-2x5x190", "submersible", Size(2, 5, 190)),
    Instance("submersible-2x5x240", "submersible", Size(2, 5, 240)),
)
"""Two scenarios made small, see ``reduced``; ``variant`` names the scenario, which has dates of its own."""
NEARLY_CLOSED = (
    Instance("1x2x120-slack", "slack", Size(1, 2, 120)),
    Instance("1x4x120-slack", "slack", Size(1, 4, 120)),
    Instance("2x2x120-tight", "tight", Size(2, 2, 120)),
    *REDUCED,
)
"""Small enough for a direct solver to close its gap; on the scenarios HiGHS was 0.1 to 0.2 % from it after
three to five minutes, so there each share is a range."""


def chosen(names: str, seed: int = 1) -> list[Instance]:
    """Return instances by name, ``S-slack,M-tight``; a size alone means all its variants.

    Raises
    ------
    KeyError
        For a name that is none; its text lists the known ones.
    """
    found = []
    for name in names.split(","):
        mine = [i for i in INSTANCES.values() if name in (i.name, i.name.split("-")[0])]
        if not mine:
            msg = f"no instance {name}; known: {', '.join(INSTANCES)}"
            raise KeyError(msg)
        found += [replace(i, seed=seed) for i in mine]
    return found
