"""Where things stand on a page: columns of one width, words and dates unbroken, amounts in plain units."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from rich.cells import cell_len
from rich.console import Console, RenderableType

from optimenu.audit.menu import Report, audit_menu
from optimenu.config.case import Case, load_case
from optimenu.menu.menu import Line, Menu
from optimenu.menu.tally import Tally
from optimenu.planning import Planned
from optimenu.program.origin import Origin
from optimenu.rules.base import Breach, Measure, Shown
from optimenu.solve.elastic import Shortfall
from optimenu.solve.liking import Scale
from optimenu.views.audit import audit_page
from optimenu.views.console import BELOW, marked, sign
from optimenu.views.cycle import cycle_page
from optimenu.views.impossible import impossible
from optimenu.views.nutrients import nutrients_page
from tests.commands.small import CONFIG, ITEMS, write_project
from tests.views.pair import plan_pair

D = Decimal
LONG = CONFIG.replace("cycle_days = 2", "cycle_days = 14").replace("2031-03-04", "2031-05-04")


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    return plan_pair(tmp_path_factory.mktemp("pair"))


def draw(page: RenderableType, width: int) -> str:
    out = io.StringIO()
    Console(file=out, width=width, markup=False, highlight=False).print(page)
    return out.getvalue()


def flat(page: RenderableType, width: int = 200) -> str:
    return " ".join(draw(page, width).split())


# ---- the cycle


def fortnight(folder: Path, word: str) -> str:
    """Write a project of fourteen days in which every main carries a long word, and return its cycle."""
    config = write_project(folder, LONG)
    (folder / "items.csv").write_text(ITEMS.replace("Bean stew", f"Stew of {word} and beans"))
    problem = load_case(config).problem
    lines = [
        Line("juno", "cycle", day, "dinner", "main", "bean_stew", 1, certain=True) for day in range(1, 15)
    ]
    tally = Tally.of(problem, Menu.of(lines))
    return "\n".join(draw(cycle_page(problem, tally, 0, width), width) for width in (60, 80, 140))


@pytest.mark.parametrize("length", [17, 21, 22, 25, 33])
def test_no_word_of_a_name_is_broken_where_a_column_can_hold_it(tmp_path: Path, length: int) -> None:
    word = "x" * length
    text = fortnight(tmp_path, word)
    assert text.split().count(word) == 3 * 14


def test_a_word_too_long_for_any_column_is_folded_and_loses_nothing(tmp_path: Path) -> None:
    text = fortnight(tmp_path, "x" * 200)
    assert "…" not in text
    assert text.count("x") == 3 * 14 * 200


def test_wide_letters_count_twice(tmp_path: Path) -> None:
    # eleven characters, twenty-two columns on the screen
    text = fortnight(tmp_path, "\u8c46" * 11)
    assert text.split().count("\u8c46" * 11) == 3 * 14
    assert max(map(cell_len, text.splitlines())) <= 140


@pytest.mark.parametrize("width", [60, 80, 140])
def test_columns_stand_in_the_same_place_on_every_page(tmp_path: Path, width: int) -> None:
    config = write_project(tmp_path, LONG)
    problem = load_case(config).problem
    lines = [Line("juno", "cycle", d, "dinner", "main", "bean_stew", 1, certain=True) for d in range(1, 15)]
    text = draw(cycle_page(problem, Tally.of(problem, Menu.of(lines)), 0, width), width)
    heads = [line for line in text.splitlines() if "· work" in line]
    places = [[k for k in range(len(line)) if line.startswith("day ", k)] for line in heads]
    longest = max(places, key=len)
    assert sum(map(len, places)) == 14
    assert all(found == longest[: len(found)] for found in places)
    steps = {b - a for a, b in zip(longest, longest[1:], strict=False)}
    assert len(steps) <= 1
    # no cell begins with a month that its day was parted from
    assert not re.search(r"(^|\s{2})(Mar|Apr|May)\b", text, re.MULTILINE)


# ---- nutrients


@pytest.fixture(scope="module")
def page(pair: Planned) -> dict[int, str]:
    """Nutrients of one person with a long name and long limits, by width."""
    assert pair.menu is not None and pair.report is not None
    some = [m for m in pair.report.measures if m.origin.what == "PROCNT_g" and m.origin.person == "bo"]
    low, high = next(m for m in some if m.low is not None), next(m for m in some if m.high is not None)
    name = "bo, day 1: Vitamin E (alpha-tocopherol)"
    stay = Origin("nutrients", "nutrients.limits.PROCNT_g.stay.high", "bo", what="PROCNT_g")
    goal = replace(stay, key="nutrients.reference.AI")
    assert low.shown is not None and high.shown is not None
    measures = [
        replace(low, label=name, origin=goal, shown=replace(low.shown, low=D("3700"))),
        replace(high, label=name, origin=stay, shown=replace(high.shown, high=D("2625.47"))),
    ]
    problem = pair.case.problem
    tally = Tally.of(problem, pair.menu)
    return {
        width: draw(nutrients_page(problem, tally, measures, 1, [], width), width) for width in (60, 80, 140)
    }


def test_a_wide_page_has_every_nutrient_on_one_line(page: dict[int, str]) -> None:
    row = next(line for line in page[140].splitlines() if "Vitamin E" in line)
    for words in ("Vitamin E (alpha-tocopherol), g", "3,700 AI (goal)", "2,625.47 over the stay"):
        assert words in row


@pytest.mark.parametrize("width", [60, 80])
def test_a_narrow_page_breaks_a_name_at_its_hyphen_and_no_number(page: dict[int, str], width: int) -> None:
    words = page[width].split()
    assert "(alpha-" in words and "tocopherol)," in words
    assert {"3,700", "2,625.47"} <= set(words)
    assert max(map(len, page[width].splitlines())) <= width


# ---- what an audit says


def test_a_breach_is_told_in_the_unit_of_its_sentence_not_of_its_row(pair: Planned) -> None:
    assert pair.report is not None
    origin = Origin("nutrients", "nutrients.limits.FE_mg.stay.low", "bo", what="FE_mg")
    # a row over sixty dates misses 600 in all; the sentence speaks of 10 a day
    shown = Shown(D(8), D(18), None, "mg")
    low = Measure(origin, "bo: Iron", "mg", D(480), D(480), low=D(1080), shown=shown)
    high = replace(
        low, origin=replace(origin, key="k.high"), low=None, high=D(60), shown=Shown(D(8), None, D(1), "mg")
    )
    plain = Measure(
        Origin("stowage", "stowage.gross_kg"), "gross mass", "g", D(12000), D(12000), high=D(1000)
    )
    found = (low, high, plain)
    report = replace(
        pair.report,
        measures=found,
        soft=(),
        breaches=tuple(Breach(m.origin, m.amount, m.unit, f"about {m.origin.key}") for m in found),
    )
    text = flat(audit_page(report, (), None))
    assert "3 limits broken:" in text
    assert f"▼ about {origin.key} (too little, by 10 mg; {origin.key})" in text
    assert "▲ about k.high (too much, by 7 mg; k.high)" in text
    assert "(too much, by 11 kg; stowage.gross_kg)" in text
    assert "holds" not in text


def changed(pair: Planned, item: str) -> tuple[Case, Report, Scale]:
    assert pair.menu is not None
    lines = list(pair.menu.lines)
    k = next(k for k, line in enumerate(lines) if line.party == "juno" and line.course == "main")
    lines[k] = replace(lines[k], item=item)
    report = audit_menu(pair.case.problem, pair.case.rules, Menu.of(lines), pair.scale)
    return pair.case, report, pair.scale


def test_a_forbidden_serving_is_one_serving_and_not_too_much_of_anything(pair: Planned) -> None:
    _, report, _ = changed(pair, "groundnut_soup_pot")
    text = flat(audit_page(report, (), None))
    assert "contains: peanuts (1 serving; avoid)" in text


def test_an_audit_says_what_each_soft_limit_costs(pair: Planned) -> None:
    assert pair.report is not None and pair.report.soft
    text = flat(audit_page(pair.report, (), D("0.99")))
    first = next(m for m in pair.report.measures if m.amount > 0 and m.soft is not None)
    assert f"{len(pair.report.soft)} soft limits missed" in text
    assert f"; costs {round(first.cost * 100, 2)} % of liking" in text
    assert "· Every hard limit holds:" in text
    assert "The bound 0.990000 is proved again" in text


def test_what_is_not_proved_carries_a_sign(pair: Planned) -> None:
    assert pair.report is not None
    text = flat(audit_page(pair.report, ("the bound does not stand", "of 12ab..., not 34cd..."), D("0.99")))
    assert "? Not proved: the bound does not stand." in text
    assert "not 34cd." in text and "34cd.." not in text
    assert "proved again" not in text


def test_a_price_however_small_is_never_told_as_none(pair: Planned) -> None:
    assert pair.report is not None
    measure = next(m for m in pair.report.measures if m.amount > 0 and m.soft is not None)
    tiny = replace(measure, soft=D("0.000002") / measure.amount)
    assert 0 < tiny.cost < D("0.0001")
    breach = Breach(tiny.origin, tiny.amount, tiny.unit, "a little short", soft=True)
    report = replace(pair.report, measures=(tiny,), soft=(breach,))
    assert re.search(r"costs 0\.000\d*[1-9] % of liking", flat(audit_page(report, (), None)))


# ---- when there is no menu


def test_what_stands_in_the_way_carries_the_sign_of_its_side(pair: Planned) -> None:
    origin = Origin("stowage", "stowage.gross_kg", who="planner")
    sides = [Shortfall(origin, 3.0, 0.1, low_side=low, rows=(1,)) for low in (True, False)]
    lines = draw(impossible(pair.case, sides), 200).splitlines()
    assert lines[1].startswith("  ▼ [stowage]") and "too little, by 3" in lines[1]
    assert lines[2].startswith("  ▲ [stowage]") and "too much, by 3" in lines[2]


def test_only_the_sign_has_the_sign_s_colour() -> None:
    out = io.StringIO()
    Console(file=out, force_terminal=True, color_system="truecolor", width=80).print(
        marked(sign(BELOW), "so")
    )
    assert re.search(r"\x1b\[[\d;]+m▼\x1b\[0m so", out.getvalue())
