"""Drill: a case of two people and three dates worked out on paper, and packs counted a second time."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from random import Random

import pytest

from optimenu.catalogue.stock import StockRow
from optimenu.menu.menu import Menu
from optimenu.rules.avoid import Avoid
from optimenu.stowage.drill import drill
from optimenu.stowage.drill_audit import faults_of
from optimenu.stowage.drill_board import on_board
from optimenu.stowage.drill_question import ask
from optimenu.stowage.drill_safe import Safety
from tests.rules.hand import FIRST, D, item, person, problem, rule, tally

KCAL = "ENERC_KCAL_kcal"
COLD = {"heat_min": D(0), "unheated": "good"}
STEW = item("stew", ENERC_KCAL_kcal="500", heat_min=D(10), unheated="safe only")
ROAST = item("roast", ENERC_KCAL_kcal="600", heat_min=D(20), unheated="no")
ICE = replace(item("ice", "side", ENERC_KCAL_kcal="300", store_at_c=D(-18), **COLD), form="frozen")
SOUP = item("soup", ENERC_KCAL_kcal="400", water_ml=D(250), water_kind="hot", **COLD)
PASTA = item("pasta", ENERC_KCAL_kcal="450", water_ml=D(200), water_kind="hot", cold_min=D(20), **COLD)
NUTS = item("nuts", "main side", ENERC_KCAL_kcal="700", **COLD)
NUTS = replace(NUTS, allergens={**NUTS.allergens, "peanuts": "contains"})
CRACKER = item("cracker", "side", ENERC_KCAL_kcal="100", servings_per_pack=4, **COLD)
BAR = item("bar", ENERC_KCAL_kcal="200", **COLD)
ITEMS = (STEW, ROAST, ICE, SOUP, PASTA, NUTS, CRACKER, BAR)
PEOPLE = (person("ana", "1000"), person("bo", "1200", allergies={"peanuts": "severe"}))
MENU = """\
ana 1 lunch main stew 1
ana 1 lunch side cracker 1
ana 1 dinner main roast 1
ana 2 lunch main nuts 1
ana 2 dinner main soup 1
ana 3 lunch main pasta 1
ana 3 lunch side cracker 1
ana 3 dinner main stew 1
bo 1 lunch main stew 1
bo 1 dinner main roast 1
bo 2 lunch main pasta 1
bo 2 lunch side ice 1
bo 2 dinner main soup 1
bo 3 lunch main pasta 1
bo 3 dinner main roast 1
ana r1 lunch main bar 2
ana r1 lunch side nuts 1
bo r1 lunch main bar 2
"""
SECOND, THIRD, FOURTH = (FIRST + timedelta(days=k) for k in (1, 2, 3))


def asked(menu=MENU, *, days=3, reserve=1, items=ITEMS, people=PEOPLE, more=(), dates=None, **question):
    """Return the problem of a case and the answer to a question about it."""
    extra = dict(more)
    case = problem(items, people=people, days=days, dates=dates, reserve=reserve, **extra)
    found = tally(case, menu)
    lines = Menu.of(e.line for e in found.entries)
    return case, drill(case, (rule(Avoid, "", case),), lines, ask(case, **question))


def broken_ration(case, answer, dishes, water=None):
    """Return the faults of other dishes in an answer's place."""
    safety = Safety(case, (rule(Avoid, "", case),))
    return faults_of(tally(case, MENU), safety, answer.horizon, answer.question, dishes, water)


def eaten(answer):
    """Return kcal of the ration by person and date."""
    return {(d.person, d.when): d.ration for d in answer.days}


@pytest.fixture(scope="module")
def hard():
    """All three are lost from the second date, and the stay is one day longer."""
    return asked(start="2031-03-02", lost=("heater", "hot_water", "freezer"), late="1")[1]


def test_what_is_on_board(hard):
    # the cracker pack was opened on the first date: no pack, one serving left of two planned; it held four
    rows = {(h.holder, h.item.id, h.part): (h.packs, h.servings, h.spare) for h in hard.held}
    assert rows == {
        ("ana", "stew", "menu"): (1, 1, 0),
        ("ana", "soup", "menu"): (1, 1, 0),
        ("ana", "pasta", "menu"): (1, 1, 0),
        ("ana", "nuts", "menu"): (1, 1, 0),
        ("ana", "cracker", "menu"): (0, 1, 0),
        ("ana", "nuts", "reserve"): (1, 1, 0),
        ("ana", "bar", "reserve"): (2, 2, 0),
        ("bo", "roast", "menu"): (1, 1, 0),
        ("bo", "ice", "menu"): (1, 1, 0),
        ("bo", "soup", "menu"): (1, 1, 0),
        ("bo", "pasta", "menu"): (2, 2, 0),
        ("bo", "bar", "reserve"): (2, 2, 0),
    }


