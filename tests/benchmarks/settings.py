"""The station's config fitted to another crew, cycle and catalogue."""

from __future__ import annotations

import copy
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from optimenu.config.toml_layers import read_layers
from tests.benchmarks.sampled import DEMO

if TYPE_CHECKING:
    import numpy as np

    from tests.benchmarks.registry import Instance

NAMED = {"items": "id", "tags": "tags", "cuisines": "cuisine", "main_ingredients": "main_ingredient"}
STATION = (4, 16, 60, 451)
"""People, days of the cycle, dates and items of the config that is fitted."""
FEW_ITEMS = 200
"""Under that many a gap of three days leaves somebody without a vegetable."""
ACTIVITIES = ("low_active", "active")


def people(instance: Instance, rng: np.random.Generator) -> dict[str, Any]:
    """Tables of random people, half of them women."""
    out: dict[str, Any] = {}
    for k in range(instance.size.people):
        man = k % 2 == 1
        height = float(rng.normal(1.77 if man else 1.65, 0.06))
        mass = height**2 * float(rng.uniform(20.5, 25.5))
        out[f"p{k + 1}"] = {
            "name": f"Person {k + 1}",
            "sex": "male" if man else "female",
            "age": int(rng.integers(25, 61)),
            "mass_kg": round(mass),
            "height_m": round(height, 2),
            "sleep": [["22:30", "06:30"]],
            "energy": {"edition": "2023", "activity": ACTIVITIES[int(rng.integers(2))]},
            "energy_on": {"rest": {"edition": "2023", "activity": "low_active"}},
        }
    return out


def config(
    instance: Instance, rows: list[dict[str, str]], rng: np.random.Generator, caps: dict[str, Any]
) -> dict[str, Any]:
    """Return the config's values.

    Parameters
    ----------
    rows : rows of the catalogue; what the station names and they lack is left out.
    caps : ``gross_kg``, ``volume_l``, ``iron_mg`` where the variant needs them.
    """
    size = instance.size
    values = copy.deepcopy(read_layers(DEMO / "configs/station.toml").values)
    share = Decimal(size.people * size.dates) / (STATION[0] * STATION[2])
    crew = people(instance, rng)
    ids = {old: f"p{k % size.people + 1}" for k, old in enumerate(values["people"])}
    known = {key: {v for r in rows for v in r[column].split(";")} for key, column in NAMED.items()}
    values = _fitted(values, known, ids)
    first: date = values["stay"]["first_date"]
    values |= {
        "name": f"Benchmark {instance.name}",
        "catalogue": {"file": "items.csv"},
        "tasting": {"file": "tasting.csv"},
        "prescriptions": {"file": "prescriptions.toml"},
        "people": crew,
    }
    values["stay"] |= {
        "last_date": first + timedelta(days=size.dates - 1),
        "cycle_days": size.days,
        "kinds": {"rest": list(range(7, size.days + 1, 7))} if size.days >= 7 else {},
    }
    if size.days < 7:
        for person in crew.values():
            del person["energy_on"]
    values["stock"] = {"file": "stock.csv"}
    # floors as at production, so that figures stay comparable with those measured before losses counted
    values.pop("storage", None)
    _scale(values, size.days, size.items, share)
    values["galley"] = {
        "places": 2 * size.people,
        "rounds": 3,
        "round_min": 20,
        "hot_ready_l": Decimal("0.9") * size.people,
        "hot_l_per_min": Decimal("0.05") * size.people,
        "hot_minutes": 20,
        "prep_min": 30 * size.people,
    }
    person_dates = size.people * size.dates
    values["stowage"] = {
        "gross_kg": caps.get("gross_kg", 4 * person_dates),
        "volume_l": caps.get("volume_l", 8 * person_dates),
    }
    _tighten(values, instance, caps)
    return values


def _scale(values: dict[str, Any], days: int, items: int, share: Decimal) -> None:
    """Bring what the station states for its own crew and cycle to this one's."""

    def by_days(old: int) -> int:
        return max(1, -(-old * days // STATION[1]))

    for table in values["repeats"].values():
        if "most_a_cycle" in table:
            # fewer items to choose from come back more often
            often = -(-by_days(table["most_a_cycle"]) * STATION[3] // items)
            table["most_a_cycle"] = max(2, often)
        if "gap_days" in table:
            # and sooner
            table["gap_days"] = 2 if items < FEW_ITEMS or days < 3 else table["gap_days"]
    for table in values.get("requests", {}).values():
        for key in ("at_least", "at_most"):
            if key in table:
                table[key] = by_days(table[key])
    for table in values.get("variety", {}).get("distinct", {}).values():
        table["at_least"] = table["at_least"] * days // STATION[1]
    for table in values.get("condiments", {}).get("crew", {}).values():
        table["packs"] = max(1, int(table["packs"] * share))
    water = values["water"]
    water["crew_l"] = int(water["crew_l"] * share * Decimal("1.3"))
    water["hot_ml_at_a_meal"] = 1000 * len(values["people"])


def _tighten(values: dict[str, Any], instance: Instance, caps: dict[str, Any]) -> None:
    """What makes the variant."""
    people = instance.size.people
    nutrients = values["nutrients"]
    if instance.variant == "narrow":
        nutrients["energy"] = {"day_within": 4, "stay_within": 1}
        for column, low, high in (("PROCNT_g", 13, 25), ("FAT_g", 26, 34), ("CHOCDF_g", 46, 58)):
            nutrients["shares"][column] |= {"low": low, "high": high}
    if instance.variant == "whole":
        values["galley"] |= {"places": people, "rounds": 2, "prep_min": 10 + 15 * people}
    if "iron_mg" in caps:
        nutrients.setdefault("limits", {})["FE_mg"] = {"stay": {"low": caps["iron_mg"]}}


def _fitted(value: Any, known: dict[str, set[str]], ids: dict[str, str]) -> Any:
    """The value without names that are not known; None where a table's only names went."""
    if not isinstance(value, dict):
        return value
    out = {}
    for key, old in value.items():
        if key in known:
            new = [v for v in old if v in known[key]]
            if not new:
                return None
        elif key == "item":
            if old not in known["items"]:
                return None
            new = old
        elif key == "only" and value.get("of") != "item":
            new = [v for v in old if v in known["tags"] | known["main_ingredients"]]
            if not new:
                return None
        elif key == "people" and isinstance(old, list):
            new = sorted({ids[v] for v in old})
        elif key == "people" and isinstance(old, dict):
            new = {ids[k]: inner for k, v in old.items() if (inner := _fitted(v, known, ids)) is not None}
        else:
            new = _fitted(old, known, ids)
            if new is None and key in ("these", "those", "dish", "base"):
                return None
        if new is not None:
            out[key] = new
    return out


def toml(values: dict[str, Any]) -> str:
    """Write values as TOML, one top-level key a line."""
    return "".join(f"{key} = {_inline(value)}\n" for key, value in values.items())


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_inline(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_inline(v) for v in value) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return f"{value:f}" if isinstance(value, Decimal) else str(value)
