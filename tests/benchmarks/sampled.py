"""A catalogue of any size in the likeness of the demo's: its items drawn by course, with jitter."""

from __future__ import annotations

import csv
from collections import Counter, defaultdict
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

DEMO = Path(__file__).parents[2]
JITTERED = (
    "CA_mg", "FE_mg", "MG_mg", "P_mg", "K_mg", "NA_mg", "ZN_mg", "CU_mg", "MN_mg", "SE_ug", "VITD_ug",
    "VITK1_ug", "VITC_mg", "THIA_mg", "RIBF_mg", "PANTAC_mg", "VITB6A_mg", "VITB12_ug", "CHOLN_mg",
)  # fmt: skip
"""Nutrients that no other column of the catalogue is a part or a sum of."""
SIZED = ("gross_g", "volume_ml", "cost")
SPREAD = 0.1
"""Standard deviation of the logarithm of a jittered value."""


def demo_rows(path: str) -> list[dict[str, str]]:
    """Rows of one of the demo's CSV files, by its path in the checkout."""
    with (DEMO / path).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def sample(items: int, rng: np.random.Generator) -> list[dict[str, str]]:
    """Return that many rows of a catalogue; every course keeps its share."""
    by_course: dict[tuple[str, bool], list[dict[str, str]]] = defaultdict(list)
    rows = demo_rows("catalogs/items.csv")
    for row in rows:
        # mains of the morning are another course than the rest
        by_course[row["courses"], row["meals"] == "breakfast"].append(row)
    found: list[dict[str, str]] = []
    for group in by_course.values():
        wanted = max(1, round(items * len(group) / len(rows)))
        order = [int(k) for _ in range(-(-wanted // len(group))) for k in rng.permutation(len(group))]
        found += [group[k] for k in order[:wanted]]
    times: Counter[str] = Counter()
    out = []
    for row in found:
        times[row["id"]] += 1
        out.append(_jittered(row, times[row["id"]], rng))
    return sorted(out, key=lambda r: r["id"])


def _jittered(row: dict[str, str], number: int, rng: np.random.Generator) -> dict[str, str]:
    """One row with other nutrients, mass of the pack and volume; the first of its kind keeps its id."""
    new = dict(row)
    if number > 1:
        new["id"], new["name"] = f"{row['id']}_{number}", f"{row['name']} {number}"
    for column in (*JITTERED, *SIZED):
        factor = float(rng.lognormal(0, SPREAD))
        if new.get(column):
            value = float(f"{float(new[column]) * factor:.3g}")
            if column == "gross_g":
                value = max(value, float(row["net_g"]))
            new[column] = f"{value:.3f}".rstrip("0").rstrip(".")
    if new.get("tare_g"):
        new["tare_g"] = f"{float(new['gross_g']) - float(new['net_g']):.3f}".rstrip("0").rstrip(".")
    return new


def write_csv(path: Path, rows: Iterable[dict[str, str]]) -> None:
    """Write rows under the first row's columns."""
    listed = list(rows)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(listed[0]))
        writer.writeheader()
        writer.writerows(listed)