def test_energy_on_board_and_how_long_it_lasts(hard):
    ana, bo = hard.stores
    # ana: nuts 700 + soup 400 + pasta 450 + cracker 100 + stew 500; reserve 2 x 200 + 700; soup is lost
    assert (ana.menu, ana.reserve, ana.lost, ana.left) == (2150, 1100, 400, 2850)
    # bo: 2 x pasta 450 + ice 300 + soup 400 + roast 600; reserve 2 x 200; ice, soup and roast are lost
    assert (bo.menu, bo.reserve, bo.lost, bo.left) == (2200, 400, 1300, 1300)
    # the second and third date, and one beyond the stay
    assert (ana.dates, ana.need, bo.dates, bo.need) == (3, 3000, 3, 3600)
    assert ana.days(ana.left) == Fraction(285, 100) and bo.days(bo.left) == Fraction(13, 12)


def test_what_is_lost_and_why(hard):
    found = {g.item.id: (dict(g.packs), dict(g.servings), g.kcal, g.why) for g in hard.gone}
    assert found == {
        "roast": ({"bo": 1}, {"bo": 1}, 600, "not to be eaten unheated"),
        "ice": ({"bo": 1}, {"bo": 1}, 300, "kept in the freezer: thawed, to be discarded"),
        "soup": ({"ana": 1, "bo": 1}, {"ana": 1, "bo": 1}, 800, "needs hot water: no time stated for cold"),
    }
    assert hard.later == () and hard.fridge == () and hard.unknown_energy == ()


def test_who_must_not_be_given_what(hard):
    assert {p: [i.id for i in items] for p, items in hard.apart.items()} == {0: [], 1: ["nuts"]}


def test_the_person_days(hard):
    rows = [
        (d.person, d.when, d.need, d.planned, d.left, d.ration, d.low)
        for d in sorted(hard.days, key=lambda d: (d.person, d.when))
    ]
    assert rows == [
        (0, SECOND, 1000, 1100, 700, 700, False),
        # pasta goes to bo's third date, 450 of 1200 before: then 600 of 1000 and 900 of 1200
        (0, THIRD, 1000, 1050, 1050, 600, True),
        # own reserve, the largest first: nuts
        (0, FOURTH, 1000, 0, 0, 700, False),
        # one of ana's bars, once bo's own are eaten
        (1, SECOND, 1200, 1150, 450, 650, True),
        (1, THIRD, 1200, 1050, 450, 900, False),
        # both of bo's bars and one of ana's
        (1, FOURTH, 1200, 0, 0, 600, True),
    ]
    water = {(d.person, d.when): (d.water_planned, d.water_left, d.water_ration) for d in hard.days}
    assert water[0, SECOND] == (250, 0, 0)
    assert water[0, THIRD] == (200, 200, 0)
    assert water[1, SECOND] == (450, 200, 200)
    assert water[1, THIRD] == (200, 200, 400)
    assert water[1, FOURTH] == (0, 0, 0)


def test_the_dishes_of_the_ration(hard):
    rows = [
        (d.when.day, d.person, d.meal, d.item.id, d.count, d.source, d.owner, d.planned, d.how)
        for d in hard.dishes
    ]
    assert rows == [
        (2, 0, "lunch", "nuts", 1, "menu", 0, SECOND, ""),
        (2, 1, "lunch", "pasta", 1, "menu", 1, SECOND, "cold water, 20 min"),
        (2, 1, "", "bar", 1, "reserve", 0, None, ""),
        (3, 0, "dinner", "stew", 1, "menu", 0, THIRD, "unheated: safe, not good"),
        (3, 0, "lunch", "cracker", 1, "menu", 0, THIRD, ""),
        (3, 1, "lunch", "pasta", 1, "menu", 1, THIRD, "cold water, 20 min"),
        (3, 1, "", "pasta", 1, "menu", 0, THIRD, "cold water, 20 min"),
        (4, 0, "", "nuts", 1, "reserve", 0, None, ""),
        (4, 1, "", "bar", 1, "reserve", 0, None, ""),
        (4, 1, "", "bar", 2, "reserve", 1, None, ""),
    ]
    # all that is left is eaten: 2850 + 1300
    assert sum(d.count * d.item.amounts[KCAL] for d in hard.dishes) == 4150
    assert sum(eaten(hard).values()) == 4150
    assert hard.left_over == {} and hard.stranded == 0


