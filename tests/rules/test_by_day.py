from __future__ import annotations

import numpy as np

from optimenu.rules.by_day import ByDay


def test_columns_and_room_of_sets_of_days():
    # two parties: days come twice; day 2 has no column
    days = np.asarray([0, 1, 1, 3, 4, 0, 3])
    high = np.asarray([1, 1, 2, 1, 1, 3, 1])
    found = ByDay(np.arange(10, 17), days, high, 6)
    assert found.room.tolist() == [4, 3, 0, 2, 1, 0]
    assert found.on([0]).tolist() == [10, 15]
    assert found.on([1, 3]).tolist() == [11, 12, 13, 16]
    assert found.on([0, 3, 4]).tolist() == [10, 15, 13, 16, 14]
    assert found.on([0, 1, 4]).tolist() == [10, 15, 11, 12, 14]
