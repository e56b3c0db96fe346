"""The page of a study: figures as they are kept, what grows, what ages, why there is no menu."""

from __future__ import annotations

import io
from decimal import Decimal
from pathlib import Path

import pytest
from rich.console import Console

from optimenu.exports.chart import svg_bytes
from optimenu.studies.cases import StudyCase
from optimenu.studies.charts import charts
from optimenu.studies.folder import Row
from optimenu.studies.scaling import fit, growths, lines
from optimenu.studies.work import Answer
from optimenu.views.compare import compare_page


def row(number, labels, end="menu", reason="", **figures):
    case = StudyCase(number, labels, Path("plan.toml"), {})
    return Row(case, Answer(str(number), end, reason, figures))


def menu(number, labels, dates, mass, **more):
    """A menu for two people of so many kilograms in all."""
    figures = {
        "people": 2, "dates": dates, "lots": 90, "lots_past_use_by": dates // 30,
        "items_offered": 400 - dates,
        "liking": Decimal("0.987654"), "least_liking": Decimal("0.9"), "gap": Decimal("0.001001"),
        "variety": Decimal("12.50"), "losses_counted": "yes",
    }  # fmt: skip
    for name in ("mass_kg", "volume_l", "water_l"):
        figures |= {name: Decimal(mass), f"{name}_person_day": Decimal(mass) / dates / 2}
    return row(number, labels, **(figures | more))


def study():
    """Two crews: one whose mass is 3 kg a day, one with a fixed part and a cap that ends it."""
    rows = []
    for k, days in enumerate((10, 20, 40, 80)):
        rows.append(menu(2 * k + 1, {"days": str(days), "crew": "pair"}, days, 3 * days))
        if days < 40:
            more = {"binding_shared": "stowed volume, stay [stowage.volume_l]"} if days == 20 else {}
            rows.append(menu(2 * k + 2, {"days": str(days), "crew": "[b]all"}, days, 100 + days, **more))
        else:
            reason = f"stowed volume, stay [stowage.volume_l]: {days} L too much"
            rows.append(row(2 * k + 2, {"days": str(days), "crew": "[b]all"}, "impossible", reason))
    return rows


def page(rows, width):
    console = Console(width=width, color_system=None, file=io.StringIO(), record=True)
    console.print(compare_page("Lengths", rows, width))
    return console.export_text()


def words(rows, width=100):
    return " ".join(page(rows, width).split())


def test_lines_are_cases_that_differ_in_length_alone():
    found = lines(study())
    assert [(line.axis, dict(line.fixed)) for line in found] == [
        ("days", {"crew": "pair"}), ("days", {"crew": "[b]all"}),
    ]  # fmt: skip
    assert [r.case.number for r in found[0].rows] == [1, 3, 5, 7]
    assert [len(line.menus) for line in found] == [4, 2]


def test_a_total_of_so_much_a_day_has_exponent_one():
    found = {g.name: g for g in growths(lines(study())[0])}
    assert found["mass_kg"].exponent == pytest.approx(1)
    assert found["mass_kg"].half == pytest.approx(0, abs=1e-9)
    assert found["mass_kg"].count == 4
    # two lengths give no interval
    assert growths(lines(study())[1]) == []


def test_the_interval_is_that_of_a_line_through_logarithms():
    # y = x**2 with the middle point 10 % above: slope 2, the rest by hand
    import numpy as np

    slope, half = fit([1, 10, 100], [1, 110, 10_000])
    assert slope == pytest.approx(2)
    rest = np.log(1.1)
    spread = 2 * np.log(10) ** 2
    assert half == pytest.approx(12.706 * np.sqrt((rest**2 * (4 + 1 + 1) / 9) / spread))


