"""Which items of the catalogue a plan draws on: ``[catalogue.only]`` and ``[catalogue.leave_out]``."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, ClassVar

from pydantic import Field

from optimenu.catalogue.columns import ALL_COLUMNS
from optimenu.errors import nearest
from optimenu.settings import ChangedBy, Role, Settings, Text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from optimenu.catalogue.columns import Column
    from optimenu.catalogue.item import Catalogue, Item

UNKNOWN = "unknown"
KINDS = ("word", "text", "list")
"""Kinds of column that hold words."""


class LeaveOutTable(Settings):
    """Items this plan does without."""

    items: tuple[Text, ...] = ()
    """Item ids."""
    tags: tuple[Text, ...] = ()
    """Tags of items."""


class CatalogueTable(Settings):
    """What there is to eat."""

    changed_by: ClassVar[Role | None] = "planner"

    file: Annotated[Text, ChangedBy("dietitian")]
    """CSV or Parquet file, relative to this config."""
    only: Annotated[dict[Text, Annotated[tuple[Text, ...], Field(min_length=1)]], ChangedBy("dietitian")] = (
        Field(default_factory=dict)
    )
    """Catalogue column to words: an item is kept when every column named has one of its words; what a
    column does not state is unknown, so not kept."""
    leave_out: LeaveOutTable = LeaveOutTable()
    """Items left out by id or tag."""


def sift(
    catalogue: Catalogue, table: CatalogueTable
) -> tuple[Catalogue, tuple[tuple[tuple[str, ...], str], ...]]:
    """Return the catalogue without what the config leaves out, and the faults of the settings.

    Parameters
    ----------
    catalogue : Catalogue
        As read.
    table : CatalogueTable
        The config's ``[catalogue]``.

    Returns
    -------
    catalogue : Catalogue
        Items kept, in the order of the file; with faults, as it was.
    faults : tuple of (keys, message)
        Keys of the config under ``catalogue``, and what is wrong there; empty when all is well.
    """
    faults = tuple(_faults(catalogue, table))
    if faults:
        return catalogue, faults
    out = set(table.leave_out.items)
    tags = frozenset(table.leave_out.tags)
    kept = tuple(
        i
        for i in catalogue.items
        if i.id not in out
        and i.tags.isdisjoint(tags)
        and all(not _words(i, column).isdisjoint(words) for column, words in table.only.items())
    )
    if not kept:
        text = f"nothing of {len(catalogue.items)} items is kept; name more words, or leave fewer out"
        return catalogue, (((("only",) if table.only else ("leave_out",)), text),)
    rest = frozenset(catalogue.by_id) - {i.id for i in kept}
    return replace(catalogue, items=kept, left_out=rest), ()


def _faults(catalogue: Catalogue, table: CatalogueTable) -> Iterator[tuple[tuple[str, ...], str]]:
    usable = {n: c for n, c in ALL_COLUMNS.items() if c.kind in KINDS and n in catalogue.present}
    for column, words in table.only.items():
        keys = ("only", column)
        if column not in ALL_COLUMNS:
            yield keys, f'no catalogue column "{column}".{nearest(column, sorted(usable))}'
        elif ALL_COLUMNS[column].kind not in KINDS:
            yield keys, f"column {column} does not hold words, so no item can be chosen by it"
        elif column not in usable:
            yield keys, f"the catalogue has no column {column}: unknown for every item, so none is kept"
        else:
            known = _known(catalogue, ALL_COLUMNS[column])
            for word in words:
                if word == UNKNOWN:
                    yield keys, '"unknown" is no reason to keep an item; name the words that are safe'
                elif word not in known:
                    yield keys, f'no word "{word}" in column {column}.{nearest(word, known)}'
    for field, names in _names(catalogue).items():
        for name in getattr(table.leave_out, field):
            if name not in names:
                yield ("leave_out", field), catalogue.absent(field[:-1], name, names)


def _names(catalogue: Catalogue) -> Mapping[str, list[str]]:
    return {
        "items": sorted(i.id for i in catalogue.items),
        "tags": sorted({t for i in catalogue.items for t in i.tags}),
    }


def _known(catalogue: Catalogue, column: Column) -> list[str]:
    if column.words:
        return [w for w in column.words if w != UNKNOWN]
    return sorted({w for i in catalogue.items for w in _words(i, column.name)})


def _words(item: Item, column: str) -> frozenset[str]:
    """Words an item has in a column; none where nothing is stated."""
    found: str | Iterable[str] | None
    if column.startswith("allergen_"):
        found = item.allergen(column.removeprefix("allergen_"))
    elif column.startswith("diet_"):
        found = item.suits(column.removeprefix("diet_"))
    else:
        found = getattr(item, column)
    if found is None:
        return frozenset()
    return frozenset({found} if isinstance(found, str) else found)
