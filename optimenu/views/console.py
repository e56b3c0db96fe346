"""Consoles, signs and colours.

Colour is never the only cue: every state has a sign too, and each person a letter. Colours are those of
Okabe and Ito (Color Universal Design, 2008), told apart by most people who see colours differently.
"""

from __future__ import annotations

import codecs
import os
import sys
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.text import Text

from optimenu.files import clean

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date
    from typing import IO

    from optimenu.crew.people import Person
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
    "soft": "#D55E00",
}
PEOPLE = ("#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7")
"""Colours behind people's letters, in turn, where the config chooses none; the letter tells them apart."""
SIGNS = {BELOW: "▼", ABOVE: "▲", KEPT: "·", UNKNOWN: "?", UNPROVED: "?"}
_SIMPLER = {"▼": "v", "▲": "^", "·": ".", "°": "", "µ": "u", "█": "#", "░": ".", "─": "-", "–": "-"}  # noqa: RUF001
_SIMPLER_NAME = "optimenu.simpler"


def _simpler(error: UnicodeError) -> tuple[str, int]:
    """Stand-ins for what a stream cannot encode: a plain sign, the letter without accents, else ``?``."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    out = []
    for c in error.object[error.start : error.end]:
        bare = unicodedata.normalize("NFKD", c).encode("ascii", "ignore").decode()
        out.append(_SIMPLER.get(c, bare or "?"))
    return "".join(out), error.end


codecs.register_error(_SIMPLER_NAME, _simpler)


def _console(stream: IO[str]) -> Console:
    terminal = stream.isatty()
    plain = not terminal or bool(os.environ.get("NO_COLOR"))
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors=_SIMPLER_NAME)
    fixed = not terminal and not os.environ.get("COLUMNS", "").isdigit()
    return Console(
        file=stream,
        width=PLAIN_WIDTH if fixed else None,
        force_terminal=terminal,
        # without a colour system not even bold is written: no escape codes at all
        color_system=None if plain else "auto",
        highlight=False,
        markup=False,
        emoji=False,
        soft_wrap=False,
    )


def output_console() -> Console:
    """Console for data: stdout, plain when it is no terminal or ``NO_COLOR`` is set."""
    return _console(sys.stdout)


def error_console() -> Console:
    """Console for everything else: stderr."""
    return _console(sys.stderr)


def sign(state: str) -> Text:
    """Sign of a state, coloured; the console writes a plain letter where it can show no more."""
    return Text(SIGNS[state], style=STYLES[state])


def soft_sign() -> Text:
    """Sign of a soft limit."""
    return Text("~ ", style=STYLES["soft"], overflow="fold")


def state_of(measure: Measure) -> str:
    """State of a measure: below, above, not proved or kept."""
    if measure.short > 0:
        return BELOW
    if measure.over > 0:
        return ABOVE
    return KEPT if measure.proved else UNPROVED


def cell(text: object, style: str = "") -> Text:
    """Text of a cell: never read as markup, control characters taken out, wrapped and never cut."""
    return Text(clean(str(text)), style=style, overflow="fold")


def marked(mark: Text, text: object, style: str = "") -> RenderableType:
    """Return an indented line that begins with a sign; only the sign has the sign's colour."""
    made = Text(overflow="fold").append_text(mark)
    if not mark.plain.endswith(" "):
        made.append(" ")
    return Padding(made.append_text(cell(text, style)), (0, 0, 0, 2))


def heading(text: str) -> Text:
    """Heading of a page or of a part of one."""
    return Text(f"\n{clean(text)}", style=STYLES["head"], overflow="fold")


def dates_of(dates: Sequence[date]) -> str:
    """Dates as a person writes them: 3 Feb, 19 Feb, 7 Mar; with years when there are several."""
    several = len({d.year for d in dates}) > 1
    return ", ".join(f"{d.day} {d:%b}" + (f" {d.year}" if several else "") for d in dates)


@dataclass(frozen=True)
class Mark:
    """A person's letter, with a colour behind it where colours are shown."""

    letter: str
    name: str
    colour: str

    def text(self, *, name: bool = False) -> Text:
        """Return the letter in brackets, followed by the name if asked."""
        ink = "#000000" if _light(self.colour) else "#FFFFFF"
        made = Text(overflow="fold").append(f"[{self.letter}]", f"bold {ink} on {self.colour}")
        return made.append(f" {self.name}") if name else made


def _light(colour: str) -> bool:
    """Whether dark ink reads better than white: relative luminance above 0.18 (WCAG 2, its definition)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue > 0.18


def marks(people: Sequence[Person]) -> Mapping[str, Mark]:
    """Letter and colour of each person, by id: those the config chose, else the first that are free."""
    chosen = {p.mark: p.id for p in reversed(people) if p.mark}
    letters = {id_: letter for letter, id_ in chosen.items()}
    colours = [c for c in PEOPLE if c not in {p.colour.upper() for p in people}] or list(PEOPLE)
    used = set(chosen)
    found: dict[str, Mark] = {}
    plain = 0
    for k, person in enumerate(people):
        name = clean(person.name)
        wanted = [c.upper() for c in name if c.isalpha()]
        wanted += [chr(c) for c in range(ord("A"), ord("Z") + 1)]
        letter = letters.get(person.id) or next((c for c in wanted if c not in used), str(k + 1))
        used.add(letter)
        colour = person.colour or colours[plain % len(colours)]
        plain += not person.colour
        found[person.id] = Mark(letter, name, colour)
    return found
