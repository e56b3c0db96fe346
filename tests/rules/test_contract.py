"""One contract for every rule, whichever rules there are.

A test module ``test_<table>.py`` supplies ``near(problem, tally, rng)``: settings as TOML whose limits lie
near the totals of that menu, and the problem they belong to.
"""

from __future__ import annotations

import re
from collections import defaultdict
from decimal import Decimal
from functools import cache
from importlib import import_module
from pathlib import Path
from random import Random
from types import UnionType
from typing import Union, get_args, get_origin

import numpy as np
import pytest
import tomli
from pydantic import BaseModel

from optimenu.measures import Unit
from optimenu.program.build import build, refusal
from optimenu.program.builder import Builder
from optimenu.program.origin import Origin
from optimenu.program.page import GOAL_DECIMALS, Page
from optimenu.program.program import HARD, IMPLIED, LINK, NO_HIGH, NO_LOW, ORDINARY
from optimenu.rules.registry import rule_classes
from optimenu.settings import to_toml
from tests.rules import hand, tiny

TABLES = tuple(rule_classes())
SEEDS, MENUS = 30, 16


@cache
def cases(table):
    """Return problem, rule, program, and a base menu's counts for every seed."""
    supply = import_module(f"tests.rules.test_{table}").near
    cls = rule_classes()[table]
    found = []
    for seed in range(SEEDS):
        rng = Random(f"{table} {seed}")
        question = tiny.make(seed, reserve=1 if table == "reserve" else None)
        extras = [tiny.Extras(question, rng)] if rng.random() < 0.5 else []
        open_program = build(question, extras)
        start = tiny.random_counts(rng, open_program, question)
        toml, question = supply(question, tiny.tally_of(question, open_program, start), rng)
        rule = hand.rule(cls, toml, question)
        assert not list(rule.faults()), (toml, list(rule.faults()))
        program = build(question, (rule, *extras))
        counts = tiny.carried(question, open_program, start, program)
        found.append((question, rule, extras, program, counts, seed))
    return found


def menus(table):
    """Yield problem, rule, program and completed choices: a base menu after 1 to 10 edits."""
    for question, rule, _, program, counts, seed in cases(table):
        rng = Random(f"edits {table} {seed}")
        for _ in range(MENUS):
            changed = tiny.edited(rng, program, question, counts, rng.randint(1, 10))
            yield question, rule, program, program.complete(changed), changed


def by_rows(program, table, x):
    """Return (exact amount, hard) by origin, from the ordinary rows of a rule."""
    excess = program.excess(x)
    found = {}
    for r in np.flatnonzero(excess > 0):
        if program.row_kind[r] == ORDINARY and program.origins[r].rule == table:
            amount = Decimal(int(excess[r])).scaleb(-int(program.row_decimals[r]))
            old = found.get(program.origins[r], (Decimal(0), True))[0]
            # floor and ceiling of one promise may be two rows when servings are optional
            found[program.origins[r]] = max(amount, old), bool(program.row_price[r] == HARD)
    return found


@pytest.mark.parametrize("table", TABLES)
def test_rows_and_breaches_say_the_same(table):
    held = broke = 0
    for question, rule, program, x, counts in menus(table):
        rows = by_rows(program, table, x)
        found = list(rule.breaches(tiny.tally_of(question, program, counts)))
        told = {b.origin: (b.amount, not b.soft) for b in found}
        assert len(told) == len(found), "one promise broken twice"
        assert told == rows
        assert all(b.text and b.unit for b in found)
        held, broke = held + (not rows), broke + bool(rows)
    assert min(held, broke) >= 0.2 * (held + broke), (held, broke)


@pytest.mark.parametrize("table", TABLES)
def test_one_origin_stands_for_one_promise(table):
    for _, _, _, program, _, _ in cases(table):
        sides = defaultdict(list)
        for r, origin in enumerate(program.origins):
            if program.row_kind[r] == ORDINARY:
                sides[origin].append((program.row_low[r] != NO_LOW, program.row_high[r] != NO_HIGH))
        for origin, found in sides.items():
            assert sum(low for low, _ in found) <= 1, origin
            assert sum(high for _, high in found) <= 1, origin


@pytest.mark.parametrize("table", TABLES)
def test_every_pairing_has_a_column_or_a_reason(table):
    refused = offered = 0
    for question, rule, extras, program, _, _ in cases(table):
        names = ("party", "day", "meal", "course", "item")
        columns = set(zip(*(getattr(program, f)[: program.n_menu].tolist() for f in names), strict=True))
        for a, party in enumerate(question.parties):
            for day in question.days:
                places = [
                    (m, k, meal, c)
                    for m, meal in enumerate(day.meals)
                    for k, c in enumerate(meal.courses)
                    if question.serves(party, day, meal, c)
                ]
                for i, item in enumerate(question.catalogue.items):
                    for m, k, meal, course in places:
                        why = refusal((rule, *extras), party, day, meal, course, item)
                        assert ((a, day.number, m, k, i) in columns) == (why is None)
                        assert why is None or why.strip()
                        refused, offered = refused + (why is not None), offered + (why is None)
        free = [f for w in (rule, *extras) for f in w.allowances()]
        for f in free:
            item = question.catalogue.by_id[f.item]
            for day in question.cycle:
                why = refusal((rule, *extras), question.parties[f.party], day, None, None, item)
                label = (f.party, day.number, -1, -1, question.catalogue.order[f.item])
                assert (label in columns) == (why is None)
    assert min(refused, offered) > 0


