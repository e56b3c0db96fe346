"""What screens say of one plan, in words a dietitian reads."""

from __future__ import annotations

import io
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console, RenderableType

from optimenu.audit.menu import Report, audit_menu
from optimenu.catalogue.item import Item
from optimenu.config.inspect import inspect
from optimenu.exports.record import record
from optimenu.menu.menu import Menu
from optimenu.menu.tally import Tally
from optimenu.planning import Planned
from optimenu.program.origin import Origin
from optimenu.rules.base import Measure
from optimenu.solve.elastic import Shortfall
from optimenu.views.check import check_page
from optimenu.views.cycle import cycle_page
from optimenu.views.day import day_page, to_serve
from optimenu.views.impossible import impossible
from optimenu.views.nutrient_words import dates_words, figure
from optimenu.views.nutrients import nutrients_page
from optimenu.views.summary import summary, verdict
from optimenu.views.totals import SHORT_LIST, amount, fullness, percent, totals_page
from tests.views.pair import MARKUP, OPTIONS, PAIR, plan_pair

D = Decimal


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    return plan_pair(tmp_path_factory.mktemp("pair"))


def draw(page: RenderableType, width: int = 80) -> str:
    out = io.StringIO()
    Console(file=out, width=width, markup=False, highlight=False).print(page)
    return out.getvalue()


def flat(page: RenderableType, width: int = 200) -> str:
    return " ".join(draw(page, width).split())


def found(planned: Planned) -> tuple[Menu, Report, Tally, dict[str, Any]]:
    assert planned.menu is not None and planned.report is not None
    tally = Tally.of(planned.case.problem, planned.menu)
    return planned.menu, planned.report, tally, record(planned, OPTIONS)


def nutrients(planned: Planned, width: int = 200) -> str:
    _, report, tally, data = found(planned)
    problem = planned.case.problem
    return draw(nutrients_page(problem, tally, report.measures, 1, data["not_assessed"], width), width)


# ---- the cycle and a day


def test_every_name_is_whole_when_the_lines_of_its_column_are_joined(pair: Planned) -> None:
    menu, _, tally, _ = found(pair)
    problem = pair.case.problem
    assert any(problem.catalogue.by_id[line.item].name == MARKUP for line in menu.lines)
    for width in (60, 80, 140):
        # one day to a column: joined down a column, each name stands whole
        for p in range(2):
            lines = draw(cycle_page(problem, tally, p, width), width).splitlines()
            starts = sorted({k for line in lines for k in (line.find("day 1"), line.find("day 2")) if k > 0})
            starts += [k for line in lines for k in (line.find("reserve 2"),) if k > 0 and k not in starts]
            starts = sorted(set(starts))
            ends = [*starts[1:], width]
            columns = [
                " ".join(" ".join(line[a:b].split()) for line in lines)
                for a, b in zip(starts, ends, strict=True)
            ]
            joined = " ".join(" ".join(" ".join(columns).split()).split())
            for e in tally.by_person[p]:
                assert e.item.name in joined, (width, e.item.name)


def test_the_cycle_tells_dates_kinds_allowances_and_the_reserve_apart(pair: Planned) -> None:
    _, _, tally, _ = found(pair)
    problem = pair.case.problem
    text = flat(cycle_page(problem, tally, 1, 200))
    assert "day 1 · work" in text and "day 2 · rest" in text
    assert "3 dates: 1 Mar, 3 Mar, 5 Mar" in text
    assert "free Salt sachet, up to 2 a day" in text
    assert "Bo [bold]: reserve, beside the cycle and on no date of its own reserve 1 reserve 2" in text
    assert "Salt sachet" not in flat(cycle_page(problem, tally, 0, 200))


def test_a_day_sums_energy_and_water_by_meal_and_in_all(pair: Planned) -> None:
    _, _, tally, _ = found(pair)
    problem = pair.case.problem
    text = draw(day_page(problem, tally, 1, 0))
    kcal = sum(e.count * (e.item.amounts["ENERC_KCAL_kcal"] or 0) for e in tally.on(1, 0))
    hot = sum(e.count * e.item.water_ml for e in tally.on(1, 0) if e.item.water_kind == "hot")
    assert f"{kcal:,} kcal · {hot:,} mL hot water" in text
    assert "Requirement on such a day: 1,700 kcal." in text
    assert "BREAKFAST  07:30" in text and "FREE IN THE DAY" in text
    assert "up to 2" in text


def item(**more: Any) -> Item:
    given: dict[str, Any] = {
        "id": "x", "name": "X", "courses": ("main",), "meals": ("dinner",), "form": "dried",
        "water_kind": "none",
        "serving_g": D(50), "servings_per_pack": 1, "net_g": D(50), "gross_g": D(55), "volume_ml": D(90),
        "water_ml": D(0), "heat_min": D(0), "prep_min": D(0),
    }  # fmt: skip
    return Item(**{**given, **more})


