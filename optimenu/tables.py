"""Read a table (CSV, or Parquet by its suffix) against declared columns; every fault in one pass.

Cells are read as written: numbers become decimals, ``NA`` is never taken for a missing value, an
empty cell is None (unknown). Terminal codes, direction marks and other control characters are taken
out of every cell.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from optimenu.cells import KINDS, Cell, wanted
from optimenu.errors import Fault
from optimenu.files import UnreadableError, choose, clean, decode, has_control, quoted, read_bytes, shown_path

if TYPE_CHECKING:
    from optimenu.catalogue.columns import Column


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line (its number, for Parquet), the typed cells, and whether all of them are sound.

    A cell that is empty, faulty or absent from the file is None.
    """

    line: int
    cells: dict[str, Cell]
    sound: bool

    def number(self, name: str) -> Decimal | None:
        """Return a number cell; None where empty or faulty."""
        value = self.cells.get(name)
        return Decimal(value) if isinstance(value, Decimal | int) else None

    def whole(self, name: str) -> int | None:
        """Return a whole-number cell; None where empty or faulty."""
        value = self.cells.get(name)
        return value if isinstance(value, int) else None

    def text(self, name: str) -> str | None:
        """Return a text, word or id cell; None where empty or faulty."""
        value = self.cells.get(name)
        return value if isinstance(value, str) else None

    def words(self, name: str) -> tuple[str, ...]:
        """Return a list cell; an empty tuple where empty or faulty."""
        value = self.cells.get(name)
        return value if isinstance(value, tuple) else ()

    def day(self, name: str) -> date | None:
        """Return a date cell; None where empty or faulty."""
        value = self.cells.get(name)
        return value if isinstance(value, date) else None


@dataclass(frozen=True)
class Table:
    """A table as read, with the faults found on the way.

    Attributes
    ----------
    file : str
        The file as the user would write it.
    columns : tuple of str
        Declared columns the file has, in its order.
    rows : tuple of Row
        Rows that could be told apart into cells, sound or not.
    faults : tuple of Fault
    by_row : bool
        True for Parquet, where ``line`` is the number of the row.
    """

    file: str
    columns: tuple[str, ...] = ()
    rows: tuple[Row, ...] = ()
    faults: tuple[Fault, ...] = ()
    by_row: bool = False

    def fault(self, line: int, message: str) -> Fault:
        """Return a fault at a line, or at a row where the file has no lines."""
        return Fault(self.file, line, f"row {line}, {message}" if self.by_row and line else message)


@dataclass
class _Reader:
    """The faults of one pass, and the checks of single cells."""

    fault: Callable[[int, str], Fault]
    columns: Mapping[str, Column]
    faults: list[Fault] = field(default_factory=list)

    def add(self, line: int, message: str) -> None:
        self.faults.append(self.fault(line, message))

    def header(self, line: int, names: Sequence[str]) -> tuple[str, ...]:
        """Check the header; returns the declared columns among the names."""
        if len(names) == 1 and (mark := next((m for m in ";\t|" if m in names[0]), "")):
            self.add(line, f"columns are parted by {quoted(mark)}; part them by commas")
            return ()
        seen: set[str] = set()
        for place, name in enumerate(names, 1):
            if not name:
                self.add(line, f"column {place} has no name; name it or take it out")
            elif name in seen:
                self.add(line, f'column "{name}" stands twice; keep one')
            elif name not in self.columns:
                self.add(line, f"no column {quoted(name)}.{choose(name, tuple(self.columns))}")
            seen.add(name)
        for column in self.columns.values():
            if column.required and column.name not in seen:
                self.add(line, f'column "{column.name}" is missing: {_meaning(column)}')
        return tuple(dict.fromkeys(name for name in names if name in self.columns))

    def cell(self, line: int, column: Column, text: str) -> tuple[Cell, bool]:
        """Return the typed value of a cell and whether it is sound."""
        if not text:
            if column.required:
                self.add(line, f"{column.name}: is empty; give {wanted(column)}")
            return None, not column.required
        try:
            return KINDS[column.kind](column, text), True
        except ValueError as error:
            self.add(line, f"{column.name}: {error}")
            return None, False


def _meaning(column: Column) -> str:
    return f"{column.meaning}, in {column.unit}" if column.unit else column.meaning