def test_the_worst_day_and_the_bound(hard):
    assert (hard.worst.person, hard.worst.when, hard.worst.level) == (1, FOURTH, Fraction(1, 2))
    # nuts 1400 are under ana's part, so the best is the same level for all: 4150 / (3000 + 3600)
    assert Fraction(83, 132) <= hard.bound < Fraction(83, 132) + Fraction(1, 10**9)


def test_water_short():
    # 1.4 L a day less 2 x 0.5 L of plain water: 400 mL for food
    more = {"plain_water_ml": D(500)}
    case, answer = asked(water_l="1.4", more=more)
    assert set(answer.plain_ml.values()) == {1000}
    # date 2 needs 700 mL. Dry first: nuts 700 of 1000 for ana, ice 300 of 1200 for bo. bo is lower: pasta,
    # 450 kcal for 200 mL, before soup, 400 for 250; then neither soup fits.
    # bo has 750 and takes both own bars, up to the 1150 planned; ana has 700 and takes both, up to 1100.
    assert eaten(answer) == {
        (0, FIRST): 1200,
        (1, FIRST): 1100,
        (0, SECOND): 1100,
        (1, SECOND): 1150,
        (0, THIRD): 1050,
        (1, THIRD): 1050,
    }
    assert answer.left_over == {(0, "menu"): 400, (1, "menu"): 400, (0, "reserve"): 700}
    assert {d.when: d.water_ration for d in answer.days if d.person == 1} == {
        FIRST: 0,
        SECOND: 200,
        THIRD: 200,
    }
    assert answer.horizon.dates == case.dates and not any(d.low for d in answer.days)


def test_no_water_for_food_at_all():
    _, answer = asked(water_l="0.5", more={"plain_water_ml": D(500)})
    assert {d.item.id for d in answer.dishes} == {"stew", "roast", "nuts", "cracker", "bar", "ice"}


def test_nothing_asked_keeps_the_menu_as_it_is():
    _, answer = asked()
    assert all(d.ration == d.planned == d.left for d in answer.days)
    assert all(d.source == "menu" and d.planned == d.when for d in answer.dishes)
    assert answer.left_over == {(0, "reserve"): 1100, (1, "reserve"): 400}


def test_a_late_load_leaves_its_own_dates_without_food():
    # four dates, two plan days; the second load feeds dates three and four and is one day late
    menu = "ana 1 lunch main bar 4\nana 2 lunch main bar 5\nana r1 lunch main bar 3"
    more = {"loads": (0, 2)}
    case = {"days": 2, "dates": 4, "people": PEOPLE[:1], "more": more}
    _, answer = asked(menu, late="1", **case)
    assert answer.horizon.dates == (FIRST, SECOND, THIRD) and answer.horizon.gap == {THIRD}
    # on board: 9 of the menu, 3 of the reserve; three dates of 1000; the most even is 800 each
    assert answer.stores[0].menu == 1800 and answer.stores[0].dates == 3
    assert eaten(answer) == {(0, FIRST): 800, (0, SECOND): 800, (0, THIRD): 800}
    assert Fraction(4, 5) <= answer.bound < Fraction(4, 5) + Fraction(1, 10**9)
    # five days late is no worse than two: then the stay is over
    _, answer = asked(menu, late="l1=5", **case)
    assert answer.horizon.gap == {THIRD, FOURTH} and answer.horizon.dates[-1] == FOURTH
    # 12 bars over four dates
    assert set(eaten(answer).values()) == {600}


def test_food_of_a_load_that_is_on_time_is_not_eaten_before_it_comes():
    menu = "ana 1 lunch main soup 1\nana 2 lunch main bar 5\nana r1 lunch main bar 1"
    _, answer = asked(menu, days=2, dates=2, people=PEOPLE[:1], more={"loads": (0, 1)}, lost=("hot_water",))
    # soup is lost; the five bars come on the second date only
    assert answer.stores[0].menu == 400 and answer.horizon.cover == (FIRST,)
    assert eaten(answer) == {(0, FIRST): 200, (0, SECOND): 1000}
    # with the freezer lost too, what a later load brings is named apart
    _, answer = asked(
        "ana 1 lunch main bar 5\nana 2 lunch side ice 1", days=2, dates=2, reserve=0, people=PEOPLE[:1],
        more={"loads": (0, 1)}, lost=("freezer",),
    )  # fmt: skip
    assert answer.gone == () and [i.id for i in answer.later] == ["ice"]