@pytest.mark.parametrize(
    ("it", "words"),
    [
        (item(), ""),
        (item(heat_min=None), "heat ? min"),
        (item(water_ml=D(125), water_kind="hot", prep_min=D(5)), "250 mL hot, prepare 5 min"),
    ],
)
def test_how_servings_are_served(it: Item, words: str) -> None:
    assert to_serve(it, 2) == words


@pytest.mark.parametrize(
    ("unheated", "words"),
    [("good", "good"), ("no", "not to be eaten"), ("unknown", "not known to be safe")],
)
def test_a_reserve_day_says_what_holds_without_heat(unheated: str, words: str) -> None:
    it = item(heat_min=D(9), unheated=unheated)
    assert to_serve(it, cold_too=True) == f"heat 9 min; without heat: {words}"
    wet = item(water_ml=D(100), water_kind="hot", cold_min=D(40), unheated=unheated)
    assert to_serve(wet, cold_too=True) == f"100 mL hot; without heat: {words}, 40 min in cold water"
    assert "without heat" not in to_serve(it)


def test_unknown_energy_and_shared_dishes_are_told(pair: Planned) -> None:
    _, _, tally, _ = found(pair)
    problem = pair.case.problem
    first = next(e for e in tally.on(1, 0) if e.certain)
    unknown = replace(first.item, amounts={**first.item.amounts, "ENERC_KCAL_kcal": None})
    shared = replace(first, item=unknown, party=replace(first.party, members=(0, 1)))
    text = flat(day_page(problem, Tally(problem, (shared,), ()), 1, 0))
    # the words of a cell stand on several lines, among those of its neighbours
    assert "(one dish for" in text and "Juno and Bo [bold])" in text
    assert " g ? " in text


# ---- nutrients


def test_floors_that_are_missed_carry_their_sign_and_what_they_rest_on(pair: Planned) -> None:
    lines = nutrients(pair).splitlines()
    protein = next(line for line in lines if "Protein, g" in line)
    assert protein.startswith("▼")
    assert "190/day ~" in protein and "300/day" in protein
    assert "n/a, not assessed" in nutrients(pair) and "Iodine" in nutrients(pair)


def test_known_share_is_never_rounded_up_to_all(pair: Planned) -> None:
    _, report, tally, _ = found(pair)
    problem = pair.case.problem
    measures = [replace(m, known=D("0.9999")) for m in report.measures]
    text = draw(nutrients_page(problem, tally, measures, 1, []))
    assert " 99 %" in text and "100 %" not in text
    assert "not assessed" not in text


def changed(measure: Measure, **more: Any) -> Measure:
    return replace(measure, origin=replace(measure.origin, **more))


def test_what_a_limit_rests_on_stands_beside_it(pair: Planned) -> None:
    _, report, tally, _ = found(pair)
    problem = pair.case.problem
    some = [m for m in report.measures if m.section == "nutrients" and "PROCNT_g" in m.origin.what]
    low = next(m for m in some if m.low is not None and m.origin.person == "bo")
    high = next(m for m in some if m.high is not None and m.origin.person == "bo")

    def row(*measures: Measure) -> str:
        return next(
            line
            for line in draw(nutrients_page(problem, tally, measures, 1, []), 80).splitlines()
            if "Protein" in line
        )

    stay = {"day": -1, "key": "nutrients.reference.AI"}
    assert "190 AI (goal)" in row(changed(low, **stay))
    assert "190 RDA" in row(changed(low, **{**stay, "key": "nutrients.reference.RDA"}))
    week = {"day": -1, "run": (0, 1, 0, 1, 0, 1, 0)}
    kept = replace(high, soft=None, proved=True)
    prescribed = changed(kept, **week, key="prescriptions.people.bo.limits.PROCNT_g.seven_days.high")
    assert "300 Rx" in row(prescribed)
    assert row(prescribed).startswith("·")
    assert "300/meal" in row(changed(kept, meal="dinner"))
    assert "300 over 3 d" in row(changed(kept, day=-1, run=(0, 1, 0)))
    assert "300 over the stay" in row(changed(kept, day=-1))
    assert row(replace(kept, proved=False)).startswith("?")
    assert row(replace(kept, most=D(301))).startswith("▲")


def test_shares_and_ratios_show_the_dates_nearest_to_the_limit(tmp_path: Path) -> None:
    config = PAIR + '[nutrients.shares.PROCNT_g]\nhigh = 40\nkcal_per_g = 4\nwindow = "three_days"\n'
    text = nutrients(plan_pair(tmp_path, config), 80)
    assert "Shares of energy" in text
    assert "at most 40 % of energy" in " ".join(text.split())
    assert "days 1, 2" in text


