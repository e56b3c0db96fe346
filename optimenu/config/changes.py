"""What a file of a config changes in the files it extends."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from optimenu.config.toml_spots import Spot
from optimenu.files import shown_path


@dataclass(frozen=True)
class Change:
    """One value that a file changes or adds.

    Attributes
    ----------
    keys : tuple of str
        Keys that lead to the value; an array is one value.
    old, new : Any
        The value in the files below, None where none stands there, and the file's own; as read.
    file, line : str, int
        Where the new value is written; for a value that comes back with a second base, where that
        base is named.
    role : str
        Who writes the file.
    table : tuple of str
        Keys of the outermost table that is wholly new with this value; `keys` where the table was there.
    table_line : int
        Its line.
    below : mapping
        The whole config as the files below have it.
    stated : mapping
        The whole config as the file states it.
    """

    keys: tuple[str, ...]
    old: Any
    new: Any
    file: str
    line: int
    role: str
    table: tuple[str, ...]
    table_line: int
    below: Mapping[str, Any] = field(repr=False)
    stated: Mapping[str, Any] = field(repr=False)


@dataclass(frozen=True)
class Author:
    """Who answers for the values of a layer: file and role; a line where it is not the value's own."""

    file: str
    role: str
    line: int | None = None


def changes(
    below: Mapping[str, Any],
    over: Mapping[str, Any],
    spots: Spot,
    authors: Mapping[Any, Author],
    other: Author,
) -> Iterator[Change]:
    """Yield every value of a layer that differs from the layers below, in the order of the file.

    Parameters
    ----------
    below, over : mapping
        Values below, and the values laid over them.
    spots : Spot
        Places of ``over``.
    authors : mapping of Path to Author
        Who answers for a value, by the file it is written in.
    other : Author
        Who answers for the values of any other file.
    """

    def walk(
        old: Mapping[str, Any], new: Mapping[str, Any], spot: Spot, keys: tuple[str, ...], outer: Outer
    ) -> Iterator[Change]:
        for key, value in new.items():
            here, at = (*keys, key), spot.inner[key]
            before = old.get(key)
            table = outer
            if table is None and not before and isinstance(value, dict):
                table = here, at.line
            if isinstance(value, dict):
                inside = before if isinstance(before, dict) else {}
                yield from walk(inside, value, at, here, table)
            elif not same(before, value):
                author = authors.get(at.file, other)
                line = at.line if author.line is None else author.line
                name, first = table or (here, line)
                yield Change(
                    here, before, value, author.file, line, author.role, name,
                    line if author.line is not None else first, below, over,
                )  # fmt: skip

    yield from walk(below, over, spots, (), None)


Outer = tuple[tuple[str, ...], int] | None
"""Outermost new table and its line."""


def same(a: Any, b: Any) -> bool:
    """Tell whether two values as read are one: 10 is 10.0, but true is not 1."""
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
    return isinstance(a, bool) == isinstance(b, bool) and bool(a == b)


def author_of(path: Any, role: str | None) -> Author:
    """Return who answers for a file that changes others; who does not say is the planner."""
    return Author(shown_path(path), role or "planner")
