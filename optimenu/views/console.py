"""Consoles, signs and colours.

Colour is never the only cue: every state has a sign too, and each person a letter. Colours are those of
Okabe and Ito, told apart by most people who see colours differently.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.console import Console
from rich.text import Text

from optimenu.files import clean

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from typing import IO

    from optimenu.rules.base import Measure

PLAIN_WIDTH = 80
BELOW, ABOVE, KEPT, UNKNOWN, UNPROVED = "below", "above", "kept", "unknown", "not proved"
STYLES = {
    BELOW: "bold #0072B2",
    ABOVE: "bold #D55E00",
    KEPT: "",
    UNKNOWN: "#CC79A7",
    UNPROVED: "#CC79A7",
    "quiet": "dim",
    "head": "bold",
    "soft": "#E69F00",
}
_SIGNS = {BELOW: "▼", ABOVE: "▲", KEPT: "·", UNKNOWN: "?", UNPROVED: "?"}
_ASCII = {BELOW: "v", ABOVE: "^", KEPT: ".", UNKNOWN: "?", UNPROVED: "?"}


def _console(stream: IO[str]) -> Console:
    terminal = stream.isatty()
    width = None if terminal or os.environ.get("COLUMNS", "").isdigit() else PLAIN_WIDTH
    return Console(file=stream, width=width, highlight=False, markup=False, emoji=False, soft_wrap=False)


def output_console() -> Console:
    """Console for data: stdout, plain when it is no terminal."""
    return _console(sys.stdout)


def error_console() -> Console:
    """Console for everything else: stderr."""
    return _console(sys.stderr)


def sign(state: str, encoding: str | None = None) -> Text:
    """Sign of a state, coloured; plain letters where the output cannot show more."""
    table = _SIGNS
    try:
        _SIGNS[state].encode(encoding or sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        table = _ASCII
    return Text(table[state], style=STYLES[state])


def state_of(measure: Measure) -> str:
    """State of a measure: below, above, not proved or kept."""
    if measure.short > 0:
        return BELOW
    if measure.over > 0:
        return ABOVE
    return KEPT if measure.proved else UNPROVED


def cell(text: object, style: str = "") -> Text:
    """Text of a cell: never read as markup, control characters taken out."""
    return Text(clean(str(text)), style=style, overflow="fold")


def heading(text: str) -> Text:
    """Heading of a page or of a part of one."""
    return Text(f"\n{clean(text)}", style=STYLES["head"])


def dates_of(dates: Sequence[date]) -> str:
    """Dates as a person writes them: 3 Feb, 19 Feb, 7 Mar."""
    return ", ".join(f"{d.day} {d:%b}" for d in dates)


@dataclass(frozen=True)
class Mark:
    """A person's letter."""

    letter: str
    name: str


def marks(names: list[str]) -> dict[str, Mark]:
    """Give each person the first letter of the name that is still free, else the next letter free."""
    taken: dict[str, Mark] = {}
    used: set[str] = set()
    for name in names:
        wanted = [c.upper() for c in name if c.isalpha()] + [chr(c) for c in range(65, 91)]
        letter = next((c for c in wanted if c not in used), "?")
        used.add(letter)
        taken[name] = Mark(letter, name)
    return taken