def test_a_narrow_screen_gets_two_tables_and_no_broken_number(pair: Planned) -> None:
    wide, narrow = nutrients(pair, 80), nutrients(pair, 60)
    assert wide.count("Energy, kcal") == 1
    assert narrow.count("Energy, kcal") == 2
    assert {w for w in wide.split() if w[0].isdigit()} <= {w for w in narrow.split() if w[0].isdigit()}


@pytest.mark.parametrize(
    ("value", "limit", "words"),
    [("1234.4", None, "1,234"), ("12.34", None, "12.3"), ("0.5", None, "0.5"), ("13.9996", "14", "13.9996"),
     ("14", "14", "14")],
)  # fmt: skip
def test_a_figure_never_looks_like_a_limit_it_misses(value: str, limit: str | None, words: str) -> None:
    assert figure(D(value), None if limit is None else D(limit)) == words


def test_runs_of_days_are_told_in_few_words(pair: Planned) -> None:
    problem = pair.case.problem
    long = replace(
        problem,
        days=tuple(replace(problem.days[0], number=k, label=f"day {k + 1}") for k in range(16)),
    )

    def words(day: int = -1, run: tuple[int, ...] = ()) -> str:
        return dates_words(long, Measure(Origin("r", "k", day=day, run=run), "", "", D(0), D(0)))

    assert words() == "the stay"
    assert words(day=2) == "day 3"
    assert words(run=(0, 1, 2, 14, 15, 5)) == "days 1 to 3, 6, 15, 16"


# ---- totals


def measure(value: str, low: str | None = None, high: str | None = None, unit: str = "packs") -> Measure:
    return Measure(
        Origin("stock", "stock.first"), f"item {value}", unit, D(value), D(value),
        None if low is None else D(low), None if high is None else D(high), section="packs",
    )  # fmt: skip


def test_long_lists_show_the_tightest_and_say_how_many_more() -> None:
    many = [measure(str(k), high="100") for k in range(1, SHORT_LIST + 4)]
    text = draw(totals_page(many))
    assert "3 more, less tight; all of them with --all" in text
    assert "item 18 " in text and "item 3 " not in text
    whole = draw(totals_page(many, everything=True))
    assert "item 3 " in whole and "less tight" not in whole
    assert "No limit of the config is shown here." in draw(totals_page([]))


def test_rounds_of_the_heaters_stand_under_the_galley_s_own_heading() -> None:
    note = "4 places, 2 packs each: 12 packs in 2 rounds"
    label = "day 3, dinner 18:30: packs in heater places"
    m = Measure(
        Origin("galley", "galley.rounds", day=2), label, "packs", D(12), D(12), high=D(16), section="galley",
        note=note,
    )  # fmt: skip
    lines = draw(totals_page([m]), 140).splitlines()
    assert "Galley at each sitting" in [line.strip() for line in lines]
    (at,) = [k for k, line in enumerate(lines) if label in line]
    assert "12 packs  at most 16 packs  75 %" in lines[at]
    assert lines[at + 1].strip() == note


def test_full_is_said_of_what_is_full_only() -> None:
    assert percent(measure("99.99", high="100")) == "99 %"
    assert percent(measure("100", high="100")) == "100 %"
    assert percent(measure("100.01", high="100")) == "101 %"
    assert percent(measure("3", low="2")) == ""


def test_the_tightest_is_whatever_is_nearest_to_its_limit() -> None:
    order = [
        measure("101", high="100"),
        measure("99", high="100"),
        measure("4", low="3"),
        measure("0", low="0"),
    ]
    assert sorted(order, key=fullness, reverse=True) == order
    assert fullness(measure("1", low="3")) > 1


def test_large_amounts_are_read_in_larger_units() -> None:
    assert amount(D("520000"), "g") == "520 kg"
    assert amount(D("9999"), "mL") == "9,999 mL"
    assert amount(D("12000"), "mL") == "12 L"


# ---- the summary


def test_the_summary_says_what_was_missed_and_what_cannot_be_judged(pair: Planned) -> None:
    _, report, _, data = found(pair)
    text = flat(summary(pair.case.problem, report, data))
    assert "~ juno, day 1: Protein:" in text
    assert "Ceilings not proved" in text and "Protein: Juno 9" in text
    assert "Not assessed, because the catalogue does not state them: Fluid; Carbohydrate" in text
    assert "2 people, 2 reserve days each" in text


