"""Lines of keys in TOML, held against what the parser finds."""

from __future__ import annotations

from pathlib import Path

import pytest
import tomli
from hypothesis import given
from hypothesis import strategies as st

from optimenu.config.toml_spots import DEEPEST, place, place_of, scan
from optimenu.files import UnreadableError


def test_places_in_toml_words():
    assert place(()) == "" and place((), "a") == "a" and place_of(()) == ""
    assert place(("repeats", "tag", "beef"), "at_most") == "[repeats.tag.beef] at_most"
    assert place_of(("people", 1, "diet", "name")) == "[people] entry 2 diet name"
    assert place_of(("courses", "order", 0, 1)) == "[courses] order entry 1 entry 2"
    assert place_of((0,)) == "entry 1"
    assert place(("x" * 50,)) == f"[{'x' * 40}...]"


HARD = r"""
# [no.header]
top.'dotted key'."q\u0075oted" = 1  # x = 2
text = DDD
[not.a.header]
fake = 1 \DDD more
DDD
lit = SSS
[[nor.this]]
it's 'x''SSS
quotes = DDDa""DDD
inline = { a = 1, b = { "c]" = "}", 'd{' = [1, 2] }, e.f = "#" }
array = [ # comment ]
  1, "]", [
    2,
  ],
  { g = 3 }, 1979-05-27 07:32:00,
]
[ spaced . out ]
h=1
[[rows]]
i = 1
[rows.sub]
j = 1
[[rows.inner]]
k = 1
[[rows]]
l = 1
[spaced]
m = 1
"" = 0
""".replace("DDD", '"' * 3).replace("SSS", "'" * 3)


def test_hard_text():
    values = tomli.loads(HARD)
    spots = scan(HARD, Path("x"))
    lines = HARD.split("\n")

    def line(*keys):
        assert read(values, keys) is not None
        return lines[spots.find(keys).line - 1]

    assert line("top", "dotted key", "quoted").startswith("top.")
    assert line("text").startswith("text") and line("lit").startswith("lit") and "nor" not in values
    assert line("quotes").startswith("quotes")
    assert line("inline", "b", "d{", 1) == line("inline", "e", "f") == line("inline")
    assert line("array", 1).startswith("  1,") and line("array", 2, 0) == "    2,"
    assert line("array", 3, "g") == line("array", 4) == "  { g = 3 }, 1979-05-27 07:32:00,"
    assert line("spaced", "out", "h") == "h=1" and line("spaced", "m") == "m = 1"
    assert line("spaced") == "[spaced]" and line("spaced", "out") == "[ spaced . out ]"
    assert line("rows", 0, "sub", "j") == "j = 1" and line("rows", 0, "inner", 0, "k") == "k = 1"
    assert line("rows", 1, "l") == "l = 1" and line("rows") == "[[rows]]"
    assert line("spaced", "") == '"" = 0'


def read(values, keys):
    for key in keys:
        values = values[key]
    return values


class Writer:
    """Writes random TOML in which every key and every number is unique, so that its line is known."""

    def __init__(self, draw):
        self.draw = draw
        self.count = 0

    def new(self):
        self.count += 1
        return f"k{self.count}_"

    def key(self):
        name = self.new()
        forms = [name, f'"{name} ]=#\\u00e9"', f"'{name}[.\"'", f'"{name}\\"\\\\"', f'"{name}"']
        return self.draw(st.sampled_from(forms))

    def keys(self):
        dot = self.draw(st.sampled_from([".", " . ", "\t."]))
        return dot.join(self.key() for _ in range(self.draw(st.integers(1, 3))))

    def scalar(self):
        n = self.new()
        three, thrice = '"' * 3, "'" * 3
        forms = [
            f"{n[1:-1]}000",
            f'"{n} #]}},"',
            f"'{n} [a]'",
            f'{three}{n}\n[x]\ny = 1 \\{three} ""{three}',
            f"{thrice}{n}\n[[z]] # \"'\n'{thrice}",
            *("true", "1.5e3", "1979-05-27 07:32:00", "07:32:00"),
            *('"a\\\\"', "''", '""', three * 2, thrice * 2),
        ]
        return self.draw(st.sampled_from(forms))

    def blank(self):
        return self.draw(st.sampled_from(["", " ", "\n", " # ] } , k = 1\n", "\n\n  "]))

    def value(self, depth):
        kind = self.draw(st.sampled_from(["scalar", "array", "inline"])) if depth < 3 else "scalar"
        if kind == "scalar":
            return self.scalar()
        many = range(self.draw(st.integers(0, 3)))
        if kind == "array":
            inner = [self.blank() + self.value(depth + 1) + self.blank() for _ in many]
            end = self.draw(st.sampled_from(["", ","])) if inner else ""
            return "[" + ",".join(inner) + end + self.blank() + "]"
        return "{ " + ", ".join(f"{self.keys()} = {self.value(depth + 1)}" for _ in many) + " }"

    def pairs(self):
        ends = st.sampled_from(["\n", " # [no] = 1\n", "\n\n", " \n# k = [\n"])
        return "".join(
            f"{self.draw(st.sampled_from(['', '  ']))}{self.keys()} = {self.value(0)}{self.draw(ends)}"
            for _ in range(self.draw(st.integers(0, 3)))
        )

    def document(self):
        text = self.pairs()
        arrays = []
        for _ in range(self.draw(st.integers(0, 5))):
            kind = self.draw(st.sampled_from(["table", "rows", "again", "under"]))
            if kind == "rows" or (kind in ("again", "under") and not arrays):
                arrays.append(self.keys())
                text += f"[[{arrays[-1]}]]\n"
            elif kind == "table":
                text += f"[ {self.keys()} ]\n"
            elif kind == "again":
                text += f"[[{self.draw(st.sampled_from(arrays))}]]\n"
            else:
                text += f"[{self.draw(st.sampled_from(arrays))}.{self.keys()}]\n"
            text += self.pairs()
        return text


@st.composite
def documents(draw):
    return Writer(draw).document()


def paths(value, keys=()):
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, each in inner:
        yield (*keys, key), each
        yield from paths(each, (*keys, key))


@given(documents())
def test_every_key_stands_on_the_line_reported(text):
    values = tomli.loads(text)
    spots, lines = scan(text, Path("x")), text.split("\n")
    for keys, value in paths(values):
        spot = spots
        for key in keys:
            spot = spot.inner[key]
        line = lines[spot.line - 1]
        if isinstance(keys[-1], str):
            assert keys[-1].split("_")[0] + "_" in line, keys
        elif isinstance(value, int) and value > 999:
            assert str(value) in line
        elif isinstance(value, str) and value.startswith("k"):
            assert value.split("_")[0] + "_" in line
    assert count(spots) == len(list(paths(values)))


def count(spot):
    return sum(1 + count(each) for each in spot.inner.values())


def test_the_deepest_nesting_allowed_is_read():
    scan(f"a = {'[' * (DEEPEST - 1)}{']' * (DEEPEST - 1)}", Path("x"))
    with pytest.raises(UnreadableError):
        scan(f"a = {'[' * (DEEPEST)}1{']' * (DEEPEST)}", Path("x"))
