"""Screens hold every name whole, at any width, and need no colour."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from rich.console import Console, RenderableType

from optimenu.config.case import Case, load_case
from optimenu.config.inspect import inspect
from optimenu.config.pages import rule_page
from optimenu.exports.record import record
from optimenu.menu.tally import Tally
from optimenu.planning import Options, Planned, plan
from optimenu.rules.registry import rule_classes
from optimenu.views.audit import audit_page
from optimenu.views.check import check_page
from optimenu.views.console import cell
from optimenu.views.cycle import cycle_page
from optimenu.views.day import day_page
from optimenu.views.nutrients import nutrients_page
from optimenu.views.rules import rule_list, rule_view
from optimenu.views.summary import summary, verdict
from optimenu.views.totals import totals_page
from tests.commands.small import ITEMS, write_project

WIDTHS = (60, 80, 140)
OPTIONS = Options(method="direct")


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    folder = tmp_path_factory.mktemp("project")
    config = write_project(folder)
    # names that a screen could take for markup, and terminal codes
    items = ITEMS.replace("Bean stew", "Bean stew [hot]").replace("Cocoa", "Cocoa [/b] \x1b[31mred")
    (folder / "items.csv").write_text(items)
    return plan(load_case(config), OPTIONS)


def draw(page: RenderableType, width: int) -> str:
    out = io.StringIO()
    Console(file=out, width=width, markup=False, highlight=False).print(page)
    return out.getvalue()


def pages(planned: Planned, width: int) -> dict[str, RenderableType]:
    case, report = planned.case, planned.report
    assert planned.menu is not None and report is not None
    tally = Tally.of(case.problem, planned.menu)
    data = record(planned, OPTIONS)
    return {
        "cycle": cycle_page(case.problem, tally, 0, width),
        "day": day_page(case.problem, tally, 0, 1, width),
        "nutrients": nutrients_page(case.problem, tally, report.measures, 0, ["ID_ug"], width),
        "totals": totals_page(report.measures),
        "summary": summary(case.problem, report, data),
        "check": check_page(case, inspect(case)),
        "audit": audit_page(report, ["a claim does not stand"], None),
        "rules": rule_list([rule_page(r) for r in rule_classes().values()]),
        **{f"rule {t}": rule_view(rule_page(r)) for t, r in rule_classes().items()},
    }


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_is_wider_than_the_screen_or_cut(planned: Planned, width: int) -> None:
    for name, page in pages(planned, width).items():
        text = draw(page, width)
        assert "…" not in text, name
        assert "\x1b" not in text, name
        assert max(map(len, text.splitlines())) <= width, name


def test_keys_and_examples_of_rules_stand_whole_on_a_narrow_screen() -> None:
    for rule in rule_classes().values():
        page = rule_page(rule)
        words = draw(rule_view(page), 60).split()
        assert {s.key for s in page.settings} <= set(words)
        assert " ".join(page.example.split()) in " ".join(words)


@pytest.mark.parametrize("width", WIDTHS)
def test_every_item_of_the_menu_stands_whole_in_the_cycle(planned: Planned, width: int) -> None:
    assert planned.menu is not None
    problem = planned.case.problem
    text = draw(pages(planned, width)["cycle"], width)
    # a name may run over lines of its own column; its words stand unbroken
    for line in planned.menu.lines:
        for word in problem.catalogue.by_id[line.item].name.split():
            assert word in text
    assert "day 2" in text
    assert "2 Mar, 4 Mar" in " ".join(text.split())


def test_markup_and_terminal_codes_in_names_are_plain_text(planned: Planned) -> None:
    assert cell("[hot] [/b] \x1b[31mred").plain == "[hot] [/b] red"
    assert draw(cell("[hot]"), 20).strip() == "[hot]"


def test_the_closing_statement_is_of_the_menu_s_own_value() -> None:
    words = verdict({"gap_closed": False, "value": "0.990", "bound": "0.994"})
    # 0.004 / 0.990 is 0.4040... %, rounded up
    assert "no menu" in words.lower() and "0.41 %" in words
    assert "optimal" not in words
    assert "optimal" in verdict({"gap_closed": True, "value": "1", "bound": "1"})
    assert "0.500000 higher" in verdict({"gap_closed": False, "value": "-0.5", "bound": "0"})


def test_cautions_stand_on_the_summary(planned: Planned) -> None:
    text = " ".join(draw(pages(planned, 80)["summary"], 80).split())
    for words in ("allergens on the pack itself", "dietitian and a physician", "57 °C", "are not counted"):
        assert words in text


def test_soft_limits_missed_are_told_with_their_numbers(tmp_path: Path) -> None:
    config = write_project(tmp_path)
    config.write_text(config.read_text() + "[nutrients.limits.PROCNT_g.day]\nlow = 200\nprice = 0.0001\n")
    planned = plan(load_case(config), OPTIONS)
    text = " ".join(draw(pages(planned, 100)["summary"], 100).split())
    assert "Soft limits missed" in text
    assert re.search(r"juno, day 1: Protein: [\d.]+ g; at least 200 g", text)


def test_check_names_what_wants_a_look(planned: Planned) -> None:
    case: Case = planned.case
    text = " ".join(draw(check_page(case, inspect(case)), 100).split())
    assert "1500 kcal a day, as given" in text
    assert "never: peanuts (severe)" in text
    assert "fewer than 5 items left" in text
