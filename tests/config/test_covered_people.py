"""Whom a config may plan for: people the tables do not cover are faults, wherever their energy comes from."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.config.test_case import CONFIG, told, write

GIVEN = "energy = { kcal = 500 }"
PUBLISHED = 'energy = { edition = "2023", activity = "active" }'


@pytest.mark.parametrize("energy", [GIVEN, PUBLISHED], ids=("given", "published"))
@pytest.mark.parametrize("use", ["true", "false"])
@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("age = 40", "age = 18", "plan.toml:20 [people.ana] age: The tables cover adults from 19 years"),
        ("age = 40", "age = 111", "plan.toml:20 [people.ana] age: An age of 111 years looks like a slip"),
        (
            "age = 40",
            'state = "pregnant"\nage = 40',
            "plan.toml:20 [people.ana] state: The tables here do not cover a person who is pregnant; leave",
        ),
        ("mass_kg = 60", "mass_kg = 6", "plan.toml:21 [people.ana] mass_kg: Body mass needs a number from"),
        ("height_m = 1.65", "height_m = 0.65", "plan.toml:22 [people.ana] height_m: Height needs a number"),
    ],
    ids=("young", "old", "state", "mass", "height"),
)  # fmt: skip
def test_who_is_not_covered_is_a_fault_once(
    tmp_path: Path, energy: str, use: str, old: str, new: str, message: str
) -> None:
    config = CONFIG.replace(old, new).replace(GIVEN, energy).replace("use = false", f"use = {use}")
    found = [f for f in told(write(tmp_path, config)) if "people.ana" in f]
    assert len(found) == 1, found
    assert found[0].startswith(message)


def test_everything_at_once(tmp_path: Path) -> None:
    config = CONFIG.replace("age = 40", "age = 12").replace("mass_kg = 60", "mass_kg = 6")
    config = config.replace(GIVEN, 'energy = { edition = "2023" }').replace("floor = 5.5", "floor = 4")
    places = [f.split(":")[1].split("]")[0] for f in told(write(tmp_path, config))]
    assert places == ["20 [people.ana", "21 [people.ana", "23 [people.ana"]
