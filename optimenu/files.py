"""Read files as bytes and text, and write their names and contents in faults.

Everything here is shared by tables and configs; nothing here knows what a file means.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

from optimenu.errors import nearest

MOST_BYTES = 64_000_000
"""Largest table file read; a catalogue of 1,000 items takes less than 1 MB."""

_CONTROL = re.compile(
    r"\x1b\[[0-?]*[ -/]*[@-~]"  # terminal colours and cursor moves (ECMA-48 control sequences)
    r"|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)"  # terminal titles and links
    r"|[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]"
    r"|[\u061c\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]"  # direction marks, zero width
)
_SPACE = re.compile(r"[\s\u2028\u2029]+")


class UnreadableError(Exception):
    """A file that cannot be read at all; the message needs only the file's name before it.

    Attributes
    ----------
    line : int
        Line, from 1; 0 for the file as a whole.
    """

    def __init__(self, message: str, line: int = 0) -> None:
        super().__init__(message)
        self.line = line


def clean(text: str) -> str:
    """Return the text without control characters, runs of white space as one blank, ends trimmed."""
    return _SPACE.sub(" ", _CONTROL.sub("", text)).strip()


def has_control(text: str) -> bool:
    """Return whether `clean` would take any control character out of the text."""
    return bool(_CONTROL.search(text))


def shown_path(path: Path) -> str:
    """Return a path as a user in the current folder would write it."""
    try:
        return path.resolve().relative_to(Path.cwd()).as_posix()
    except ValueError:
        return str(path)


def quoted(text: str) -> str:
    """Return a value for a fault: in quotes, at most 40 characters of it."""
    return f'"{text[:40]}..."' if len(text) > 43 else f'"{text}"'


def choose(name: str, known: Sequence[str]) -> str:
    """Return the nearest known name as a question, else the known names when they are few."""
    if len(name) <= 80 and (guess := nearest(name, known)):
        return guess
    return f" Known: {', '.join(known)}." if 0 < len(known) <= 20 else ""


def sensible(number: Decimal) -> bool:
    """Return whether a decimal is finite and of a size exact arithmetic can carry."""
    if not number.is_finite():
        return False
    exponent = number.as_tuple().exponent
    return isinstance(exponent, int) and exponent >= -30 and number.adjusted() <= 30


def read_bytes(path: Path, most: int = MOST_BYTES) -> bytes:
    """Return the bytes of a file; `UnreadableError` says why not."""
    if path.is_dir():
        raise UnreadableError("is a folder; give a file")
    try:
        if path.stat().st_size > most:
            raise UnreadableError(f"is larger than {most // 1_000_000} MB")
        return path.read_bytes()
    except FileNotFoundError:
        raise UnreadableError(f"there is no such file.{near_file(path)}") from None
    except OSError as error:
        raise UnreadableError(f"cannot be read: {error.strerror}") from None


def near_file(path: Path) -> str:
    """Return 'Did you mean "x"?' for the file nearest in name in the same folder, or an empty string."""
    try:
        names = sorted(p.name for p in path.parent.iterdir() if p.is_file() and p.suffix == path.suffix)
    except OSError:
        return f' There is no folder "{shown_path(path.parent)}".'
    guess = nearest(path.name, names)
    if guess or not 0 < len(names) <= 8:
        return guess
    return f" Beside it: {', '.join(names)}."


def decode(data: bytes) -> str:
    """Return UTF-8 text without its byte order mark; `UnreadableError` names the first bad line."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise UnreadableError("is not UTF-8 text; save it as UTF-8", line) from None
