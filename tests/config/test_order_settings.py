"""Table [order]: nothing beyond the menu unless asked for, and what it refuses."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.config.case import load_case
from optimenu.config.main_settings import OrderTable
from optimenu.errors import InputFaults
from tests.commands.small import CONFIG, write_project


def test_without_it_nothing_beyond_menu_and_reserve_is_ordered(tmp_path):
    found = load_case(write_project(tmp_path)).settings.order
    assert found == OrderTable()
    assert (found.tasting_packs, found.quality_packs, found.spare_percent) == (0, 0, 0)
    assert (found.loading_days, found.packing_days, found.fewer_than) == (7, 14, 3)
    assert (found.lead_days.made, found.lead_days.bought) == (120, 30)


def test_one_lead_time_may_be_set_alone(tmp_path):
    config = CONFIG + "[order]\nspare_percent = 2.5\nlead_days = { bought = 0 }\n"
    found = load_case(write_project(tmp_path, config)).settings.order
    assert found.spare_percent == Decimal("2.5")
    assert (found.lead_days.made, found.lead_days.bought) == (120, 0)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("tasting_packs = -1", "[order] tasting_packs: needs a whole number in packs, 0 to 100000, found -1"),
        (
            "quality_packs = 1.5",
            "[order] quality_packs: needs a whole number in packs, 0 to 100000, found 1.5",
        ),
        ("spare_percent = 120", "[order] spare_percent: needs a number in %, 0 to 100, found 120"),
        ("loading_days = 9999", "[order] loading_days: needs a whole number in days, 0 to 3650, found 9999"),
        ("packing_dys = 3", '[order] no setting "packing_dys". Did you mean "packing_days"?'),
        (
            "lead_days = { mad = 3 }",
            '[order.lead_days] no setting "mad". Did you mean "made"?',
        ),
        (
            "fewer_than = true",
            "[order] fewer_than: needs a whole number in servings, 0 to 100000, found true",
        ),
    ],
)
def test_faults_of_the_order_table(tmp_path, line, message):
    with pytest.raises(InputFaults) as caught:
        load_case(write_project(tmp_path, CONFIG + f"[order]\n{line}\n"))
    assert [f.message for f in caught.value.faults] == [message]
