"""A config that draws on a part of its catalogue."""

from __future__ import annotations

import pytest

from optimenu.config.case import load_case
from optimenu.config.sift import CatalogueTable, sift
from tests.config.test_case import CONFIG, ITEMS, PRESCRIPTIONS, changed, line_of, told, write

HEAD = ITEMS.splitlines()[0]
COLD = "\n".join(
    [
        HEAD + ",may_freeze,tags,main_ingredient",
        "stew,Stew,main,lunch,canned,300,1,300,330,400,0,none,free,500,600,no,,beef",
        "rice,Rice,main,lunch;dinner,dried,90,1,90,99,150,200,hot,free,450,5,yes,starch;bland,rice",
        "curd,Curd,main,lunch,dried,50,1,50,55,90,100,chilled,contains,200,5,unknown,sour,milk",
        "bar,Bar,main,dinner,baked,50,1,50,55,90,0,none,unknown,200,5,yes,crumbs,",
    ]
)
HERE = 'file = "items.csv"\n'


def kept(tmp_path, lines, **files):
    config = changed(HERE, HERE + lines)
    return [i.id for i in load_case(write(tmp_path, config, items_csv=COLD, **files)).problem.catalogue.items]


@pytest.mark.parametrize(
    ("lines", "ids"),
    [
        ('only = { may_freeze = ["yes"] }', ["rice", "bar"]),
        ('only = { may_freeze = ["yes"], form = ["dried", "canned"] }', ["rice"]),
        # a list column has one of the words; an empty cell has none
        ('only = { meals = ["dinner"] }', ["rice", "bar"]),
        ('only = { main_ingredient = ["rice", "milk"] }', ["rice", "curd"]),
        # what may hold milk, or is not known to be free of it, is not kept
        ('only = { allergen_milk = ["free"] }', ["stew", "rice"]),
        ('leave_out = { items = ["stew"], tags = ["sour", "crumbs"] }', ["rice"]),
        ("", ["stew", "rice", "curd", "bar"]),
    ],
)
def test_only_what_has_the_words_is_kept(tmp_path, lines, ids):
    assert kept(tmp_path, lines + "\n") == ids


def test_the_other_tables_may_name_what_is_left_out(tmp_path):
    script = PRESCRIPTIONS.replace("[people.ana.limits", 'never_items = ["stew"]\n[people.ana.limits')
    config = changed(HERE, HERE + 'only = { may_freeze = ["yes"] }\n')
    case = load_case(write(tmp_path, config, items_csv=COLD, prescriptions_toml=script))
    assert [row.item for row in case.problem.stock] == ["rice"]
    assert case.problem.catalogue.left_out == {"stew", "curd"}
    assert case.problem.people[0].prescription.never_items == {"stew"}


def test_a_rule_that_names_an_item_left_out_is_told_so(tmp_path):
    lines = HERE + 'leave_out = { items = ["stew"] }\n'
    config = changed(HERE, lines) + '[avoid.people.ana]\nitems = ["stew"]\n'
    at = line_of(config, 'items = ["stew"]')
    assert told(write(tmp_path, config, items_csv=COLD)) == [
        f'plan.toml:{at} [avoid.people.ana] items: item "stew" is left out by [catalogue]; take it out here, '
        "or bring it back there"
    ]


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (
            'only = { may_freze = ["yes"] }',
            '[catalogue.only] may_freze: no catalogue column "may_freze". Did you mean "may_freeze"?',
        ),
        (
            'only = { serving_g = ["90"] }',
            "[catalogue.only] serving_g: column serving_g does not hold words, so no item can be chosen by "
            "it",
        ),
        (
            'only = { unheated = ["good"] }',
            "[catalogue.only] unheated: the catalogue has no column unheated: unknown for every item, so "
            "none is kept",
        ),
        (
            'only = { may_freeze = ["unknown"] }',
            '[catalogue.only] may_freeze: "unknown" is no reason to keep an item; name the words that are '
            "safe",
        ),
        (
            'only = { form = ["driede"] }',
            '[catalogue.only] form: no word "driede" in column form. Did you mean "dried"?',
        ),
        (
            'only = { main_ingredient = ["rise"] }',
            '[catalogue.only] main_ingredient: no word "rise" in column main_ingredient. '
            'Did you mean "rice"?',
        ),
        (
            'leave_out = { items = ["stwe"] }',
            '[catalogue.leave_out] items: no item "stwe" in the catalogue. Did you mean "stew"?',
        ),
        (
            'leave_out = { tags = ["sower"] }',
            '[catalogue.leave_out] tags: no tag "sower" in the catalogue. Did you mean "sour"?',
        ),
        (
            'only = { form = ["frozen"] }',
            "[catalogue] only: nothing of 4 items is kept; name more words, or leave fewer out",
        ),
        (
            'leave_out = { items = ["stew", "rice", "curd", "bar"] }',
            "[catalogue] leave_out: nothing of 4 items is kept; name more words, or leave fewer out",
        ),
    ],
)
def test_a_filter_with_a_slip_is_refused(tmp_path, lines, message):
    config = changed(HERE, HERE + lines + "\n")
    at = line_of(config, lines.split()[0])
    assert told(write(tmp_path, config, items_csv=COLD)) == [f"plan.toml:{at} {message}"]


def test_an_empty_list_of_words_is_refused(tmp_path):
    config = changed(HERE, HERE + "only = { form = [] }\n")
    (fault,) = told(write(tmp_path, config, items_csv=COLD))
    assert "form" in fault


def test_without_a_filter_the_catalogue_is_untouched(tmp_path):
    whole = load_case(write(tmp_path, CONFIG)).problem.catalogue
    assert sift(whole, CatalogueTable(file="items.csv")) == (whole, ())


def test_what_is_safe_to_carry_is_the_dietitians_to_widen(tmp_path):
    config = changed(HERE, HERE + 'only = { may_freeze = ["yes"] }\n')
    write(tmp_path, config, items_csv=COLD)
    other = tmp_path / "other.toml"
    other.write_text('extends = "plan.toml"\n[catalogue.only]\nmay_freeze = ["yes", "no"]\n')
    (fault,) = told(other)
    assert fault.startswith("other.toml:3 [catalogue.only] may_freeze: only the dietitian may change this")
    other.write_text('role = "dietitian"\n' + other.read_text())
    ids = [i.id for i in load_case(other).problem.catalogue.items]
    assert ids == ["stew", "rice", "bar"]
