"""Charts of a study: what a person-day takes and how it is liked, against the axis of its lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.exports.chart import Chart
from optimenu.exports.chart import Line as Drawn
from optimenu.studies.grid import DAYS
from optimenu.studies.scaling import lines, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.studies.folder import Row
    from optimenu.studies.scaling import Line

DRAWN = {
    "liking": ("Mean liking", "liking, %", 100),
    "least_liking": ("Liking of who likes it least", "least liking, %", 100),
    "mass_kg_person_day": ("Gross mass", "kg a person-day", 1),
    "volume_l_person_day": ("Stowed volume", "L a person-day", 1),
    "water_l_person_day": ("Water", "L a person-day", 1),
    "variety": ("Variety", "different items eaten", 1),
    "items_offered": ("Choice", "items somebody may be given", 1),
}
"""Title, label and factor of each figure that is drawn."""
FEWEST = 2


def charts(name: str, rows: Sequence[Row]) -> dict[str, Chart]:
    """Return the charts of a study by figure; none where no line has two menus on an axis of numbers."""
    found = {}
    for figure, (title, label, factor) in DRAWN.items():
        drawn = [d for line in lines(rows) if (d := _line(line, figure, factor)) is not None]
        if drawn:
            axis = lines(rows)[0].axis
            words = "dates of the stay" if axis == DAYS else axis
            found[figure] = Chart(f"{title}: {name}", words, label, tuple(drawn))
    return found


def _line(line: Line, figure: str, factor: int) -> Drawn | None:
    points = []
    for row in line.menus:
        x, y = _x(line, row), number(row, figure)
        if x is not None and y is not None:
            points.append((x, factor * y))
    if len(points) < FEWEST:
        return None
    name = ", ".join(f"{n} {v or '-'}" for n, v in line.fixed.items()) or "all cases"
    return Drawn(name, tuple(x for x, _ in points), tuple(y for _, y in points))


def _x(line: Line, row: Row) -> float | None:
    if line.axis == DAYS:
        return number(row, "dates")
    try:
        return float(row.case.labels.get(line.axis, ""))
    except ValueError:
        return None
