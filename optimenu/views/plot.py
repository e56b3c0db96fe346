"""A chart in plain characters, read without colour."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.exports.chart import span

if TYPE_CHECKING:
    from optimenu.exports.chart import Chart, Line

MARKS = "ox+*#@"
BOUND, NOTE, BETWEEN = "-", "K", "."
LEAST_WIDTH = 30


def plot(chart: Chart, width: int, height: int = 14) -> list[str]:
    """Draw a chart as lines of text.

    Parameters
    ----------
    width, height : int
        Characters, axes and numbers included; lines of the drawing without the axis below.

    Returns
    -------
    list of str
        No line is longer than ``width``, where that is 30 or more. Empty for a chart without points.
    """
    points = [(x, y) for line in chart.lines for x, y in zip(line.x, line.y, strict=True)]
    if not points:
        return []
    low_x, high_x = span([x for x, _ in points])
    low_y, high_y = span([y for _, y in points])
    ticks = {row: low_y + (high_y - low_y) * (height - 1 - row) / (height - 1) for row in range(0, height, 4)}
    ticks[height - 1] = low_y
    words = _numbers(list(ticks.values()))
    margin = max(map(len, words)) + 1
    across = max(width, LEAST_WIDTH) - margin - 1
    grid = [[" "] * across for _ in range(height)]

    def place(x: float, y: float) -> tuple[int, int]:
        column = round((x - low_x) / (high_x - low_x) * (across - 1))
        return height - 1 - round((y - low_y) / (high_y - low_y) * (height - 1)), column

    # what matters most is drawn last
    for line in chart.lines:
        if line.kind != "bound":
            _join(grid, [place(x, y) for x, y in zip(line.x, line.y, strict=True)])
    for line in sorted(chart.lines, key=lambda each: each.kind != "bound"):
        mark = _mark(chart, line)
        for x, y in zip(line.x, line.y, strict=True):
            row, column = place(x, y)
            if line.kind == "points":
                grid[row][column] = mark
            elif line.kind == "bound":
                for c in range(max(0, column - 1), min(across, column + 2)):
                    grid[row][c] = mark
    for note in chart.notes:
        row, column = place(note.x, note.y)
        grid[row][column] = NOTE
    label = dict(zip(ticks, words, strict=True))
    out = [chart.y_label]
    out += [
        f"{label.get(row, ''):>{margin - 1}} |{''.join(cells).rstrip()}" for row, cells in enumerate(grid)
    ]
    out.append(" " * margin + "+" + "-" * across)
    out.append(_below(low_x, high_x, margin, across))
    out.append(chart.x_label.rjust(margin + 1 + across))
    return [line[:width] if width >= LEAST_WIDTH else line for line in out]


def legend(chart: Chart) -> str:
    """Say what each mark stands for."""
    words = [f"{_mark(chart, line)} {line.name}" for line in chart.lines if line.kind != "line"]
    words += [f"{NOTE} {note.text}" for note in chart.notes]
    return ";  ".join(words)


def _mark(chart: Chart, line: Line) -> str:
    if line.kind == "bound":
        return BOUND
    kept = [each for each in chart.lines if each.kind != "bound"]
    return MARKS[kept.index(line) % len(MARKS)]


def _join(grid: list[list[str]], places: list[tuple[int, int]]) -> None:
    """Dot the way from each place to the next."""
    for (row, column), (row_to, column_to) in zip(places, places[1:], strict=False):
        steps = max(abs(row_to - row), abs(column_to - column))
        for k in range(1, steps):
            r = row + round((row_to - row) * k / steps)
            c = column + round((column_to - column) * k / steps)
            grid[r][c] = BETWEEN


def _below(low: float, high: float, margin: int, across: int) -> str:
    """Numbers under the axis: its ends and its middle."""
    first, middle, last = _numbers([low, (low + high) / 2, high])
    text = first.ljust(across)
    at = across // 2 - len(middle) // 2
    text = text[:at] + middle + text[at + len(middle) :]
    text = text[: across - len(last)] + last
    return " " * (margin + 1) + text


def _numbers(values: list[float]) -> list[str]:
    """Write numbers alike, with as many decimals as tell them apart."""
    for places in range(7):
        words = [f"{v:.{places}f}" for v in values]
        if len(set(words)) == len(set(values)):
            break
    return words
