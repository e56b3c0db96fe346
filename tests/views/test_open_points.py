"""Open points on the screen: who must act, in words, cut unless all are asked for."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console, Group

from optimenu.config.case import Case, load_case
from optimenu.config.open_points import OpenPoint
from optimenu.views.open_points import open_page
from tests.views.pair import write_pair


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Case:
    return load_case(write_pair(tmp_path_factory.mktemp("pair")))


def lines(case: Case, *points: OpenPoint, every: bool = False, width: int = 200) -> list[str]:
    console = Console(width=width, color_system=None, highlight=False)
    with console.capture() as captured:
        console.print(Group(*open_page(case, points, every=every)))
    return [line.rstrip() for line in captured.get().splitlines()]


def lot(k: int, **more: Any) -> dict[str, Any]:
    return {"item": "cocoa", "name": "Cocoa [hot]", "load": "first", "lot": f"L{k}", "packs": k, **more}


def item(k: int) -> dict[str, Any]:
    return {"item": f"i{k}", "name": f"Dish {k}", "liked_by": ["a", "b"]}


WORDS: list[tuple[OpenPoint, list[str]]] = [
    (
        OpenPoint("loss_unknown", "the maker", "", [{"column": "VITC_mg", "items": 3, "of": 8}]),
        [
            "the maker: 1 nutrient of which no loss in storage is stated for this many of the items on offer "
            "that hold it, so old packs of these count for nothing in a floor: Vitamin C 3 of 8"
        ],
    ),
    (
        OpenPoint("no_prescription", "the physician", "", [{"person": "bo"}]),
        ["the physician: nothing is laid down, allergies neither, for 1 person: Bo [bold]"],
    ),
    (
        OpenPoint("no_prescription", "the physician", "", [{"person": "bo"}, {"person": "juno"}]),
        ["the physician: nothing is laid down, allergies neither, for 2 people: Bo [bold]; Juno"],
    ),
    (
        OpenPoint("allergen_unknown", "the maker", "tree_nuts", [item(1), item(2)]),
        [
            "the maker: tree nuts, which somebody must avoid, is not stated for 2 items that could be used: "
            "Dish 1; Dish 2"
        ],
    ),
    (
        OpenPoint("not_tasted", "a tasting by Juno", "juno", [item(1)]),
        ["a tasting by Juno: 1 dish that at least two others like and Juno has not tasted: Dish 1"],
    ),
    (
        OpenPoint("not_tasted", "a tasting by Juno", "juno", [item(k) for k in range(7)]),
        [
            "a tasting by Juno: 7 dishes that at least two others like and Juno has not tasted: "
            "Dish 0; Dish 1; Dish 2; Dish 3; Dish 4; and 2 more"
        ],
    ),
    (
        OpenPoint("lots", "quality", "held", [lot(1)]),
        ["quality: 1 lot on hold, not counted:", "Cocoa [hot], lot L1: 1 pack"],
    ),
    (
        OpenPoint("lots", "the supplier", "ordered", [lot(2), lot(3)]),
        [
            "the supplier: 2 lots ordered and not yet released, not counted:",
            "Cocoa [hot], lot L2: 2 packs",
            "Cocoa [hot], lot L3: 3 packs",
        ],
    ),
    (
        OpenPoint("lots", "the planner", "rejected", [lot(2)]),
        ["the planner: 1 lot rejected, not counted:", "Cocoa [hot], lot L2: 2 packs"],
    ),
    (
        OpenPoint("use_by", "the planner", "", [lot(2, use_by=date(2031, 3, 3))]),
        [
            "the planner: 1 released lot whose use-by date passes before the last date:",
            "Cocoa [hot], lot L2: 2 packs, use by 3 Mar 2031",
        ],
    ),
    (
        OpenPoint("best_before", "quality", "", [lot(2, best_before=date(2031, 3, 3))]),
        [
            "quality: 1 released lot whose best-before date passes before the last date:",
            "Cocoa [hot], lot L2: 2 packs, best before 3 Mar 2031",
        ],
    ),
    (
        OpenPoint("not_assessed", "the maker", "", [{"column": "FE_mg"}, {"column": "ID_ug"}]),
        ["the maker: 2 nutrients not assessed, because the catalogue does not state them: Iron; Iodine"],
    ),
    (
        OpenPoint("left_out", "the dietitian", "", [{"column": "FE_mg"}]),
        ["the dietitian: 1 nutrient not assessed, because the config does not ask for them: Iron"],
    ),
    (
        OpenPoint("not_proved", "the maker", "", [{"column": "FE_mg", "items": 3, "of": 40}]),
        [
            "the maker: 1 nutrient with a limit not proved; of 40 items on offer these many state neither an "
            "amount nor an upper estimate: Iron 3"
        ],
    ),
    (
        OpenPoint(
            "changed",
            "the planner",
            "planner",
            [
                {"key": "stowage.volume_l", "old": "500", "new": "300", "file": "a.toml", "line": 3},
                {"key": "stowage.gross_kg", "old": None, "new": "30", "file": "a.toml", "line": 4},
            ],
        ),
        [
            "the planner: 2 settings changed in files that extend others:",
            "stowage.volume_l: 500 -> 300, a.toml:3",
            "stowage.gross_kg: not stated -> 30, a.toml:4",
        ],
    ),
]


@pytest.mark.parametrize(("point", "words"), WORDS, ids=lambda x: getattr(x, "kind", ""))
def test_a_point_in_words(case: Case, point: OpenPoint, words: list[str]) -> None:
    head = ["", "Open points: who must act, and on what"]
    found = [line.strip() for line in lines(case, point)]
    assert found[: 2 + len(words)] == head + words


def test_nothing_open_is_no_heading(case: Case) -> None:
    assert open_page(case, []) == []


def test_a_course_without_items_is_told_of_with_a_sign_and_never_cut(case: Case) -> None:
    fact = {"person": "juno", "meal": "cold_meal", "course": "bread", "reserve": False, "days": []}
    facts = [fact | {"days": ["day 2", "day 4"]}, fact | {"reserve": True, "person": "bo"}, *[fact] * 9]
    found = lines(case, OpenPoint("no_item", "the dietitian", "", facts))
    assert found[2:5] == [
        "  ▼ no item is left for Juno's cold meal bread on day 2, day 4",
        "  ▼ no item is left for Bo [bold]'s cold meal (reserve) bread",
        "  ▼ no item is left for Juno's cold meal bread",
    ]
    assert found[13:] == ["  the dietitian: no menu can be made while a course has no item left"]


def test_long_lists_are_cut_unless_all_are_asked_for(case: Case) -> None:
    point = OpenPoint("lots", "quality", "held", [lot(k) for k in range(1, 9)])
    found = lines(case, point)
    assert found[-2:] == ["    and 3 more", "All entries: --all"]
    assert len(found) == 3 + 5 + 2
    every = lines(case, point, every=True)
    assert len(every) == 3 + 8 and "more" not in " ".join(every)


@pytest.mark.parametrize("width", [60, 80, 140])
def test_it_fits(case: Case, width: int) -> None:
    found = lines(case, *(point for point, _ in WORDS), width=width)
    assert max(map(len, found)) <= width and "…" not in "".join(found)


def test_the_pairs_own_points(case: Case, tmp_path: Path) -> None:
    from optimenu.config.open_points import open_points

    text = " ".join(" ".join(lines(case, *open_points(case))).split())
    assert "the physician: nothing is laid down, allergies neither, for 1 person: Bo [bold]" in text
    assert "quality: 1 lot on hold, not counted: Cocoa, lot L3: 5 packs" in text
