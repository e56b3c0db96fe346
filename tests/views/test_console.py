"""Signs, letters and plain output: what colour says is said without it too."""

from __future__ import annotations

import io
from datetime import date
from decimal import Decimal

import pytest

from optimenu.crew.people import Person
from optimenu.views.console import (
    ABOVE,
    BELOW,
    KEPT,
    PEOPLE,
    UNKNOWN,
    dates_of,
    error_console,
    heading,
    marks,
    output_console,
    sign,
)

STATES = (KEPT, BELOW, ABOVE, UNKNOWN)


class Screen(io.TextIOWrapper):
    """A stream of an encoding that says whether it is a terminal."""

    def __init__(self, encoding: str, *, terminal: bool) -> None:
        super().__init__(io.BytesIO(), encoding=encoding)
        self.terminal = terminal

    def isatty(self) -> bool:
        return self.terminal

    def text(self) -> str:
        self.flush()
        return self.buffer.getvalue().decode(self.encoding)  # type: ignore[attr-defined]


def shown(monkeypatch: pytest.MonkeyPatch, encoding: str = "utf-8", *, terminal: bool = False) -> str:
    """Every sign, a heading and a name with an accent, as such a stream receives them."""
    screen = Screen(encoding, terminal=terminal)
    monkeypatch.setattr("sys.stdout", screen)
    console = output_console()
    for state in STATES:
        console.print(sign(state))
    console.print(heading("crème at 57 °C"))
    return screen.text()


def person(name: str, mark: str = "", colour: str = "") -> Person:
    kcal = {"": Decimal(2000)}
    return Person(name, name.title(), "female", 34, Decimal(60), Decimal("1.7"), Decimal(5), kcal,
                  mark=mark, colour=colour)  # fmt: skip


def test_signs_differ_without_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = shown(monkeypatch).splitlines()
    assert lines[:4] == ["·", "▼", "▲", "?"]
    assert "\x1b" not in "".join(lines)


def test_an_encoding_without_the_signs_gets_plain_letters(monkeypatch: pytest.MonkeyPatch) -> None:
    text = shown(monkeypatch, "ascii")
    assert text.splitlines()[:4] == [".", "v", "^", "?"]
    assert "creme at 57 C" in text


def test_a_terminal_gets_colours_unless_told_not_to(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert "\x1b[" in shown(monkeypatch, terminal=True)
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b" not in shown(monkeypatch, terminal=True)


def test_a_pipe_stays_plain_even_where_colour_is_forced(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert "\x1b" not in shown(monkeypatch)


def test_width_is_eighty_when_piped_unless_columns_says_otherwise(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdout", Screen("utf-8", terminal=False))
    monkeypatch.setattr("sys.stderr", Screen("utf-8", terminal=False))
    monkeypatch.delenv("COLUMNS", raising=False)
    assert (output_console().width, error_console().width) == (80, 80)
    monkeypatch.setenv("COLUMNS", "133")
    assert (output_console().width, error_console().width) == (133, 133)


def test_people_carry_different_letters_and_colours() -> None:
    found = marks([person("ada"), person("anna"), person("ad"), person("bo")])
    assert [m.letter for m in found.values()] == ["A", "N", "D", "B"]
    assert [m.colour for m in found.values()] == list(PEOPLE[:4])
    assert found["anna"].text(name=True).plain == "[N] Anna"


def test_the_config_s_mark_and_colour_come_first() -> None:
    found = marks([person("ada"), person("bo", mark="A", colour=PEOPLE[0]), person("cy", mark="A")])
    assert [m.letter for m in found.values()] == ["D", "A", "C"]
    assert found["bo"].colour == PEOPLE[0]
    assert found["ada"].colour == PEOPLE[1]


def test_letters_read_on_dark_and_on_light_colours() -> None:
    found = marks([person("ada", colour="#101010"), person("bo", colour="#F0E442")])
    assert "#FFFFFF on #101010" in str(found["ada"].text().spans[0].style)
    assert "#000000 on #F0E442" in str(found["bo"].text().spans[0].style)


def test_more_people_than_letters_and_colours_still_differ() -> None:
    found = marks([person(f"a{k}") for k in range(30)])
    assert len({m.letter for m in found.values()}) == 30


def test_dates_name_their_years_when_there_are_several() -> None:
    assert dates_of([date(2031, 12, 30), date(2031, 12, 31)]) == "30 Dec, 31 Dec"
    assert dates_of([date(2031, 12, 31), date(2032, 1, 1)]) == "31 Dec 2031, 1 Jan 2032"
