"""From an instance to a project on disk and its Case; what its caps are is worked out on the way."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import tomli

from optimenu.config.case import load_case
from optimenu.program.build import build, priced
from optimenu.program.program import NO_LOW
from optimenu.solve.bound import relax
from optimenu.solve.liking import scale_of
from optimenu.solve.linear import maximise
from optimenu.solve.merge import merge
from tests.benchmarks.sampled import DEMO, demo_rows, sample, write_csv
from tests.benchmarks.settings import STATION, config, toml

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.config.case import Case
    from optimenu.program.program import Program
    from tests.benchmarks.registry import Instance

TIGHT, NO_ROOM, NO_IRON = Decimal("0.97"), Decimal("0.6"), Decimal("1.05")
FEW_PACKS = 5
"""The variant with few packs has the station's packs over all items, a person and date, divided by this."""
LEAST_PACKS = 16
"""Of a lot in the other variants: a very small crew's share would be a limit of its own."""
SAMPLES = 0.2
"""Part of the scores that rest on a few bites; and part of the items but mains nobody tasted."""


def write(instance: Instance, folder: Path) -> Path:
    """Write the project of an instance and return its config."""
    caps = {}
    if instance.variant in ("tight", "noroom", "noiron"):
        caps = _caps(instance)
    return _write(instance, folder, caps)


def _write(instance: Instance, folder: Path, caps: dict[str, Any]) -> Path:
    # a generator for each file: what one variant draws more of leaves the others as they are
    def rng(part: int) -> np.random.Generator:
        return np.random.default_rng([instance.seed, part])

    size = instance.size
    folder.mkdir(parents=True, exist_ok=True)
    (folder / ".optimenu-root").touch()
    rows = sample(size.items, rng(0))
    write_csv(folder / "items.csv", rows)
    values = config(instance, rows, rng(1), caps)
    write_csv(folder / "tasting.csv", _tasting(rows, size.people, rng(2)))
    share, least = Decimal(size.people * size.dates) / (STATION[0] * STATION[2]), LEAST_PACKS
    if instance.variant == "whole":
        share, least = share * STATION[3] / size.items / FEW_PACKS, LEAST_PACKS // 2
    write_csv(folder / "stock.csv", _stock(rows, share, least))
    scripts = tomli.loads((DEMO / "configs/station/prescriptions.toml").read_text(encoding="utf-8"))
    # those with a severe allergy last: two people choose from 120 items, four from 240
    told = list(scripts["people"].values())[::-1]
    # few items hold much vitamin D: without the tablet a small catalogue is impossible
    tablet = next(s["supplements"] for s in told if "supplements" in s)
    people: dict[str, Any] = {}
    for k in range(size.people):
        own = told[k] if k < len(told) else {"by": "crew physician", "date": told[0]["date"]}
        people[f"p{k + 1}"] = {**own, "supplements": tablet}
    (folder / "prescriptions.toml").write_text(toml({"people": people}), encoding="utf-8")
    path = folder / "plan.toml"
    path.write_text(toml(values), encoding="utf-8")
    return path


def case_of(instance: Instance) -> Case:
    """Write an instance somewhere and read it."""
    with tempfile.TemporaryDirectory() as folder:
        return load_case(write(instance, Path(folder)))


def _tasting(rows: list[dict[str, str]], people: int, rng: np.random.Generator) -> list[dict[str, str]]:
    """Scores with the mean and spread of the station's, half points."""
    old = [float(r["score"]) for r in demo_rows("configs/station/tasting.csv")]
    mean, spread = float(np.mean(old)), float(np.std(old))
    out = []
    for row in rows:
        common = rng.normal(0, 0.6)
        for p in range(people):
            main = "main" in row["courses"].split(";")
            untasted, few = rng.random(2) < SAMPLES
            own = common + rng.normal(0, 0.8)
            if untasted and not main:
                continue
            score = min(9.0, max(1.0, round(2 * (mean + spread * own)) / 2))
            kind = "sample" if few else "serving"
            line = {"person": f"p{p + 1}", "item": row["id"], "kind": kind, "date": "2026-11-17"}
            out.append({**line, "score": f"{score:g}", "remark": ""})
    return out


