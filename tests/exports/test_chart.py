"""Charts as SVG: the same bytes every time, marks that differ in shape."""

from __future__ import annotations

import re
import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest

from optimenu.exports.chart import Chart, Line, Note, svg_bytes

CHART = Chart(
    "A & B <against> volume",
    "stowed volume, L",
    "mean liking, %",
    (
        Line("menus", (366.5, 440.0, 618.0), (78.2, 96.1, 99.4), ("1", "2", "3")),
        Line("others", (370.0, 400.0), (70.0, 80.0)),
        Line("no menu lies above", (366.5, 440.0), (79.0, 97.0), kind="bound"),
    ),
    (Note(440.0, 96.1, "knee: point 2"),),
    "Each point is an audited menu.",
)


def test_the_same_chart_gives_the_same_bytes():
    first = svg_bytes(CHART)
    assert svg_bytes(CHART) == first
    program = "from tests.exports.test_chart import *; import sys; sys.stdout.buffer.write(svg_bytes(CHART))"
    again = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)
    assert again.stdout == first
    assert b"<dc:date>" not in first


def test_it_is_svg_with_letters_as_outlines_and_marks_of_several_shapes():
    text = svg_bytes(CHART).decode()
    root = ET.fromstring(text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "<text" not in text
    assert "A &amp; B &lt;against&gt; volume" in text
    # every line of the chart draws its marks by reference to a path of its own
    shapes = {re.sub(r"\s+", " ", d) for d in re.findall(r'<defs>\s*<path id="m\w+" d="([^"]+)"', text)}
    assert len(shapes) >= 4


def test_a_users_own_style_changes_nothing(tmp_path, monkeypatch: pytest.MonkeyPatch):
    import matplotlib

    first = svg_bytes(CHART)
    with matplotlib.rc_context({"lines.linewidth": 9, "svg.fonttype": "none", "font.size": 30}):
        assert svg_bytes(CHART) == first
        # and is as it was afterwards
        assert matplotlib.rcParams["lines.linewidth"] == 9
