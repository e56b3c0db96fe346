"""What ends a solve before its time: the user, or a limit of wall-clock seconds."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable

Cut = Literal["stopped", "seconds"]


class Stop(Protocol):
    """What a solve looks at now and then; an event of ``threading`` is one too."""

    def is_set(self) -> bool:
        """Tell whether to end soon."""


class Halt:
    """A stop signal that says why: set by the user, or by the clock.

    Parameters
    ----------
    deadline : float, optional
        Time of ``clock`` at which it sets itself, in seconds.
    clock : callable
        Seconds that never run backward.
    """

    def __init__(self, deadline: float | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self.deadline = deadline
        self.by_user = False
        self._clock = clock

    def keep_back(self, seconds: float) -> None:
        """Set itself that much earlier, for what must still be done afterwards."""
        if self.deadline is not None:
            self.deadline -= seconds

    def set(self) -> None:
        """Stop on the user's behalf."""
        self.by_user = True

    @property
    def late(self) -> bool:
        """True when the time is up."""
        return self.deadline is not None and self._clock() >= self.deadline

    def is_set(self) -> bool:
        """Tell whether to end soon, for either reason."""
        return self.by_user or self.late


def why(stop: Stop) -> Cut:
    """Return why a signal that is set was set: the user's word goes before the clock's."""
    return "seconds" if not getattr(stop, "by_user", True) else "stopped"
