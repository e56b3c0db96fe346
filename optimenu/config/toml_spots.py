"""Where each key of a TOML file stands: a short scan of headers, keys and values.

The parser gives values without places, so that a fault in a value could name no line. The scan runs
on text the parser has accepted, so it need not judge the syntax, only follow it.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import tomli

from optimenu.files import UnreadableError, clean

DEEPEST = 40
"""Most levels of tables and arrays in one another."""

Key = str | int
"""A key of a table, or the place of an entry in an array, from 0."""

_BLANK = re.compile(r"(?:[ \t\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE = re.compile(r"[^\s.=\[\]{}\"'#,]+")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}(?!")'
    r"|'''.*?'{3,5}(?!')"
    r'|"(?:\\.|[^"\\])*"'
    r"|'[^']*'",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}\n#]+")


@dataclass(slots=True)
class Spot:
    """Line of a key or an array entry, and the spots inside its value."""

    line: int
    file: Path
    inner: dict[Key, Spot] = field(default_factory=dict)
    tables: bool = False

    def find(self, keys: Sequence[Key]) -> Spot:
        """Return the spot of a path of keys, or of the closest key that encloses it."""
        spot = self
        for key in keys:
            if key not in spot.inner:
                break
            spot = spot.inner[key]
        return spot


def scan(text: str, file: Path) -> Spot:
    r"""Return the spots of a TOML document that `tomli` accepts.

    Parameters
    ----------
    text : str
        The document; line ends are ``\n``.
    file : Path
        Kept in every spot.

    Raises
    ------
    UnreadableError
        When tables or arrays nest more than `DEEPEST` levels.
    """
    return _Scan(text, file).document()


def place(table: Sequence[Key], key: str = "") -> str:
    """Return a place in TOML words: ``[repeats.tag.beef] at_most``, ``[people] entry 2 name``."""
    first = next((i for i, k in enumerate(table) if isinstance(k, int)), len(table))
    words = [f"[{'.'.join(map(_shown, table[:first]))}]"] if first else []
    for k in (*table[first:], *([key] if key else [])):
        words.append(f"entry {k + 1}" if isinstance(k, int) else _shown(k))
    return " ".join(words)


def place_of(keys: Sequence[Key]) -> str:
    """Return the place of a value: table, key, and entry where it stands in an array."""
    last = next((i for i in range(len(keys) - 1, -1, -1) if isinstance(keys[i], str)), -1)
    if last < 0:
        return place(keys)
    entries = [f" entry {k + 1}" for k in keys[last + 1 :] if isinstance(k, int)]
    return place(keys[:last], str(keys[last])) + "".join(entries)


def _shown(key: Key) -> str:
    text = clean(str(key))
    return text if len(text) <= 40 else f"{text[:40]}..."


class _Scan:
    def __init__(self, text: str, file: Path) -> None:
        self.text = text
        self.file = file
        self.at = 0
        self.breaks = [i for i, letter in enumerate(text) if letter == "\n"]

    def spot(self, depth: int, at: int) -> Spot:
        line = bisect_right(self.breaks, at - 1) + 1
        if depth > DEEPEST:
            raise UnreadableError(f"tables and arrays nest more than {DEEPEST} levels deep", line)
        return Spot(line, self.file)

    def skip(self, what: re.Pattern[str]) -> str:
        match = what.match(self.text, self.at)
        assert match, f"scan lost its way at {self.at}"
        self.at = match.end()
        return match[0]

    def next(self, what: str) -> bool:
        """Return whether the text goes on with this, stepping over it if so."""
        if self.text.startswith(what, self.at):
            self.at += len(what)
            return True
        return False

    def document(self) -> Spot:
        root = table = Spot(1, self.file)
        depth = 0
        while self.skip(_BLANK) is not None and self.at < len(self.text):
            if self.next("[["):
                table, depth = self.header(root, many=True)
            elif self.next("["):
                table, depth = self.header(root, many=False)
            else:
                self.pair(table, depth)
        return root

    def header(self, root: Spot, many: bool) -> tuple[Spot, int]:
        start = self.at
        keys = self.keys()
        self.skip(_SPACE)
        self.at += 2 if many else 1
        table, depth = root, 0
        for key in keys[:-1]:
            depth += 1
            table = table.inner.setdefault(key, self.spot(depth, start))
            if table.tables:
                depth += 1
                table = table.inner[len(table.inner) - 1]
        new = self.spot(depth + 1, start)
        table = table.inner.setdefault(keys[-1], new)
        if not many:
            table.line = new.line  # an own header beats a mention in another table's header
            return table, depth + 1
        table.tables = True
        entry = table.inner[len(table.inner)] = self.spot(depth + 2, start)
        return entry, depth + 2

    def keys(self) -> list[str]:
        keys: list[str] = []
        while not keys or self.next("."):
            self.skip(_SPACE)
            if self.text[self.at] in "\"'":
                raw = self.skip(_STRING)
                keys.append(tomli.loads(f"k={raw}")["k"] if "\\" in raw else raw[1:-1])
            else:
                keys.append(self.skip(_BARE))
            self.skip(_SPACE)
        return keys

    def pair(self, table: Spot, depth: int) -> None:
        start = self.at
        for key in self.keys():
            depth += 1
            table = table.inner.setdefault(key, self.spot(depth, start))
        self.at += 1  # the equals sign
        self.skip(_SPACE)
        self.value(table, depth)

    def value(self, spot: Spot, depth: int) -> None:
        if self.next("["):
            while self.skip(_BLANK) is not None and not self.next("]"):
                if not self.next(","):
                    entry = spot.inner[len(spot.inner)] = self.spot(depth + 1, self.at)
                    self.value(entry, depth + 1)
        elif self.next("{"):
            while self.skip(_BLANK) is not None and not self.next("}"):
                if not self.next(","):
                    self.pair(spot, depth)
        else:
            self.skip(_STRING if self.text[self.at] in "\"'" else _SCALAR)
