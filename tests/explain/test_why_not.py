"""Why an item is not on a menu: by hand, and against cases whose files say something else."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from optimenu.explain.prices import group_of, prices_of, scored
from optimenu.explain.told import tell
from optimenu.explain.why_not import served, why_not
from optimenu.menu.menu import Menu
from optimenu.planning import Options, plan, whole
from optimenu.solve.bound import relax
from optimenu.solve.solve import solve
from tests.explain.larder import larder_case

D = Decimal
NARROW_L, MENU_L, ROOMY_L = "3.9", "5.6", "8"


@pytest.fixture
def prices(tmp_path):
    return prices_of(larder_case(tmp_path, "4", fish_pie="6"))


def relaxed_dates(case, scale, item):
    """Dates on which a relaxation solved from nothing but the files serves an item."""
    program = whole(case, scale)
    relaxation = relax(program)
    group = group_of(program, 0, case.problem.catalogue.order[item])
    days = case.problem.days
    return sum(
        relaxation.x[c] * days[int(program.day[c])].weight
        for c in program.group_column[program.group_start[group] : program.group_start[group + 1]].tolist()
    )


def test_an_allergen_is_refused_everywhere_and_no_score_is_spoken_of(prices):
    why = why_not(prices, 0, "groundnut_soup_pot")
    assert (why.status, why.places, why.allowed, why.entry) == ("refused", 2, 0, None)
    (reason,) = why.reasons
    assert reason.refusal.text == "juno: contains: peanuts"
    assert reason.refusal.who == "physician"
    assert (reason.places, reason.meals) == (2, ("dinner",))
    assert "prescriptions.toml:" in prices.case.where(reason.refusal.key)


def test_an_item_under_the_floor_is_told_what_score_brings_it_in(prices, tmp_path):
    why = why_not(prices, 0, "plum_compote")
    assert (why.status, why.score, why.allowed) == ("not scored", D(4), 0)
    assert why.reasons[0].refusal.key == "people.juno.floor"
    assert why.entry is not None
    needed = why.entry.needed
    assert why.floor <= needed <= 9
    above = larder_case(tmp_path / "a", "4", fish_pie="6", plum_compote=str(needed + D("0.1")))
    below = larder_case(tmp_path / "b", "4", fish_pie="6", plum_compote=str(needed - D("0.1")))
    assert relaxed_dates(above, prices.scale, "plum_compote") == pytest.approx(why.entry.above, abs=1e-6)
    assert why.entry.above > 0
    assert relaxed_dates(below, prices.scale, "plum_compote") == pytest.approx(0, abs=1e-6)


def test_an_item_nobody_tasted_is_told_what_score_brings_it_in(prices, tmp_path):
    why = why_not(prices, 0, "apple_rings")
    assert (why.status, why.score) == ("not scored", None)
    assert why.reasons[0].refusal.key == "tasting.file"
    needed = why.entry.needed
    above = larder_case(tmp_path / "a", "4", fish_pie="6", apple_rings=str(needed + D("0.1")))
    below = larder_case(tmp_path / "b", "4", fish_pie="6", apple_rings=str(needed - D("0.1")))
    assert relaxed_dates(above, prices.scale, "apple_rings") > 0.001
    assert relaxed_dates(below, prices.scale, "apple_rings") == pytest.approx(0, abs=1e-6)


def test_a_dear_item_needs_what_its_rival_is_worth(prices, tmp_path):
    """Fish pie at 6 stands behind lentil curry at 6.5; a little of it finds room as soon as it beats that."""
    why = why_not(prices, 0, "fish_pie")
    assert (why.status, why.allowed, why.relaxed) == ("dear", 2, pytest.approx(0, abs=1e-9))
    assert why.entry.needed == D("6.50")
    assert why.entry.above > 0
    assert why.entry.below == pytest.approx(0, abs=1e-9)
    assert why.entry.place == "dinner, main"
    assert why.entry.costs[0].origin.key == "meals.dinner.courses.main"
    # where it comes in it earns just what it costs
    at = scored(prices.program, prices.case.problem, prices.scale, group(prices, "fish_pie"), D("6.50"))
    earned = at.group_gain[at.group_start[group(prices, "fish_pie")]] / 10.0**at.goal_decimals
    assert why.entry.cost == pytest.approx(earned, rel=1e-4)
    for score, used in (("6.60", True), ("6.40", False)):
        case = larder_case(tmp_path / score, "4", fish_pie=score)
        assert (relaxed_dates(case, prices.scale, "fish_pie") > 1e-6) == used


def test_an_item_that_volume_keeps_out_whatever_its_score(tmp_path):
    prices = prices_of(larder_case(tmp_path, NARROW_L))
    why = why_not(prices, 0, "fish_pie")
    assert (why.status, why.entry.needed) == ("dear", None)
    assert why.entry.costs[0].origin.key == "stowage.volume_l"
    assert why.entry.cost >= why.entry.worth
    roomy = prices_of(larder_case(tmp_path / "roomy", ROOMY_L))
    assert served(roomy, roomy.relaxation, group(roomy, "fish_pie")) == pytest.approx(2)


def test_liking_does_not_count_where_courses_weigh_nothing(prices):
    assert why_not(prices, 0, "rye_bread").status == "weightless"


def test_an_item_that_no_course_takes(tmp_path):
    case = larder_case(tmp_path)
    items = tuple(
        replace(i, meals=("lunch",)) if i.id == "cocoa" else i for i in case.problem.catalogue.items
    )
    problem = replace(case.problem, catalogue=replace(case.problem.catalogue, items=items))
    rules = tuple(type(r)(r.settings, problem) for r in case.rules)
    why = why_not(prices_of(replace(case, problem=problem, rules=rules)), 0, "cocoa")
    assert (why.status, why.places) == ("not offered", 0)


def test_a_score_changed_in_place_is_the_program_of_other_files(prices, tmp_path):
    case = larder_case(tmp_path / "other", "4", fish_pie="6", egg_hash="7.25")
    anew = whole(case, prices.scale)
    here = scored(prices.program, prices.case.problem, prices.scale, group(prices, "egg_hash"), D("7.25"))
    assert here.digest == anew.digest


def test_a_planned_item_says_where_it_stands_and_what_the_bound_loses(tmp_path):
    prices, value = with_menu(larder_case(tmp_path, MENU_L))
    why = why_not(prices, 0, "egg_hash")
    assert why.status == "planned"
    assert [(u.meal, u.course, u.dates) for u in why.uses] == [("breakfast", "main", 2)]
    # the best menu without it, proved by HiGHS on the plain model of files in which it is under the floor
    other = larder_case(tmp_path / "without", MENU_L, egg_hash="4")
    best = solve(whole(other, prices.scale), method="direct")
    assert best.closed
    assert D(best.value).scaleb(-18) <= why.without.bound < why.without.before
    # without it no menu is as good as the one planned, and the bound alone says so
    assert why.without.bound < value
    assert tell(prices, value, item="egg_hash").items == (why,)


def test_an_item_that_cannot_be_spared(tmp_path):
    """Dinners need two of three mains, and the volume holds no fish pie."""
    prices, _ = with_menu(larder_case(tmp_path, MENU_L, lentil_curry="5.5"))
    why = why_not(prices, 0, "bean_stew")
    assert why.status == "planned"
    assert why.without.bound is None or why.without.bound < why.without.before


def test_the_menu_leaves_out_what_the_relaxation_uses(tmp_path):
    prices, _ = with_menu(larder_case(tmp_path, MENU_L))
    lines = [line for line in prices.menu.lines if line.item not in ("egg_hash", "bean_stew")]
    prices = replace(prices, menu=Menu.of(lines))
    why = why_not(prices, 0, "egg_hash")
    assert why.status == "used"
    assert why.relaxed > 0
    assert why.entry.needed <= why.score
    needed = why_not(prices, 0, "bean_stew")
    assert (needed.status, needed.entry) == ("used", None), "no relaxation does without it"


def test_the_best_liked_that_are_missing_are_told_and_the_unsafe_only_counted(tmp_path):
    case = larder_case(tmp_path, "4", fish_pie="6")
    prices = prices_of(case)
    told = tell(prices, None)
    assert told.value is None
    assert {w.item for w in told.items} == {"fish_pie", "barley_porridge"}
    assert told.barred == {"juno": 1}
    assert len(told.trials) == min(8, len(told.limits))
    assert all(not k.shape for k in told.limits)


def test_what_the_menu_gains_is_a_search_beside_the_same_search_with_nothing_changed(tmp_path):
    prices, value = with_menu(larder_case(tmp_path, MENU_L))
    told = tell(prices, value, replan=(20_000, 1, 1))
    assert len(told.replans) == min(3, sum(k.alone for k in told.limits)) > 0
    for replan, trial in zip(told.replans, told.trials, strict=False):
        assert replan.step == trial.step
        assert replan.gain is not None
        assert replan.anyway == 0, "the menu is the best there is"
        # no menu beats the bound under the looser limit
        assert value + replan.gain <= told.bound + trial.gain


def with_menu(case):
    """A case's prices beside the menu of a short plan, and its value."""
    planned = plan(case, Options(moves=20_000, threads=1))
    prices = prices_of(case, scale=planned.scale, program=planned.program, menu=planned.menu)
    return prices, planned.report.value


def group(prices, item):
    """Worth group of the only person and an item."""
    return group_of(prices.program, 0, prices.case.problem.catalogue.order[item])
