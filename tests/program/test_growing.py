from __future__ import annotations

import numpy as np

from optimenu.program.growing import Growing


def test_what_is_added_is_given_in_order():
    a = Growing(np.int64)
    want: list[int] = []
    for n in (0, 3, 70_000, 1, 200_000):
        a.add(np.arange(n), n)
        a.add(7, 2)
        want += [*range(n), 7, 7]
    assert a.give().dtype == np.int64
    assert a.give().tolist() == want


def test_what_was_given_stays_as_it_was():
    a = Growing(np.int32)
    a.add(np.asarray([1, 2, 3]), 3)
    first = a.give()
    assert a.give() is first
    a.add(4, 1)
    second = a.give()
    a.add(5, 100_000)
    assert (first.tolist(), second.tolist()) == ([1, 2, 3], [1, 2, 3, 4])
    assert len(a.give()) == 100_004
