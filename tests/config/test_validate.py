"""Faults of a config in a dietitian's words, each by example."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Literal

import pytest
from pydantic import Field, field_validator, model_validator

from optimenu.config.toml_layers import read_layers
from optimenu.config.validate import unknown_names, validate
from optimenu.settings import Flag, NonNegative, Number, Role, Settings, Span, Text, Unit, Whole, Word


class Cap(Settings):
    at_most: Annotated[Whole, Unit("servings")]
    """Most in the cycle."""
    gap_days: Annotated[Whole, Unit("days")] | None = None
    who: Role = "planner"

    @model_validator(mode="after")
    def agrees(self):
        if self.gap_days == self.at_most:
            raise ValueError("gap_days and at_most may not be equal")
        return self


class Person(Settings):
    name: Text
    mass: Annotated[Number, Span(30, 200), Unit("kg")]


class Repeats(Settings):
    at_most: Annotated[NonNegative, Unit("servings")] | None = None
    tag: Mapping[Word, Cap] = {}
    people: tuple[Person, ...] = ()
    order: tuple[Word, ...] = Field((), max_length=2)
    pair: Annotated[tuple[Word, ...], Field(min_length=2)] | None = None
    exempt: frozenset[Word] = frozenset()
    either: Annotated[Number, Unit("g")] | Cap | None = None
    mode: Literal["mean"] = "mean"
    fixed: Literal["day", "week"] | Annotated[Whole, Unit("days")] = "day"
    share: Decimal = Field(Decimal(1), gt=0, le=1)
    low: int = Field(1, ge=1, lt=9)
    soft: Flag = False
    label: str = Field("x", min_length=1, max_length=3)
    lists: Mapping[str, tuple[Whole, ...]] = {}
    nothing: None = None
    odd: int = 1
    from_: Word | None = Field(None, alias="from")

    @field_validator("odd")
    @classmethod
    def is_odd(cls, value):
        if value % 2 == 0:
            raise ValueError("needs an odd number")
        return value


@pytest.fixture
def check(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def run(text, model=Repeats, prefix=("repeats",)):
        (tmp_path / "week.toml").write_text(text)
        layers = read_layers(tmp_path / "week.toml")
        value = layers.values
        for key in prefix:
            value = value[key]
        settings, faults = validate(model, layers, prefix, value)
        assert (settings is None) == bool(faults)
        return settings or [str(fault) for fault in faults]

    return run


def test_sound_settings_come_back(check):
    settings = check('[repeats]\nat_most = 2.0\nfrom = "tin"\n[repeats.tag.beef]\nat_most = 3\n')
    assert settings.tag["beef"].at_most == 3 and settings.from_ == "tin"


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("at_mots = 1", '[repeats] no setting "at_mots". Did you mean "at_most"?'),
        ("fro = 1", '[repeats] no setting "fro". Did you mean "from"?'),
        (
            '"a\\u001b[31mb" = 1',
            '[repeats] no setting "ab". Known: at_most, tag, people, order, pair, exempt, '
            "either, mode, fixed, share, low, soft, label, lists, nothing, odd, from.",
        ),
        ('at_most = "two"', '[repeats] at_most: needs a number in servings, 0 or more, found "two"'),
        (
            'at_most = "2"',
            '[repeats] at_most: needs a number in servings, 0 or more, found "2"; write it without quotes',
        ),
        (
            "tag.beef.at_most = -1",
            "[repeats.tag.beef] at_most: needs a whole number in servings, 0 or more, found -1",
        ),
        ("tag.beef = 3", "[repeats.tag] beef: needs a table, found 3"),
        ("tag = 3", "[repeats] tag: needs a table, found 3"),
        ("tag.beef.at_mos = 3", '[repeats.tag.beef] setting "at_most" is missing: Most in the cycle'),
        (
            "tag.beef = {at_most = 3, gap = 1}",
            '[repeats.tag.beef] no setting "gap". Known: at_most, gap_days, who.',
        ),
        (
            'tag.beef = {at_most = 3, who = "physican"}',
            "[repeats.tag.beef] who: needs one of nobody, physician, dietitian, planner, "
            'found "physican". Did you mean "physician"?',
        ),
        (
            "tag.beef = {at_most = 3, gap_days = 3}",
            "[repeats.tag.beef] gap_days and at_most may not be equal",
        ),
        (
            'tag."Beef x".at_most = 3',
            "[repeats.tag] Beef x: needs a short name of lower-case letters, digits and underscores, "
            'found "Beef x"',
        ),
        ('people = [{name = "A"}]', '[repeats.people] entry 1 setting "mass" is missing'),
        (
            'people = [{name = "A", mass = 5}]',
            "[repeats.people] entry 1 mass: needs a number in kg, 30 to 200, found 5",
        ),
        (
            'people = [{name = "A", mass = 50, mas = 1}]',
            '[repeats.people] entry 1 no setting "mas". Did you mean "mass"?',
        ),
        ("people = 3", "[repeats] people: needs an array, found 3"),
        ("exempt = 3", "[repeats] exempt: needs an array, found 3"),
        ('order = ["a", "b", "c"]', "[repeats] order: needs at most 2 entries, found an array"),
        ('pair = ["a"]', "[repeats] pair: needs at least 2 entries, found an array"),
        (
            'order = ["a", "B"]',
            "[repeats] order entry 2: needs a short name of lower-case letters, digits and underscores, "
            'found "B"',
        ),
        ('either = "x"', '[repeats] either: needs a number in g or a table, found "x"'),
        ("either.at_mst = 1", '[repeats.either] no setting "at_mst". Did you mean "at_most"?'),
        ('mode = "sum"', '[repeats] mode: needs "mean", found "sum"'),
        (
            'fixed = "weak"',
            '[repeats] fixed: needs a whole number in days, 0 or more or one of day, week, found "weak". '
            'Did you mean "week"?',
        ),
        ("share = 0", "[repeats] share: needs more than 0, found 0"),
        ("share = 2", "[repeats] share: needs 1 or less, found 2"),
        ("share = []", "[repeats] share: needs a number, found an empty array"),
        ("low = 0", "[repeats] low: needs 1 or more, found 0"),
        ("low = 9", "[repeats] low: needs less than 9, found 9"),
        ("low = {}", "[repeats.low] needs a whole number, found a table"),
        ("soft = 1", "[repeats] soft: needs true or false, found 1"),
        ("label = 1", "[repeats] label: needs text in quotes, found 1"),
        ('label = ""', '[repeats] label: needs at least 1 letters, found ""'),
        ('label = "abcd"', '[repeats] label: needs at most 3 letters, found "abcd"'),
        (
            "lists.a = [1, 2, 0.5]",
            "[repeats.lists] a entry 3: needs a whole number, 0 or more, found 0.5",
        ),
        ("nothing = 1", "[repeats] nothing: needs no value, found 1"),
        ("odd = 2", "[repeats] odd: needs an odd number"),
        ('odd = "x"', "[repeats] odd: Input should be a valid integer, unable to parse string as an integer"),
    ],
)
def test_a_fault_in_toml_words(check, line, fault):
    assert f"week.toml:3  {fault}" in check(f"\n[repeats]\n{line}\n")


def test_faults_carry_their_own_lines_and_come_at_once(check):
    text = (
        "[repeats]\nat_most = true\n\n[repeats.tag.beef]\ngap_days = 1\n\n"
        '[[repeats.people]]\nname = "A"\nmass = 70\n[[repeats.people]]\nname = ""\nmass = [1]\n'
    )
    assert check(text) == [
        "week.toml:2  [repeats] at_most: needs a number in servings, 0 or more, found true",
        'week.toml:4  [repeats.tag.beef] setting "at_most" is missing: Most in the cycle',
        'week.toml:11  [repeats.people] entry 2 name: needs some text, found ""',
        "week.toml:12  [repeats.people] entry 2 mass: needs a number in kg, 30 to 200, found an array",
    ]


def test_a_fault_inside_a_table_is_told_once(check):
    # The other member of the union would only have said "needs a number, found a table".
    assert check("[repeats]\neither.at_most = 1.5\n") == [
        "week.toml:2  [repeats.either] at_most: needs a whole number in servings, 0 or more, found 1.5"
    ]


def test_a_table_that_is_none(check):
    assert check("repeats = 3\n") == ["week.toml:1  repeats: needs a table, found 3"]


def test_a_whole_config(check):
    assert check('at_most = 3\nx = 1\ngap_days = "y"\n', Cap, ()) == [
        'week.toml:2  no setting "x". Known: at_most, gap_days, who.',
        'week.toml:3  gap_days: needs a whole number in days, 0 or more, found "y"',
    ]
    assert check("at_most = 3\ngap_days = 3\n", Cap, ()) == [
        "week.toml:1  gap_days and at_most may not be equal"
    ]


def test_names_that_nobody_declared(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "week.toml").write_text(
        '[repeats.item.stw]\nat_most = 1\n[dishes]\nshared = ["rice", "te"]\n'
    )
    layers = read_layers(tmp_path / "week.toml")
    names = [
        (("repeats", "item", "stw"), "stw"),
        (("dishes", "shared", 0), "rice"),
        (("dishes", "shared", 1), "te"),
        ((), "te"),
    ]
    assert [str(f) for f in unknown_names(layers, names, ("rice", "stew", "tea"), "item")] == [
        'week.toml:1  [repeats.item] no item "stw". Did you mean "stew"?',
        'week.toml:4  [dishes] shared entry 2: no item "te". Did you mean "tea"?',
        'week.toml:1  no item "te". Did you mean "tea"?',
    ]