def test_nothing_is_kept_beyond_its_use_by_date():
    def lots(last):
        return tuple(StockRow(i.id, "l0", "x", FIRST, last, None, 99, "released", 1) for i in ITEMS)

    menu = "ana 1 lunch main bar 5\nana r1 lunch main bar 2"
    case = {"days": 1, "people": PEOPLE[:1], "late": "1"}
    _, answer = asked(menu, more={"stock": lots(FIRST)}, **case)
    assert eaten(answer) == {(0, FIRST): 1000, (0, SECOND): 0} and answer.bound == 0
    _, answer = asked(menu, more={"stock": lots(SECOND)}, **case)
    assert eaten(answer) == {(0, FIRST): 800, (0, SECOND): 600} and answer.no_use_by == ()
    # without a list of lots it is said which packs are to be looked at
    _, answer = asked(menu, **case)
    assert [i.id for i in answer.no_use_by] == ["bar"]


@pytest.mark.parametrize(("hours", "spread"), [(None, 1), (D(47), 1), (D(48), 2)])
def test_a_pack_of_several_is_eaten_while_it_keeps(hours, spread):
    # one pack of four in the reserve, two dates beyond the stay: eaten on one, or on both if it keeps
    tin = replace(CRACKER, open_hours=hours)
    menu = "ana 1 lunch main roast 1\nana 1 dinner main stew 1\nana r1 lunch side cracker 4"
    _, answer = asked(
        menu, days=1, people=PEOPLE[:1], items=(*ITEMS[:6], tin, BAR), late="2", start="2031-03-01"
    )
    found = {d.when for d in answer.dishes if d.item.id == "cracker"}
    assert sum(d.count for d in answer.dishes if d.item.id == "cracker") == 4
    assert len(found) == spread and max(found) - min(found) == timedelta(days=spread - 1)
    assert answer.stranded == 0


def test_what_is_left_in_an_opened_pack_is_told():
    # beyond the stay: four bars of 200 first, then two of the four crackers; two are left, and do not keep
    menu = "ana 1 lunch main bar 5\nana r1 lunch main bar 4\nana r1 lunch side cracker 4"
    _, answer = asked(menu, days=1, people=PEOPLE[:1], late="1")
    assert eaten(answer) == {(0, FIRST): 1000, (0, SECOND): 1000}
    assert answer.stranded == 2 and answer.left_over == {(0, "reserve"): 200}


def test_a_prescribed_ceiling_is_kept_and_unknown_is_unsafe():
    salty = replace(BAR, amounts={KCAL: D(200), "NA_mg": D(100)})
    silent = replace(ROAST, amounts={KCAL: D(600), "NA_mg": None}, heat_min=D(0), unheated="good")
    people = (
        person("ana", "1000", limits={"NA_mg": {"day": (None, D(300))}}),
        person("bo", "1000"),
    )
    menu = (
        "ana 1 lunch main bar 3\nbo 1 lunch main roast 2\nana r1 lunch main bar 9\nbo r1 lunch main roast 2"
    )
    _, answer = asked(menu, days=1, people=people, items=(salty, silent), late="1")
    # three bars of 100 mg are all ana may have on a date, whoever has more; roast does not state its sodium
    assert {d.when: d.ration for d in answer.days if d.person == 0} == {FIRST: 600, SECOND: 600}
    assert all(d.item.id == "bar" for d in answer.dishes if d.person == 0)


