"""Reading stock: dates derived from shelf lives, and every fault by example."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from optimenu.catalogue.item import Catalogue, Item
from optimenu.catalogue.stock import add_months, read_stock
from optimenu.errors import InputFaults


def item(name, **more):
    one = Decimal(1)
    return Item(name, name, ("main",), ("lunch",), "canned", one, 1, one, one, one, one, "none", **more)


CATALOGUE = Catalogue(
    (
        item("stew", use_by_months=Decimal("18.5"), best_before_months=Decimal(12)),
        item("tea"),
    ),
    frozenset(),
    "list.csv",
)
HEADER = "item,load,lot,production_date,use_by,best_before,packs,state\n"


def read(tmp_path, rows):
    path = tmp_path / "stock.csv"
    path.write_text(HEADER + rows)
    return read_stock(path, CATALOGUE)


@pytest.mark.parametrize(
    ("start", "months", "end"),
    [
        (date(2031, 1, 31), "1", date(2031, 2, 28)),
        (date(2031, 1, 31), "13", date(2032, 2, 29)),
        (date(2031, 12, 15), "1", date(2032, 1, 15)),
        # Half a month is 15.21875 days, rounded down.
        (date(2031, 1, 10), "18.5", date(2032, 7, 25)),
        (date(2031, 1, 10), "0.03", date(2031, 1, 10)),
        (date(2031, 1, 10), "0.04", date(2031, 1, 11)),
    ],
)
def test_months_on(start, months, end):
    assert add_months(start, Decimal(months)) == end


def test_empty_dates_come_from_the_shelf_life(tmp_path):
    stew, tea = read(
        tmp_path, "stew,first,A 1,2031-01-10,,,40,released\ntea,second,B,2031-02-01,,2031-08-01,5,held\n"
    )
    assert (stew.use_by, stew.best_before) == (date(2032, 7, 25), date(2032, 1, 10))
    assert (stew.item, stew.load, stew.lot, stew.packs, stew.state) == (
        "stew",
        "first",
        "A 1",
        40,
        "released",
    )
    assert (tea.use_by, tea.best_before, tea.line) == (None, date(2031, 8, 1), 3)


def test_a_stated_date_wins_and_quality_ends_no_later(tmp_path):
    (stew,) = read(tmp_path, "stew,first,A,2031-01-10,2031-06-01,,40,released\n")
    assert stew.use_by == stew.best_before == date(2031, 6, 1)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "stw,first,A,2031-01-10,,,40,released",
            'item: no item "stw" in list.csv. Did you mean "stew"?',
        ),
        (
            "tea,first,A,2031-01-10,2030-01-10,,40,released",
            "use_by: 2030-01-10 lies before production_date, 2031-01-10; correct one of them",
        ),
        (
            "tea,first,A,2031-01-10,,2030-01-10,40,released",
            "best_before: 2030-01-10 lies before production_date, 2031-01-10; correct one of them",
        ),
        (
            "tea,first,A,2031-01-10,2031-02-10,2031-03-10,40,released",
            "best_before: 2031-03-10 lies after use_by, 2031-02-10; quality ends before safety",
        ),
        ("tea,first,A,2031-01-10,,,4.5,released", "packs: needs a whole number, found 4.5"),
        (
            "tea,first,A,2031-01-10,,,-1,released",
            "packs: needs a number in packs, 0 to 1000000, found -1",
        ),
        ("tea,first,A,2031-01-10,,,4,relesed", 'state: no word "relesed". Did you mean "released"?'),
        ("tea,first,A,,,,4,held", "production_date: is empty; give a date such as 2031-05-09"),
    ],
)
def test_a_faulty_row(tmp_path, row, message):
    with pytest.raises(InputFaults) as caught:
        read(tmp_path, row + "\n")
    assert [(f.line, f.message) for f in caught.value.faults] == [(2, message)]


def test_a_lot_stands_once_in_each_state(tmp_path):
    part = "tea,first,A,2031-01-10,,,4,"
    assert len(read(tmp_path, f"{part}held\n{part}released\n")) == 2
    with pytest.raises(InputFaults, match='lot "A", state "held" stands on line 2 already; keep one'):
        read(tmp_path, f"{part}held\n{part}held\n")
