"""Tasting scores: what each person thought of an item, on the nine-point hedonic scale."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path

from optimenu.catalogue.columns import Column
from optimenu.catalogue.item import Catalogue
from optimenu.errors import InputFaults
from optimenu.files import choose
from optimenu.tables import Row, read_table

KINDS = ("sample", "serving")
"""A sample at a tasting, or a full serving eaten at a meal."""

TASTING_COLUMNS: dict[str, Column] = {
    c.name: c
    for c in (
        Column("person", "id", "Id of a person of the crew", required=True),
        Column("item", "id", "Id of an item of the catalogue", required=True),
        Column("kind", "word", "What was eaten", words=KINDS, required=True),
        Column("date", "date", "Date of the tasting", required=True),
        # Peryam & Pilgrim 1957, "Hedonic scale method of measuring food preferences": 1 dislike
        # extremely ... 9 like extremely (the citation is from memory).
        Column("score", "number", "Score on the nine-point hedonic scale", "points", True, least=1, most=9),
        Column("remark", "text", "What the person said"),
    )
}


@dataclass(frozen=True, slots=True)
class Score:
    """One score.

    Attributes
    ----------
    kind : str
        ``sample`` or ``serving``.
    score : Decimal
        1 (dislike extremely) to 9 (like extremely).
    line : int
        Line of the file (row, for Parquet), from 1.
    """

    person: str
    item: str
    kind: str
    date: date
    score: Decimal
    remark: str
    line: int


def read_tasting(path: Path, catalogue: Catalogue, people: Collection[str]) -> tuple[Score, ...]:
    """Read tasting scores from CSV or Parquet.

    Parameters
    ----------
    path : Path
        A table with the columns of `TASTING_COLUMNS`.
    catalogue : Catalogue
        Where the items are declared.
    people : collection of str
        Ids of the crew.

    Returns
    -------
    tuple of Score
        In the order of the file, never none.

    Raises
    ------
    InputFaults
        Every fault of the file at once.
    """
    table = read_table(path, TASTING_COLUMNS, unique=("person", "item", "kind", "date"))
    faults = list(table.faults)
    for row in table.rows:
        faults.extend(table.fault(row.line, message) for message in _strangers(row, catalogue, people))
    if faults:
        raise InputFaults(faults)
    return tuple(map(_score, table.rows))


def _strangers(row: Row, catalogue: Catalogue, people: Collection[str]) -> Iterator[str]:
    person, item = row.text("person"), row.text("item")
    if person is not None and person not in people:
        yield f'person: no person "{person}" in the crew.{choose(person, sorted(people))}'
    if item is not None and item not in catalogue.by_id:
        yield f'item: no item "{item}" in {catalogue.file}.{choose(item, tuple(catalogue.by_id))}'


def _score(row: Row) -> Score:
    day, score = row.day("date"), row.number("score")
    assert day is not None and score is not None  # required cells of a sound row
    return Score(
        person=row.text("person") or "",
        item=row.text("item") or "",
        kind=row.text("kind") or "",
        date=day,
        score=score,
        remark=row.text("remark") or "",
        line=row.line,
    )