def _stock(rows: list[dict[str, str]], share: Decimal, least: int) -> list[dict[str, str]]:
    """The station's lots of each item, their packs for another crew and stay."""
    lots: dict[str, list[dict[str, str]]] = {}
    for lot in demo_rows("configs/station/stock.csv"):
        lots.setdefault(lot["item"], []).append(lot)
    out = []
    for row in rows:
        first = next((i for i in (row["id"], row["id"].rpartition("_")[0]) if i in lots), None)
        for lot in lots.get(first or "", []):
            packs = max(least, int(int(lot["packs"]) * share))
            out.append({**lot, "item": row["id"], "packs": str(packs)})
    return out


@dataclass(frozen=True)
class _Uses:
    """A row's activity in the merged relaxation, and the most and least there can be."""

    now: float
    least: float
    most: float


def _caps(instance: Instance) -> dict[str, Any]:
    """Limits of a variant, from the merged relaxation of the slack one."""
    slack = replace(instance, variant="slack")
    with tempfile.TemporaryDirectory() as folder:
        case = load_case(_write(slack, Path(folder), {"iron_mg": 1}))
    program = build(case.problem, case.rules)
    if instance.variant == "noiron":
        rows = _rows(program, "nutrients", "FE_mg")
        rows = [r for r in rows if program.row_low[r] != NO_LOW and "limits" in program.origins[r].key]
        # the limit of the slack instance is 1 mg a day, so the ratio is mg a day; one person is enough
        most = _extreme(program, rows[0], 1) / float(program.row_low[rows[0]])
        return {"iron_mg": _rounded(Decimal(most) * NO_IRON)}
    (mass,), (volume,) = _rows(program, "stowage", "gross_kg"), _rows(program, "stowage", "volume_l")
    if instance.variant == "noroom":
        return {
            "volume_l": _rounded(Decimal(in_units(program, volume, _extreme(program, volume, -1))) * NO_ROOM)
        }
    liking = priced(program, scale_of(case.problem, program).prices)
    merged = merge(liking)
    # of equally good answers the one found decides the caps: always solved the same way
    x = relax(liking, replace(merged, model=replace(merged.model, part=None))).x
    used = [in_units(program, r, float(dense(program, r) @ x)) for r in (mass, volume)]
    return {"gross_kg": _rounded(Decimal(used[0]) * TIGHT), "volume_l": _rounded(Decimal(used[1]) * TIGHT)}


def _rounded(value: Decimal) -> Decimal:
    """To a tenth; the last digits of a solver's floating point must not change an instance."""
    return max(Decimal("0.1"), value.quantize(Decimal("0.1")))


def _rows(program: Program, rule: str, what: str) -> list[int]:
    return [r for r, o in enumerate(program.origins) if o.rule == rule and o.what == what]


def dense(program: Program, row: int) -> NDArray[np.float64]:
    """A row's coefficient of every column, float64 (n,)."""
    out = np.zeros(program.n)
    at = slice(program.row_start[row], program.row_start[row + 1])
    np.add.at(out, program.row_column[at], program.row_coef[at].astype(np.float64))
    return out


def in_units(program: Program, row: int, activity: float) -> float:
    """Activity of a stowage row (g or mL at its decimals) in kg or L."""
    return activity / 10.0 ** float(program.row_decimals[row]) / 1000


def _extreme(program: Program, row: int, sign: int) -> float:
    """Most (sign 1) or least (-1) activity of a row in the merged relaxation, last decimals."""
    merged = merge(program)
    model = merged.model
    coefs = dense(program, row)
    per_class = np.zeros(merged.n_class)
    # columns of one class bear one coefficient in a row of the whole stay
    per_class[merged.class_of] = coefs
    cost = np.zeros(len(model.cost))
    cost[: merged.n_class] = sign * per_class / max(1.0, float(np.abs(per_class).max()))
    result = maximise(replace(model, cost=cost))
    if result.status != "solved":
        msg = f"the relaxation of the slack instance is {result.status}"
        raise RuntimeError(msg)
    return float(per_class @ result.x[: merged.n_class])
