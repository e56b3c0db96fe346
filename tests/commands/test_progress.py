"""What the live line says of a solve."""

from __future__ import annotations

import pytest

from optimenu.commands.progress import Watch, figures
from optimenu.solve.outcome import Progress


def test_part_value_bound_and_gap_are_told_as_far_as_they_are_known() -> None:
    assert figures(Progress("merge")) == []
    assert figures(Progress("search", 0.25, None, 1.0)) == ["25%", "bound 1.0000"]
    # (0.8 - 0.78) / 0.8 = 2.5 %
    said = figures(Progress("search", 0.5, 0.78, 0.8, 4_000_000))
    assert said == ["50%", "value 0.7800", "bound 0.8000", "gap 2.50%"]


def test_elsewhere_than_on_a_terminal_a_phase_is_told_once(capsys: pytest.CaptureFixture[str]) -> None:
    with Watch() as watch:
        watch.phase("compile", Progress("compile"))
        watch.phase("search", Progress("search", 0.1, 0.5, 0.8, 1000))
        watch.phase("search", Progress("search", 0.2, 0.6, 0.8, 2000))
    assert capsys.readouterr().err.splitlines() == [
        "compiling the search (once on this machine) ...",
        "looking for a menu ...",
    ]
    assert set(watch.times) == {"compile", "search"}


def test_the_live_line_has_moves_a_second_and_the_time() -> None:
    watch = Watch()
    watch.phase("search", Progress("search", 0.0, None, 0.8, 1_000_000))
    now = watch._since + 2.0
    text = watch._figures(Progress("search", 0.5, 0.78, 0.8, 5_000_000), now)
    # 4 million moves in two seconds
    assert "2.0 million moves/s" in text
    assert text.endswith(" s")
