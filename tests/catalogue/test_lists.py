"""Lists of allergens and diets: complete against the laws, each with a source."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

import optimenu
from optimenu.catalogue.columns import ALLERGENS, DIETS
from optimenu.catalogue.lists import sources, words


def test_the_nine_of_one_law_and_the_fourteen_of_the_other():
    rows = sources("allergens")
    us = {s.word for s in rows if s.source.startswith("United States")}
    eu = [s for s in rows if s.source.startswith("European Union")]
    assert us == {
        "milk", "egg", "fish", "crustaceans", "tree_nuts", "peanuts", "wheat", "soy", "sesame",
    }  # fmt: skip
    # Annex II numbers them 1 to 14
    assert sorted(int(s.source.rsplit(" ", 1)[1]) for s in eu) == list(range(1, 15))
    assert len({s.word for s in eu}) == 14
    assert len(us) + len(eu) == len(rows)
    assert set(ALLERGENS) == us | {s.word for s in eu}
    assert {s.date for s in rows} == {"2004-08-02", "2011-10-25", "2021-04-23"}


@pytest.mark.parametrize("name", ["allergens", "diets"])
def test_every_entry_names_its_source(name):
    for s in sources(name):
        assert s.name and s.source, s
        assert s.date or s.source == "common practice, no source"
        assert re.fullmatch(r"[a-z_]+", s.word)


def test_diets_stand_in_the_order_of_the_columns():
    assert words("diets") == DIETS == (
        "vegetarian", "vegan", "no_pork", "no_beef", "no_alcohol", "no_gelatine",
    )  # fmt: skip


def test_the_lists_are_packed_with_the_package():
    root = Path(optimenu.__file__).parents[1]
    packed = tomllib.loads((root / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"]
    assert packed["optimenu.catalogue"] == ["data/*.csv"]