def test_a_menu_that_breaks_limits_is_not_praised(pair: Planned) -> None:
    menu, _, _, data = found(pair)
    case = pair.case
    lines = [
        replace(line, item="groundnut_soup_pot") if line.item == "bean_stew" else line for line in menu.lines
    ]
    report = audit_menu(case.problem, case.rules, Menu.of(lines), pair.scale)
    text = flat(summary(case.problem, report, data))
    assert "This menu breaks" in text and "contains: peanuts" in text
    assert "better" not in text and "meets every" not in text
    many = replace(report, breaches=report.breaches * 12)
    assert "more. All of them: optimenu audit" in flat(summary(case.problem, many, data))


def test_another_menu_than_the_record_s_gets_no_closing_statement(pair: Planned) -> None:
    _, report, _, data = found(pair)
    text = flat(summary(pair.case.problem, report, {**data, "value": "0.5"}))
    assert "The record claims 0.5: this is not the menu that was planned." in text
    assert "better" not in text


def test_a_gap_that_was_not_reached_is_said_so(pair: Planned) -> None:
    _, report, _, data = found(pair)
    bound = str(report.value * Decimal("1.01555"))
    asked = {**data, "gap": "0.0155", "gap_reached": False, "gap_closed": False, "bound": bound}
    assert "was asked" not in flat(summary(pair.case.problem, report, asked))
    asked = {**asked, "options": {**data["options"], "gap_asked": 0.01, "ends_at_gap": True}}
    text = flat(summary(pair.case.problem, report, asked))
    assert "gap 1.55 % (1 % was asked: not reached, try more --moves)" in text
    assert "No menu within these limits scores more than 1.56 % better" in text
    assert "optimal" not in text
    assert "gap unknown" in flat(summary(pair.case.problem, report, {**data, "gap": None}))
    low = {**asked, "bound": "-1"}
    assert "gap 0.015500 in mean liking" in flat(summary(pair.case.problem, report, low))


def test_a_gap_closed_by_a_solver_is_told_from_one_closed_in_whole_numbers() -> None:
    exact = verdict({"gap_closed": True, "value": "0.9", "bound": "0.9"})
    assert exact.startswith("This menu is optimal: no menu")
    by_solver = verdict({"gap_closed": True, "value": "0.90", "bound": "0.91"})
    assert "HiGHS finds no better menu, in its own floating point" in by_solver and "optimal" not in by_solver
    assert "1.12 % better" in by_solver


# ---- when there is no menu


def test_a_shortfall_names_rule_person_amount_place_and_who(pair: Planned) -> None:
    _, report, _, _ = found(pair)
    day = next(m for m in report.measures if m.origin.key == "nutrients.energy.day_within" and m.low)
    text = flat(impossible(pair.case, [Shortfall(day.origin, 120.0, 0.101, True, rows=(1, 2))]))
    assert (
        "[nutrients] juno, day 1: Energy (and 1 alike): too little, by 120 kcal, 10.1 % of the limit" in text
    )
    assert "nutrients.energy.day_within at" in text and "plan.toml:" in text
    assert "the dietitian may loosen it" in text


def test_a_shortfall_its_rule_cannot_word_is_named_by_its_parts(pair: Planned) -> None:
    origin = Origin("stock", "stock.first", "bo", 0, "dinner", "fish_pie", who="nobody")
    text = flat(impossible(pair.case, [Shortfall(origin, 0.001, 0.5, False, rows=(1,))]))
    assert f"[stock] bo, day 1, dinner: {MARKUP}: too much, by 0.01; stock.first" in text
    assert "nobody may loosen it, so another limit has to give way" in text


def test_too_many_uses_name_the_item_where_the_program_is_known(pair: Planned) -> None:
    short = Shortfall(None, 1.5, 0.4, low_side=False, group=0)
    assert "an item would be used 1.5 times more than it may be" in flat(impossible(pair.case, [short]))
    names = {i.name for i in pair.case.problem.catalogue.items}
    text = flat(impossible(pair.case, [short], pair))
    assert any(f": {name} would be used 1.5 times" in text for name in names)
    assert "and 3 more" in flat(impossible(pair.case, [short] * 15))


# ---- the inputs


def test_a_check_names_items_and_nutrients_and_lots(pair: Planned) -> None:
    text = flat(check_page(pair.case, inspect(pair.case)))
    assert "Cycle of 2 days: 1 work, 1 rest; 1 day serves 2 dates, 1 day serves 3 dates." in text
    assert "1 released lot whose use-by date passes before the last date: Cocoa, lot L2: 5 packs" in text
    assert "1 lot on hold" in text
    assert "nutrients not assessed, because the catalogue does not state them: " in text
    assert "and 32 more" in text
    assert "and 32 more" not in flat(check_page(pair.case, inspect(pair.case), every=True))
    assert "▼ 3" in text and "fewer than 5 items left" in text
