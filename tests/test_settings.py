"""Settings: kinds of value, their faults, their JSON Schema, and TOML there and back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time
from decimal import Decimal
from typing import Annotated

import pytest
import tomli
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ConfigDict, Field, ValidationError

from optimenu.crew.people import PersonTable
from optimenu.settings import (
    Clock,
    Day,
    Flag,
    NonNegative,
    Number,
    Percent,
    Positive,
    Role,
    Settings,
    Span,
    Text,
    Unit,
    Whole,
    Word,
    to_toml,
)


class Limit(Settings):
    at_most: Annotated[NonNegative, Unit("mg")] | None = None
    """Most in a day."""
    share: Percent = Decimal("2.5")
    score: Annotated[Number, Span(1, 9), Unit("points")] | None = None
    either: Annotated[NonNegative | None, Span(most=5), Unit("g")] = None
    mass: Annotated[Positive, Unit("kg")] | None = None
    gap: Annotated[Whole, Span(most=60), Unit("days")] = 1
    soft: Flag = False
    who: Role = "planner"
    name: Word | None = None
    note: Text | None = None
    since: Day | None = None
    at: Clock | None = None
    from_: Word | None = Field(None, alias="from")


def fault(**values):
    with pytest.raises(ValidationError) as caught:
        Limit(**values)
    (error,) = caught.value.errors()
    return error["msg"]


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"at_most": "two"}, 'needs a number in mg, 0 or more, found "two"'),
        ({"at_most": "2"}, 'needs a number in mg, 0 or more, found "2"; write it without quotes'),
        ({"at_most": True}, "needs a number in mg, 0 or more, found true"),
        ({"at_most": -1}, "needs a number in mg, 0 or more, found -1"),
        ({"at_most": {}}, "needs a number in mg, 0 or more, found a table"),
        ({"at_most": [1]}, "needs a number in mg, 0 or more, found an array"),
        ({"at_most": []}, "needs a number in mg, 0 or more, found an empty array"),
        ({"at_most": date(2031, 5, 9)}, "needs a number in mg, 0 or more, found 2031-05-09"),
        ({"at_most": time(7, 30)}, "needs a number in mg, 0 or more, found 07:30"),
        (
            {"at_most": Decimal("nan")},
            "needs a finite number of ordinary size in mg, 0 or more, found NaN",
        ),
        (
            {"at_most": Decimal("1e999")},
            "needs a finite number of ordinary size in mg, 0 or more, found 1E+999",
        ),
        ({"at_most": float("inf")}, "needs a finite number of ordinary size in mg, 0 or more, found inf"),
        ({"share": 101}, "needs a number in %, 0 to 100, found 101"),
        ({"score": Decimal("9.5")}, "needs a number in points, 1 to 9, found 9.5"),
        ({"either": 6}, "needs a number in g, 5 or less, found 6"),
        ({"mass": 0}, "needs a number in kg, above 0, found 0"),
        ({"gap": 61}, "needs a whole number in days, 60 or less, found 61"),
        ({"gap": Decimal("3.0")}, "needs a whole number in days, 60 or less, found 3.0"),
        ({"gap": True}, "needs a whole number in days, 60 or less, found true"),
        ({"name": "Beef"}, 'needs a short name of lower-case letters, digits and underscores, found "Beef"'),
        ({"note": " \u202e "}, 'needs some text, found ""'),
        ({"since": "May"}, 'needs a date such as 2031-05-09, found "May"'),
        ({"since": "2031-02-30"}, 'needs a day of the calendar, found "2031-02-30"'),
        ({"since": "0031-02-03"}, "needs a date from 1900 to 2199, found 0031-02-03"),
        ({"since": datetime(2031, 5, 9, 1)}, "needs a date such as 2031-05-09, found 2031-05-09T01:00:00"),
        ({"at": "7:30"}, 'needs a time of day such as "07:30", found "7:30"'),
        ({"at": time(7, 30, 5)}, 'needs a time of day such as "07:30", found 07:30:05'),
        (
            {"name": "x" * 99},
            f'needs a short name of lower-case letters, digits and underscores, found "{"x" * 40}..."',
        ),
        ({"soft": "yes"}, "Input should be a valid boolean"),
    ],
)
def test_a_fault_says_what_is_needed(values, message):
    assert fault(**values) == message


def test_a_range_can_have_any_ends():
    assert str(Span(above=0, most=5)) == "above 0 and 5 or less"


def test_numbers_stay_as_written():
    limit = Limit(at_most=Decimal("1.50"), score=3, since="2031-05-09", at="07:30", either=0.1)
    assert str(limit.at_most) == "1.50" and limit.score == 3
    assert limit.either == Decimal("0.1")
    assert (limit.since, limit.at) == (date(2031, 5, 9), time(7, 30))
    assert Limit(since=date(2031, 5, 9), at=time(7, 30), note=" a\x1b[1m b") == Limit(
        since="2031-05-09", at="07:30", note="a b"
    )


def test_settings_are_frozen_and_know_their_keys():
    with pytest.raises(ValidationError):
        Limit().gap = 3
    with pytest.raises(ValidationError):
        Limit(gaps=3)


def test_the_schema_carries_unit_range_meaning_and_default():
    properties = Limit.model_json_schema()["properties"]
    assert properties["at_most"]["anyOf"][0] == {"type": "number", "minimum": 0, "unit": "mg"}
    assert properties["at_most"]["description"] == "Most in a day."
    assert properties["share"]["default"] == 2.5 and properties["share"]["unit"] == "%"
    assert properties["gap"] == {
        "default": 1, "minimum": 0, "maximum": 60, "title": "Gap", "type": "integer", "unit": "days"
    }  # fmt: skip
    assert properties["mass"]["anyOf"][0]["exclusiveMinimum"] == 0
    assert "from" in properties


def test_an_aliased_number_keeps_its_default_in_the_schema():
    class Aliased(Settings):
        over_: Number = Field(Decimal("0.5"), alias="over")

    assert Aliased.model_json_schema()["properties"]["over"]["default"] == 0.5


def test_json_holds_numbers():
    assert '"at_most":1.5,' in Limit(at_most=Decimal("1.50")).model_dump_json()
    assert '"at_most":2,' in Limit(at_most=Decimal("2.0")).model_dump_json()


class Whole3(Settings):
    limits: Mapping[str, Limit] = {}
    people: tuple[Limit, ...] = ()
    words: tuple[str, ...] = ()
    tags: frozenset[Word] = frozenset()
    rows: tuple[tuple[Number, ...], ...] = ()
    deep: Mapping[str, Mapping[str, tuple[Limit, ...]]] = {}


limits = st.builds(
    Limit,
    at_most=st.none() | st.decimals(0, 10000, places=3) | st.integers(0, 99),
    share=st.decimals(0, 100, allow_nan=False, allow_infinity=False).map(lambda d: round(d, 9)),
    gap=st.integers(0, 60),
    soft=st.booleans(),
    who=st.sampled_from(["nobody", "planner"]),
    name=st.none() | st.from_regex(r"\A[a-z0-9_]{1,9}\Z"),
    since=st.none() | st.dates(date(1900, 1, 1), date(2199, 12, 31)),
    at=st.none() | st.times().map(lambda t: t.replace(second=0, microsecond=0)),
)
text = st.text(st.characters(codec="utf-8"), max_size=9)
wholes = st.builds(
    Whole3,
    limits=st.dictionaries(text, limits, max_size=3),
    people=st.lists(limits, max_size=3).map(tuple),
    words=st.lists(text, max_size=3).map(tuple),
    tags=st.frozensets(st.sampled_from(["a", "b", "c"])),
    rows=st.lists(st.lists(st.integers(0, 9), max_size=2).map(tuple), max_size=2).map(tuple),
    deep=st.dictionaries(
        text, st.dictionaries(text, st.lists(limits, max_size=2).map(tuple), max_size=2), max_size=2
    ),
)


@given(wholes)
def test_toml_there_and_back(whole):
    values = tomli.loads(to_toml(whole), parse_float=Decimal)
    assert Whole3.model_validate(values) == whole


def test_toml_is_what_a_person_would_write():
    whole = Whole3(limits={"no salt": Limit(at_most=1, at="07:30", since="2031-05-09")}, tags={"b", "a"})
    assert to_toml(whole) == (
        'people = []\nwords = []\ntags = ["a", "b"]\nrows = []\n\n[limits]\n\n[limits."no salt"]\n'
        'at_most = 1\nshare = 2.5\ngap = 1\nsoft = false\nwho = "planner"\n'
        "since = 2031-05-09\nat = 07:30:00\n"
        "\n[deep]\n"
    )


def test_tables_in_a_mixed_array_stand_in_line():
    class Loose(Settings):
        model_config = ConfigDict(extra="allow")

    loose = Loose.model_validate({"a": [1, {"b c": 0.5}], "s": '"\x7f'})
    assert to_toml(loose) == 'a = [1, {"b c" = 0.5}]\ns = "\\"\\u007f"\n'
    assert tomli.loads(to_toml(loose)) == {"a": [1, {"b c": 0.5}], "s": '"\x7f'}
    with pytest.raises(TypeError, match="TOML cannot hold object"):
        to_toml(Loose.model_validate({"a": object()}))


def test_marks_and_colours_are_one_letter_and_six_figures() -> None:
    table = {
        "name": "Juno", "sex": "female", "age": 34, "mass_kg": 60, "height_m": Decimal("1.66"),
        "energy": {"kcal": 1500},
    }  # fmt: skip
    found = PersonTable.model_validate({**table, "mark": "J", "colour": "#0072b2"})
    assert (found.mark, found.colour) == ("J", "#0072b2")
    with pytest.raises(ValidationError, match="needs one letter or digit, found"):
        PersonTable.model_validate({**table, "mark": "Ju"})
    with pytest.raises(ValidationError, match="needs a colour such as"):
        PersonTable.model_validate({**table, "colour": "blue"})
