"""Why a solve is to end: the user or the clock."""

from __future__ import annotations

import threading

from optimenu.solve.halt import Halt, why


def test_a_deadline_sets_itself_and_can_be_drawn_in() -> None:
    now = [0.0]
    halt = Halt(10.0, lambda: now[0])
    assert not halt.is_set()
    now[0] = 9.5
    assert not halt.is_set()
    halt.keep_back(1.0)
    assert halt.is_set() and halt.late and not halt.by_user
    assert why(halt) == "seconds"


def test_the_users_word_goes_before_the_clocks() -> None:
    halt = Halt(0.0, lambda: 1.0)
    halt.set()
    assert halt.is_set()
    assert why(halt) == "stopped"


def test_without_a_deadline_only_the_user_stops_it() -> None:
    halt = Halt()
    halt.keep_back(1e9)
    assert not halt.is_set() and not halt.late
    halt.set()
    assert halt.is_set()


def test_an_event_counts_as_the_users() -> None:
    event = threading.Event()
    event.set()
    assert why(event) == "stopped"
