"""What a rule offers to change does let its promise hold: over random broken menus of every rule."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal

import pytest

from optimenu.rules.edits import Edit, Wanted, figure, moved, sensible, stated
from tests.rules import tiny
from tests.rules.hand import rule
from tests.rules.test_contract import TABLES, menus

ROUGH = (
    ".shares.", ".per_1000_kcal.", ".ratios.", ".energy_share.", ".gap_days", "avoid.estimated_share",
    "hours.", "nutrients.fluid", ".with_dish.", ".needs.",
)  # fmt: skip
"""Keys of promises whose limit does not move by plain amounts: the change need only bring them nearer."""
SILENT = {"pairings": "what is kept apart stays so", "avoid": "doses of an allergen are never offered"}


def with_edits(one, edits):
    """The rule with changed settings."""
    values = one.settings.model_dump(by_alias=True, exclude_none=True)
    for edit in edits:
        table, *keys, last = edit.key.split(".")
        assert table == one.table
        inner = values
        for key in keys:
            inner = inner.setdefault(key, {})
        inner[last] = edit.new
    return type(one)(type(one.settings).model_validate(values), one.problem)


def same(origin):
    return origin.person, origin.day, origin.meal, origin.what, origin.run


@pytest.mark.parametrize("table", [t for t in TABLES if t != "stock"])
def test_a_change_that_is_offered_lets_the_promise_hold(table):
    seen = Counter()
    for question, one, program, _, counts in menus(table):
        tally = tiny.tally_of(question, program, counts)
        for m in one.measures(tally):
            if m.amount <= 0 or m.soft is not None:
                continue
            low = m.short > m.over
            for edits in one.further(m.origin, m.amount, low=low):
                assert all(str(e) for e in edits)
                if edits[0].key.startswith("prescriptions."):
                    seen["prescribed"] += 1
                    continue
                # a line may be narrowed to one person and day kind
                keys = {m.origin.key, *(e.key for e in edits)}
                try:
                    changed = with_edits(one, edits)
                except ValueError:
                    seen["out of range"] += 1
                    continue
                after = [
                    b.amount
                    for b in changed.measures(tally)
                    if same(b.origin) == same(m.origin) and b.origin.key in keys and b.amount
                ]
                rough = any(part in m.origin.key for part in ROUGH)
                assert not after or (rough and max(after) <= m.amount), (m.origin, edits, after)
                seen["rough" if rough else "exact"] += 1
    if table not in SILENT:
        assert seen["exact"] + seen["rough"] > 0, seen


def test_more_packs_are_asked_for_item_by_item():
    for question, one, program, _, counts in menus("stock"):
        tally = tiny.tally_of(question, program, counts)
        for m in one.measures(tally):
            if m.amount > 0:
                ((edit,),) = one.further(m.origin, m.amount, low=False)
                assert edit.new - edit.old == m.amount
                assert f"have {m.amount} more released packs of" in str(edit)
                assert one.lever(m.origin) == edit.key
                return
    pytest.fail("no menu took more packs than there are")


def test_numbers_are_rounded_outward_to_three_figures():
    assert sensible(Decimal("321.37"), down=False) == 322
    assert sensible(Decimal(2403), down=False) == 2410
    assert sensible(Decimal("0.04567"), down=True) == Decimal("0.0456")
    assert sensible(Decimal(-1), down=True) == 0
    # the rounding of a linear program is no need
    assert sensible(Decimal("310.0000000001"), down=False) == 310
    assert moved("a.most", 3, Decimal("3.2"), "x").new == 4
    assert moved("a.least", 3, Decimal("2.2"), "x").new == 2
    assert moved("a.least", 1, Decimal(-4), "x").new == 0
    assert figure(Decimal("2410")) == "2,410" and figure(Decimal("1.50")) == "1.5"


def test_changes_are_told_in_words():
    assert str(Edit("a.b", Decimal(310), Decimal(322), "stowage volume", "L")) == (
        "raise stowage volume from 310 to 322 L"
    )
    assert str(Edit("a.b", 3, 1, "mains")) == "lower mains from 3 to 1"
    assert str(Edit("a.b", None, Decimal(8), "iron", "mg")) == "let iron be 8 mg"
    assert str(Edit("a.b", False, True, "heat")) == "set heat to true"
    assert str(Edit("a.b", (), ("x",), "x", said="take x off")) == "take x off"


def test_what_is_not_stated_is_none():
    question = tiny.make(0)
    one = rule_of("stowage", "[stowage]\ngross_kg = 3\n", question)
    assert stated(one.settings, ("gross_kg",)) == 3
    assert stated(one.settings, ("gross_kg", "deeper")) is None
    assert stated(one.settings, ("loads", "none", "gross_kg")) is None


def rule_of(table, toml, question):
    from optimenu.rules.registry import rule_classes

    return rule(rule_classes()[table], toml, question)


def test_wanted_is_alike_for_alike_servings():
    assert Wanted("ines", "work", "lunch", "main", "x") == Wanted("ines", "work", "lunch", "main", "x")
