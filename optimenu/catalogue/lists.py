"""Allergens and diets that a catalogue may state, read from data files that name the source of each.

The dates and wordings of the laws are from memory; the lists hold the nine allergens of United States
law and the fourteen of European Union law as one, ``wheat`` apart from other gluten cereals as the
former does.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True)
class Source:
    """One entry of a list: what it is called, by whom, and since when.

    Attributes
    ----------
    word : str
        As in the catalogue's columns: ``tree_nuts``.
    name : str
        In the words of the source.
    date : str
        Of the law or standard, ISO 8601; empty where there is none.
    """

    word: str
    name: str
    source: str
    date: str


@cache
def sources(name: str) -> tuple[Source, ...]:
    """Rows of a list, ``allergens`` or ``diets``, in the order of its file."""
    text = (files("optimenu.catalogue") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    rows = csv.reader(text.splitlines())
    next(rows)
    return tuple(Source(*row) for row in rows)


def words(name: str) -> tuple[str, ...]:
    """Words of a list, each once, in the order of its file."""
    return tuple(dict.fromkeys(s.word for s in sources(name)))
