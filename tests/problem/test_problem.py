"""Worth, deductions and amounts, worked out by hand."""

from __future__ import annotations

from decimal import Decimal

from optimenu.problem.calendar import Course
from tests.rules.hand import item, person, problem

D = Decimal
STEW = item("stew", WATER_g="60.5", water_ml=D(200), FE_mg="unknown")


def test_worth():
    # acceptance 6.87, floor 5, course weight 1.2, day 1 on 4 of 7 dates:
    # 1.87 x 1.2 x 4 / 7 = 8.976 / 7 = 1.28228571... -> 1.282286
    question = problem((STEW,), days=2, dates=7, liked={("ana", "stew"): "6.87"})
    course = Course("main", 1, 1, D("1.2"))
    assert question.worth(0, STEW, course, question.days[0]) == D("1.282286")
    # day 2 on 3 dates: 6.732 / 7 = 0.961714285... -> 0.961714
    assert question.worth(0, STEW, course, question.days[1]) == D("0.961714")


def test_what_is_worth_nothing():
    question = problem((STEW,), days=1, reserve=1)
    course = Course("main", 1, 1, D(1))
    assert question.worth(0, STEW, course, question.days[1]) == 0
    assert question.worth(0, STEW, Course("side", 0, 1, D(0)), question.days[0]) == 0
    untasted = problem((STEW,), days=1, liked={("ana", "stew"): None})
    assert untasted.worth(0, STEW, course, untasted.days[0]) == 0
    disliked = problem((STEW,), people=(person("ana", floor="8"),), days=1)
    assert disliked.worth(0, STEW, course, disliked.days[0]) == -1


def test_deductions():
    # (1 - 0.8^(k-1)) x 0.5: 0, 0.1, 0.18, 0.244, 0.2952
    question = problem((STEW,))
    assert question.deductions(D("0.5"), 5) == [D(0), D("0.1"), D("0.18"), D("0.244"), D("0.2952")]
    # rounded once, to the even sixth decimal: 0.2 x 0.0000125 = 0.0000025 -> 0.000002
    assert question.deductions(D("0.0000125"), 2) == [0, D("0.000002")]
    assert question.deductions(D(1), 0) == []
    assert problem((STEW,), repeat_share=D(1)).deductions(D(1), 3) == [0, 0, 0]
    # a share of nothing: the first use is whole, every further one loses the smallest worth
    assert problem((STEW,), repeat_share=D(0)).deductions(D(1), 3) == [0, 1, 1]


def test_amounts():
    question = problem((STEW,))
    # fluid: 60.5 g in the item and 200 mL added
    assert question.amount(STEW, "WATER_g") == D("260.5")
    assert question.amount(STEW, "ENERC_KCAL_kcal") == 500
    assert question.amount(STEW, "FE_mg") is None
    assert question.amount(STEW, "ZN_mg") is None
    dry = item("dry", WATER_g="unknown", water_ml=D(200))
    assert question.amount(dry, "WATER_g") is None
