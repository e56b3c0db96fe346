"""Words and figures of single measures of nutrients."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from rich.text import Text

from optimenu.rules.base import plain
from optimenu.views.console import STYLES, cell

if TYPE_CHECKING:
    from optimenu.problem.problem import Problem
    from optimenu.rules.base import Measure

WINDOWS = {
    "meal": "each meal",
    "day": "each day",
    "three_days": "daily mean of any 3 dates in a row",
    "seven_days": "daily mean of any 7 dates in a row",
    "stay": "daily mean of the stay",
}
BASIS = {"RDA": "RDA", "AI": "AI (goal)", "UL": "UL", "CDRR": "CDRR"}
_FINEST = 6


def measure_name(m: Measure) -> str:
    """What a measure is of: its label without person and dates."""
    return m.label.split(": ", 1)[-1]


def figure(value: Decimal, limit: Decimal | None = None) -> str:
    """Write an amount with three figures or so, more where it would look equal to a limit it misses."""
    size = abs(value)
    places = 0 if size >= 100 else 1 if size >= 10 else 2
    while limit is not None and value != limit and places < _FINEST:
        if round(value, places) != round(limit, places):
            break
        places += 1
    return plain(value, places)


def value_words(m: Measure) -> str:
    """Value of a measure that is read in other words than its row's."""
    assert m.shown is not None
    return figure(m.shown.value, m.shown.low if m.low is not None else m.shown.high)


def limit_words(m: Measure | None) -> Text:
    """Limit with what it rests on, and over which dates where that is not the usual one."""
    if m is None or m.shown is None:
        return Text()
    low = m.shown.low is not None
    value = m.shown.low if m.shown.low is not None else m.shown.high
    words = [plain(value or Decimal(0))]
    if ".reference." in m.origin.key:
        words.append(BASIS.get(m.origin.key.rsplit(".", 1)[1], ""))
    else:
        if m.origin.key.startswith("prescriptions."):
            words.append("Rx")
        when = _when(m)
        if when in ("day", "meal"):
            words[0] += f"/{when}"
        elif when != ("" if low else "7 d"):
            words.append(f"over {when or 'the stay'}")
    text = cell(" ".join(w for w in words if w))
    soft = m.soft is not None and BASIS["AI"] not in words
    return text.append(" ~", STYLES["soft"]) if soft else text


def _when(m: Measure) -> str:
    if m.origin.meal:
        return "meal"
    if m.origin.day >= 0:
        return "day"
    return f"{len(m.origin.run)} d" if m.origin.run else ""


def room(m: Measure) -> Decimal:
    """How far inside its limit a measure is, as a part of the limit; less than 0 outside."""
    ends = [(m.least - m.low, m.low)] if m.low is not None else []
    ends += [(m.high - m.most, m.high)] if m.high is not None else []
    return min(inside / abs(limit) if limit else inside for inside, limit in ends)


def dates_words(problem: Problem, m: Measure) -> str:
    """Plan days a measure sums over, in few words: ``the stay``, ``day 3``, ``days 1 to 6, 16``."""
    if m.origin.day >= 0:
        return problem.days[m.origin.day].label
    if not m.origin.run:
        return "the stay"
    runs: list[list[int]] = []
    for d in sorted(set(m.origin.run)):
        if runs and runs[-1][-1] == d - 1:
            runs[-1].append(d)
        else:
            runs.append([d])
    names = [problem.days[r[0]].label if len(r) == 1 else _from_to(problem, r) for r in runs]
    return "days " + ", ".join(n.removeprefix("day ") for n in names)


def _from_to(problem: Problem, run: list[int]) -> str:
    first, last = problem.days[run[0]].label, problem.days[run[-1]].label
    return f"{first}{',' if len(run) == 2 else ' to'} {last.removeprefix('day ')}"