def test_menus_pressed_by_a_cap_are_left_out_of_the_fit():
    rows = [menu(k, {"days": str(d)}, d, 3 * d) for k, d in enumerate((10, 20, 40))]
    cap = {"binding_shared": "gross mass, stay [stowage.gross_kg]"}
    rows.append(menu(9, {"days": "80"}, 80, 130, **cap))
    (found, *_) = growths(lines(rows)[0])
    assert (found.count, round(found.exponent, 6)) == (3, 1)
    # another limit of the crew's says nothing of mass
    rows[-1] = menu(9, {"days": "80"}, 80, 130, binding_shared="Sesame square [stock.first]")
    (found, *_) = growths(lines(rows)[0])
    assert found.count == 4 and found.exponent < 0.9


def test_the_page_says_what_was_found():
    said = words(study())
    assert "8 cases: 6 with a menu, 2 proved impossible." in said
    assert "1 10 1.500 1.500 1.500 98.8 90.0 12.5 0.11" in said
    assert "Gross mass grows as days to the 1.000 ± 0.000 (95 %, 4 lengths): the same each day" in said
    assert "Lots past their use-by date before the stay ends: 0 of 90 at days 10, 2 at days 80." in said
    assert "Items somebody may be given: 390 at days 10, 320 at days 80." in said
    assert (
        "Of what the crew shares, matters most: days 10: no limit; days 20: stowed volume, stay "
        "[stowage.volume_l]." in said
    )
    assert (
        "days 40 to 80: proved impossible: stowed volume, stay [stowage.volume_l]: 40 L too much; at "
        "days 80: stowed volume, stay [stowage.volume_l]: 80 L too much" in said
    )
    assert "crew [b]all" in said
    assert "Vitamins count after losses in storage" in said
    assert "no table [storage]" not in said


def test_an_exponent_that_is_not_known_says_nothing():
    rows = [menu(k, {"days": str(d)}, d, m) for k, (d, m) in enumerate(((10, 30), (20, 90), (40, 80)))]
    assert "these cases do not tell whether it changes a day" in words(rows)
    assert "the same each day" not in words(rows)


def test_what_storage_makes_bind_is_told_from_its_first_length():
    rows = [menu(k, {"days": str(d)}, d, 3 * d) for k, d in enumerate((10, 20))]
    rows.append(menu(3, {"days": "40"}, 40, 120, losses_bind="juno: THIA_mg VITC_mg; mira: VITC_mg"))
    said = words(rows)
    assert (
        "Losses in storage make a floor bind: Thiamin of juno from days 40 on; Vitamin C of juno from days "
        "40 on; Vitamin C of mira from days 40 on." in said
    )


def test_every_end_has_its_words():
    ends = ("impossible", "undecided", "faults", "failed")
    rows = [row(k, {"days": str(k)}, end, f"why {k}") for k, end in enumerate(ends, 1)]
    rows.append(Row(StudyCase(9, {"days": "9"}, Path("plan.toml"), {}), None))
    said = words(rows)
    assert (
        "5 cases: 1 proved impossible, 1 not decided, 1 with faults in the input, 1 failed, "
        "1 not planned yet." in said
    )
    for text in (
        "proved impossible: why 1",
        "not decided: why 2",
        "faults in the input: why 3",
        "failed: why 4",
    ):
        assert text in said


def test_losses_are_spoken_of_only_where_some_case_tells_whether_they_count():
    said = words([row(1, {"days": "1"}, "faults", "why")])
    assert "at production" not in said and "after losses in storage" not in said


@pytest.mark.parametrize("width", [80, 140])
def test_no_line_is_wider_than_the_screen(width):
    assert max(map(len, page(study(), width).splitlines())) <= width
    assert ("of the crew's limits, matters most" in page(study(), width)) == (width == 140)


def test_charts_tell_the_lines_apart_and_repeat_their_bytes():
    found = charts("Lengths", study())
    assert {line.name for line in found["mass_kg_person_day"].lines} == {"crew pair", "crew [b]all"}
    assert found["liking"].lines[0].y[0] == pytest.approx(98.7654)
    assert svg_bytes(found["liking"]) == svg_bytes(charts("Lengths", study())["liking"])
    assert charts("x", [row(1, {"crew": "a"})]) == {}
