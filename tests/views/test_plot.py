"""Plots in plain characters."""

from __future__ import annotations

import pytest

from optimenu.exports.chart import Chart, Line, Note
from optimenu.views.plot import legend, plot

LINE = Line("menus", (0.0, 50.0, 100.0), (0.0, 90.0, 100.0))
BOUND = Line("no menu lies above", (0.0, 100.0), (30.0, 100.0), kind="bound")


def chart(*lines, notes=()):
    return Chart("title", "across, L", "up, %", lines, notes)


def test_every_mark_stands_where_its_numbers_say():
    # 5 rows for 0, 25, 50, 75, 100; margin of "100 " and the axis take 5 of 30 characters
    drawn = plot(chart(LINE), 30, 5)
    assert drawn[0] == "up, %"
    body = [line.split("|", 1)[1] for line in drawn[1:6]]
    across = 30 - 5
    assert body[4][0] == "o"
    assert body[0][across - 1] == "o"
    # 50 of 100 is in the middle, 90 nearest to the top row
    assert body[0][round(0.5 * (across - 1))] == "o"
    assert drawn[1].startswith("100 |")
    assert drawn[5].startswith("  0 |")
    assert drawn[6] == "    +" + "-" * across
    assert drawn[7].split() == ["0", "50", "100"]
    assert drawn[8].endswith("across, L")


def test_bounds_lie_under_points_and_the_knee_over_them():
    drawn = plot(chart(LINE, BOUND, notes=(Note(50.0, 90.0, "knee: point 2"),)), 40, 9)
    text = "\n".join(drawn[1:-3])
    assert text.count("K") == 1
    # the last point stands on its bound, which is drawn to either side of it
    assert text.count("o") == 2
    assert text.splitlines()[0].endswith("-o")
    assert "-" in text.splitlines()[6]
    assert legend(chart(LINE, BOUND, notes=(Note(50.0, 90.0, "knee: point 2"),))) == (
        "o menus;  - no menu lies above;  K knee: point 2"
    )


def test_lines_differ_in_their_marks():
    other = Line("others", (20.0,), (50.0,))
    text = "\n".join(plot(chart(LINE, other), 60)[1:-3])
    assert (text.count("o"), text.count("x")) == (3, 1)
    assert legend(chart(LINE, other)) == "o menus;  x others"


@pytest.mark.parametrize("width", [30, 80, 140])
def test_no_line_is_wider_than_asked_and_all_of_it_is_plain(width):
    drawn = plot(chart(LINE, BOUND), width)
    assert max(map(len, drawn)) <= width
    assert all(line.isascii() for line in drawn)


def test_a_single_point_and_none_at_all():
    assert plot(chart(), 80) == []
    drawn = plot(chart(Line("one", (3.0,), (4.0,))), 40)
    assert sum(line.count("o") for line in drawn[1:-1]) == 1
