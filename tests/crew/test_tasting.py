"""Reading tasting scores: typed rows, and every fault by example."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from optimenu.catalogue.item import Catalogue, Item
from optimenu.crew.tasting import Score, read_tasting
from optimenu.errors import InputFaults

ONE = Decimal(1)
STEW = Item("stew", "Stew", ("main",), ("lunch",), "canned", ONE, 1, ONE, ONE, ONE, ONE, "none")
CATALOGUE = Catalogue((STEW,), frozenset(), "list.csv")


def read(tmp_path, rows):
    path = tmp_path / "tasting.csv"
    path.write_text("person,item,kind,date,score,remark\n" + rows)
    return read_tasting(path, CATALOGUE, ("ada", "bo"))


def test_scores_are_read_as_written(tmp_path):
    assert read(
        tmp_path, 'ada,stew,sample,2031-01-10,7.5,"salty, but good"\nbo,stew,serving,2031-01-11,1,\n'
    ) == (
        Score("ada", "stew", "sample", date(2031, 1, 10), Decimal("7.5"), "salty, but good", 2),
        Score("bo", "stew", "serving", date(2031, 1, 11), Decimal(1), "", 3),
    )


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("adda,stew,sample,2031-01-10,7,", 'person: no person "adda" in the crew. Did you mean "ada"?'),
        ("cy,stew,sample,2031-01-10,7,", 'person: no person "cy" in the crew. Known: ada, bo.'),
        ("ada,stw,sample,2031-01-10,7,", 'item: no item "stw" in list.csv. Did you mean "stew"?'),
        ("ada,stew,sample,2031-01-10,9.5,", "score: needs a number in points, 1 to 9, found 9.5"),
        ("ada,stew,sampel,2031-01-10,7,", 'kind: no word "sampel". Did you mean "sample"?'),
        ("ada,stew,sample,2031-01-10,,", "score: is empty; give points"),
    ],
)
def test_a_faulty_row(tmp_path, row, message):
    with pytest.raises(InputFaults) as caught:
        read(tmp_path, row + "\n")
    assert [(f.line, f.message) for f in caught.value.faults] == [(2, message)]


def test_one_score_a_tasting(tmp_path):
    row = "ada,stew,sample,2031-01-10,7,\n"
    with pytest.raises(InputFaults, match="stands on line 2 already; keep one"):
        read(tmp_path, row + row)
