"""What one solver made of one instance, and when it knew how much."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass
class Answer:
    """A run.

    Attributes
    ----------
    end : str
        ``closed``, ``menu``, ``impossible``, ``nothing``; or why there is no answer.
    seconds : float
        From the Program in hand to the answer.
    value : float or None
        Value of the menu in units of the goal, from the exact value; None without one that keeps every row.
    bound, root : float or None
        The solver's own bound at the end and at the end of its root node, units of the goal.
    events : list of (seconds, value or None, bound or None)
        What it told on the way.
    """

    who: str
    end: str = "nothing"
    seconds: float = 0.0
    value: float | None = None
    bound: float | None = None
    root: float | None = None
    events: list[tuple[float, float | None, float | None]] = field(default_factory=list)
    peak_mb: float = 0.0
    note: str = ""

    def first(self) -> float | None:
        """Seconds to the first menu, None when there was none."""
        return self.when(None, 0)

    def when(self, proved: float | None, gap: float) -> float | None:
        """Seconds until a value within ``gap`` of a proved bound; any value where that is None."""
        for at, value, _ in self.events:
            if value is not None and (proved is None or value >= proved - gap * abs(proved)):
                return at
        return None

    def to_json(self) -> dict[str, Any]:
        """As a JSON object."""
        return asdict(self)


def relative(value: float | None, bound: float | None) -> float | None:
    """(bound - value) / abs(bound), None when one is unknown."""
    if value is None or bound is None or bound == 0:
        return None
    return (bound - value) / abs(bound)