def test_the_check_of_a_ration_fires():
    case, answer = asked(start="2031-03-02", lost=("heater",))
    first = next(d for d in answer.dishes if d.item.id == "nuts")
    bar = replace(first, item=BAR, planned=None, source="reserve")
    assert broken_ration(case, answer, answer.dishes) == []
    for dish, words in (
        (replace(first, person=1), "bo: nuts on 2031-03-02: must not be given"),
        (replace(first, when=FIRST), "ana: nuts on 2031-03-01: not a date of the ration"),
        (replace(first, item=ROAST), "ana: roast on 2031-03-02: lost"),
        (replace(first, planned=FIRST), "ana: nuts on 2031-03-02: not on board"),
        (replace(first, source="reserve"), "ana: nuts on 2031-03-02: neither of the menu nor of the reserve"),
        (replace(first, count=2), "2 servings of nuts of ana, 2031-03-02; there are 1"),
        (replace(bar, count=3), "3 servings of bar of ana, None; there are 2"),
    ):
        assert words in broken_ration(case, answer, [dish])
    soup = replace(first, item=SOUP)
    assert broken_ration(case, answer, [soup], {SECOND: D(249)}) == [
        "2031-03-02: 250 mL of water for food; there are 249"
    ]


@pytest.mark.parametrize("seed", range(40))
def test_packs_and_sums_agree_with_the_menu(seed):
    rng = Random(seed)
    people = (person("ana", "900"), person("bo", "1100", allergies={"peanuts": "severe"}))
    days, dates = rng.randint(1, 4), rng.randint(4, 9)
    loads = (0, rng.randint(1, dates - 1)) if rng.random() < 0.5 else (0,)
    lines = []
    for who in people:
        for day in [*map(str, range(1, days + 1)), "r1", "r2"]:
            for _ in range(rng.randint(1, 4)):
                food = rng.choice([i for i in ITEMS if who.id == "ana" or i is not NUTS])
                course = "side" if "side" in food.courses else "main"
                lines.append(f"{who.id} {day} lunch {course} {food.id} {rng.randint(1, 3)}")
    case = problem(ITEMS, people=people, days=days, dates=dates, reserve=2, loads=loads)
    found = tally(case, "\n".join(lines))
    start = rng.choice(case.dates)
    lost = [w for w in ("heater", "hot_water", "freezer") if rng.random() < 0.5]
    late = rng.choice((None, "1", "4"))
    water = rng.choice((None, "0.5", "2"))
    menu = Menu.of(e.line for e in found.entries)
    answer = drill(case, (rule(Avoid, "", case),), menu, ask(case, start.isoformat(), lost, water, late))

    # packs, serving by serving along the dates: one is opened when the last is empty
    closed, planned = defaultdict(int), defaultdict(int)
    rest = {}
    for k, when in enumerate(case.dates):
        for e in found.entries:
            if e.day.block == "reserve" or e.day.number != case.sequence[k]:
                continue
            load = max(n for n, one in enumerate(case.loads) if one.arrives <= when)
            for _ in range(e.count):
                key = (e.party.id, e.item.id, load)
                if not rest.get(key):
                    rest[key] = e.item.servings_per_pack
                    closed[e.party.id, e.item.id] += when >= start and case.loads[load].arrives <= start
                rest[key] -= 1
                planned[e.party.id, e.item.id] += when >= start and case.loads[load].arrives <= start
    mine = {(h.holder, h.item.id): (h.packs, h.servings) for h in answer.held if h.part == "menu"}
    assert mine == {k: (closed[k], n) for k, n in planned.items() if n}
    kept = defaultdict(int)
    for e in found.entries:
        if e.day.block == "reserve":
            kept[e.party.id, e.item.id] += e.count
    size = {i.id: i.servings_per_pack for i in ITEMS}
    spare = {(h.holder, h.item.id): (h.packs, h.servings) for h in answer.held if h.part == "reserve"}
    assert spare == {k: (-(-n // size[k[1]]), n) for k, n in kept.items()}

    # people's sums are the crew's, and every serving is eaten once or left
    there = sum(
        (d.left for d in answer.days), D(0)
    ) + sum(
        e.count * e.item.amounts[KCAL]
        for e in found.entries
        if e.day.block == "reserve" and e.item.id not in {g.item.id for g in answer.gone}
    )  # fmt: skip
    ate = sum(d.count * d.item.amounts[KCAL] for d in answer.dishes)
    assert sum(eaten(answer).values()) == ate
    assert ate + sum(answer.left_over.values()) == there
    # nobody has what must not be had, no ration beats its bound
    assert all(d.item is not NUTS for d in answer.dishes if d.person == 1)
    if answer.worst is not None:
        assert answer.worst.level <= answer.bound
    drawn = defaultdict(int)
    for d in answer.dishes:
        drawn[d.when] += d.count * d.item.water_ml
    assert water is None or max(drawn.values(), default=0) <= D(water) * 1000
    assert sum(h.packs for h in on_board(case, menu, start)) == sum(h.packs for h in answer.held)