@pytest.mark.parametrize("table", TABLES)
def test_no_row_beside_the_promises_cuts_off_a_menu(table):
    """Links and extra columns take every menu; implied rows and use groups every menu that keeps the rest."""
    for _, _, program, x, _ in menus(table):
        assert ((x >= program.low) & (x <= program.high)).all()
        excess = program.excess(x)
        assert not excess[program.row_kind == LINK].any()
        if not by_rows(program, table, x):
            assert not excess[program.row_kind == IMPLIED].any()
            assert (program.uses(x) <= np.diff(program.deduct_start)).all()


def test_an_implied_row_is_marked_and_scaled_like_any_other():
    question = tiny.make(0)
    builder = Builder(GOAL_DECIMALS, ((0,),))
    builder.column(high=3)
    page = Page(question, builder, np.zeros((1, 5), dtype=np.int32))
    page.row(Origin("a", "a"), np.asarray([0], dtype=np.int32), 2, high=Decimal("6.5"), implied=True)
    program = builder.freeze()
    assert program.row_kind.tolist() == [IMPLIED]
    assert (program.row_decimals[0], program.row_coef[0], program.row_high[0]) == (1, 20, 65)


@pytest.mark.parametrize("table", TABLES)
def test_every_rule_has_a_test_file(table):
    assert (Path(__file__).parent / f"test_{table}.py").is_file()


@pytest.mark.parametrize("table", TABLES)
def test_the_docstring_has_its_four_parts(table):
    doc = rule_classes()[table].__doc__
    heads = [line.strip() for line in doc.splitlines() if line.startswith("    ") and line[4:5].strip()]
    assert heads == ["What", "Maths", "When", "Source"]
    parts = re.split(r"\n    (?:What|Maths|When|Source)\n", doc)
    assert all(part.strip() for part in parts)


@pytest.mark.parametrize("table", TABLES)
def test_the_example_survives_a_round_trip(table):
    cls = rule_classes()[table]
    values = tomli.loads(cls.example, parse_float=Decimal)
    assert list(values) == [table]
    model = cls.model.model_validate(values[table])
    again = tomli.loads(to_toml(model), parse_float=Decimal)
    assert cls.model.model_validate(again) == model


@pytest.mark.parametrize("table", TABLES)
def test_limits_near_a_menu_survive_a_round_trip(table):
    for _, rule, _, _, _, _ in cases(table):
        again = tomli.loads(to_toml(rule.settings), parse_float=Decimal)
        assert type(rule.settings).model_validate(again) == rule.settings


def models(cls, seen):
    """Return a settings model and every model inside it."""
    if get_origin(cls) in (Union, UnionType) or get_origin(cls) is not None:
        for arg in get_args(cls):
            models(arg, seen)
    elif isinstance(cls, type) and issubclass(cls, BaseModel) and cls not in seen:
        seen[cls] = None
        for field in cls.model_fields.values():
            models(field.annotation, seen)
        models(cls.__annotations__.get("__pydantic_extra__"), seen)
        if "__pydantic_extra__" in cls.__annotations__:
            name = re.search(r"(\w+)\]$", str(cls.__annotations__["__pydantic_extra__"])).group(1)
            models(getattr(import_module(cls.__module__), name), seen)
    return seen


def is_number(annotation):
    inner = [annotation, *get_args(annotation)]
    return any(kind in (int, Decimal) for kind in inner)


PLAIN = re.compile(
    r"serving|day|pack|item|%|score|share|ratio|per 1000 kcal|nutrient's unit|mean liking|Least\.|Most\.",
    re.IGNORECASE,
)
"""What a number without a unit of its own must speak of, so that its help is enough."""


@pytest.mark.parametrize("table", TABLES)
def test_every_setting_says_what_it_means_and_every_number_its_unit(table):
    for model in models(rule_classes()[table].model, {}):
        assert model.__doc__, model
        for name, field in model.model_fields.items():
            assert field.description, (model, name)
            if is_number(field.annotation):
                units = [m for m in field.metadata if isinstance(m, Unit)]
                inner = [m for a in get_args(field.annotation) for m in getattr(a, "__metadata__", ())]
                units += [m for m in inner if isinstance(m, Unit)]
                assert units or PLAIN.search(field.description), (model, name, field.description)


def test_every_number_check_sees_numbers():
    found = models(rule_classes()["nutrients"].model, {})
    assert {"LimitTable", "ShareTable", "RatioTable"} <= {m.__name__ for m in found}
    assert any(is_number(f.annotation) for m in found for f in m.model_fields.values())
    assert "MealTable" in {m.__name__ for m in models(rule_classes()["meals"].model, {})}
