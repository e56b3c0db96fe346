"""The order sheet: sums worked out by hand, and stock against trying every way to use it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from random import Random

import pytest

from optimenu.catalogue.stock import StockRow
from optimenu.config.main_settings import LeadTable, OrderTable
from optimenu.menu.menu import Line, Menu, day_numbers
from optimenu.menu.packs import opened
from optimenu.menu.tally import Tally
from optimenu.problem.problem import Party
from optimenu.rules.condiments import Condiments
from optimenu.rules.stock import Stock
from optimenu.stowage.order import order_sheet
from tests.rules.hand import FIRST, MEALS, D, broken, item, person, problem, rule, tally
from tests.rules.tiny import make

LATE = FIRST + timedelta(days=300)
ORDERED = "[stock]\nunlisted = 'order'"
KEPT_OPEN = D(9999)


def lot(name, packs, use_by=LATE, *, load="l0", state="released", number="1"):
    made = FIRST - timedelta(days=90)
    return StockRow(name, load, f"{name} {number}", made, use_by, None, packs, state, 1)


def asked(**more):
    return OrderTable(**{"loading_days": 0, "packing_days": 0, **more})


def sheet(question, menu, settings=None, condiments="[condiments]\ncourses = ['side']"):
    rules = [rule(Stock, ORDERED, question), rule(Condiments, condiments, question)]
    return order_sheet(menu, rules, settings or asked())


def parts(line):
    return (
        line.menu, line.condiments, line.reserve, line.tasting, line.quality, line.spare, line.stock,
        line.need, line.packs,
    )  # fmt: skip


def test_a_sheet_worked_out_by_hand():
    # 20 dates, stew at lunch and at dinner: 40 packs; two reserve days of one each: 2. Spare 10 % of 42 is
    # 4.2, so 5. With 3 for tastings and 2 as samples 52 are wanted, 15 are released: 37 are needed.
    # Order units of 12 make 48; a batch of at least 50 needs a fifth unit: 60.
    # Salt, free in the day: 2 x 20 = 40 servings, 10 to a pack: 4 packs, 1 spare; 5 + 3 + 2 = 10.
    stew = item(
        "stew", order_unit_packs=12, smallest_batch_packs=50, cost=D("1.25"), supply="made",
        overwrap_packs=25, overwrap_g=D(30), overwrap_ml=D(40),
    )  # fmt: skip
    salt = item("salt", "side", servings_per_pack=10, open_hours=KEPT_OPEN)
    stock = (
        lot("stew", 15),
        lot("stew", 40, state="held", number="2"),
        lot("stew", 0, state="held", number="3"),
        lot("stew", 7, None, number="4"),
        lot("stew", 9, FIRST - timedelta(days=1), number="5"),
    )
    question = problem((stew, salt), days=1, dates=20, reserve=2, stock=stock)
    menu = tally(
        question,
        """
        ana 1 lunch main stew 1
        ana 1 dinner main stew 1
        ana r1 lunch main stew 1
        ana r2 lunch main stew 1
        ana 1 salt 2?
        """,
    )
    settings = asked(
        tasting_packs=3, quality_packs=2, spare_percent=D(10), loading_days=7, packing_days=14,
        lead_days=LeadTable(made=100),
    )  # fmt: skip
    found = {x.item.id: x for x in sheet(question, menu, settings).lines}
    assert parts(found["stew"]) == (40, 0, 2, 3, 2, 5, 15, 37, 60)
    assert parts(found["salt"]) == (0, 4, 0, 3, 2, 1, 0, 10, 10)
    # 60 packs of 110 g and 200 mL in 3 overwraps
    line = found["stew"]
    assert (line.gross_g, line.volume_ml, line.cost) == (60 * 110 + 3 * 30, 60 * 200 + 3 * 40, D(75))
    assert (found["salt"].gross_g, found["salt"].volume_ml, found["salt"].cost) == (1100, 2000, None)
    # arrives 1 March 2031; 21 days back is 8 February, 100 more is 31 October
    assert (line.load.needed_by, line.order_by) == (date(2031, 2, 8), date(2030, 10, 31))
    assert line.load.keeps_to == FIRST + timedelta(days=19)
    assert (found["salt"].lead_days, found["salt"].order_by) == (None, None)
    assert line.not_counted == (
        "held: 40 packs, lot stew 2",
        "use-by date not known: 7 packs, lot stew 4",
        "use by 2031-02-28, before the load arrives: 9 packs, lot stew 5",
    )


@pytest.mark.parametrize(
    ("unit", "batch", "stock", "packs"),
    [
        (None, None, 0, 10),
        (None, None, 10, 0),
        (None, None, 99, 0),
        (4, None, 0, 12),
        (5, None, 0, 10),
        (None, 7, 0, 10),
        (None, 50, 0, 50),
        (12, 50, 0, 60),
        (25, 50, 0, 50),
        # nothing is needed, so no batch is made
        (12, 50, 10, 0),
        (12, 50, 9, 60),
    ],
)
def test_order_units_and_batches(unit, batch, stock, packs):
    stew = item("stew", order_unit_packs=unit, smallest_batch_packs=batch)
    question = problem((stew,), days=1, dates=10, stock=(lot("stew", stock),))
    (line,) = sheet(question, tally(question, "ana 1 lunch main stew 1")).lines
    assert line.packs == packs
    assert line.need == max(0, 10 - stock)


def test_condiments_are_what_their_courses_and_allowances_open_besides():
    # jars of 3, 4 dates: as a main 4 servings, 2 packs; with a side's 4 and 8 free 16 servings, 6 packs
    jar = item("jar", "main side", servings_per_pack=3, open_hours=KEPT_OPEN)
    question = problem((jar,), days=1, dates=4)
    menu = tally(question, "ana 1 lunch main jar 1\nana 1 lunch side jar 1\nana 1 jar 2?")
    (line,) = sheet(question, menu).lines
    assert (line.menu, line.condiments, line.need) == (2, 4, 6)
    (line,) = sheet(question, menu, condiments="[condiments]\ncourses = []").lines
    # main and side together 8 servings, 3 packs
    assert (line.menu, line.condiments, line.need) == (3, 3, 6)


def test_each_load_has_its_own_line_and_tasting_samples_come_with_the_first():
    # loads on the first and the third of 5 dates: 2 and 3 packs; spare 50 %: 1 and 2
    question = problem((item("stew", lead_days=10),), days=1, dates=5, loads=(0, 2), reserve=1)
    menu = tally(question, "ana 1 lunch main stew 1\nana r1 lunch main stew 1")
    settings = asked(tasting_packs=4, quality_packs=1, spare_percent=D(50), packing_days=3)
    first, second = sheet(question, menu, settings).lines
    # the first load carries the reserve, 3 in all: 1.5 spare, so 2
    assert parts(first) == (2, 0, 1, 4, 1, 2, 0, 10, 10)
    assert parts(second) == (3, 0, 0, 0, 1, 2, 0, 6, 6)
    assert [x.load.name for x in (first, second)] == ["l0", "l1"]
    assert first.order_by == FIRST - timedelta(days=13) and second.order_by == FIRST - timedelta(days=11)
    # the reserve may be eaten on the last date
    assert first.load.keeps_to == second.load.keeps_to == FIRST + timedelta(days=4)


def test_lead_days_of_the_item_go_before_those_of_its_supply():
    items = (
        item("own", supply="made", lead_days=5),
        item("made", supply="made"),
        item("bought", supply="bought"),
        item("silent"),
    )
    question = problem(items, days=2)
    menu = tally(
        question,
        "ana 1 lunch main own 1\nana 1 dinner main made 1\nana 2 lunch main bought 1\n"
        "ana 2 dinner main silent 1",
    )
    lines = sheet(question, menu).lines
    # the earliest order first, those without a date last
    assert [(x.item.id, x.lead_days) for x in lines] == [
        ("made", 120),
        ("bought", 30),
        ("own", 5),
        ("silent", None),
    ]


def test_items_used_little():
    # three dates, two people: under 2 servings a person is under 4 in all
    items = (item("stew"), item("pie"), item("jam", "side"))
    people = (person("ana"), person("bo"))
    question = problem(items, people=people, days=3, dates=3, reserve=1)
    menu = tally(
        question,
        """
        ana 1 lunch main stew 1
        ana 2 lunch main stew 1
        bo 3 lunch main stew 1
        bo 1 lunch main pie 1
        bo r1 lunch main pie 1
        ana 1 jam 2?
        bo r1 lunch side jam 2
        """,
    )
    found = sheet(question, menu, asked(fewer_than=2))
    assert found.seldom_under == 4
    assert [(s.item.id, s.servings, s.people) for s in found.seldom] == [
        ("pie", 2, (1,)),
        ("stew", 3, (0, 1)),
    ]
    assert sheet(question, menu, asked(fewer_than=0)).seldom == ()


def test_a_shared_dish_is_a_serving_for_each_who_eats_it():
    people = (person("ana"), person("bo"))
    parties = (Party("ana", (0,)), Party("bo", (1,)), Party("table", (0, 1)))
    question = problem((item("stew"),), people=people, parties=parties, days=1, dates=2)
    menu = tally(question, "table 1 lunch main stew 1")
    (found,) = sheet(question, menu, asked(fewer_than=3)).seldom
    assert (found.servings, found.people) == (4, (0, 1))


def test_what_somebody_must_not_have_is_told_unless_known_to_be_free_of_it():
    milk = {"milk": "contains", "soy": "may_contain"}
    items = (item("free"), item("milky", allergens=milk), item("silent", free=False))
    people = (person("ana", allergies={"milk": "severe"}), person("bo", allergies={"egg": "avoid"}))
    question = problem(items, people=people)
    found = sheet(question, tally(question, "ana 1 lunch main free 1"))
    assert found.avoided == ("egg", "milk")
    assert found.avoid(items[0]) == {}
    assert found.avoid(items[1]) == {"egg": "unknown", "milk": "contains"}
    assert found.avoid(items[2]) == {"egg": "unknown", "milk": "unknown"}


def test_food_that_cannot_keep_long_enough_is_told():
    # needed 1 March, eaten to 9 April: a month from production ends on 1 April, two on 1 May
    items = (item("short", use_by_months=D(1)), item("long", use_by_months=D(2)), item("silent"))
    question = problem(items, days=3, dates=40)
    menu = tally(question, "ana 1 lunch main short 1\nana 2 lunch main long 1\nana 3 lunch main silent 1")
    lines = {x.item.id: x for x in sheet(question, menu).lines}
    assert lines["short"].too_short_lived == date(2031, 4, 1)
    assert lines["long"].too_short_lived is None and lines["silent"].too_short_lived is None


def test_stock_that_passes_its_use_by_first_counts_in_part():
    # a pack a date for 6 dates; 5 packs keep to the second date, 1 to the end: 2 + 1 count.
    # 2 samples may be of the early lot too; 50 % spare (3 packs) must last and may not.
    stock = (lot("stew", 5, FIRST + timedelta(days=1)), lot("stew", 1))
    question = problem((item("stew"),), days=1, dates=6, stock=stock)
    menu = tally(question, "ana 1 lunch main stew 1")
    (line,) = sheet(question, menu).lines
    assert (line.stock, line.need) == (3, 3)
    assert line.not_counted == ("use by too early: 3 of 6 released packs",)
    (line,) = sheet(question, menu, asked(quality_packs=2, spare_percent=D(50))).lines
    assert parts(line) == (6, 0, 0, 0, 2, 3, 5, 6, 6)


def most_used(wanted, lots):
    """Return how many of the wanted packs (last dates) lots can serve, by augmenting paths."""
    packs = [use_by for use_by, n in lots for _ in range(n)]
    taken: dict[int, int] = {}

    def serve(k, seen):
        for j, use_by in enumerate(packs):
            if use_by >= wanted[k] and j not in seen:
                seen.add(j)
                if j not in taken or serve(taken[j], seen):
                    taken[j] = k
                    return True
        return False

    return sum(serve(k, set()) for k in range(len(wanted)))


def test_the_need_is_what_no_use_of_the_stock_can_serve():
    differs = 0
    for seed in range(200):
        rng = Random(seed)
        dates = rng.randint(2, 6)
        lots = [
            (FIRST + timedelta(days=rng.choice((0, 1, 2, 3, 300))), rng.randint(0, 4))
            for _ in range(rng.randint(1, 3))
        ]
        stock = tuple(lot("stew", n, u, number=str(k)) for k, (u, n) in enumerate(lots))
        question = problem((item("stew"),), days=2, dates=dates, reserve=rng.randint(0, 1), stock=stock)
        text = ["ana 1 lunch main stew 1"]
        text += ["ana 2 dinner main stew 1"] if rng.random() < 0.7 else []
        text += ["ana r1 lunch main stew 1"] if question.reserve else []
        samples, percent = rng.randint(0, 2), rng.choice((0, 10, 60))
        menu = tally(question, "\n".join(text))
        settings = asked(quality_packs=samples, spare_percent=D(percent))
        (line,) = sheet(question, menu, settings).lines
        end = question.dates[-1]
        wanted = [d for e in menu.entries for d in (e.day.dates or (end,))]
        spare = -(-len(wanted) * percent // 100)
        wanted += [end] * spare + [FIRST] * samples
        assert line.need == len(wanted) - most_used(wanted, lots), (seed, lots)
        assert line.spare == spare
        differs += line.stock < line.released
    assert differs >= 30


def test_with_what_is_ordered_the_stock_rule_holds_and_with_less_it_does_not():
    ordered = 0
    for seed in range(40):
        rng = Random(seed)
        question = make(seed, unknown=0)
        lots, lines = [], []
        for load in question.loads:
            for food in question.catalogue.items:
                soon = FIRST + timedelta(days=rng.randint(0, 12))
                lots.append(lot(food.id, rng.randint(0, 6), soon, load=load.name))
                lots.append(lot(food.id, rng.randint(0, 3), load=load.name, number="2"))
                lots.append(lot(food.id, 50, load=load.name, state="held", number="3"))
        question = replace(question, stock=tuple(lots))
        place = {number: key for key, number in day_numbers(question).items()}
        for party in question.parties:
            for day, _, meal, _, course in question.places(party):
                food = rng.choice(question.catalogue.items).id
                lines.append(
                    Line(party.id, *place[day.number], meal.name, course.name, food, 1, certain=True)
                )
        menu = Tally.of(question, Menu.of(lines))
        assert not menu.strange
        found = sheet(question, menu)
        fresh = [lot(x.item.id, x.need, load=x.load.name, number="new") for x in found.lines if x.need]
        assert broken(rule(Stock, ORDERED, replace(question, stock=(*lots, *fresh))), menu) == []
        for k, one in enumerate(fresh):
            short = [*fresh[:k], replace(one, packs=one.packs - 1), *fresh[k + 1 :]]
            assert broken(rule(Stock, ORDERED, replace(question, stock=(*lots, *short))), menu)
            ordered += 1
        for x in found.lines:
            total = sum(
                n for (_, i, load, _), n in opened(menu).items() if (i, load) == (x.item.id, x.load.number)
            )
            assert x.menu + x.condiments + x.reserve == total
            assert x.need == max(0, x.wanted - x.stock)
    assert ordered > 100


def test_without_stock_everything_is_ordered():
    question = problem((item("stew"),), days=1, dates=3, meals=MEALS)
    (line,) = sheet(question, tally(question, "ana 1 lunch main stew 1")).lines
    assert (line.stock, line.released, line.need, line.not_counted) == (0, 0, 3, ())
    # no lot of this item is listed, and the config lets it be ordered
    other = replace(question, stock=(lot("stew", 5, load="l9"),))
    (line,) = sheet(other, tally(other, "ana 1 lunch main stew 1")).lines
    assert (line.stock, line.need) == (0, 3)