def read_table(path: Path, columns: Mapping[str, Column], unique: Sequence[str] = ()) -> Table:
    """Read a table; never raises for faults in the file, they are in the result.

    Parameters
    ----------
    path : Path
        CSV (UTF-8, commas, one header line), or Parquet when the suffix is ``.parquet``.
    columns : mapping of str to Column
        Every column the file may have; kinds as in ``Column``, and ``date`` (ISO 8601).
    unique : sequence of str
        Columns whose values taken together may stand once only.

    Returns
    -------
    Table
        Rows in the order of the file; no rows when the file as a whole cannot be read.
    """
    file = shown_path(path)
    by_row = path.suffix.lower() == ".parquet"
    reader = _Reader(Table(file, by_row=by_row).fault, columns)
    try:
        lines = _parquet(path) if by_row else _csv(path, reader.add)
        header_line, header = next(lines, (0, []))
        if not any(header) and not reader.faults:
            raise UnreadableError("is empty; it needs a header line with the names of its columns")
        known = reader.header(header_line, header) if any(header) else ()
        rows = _rows(reader, header, lines) if known else []
        if known and not rows and not reader.faults:
            raise UnreadableError("has a header line but no rows")
    except UnreadableError as error:
        reader.add(error.line, str(error))
        return Table(file, faults=tuple(reader.faults), by_row=by_row)
    _doubles(reader, rows, unique, by_row)
    return Table(file, known, tuple(rows), tuple(reader.faults), by_row)


def _rows(reader: _Reader, header: Sequence[str], lines: Iterable[tuple[int, list[str]]]) -> list[Row]:
    places = [(place, reader.columns[name]) for place, name in enumerate(header) if name in reader.columns]
    rows = []
    for line, texts in lines:
        if len(texts) != len(header):
            hint = (
                "put text that holds a comma in double quotes" if len(texts) > len(header) else "add commas"
            )
            reader.add(line, f"has {len(texts)} cells where the header has {len(header)}; {hint}")
            continue
        cells: dict[str, Cell] = {}
        sound = True
        for place, column in places:
            cells[column.name], good = reader.cell(line, column, texts[place])
            sound = sound and good
        rows.append(Row(line, cells, sound))
    return rows


def _doubles(reader: _Reader, rows: Iterable[Row], unique: Sequence[str], by_row: bool) -> None:
    place = "row" if by_row else "line"
    first: dict[tuple[Cell, ...], int] = {}
    for row in rows:
        key = tuple(row.cells.get(name) for name in unique)
        if not unique or None in key:
            continue
        if key in first:
            what = ", ".join(f"{name} {quoted(str(value))}" for name, value in zip(unique, key, strict=True))
            reader.add(row.line, f"{what} stands on {place} {first[key]} already; keep one")
        else:
            first[key] = row.line


def _csv(path: Path, add: Callable[[int, str], None]) -> Iterator[tuple[int, list[str]]]:
    text = decode(read_bytes(path))
    tidy: Callable[[str], str] = clean if has_control(text) else str.strip
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    line = 1
    try:
        for texts in reader:
            if any(texts):
                # A quoted cell may hold line breaks; only those cells need the slower cleaning.
                many = reader.line_num > line
                yield line, [clean(t) if many else tidy(t) for t in texts]
            line = reader.line_num + 1
    except csv.Error as error:
        add(line, f"cannot be told apart into cells ({error}); check its double quotes. Reading stopped here")


def _parquet(path: Path) -> Iterator[tuple[int, list[str]]]:
    data = read_bytes(path)
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        table = pq.read_table(io.BytesIO(data))
    except (pa.ArrowException, OSError) as error:
        raise UnreadableError(f"is not a Parquet file that can be read: {clean(str(error))[:80]}") from None
    yield 0, list(map(clean, table.column_names))
    texts = []
    for column in table.columns:
        write = partial(_parquet_text, numpy_float=column.type in (pa.float16(), pa.float32()))
        texts.append([write(value) for value in column.to_pylist()])
    for number in range(table.num_rows):
        yield number + 1, [column[number] for column in texts]


def _parquet_text(value: object, numpy_float: bool) -> str:
    if value is None:
        return ""
    if numpy_float:
        import numpy as np

        # The shortest decimal of the single, not of the double it widens to.
        return str(np.float32(value))  # type: ignore[arg-type]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list):
        return ";".join(clean(str(word)) for word in value)
    return clean(str(value))
