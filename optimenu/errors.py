"""Errors and exit codes.

::

    OptimenuError            1  internal fault (should not happen)
    +-- InputFaults          2  faults in the input, all of them at once
    +-- ProvedImpossible     3  no menu can exist; names the rules that conflict
    +-- Undecided            4  no menu found, none proved impossible
    +-- AuditFailed          5  a menu or a claim does not hold
    +-- Interrupted        130  stopped by the user
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


@dataclass(frozen=True, order=True)
class Fault:
    """One fault in the input: where it is, what is wrong, what to do.

    Parameters
    ----------
    file : str
        Path as the user would write it.
    line : int
        Line, from 1; 0 when the fault belongs to the file as a whole.
    message : str
        Place, expected, found and remedy in one sentence or two.
    """

    file: str
    line: int
    message: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        return f"{place}  {self.message}"


class OptimenuError(Exception):
    """Base of our own errors.

    Attributes
    ----------
    details : dict
        What JSON output tells beside the message.
    told_as_json : bool
        True when what was found has been written as JSON already.
    """

    exit_code = 1
    told_as_json = False

    def __init__(self, *words: object) -> None:
        super().__init__(*words)
        self.details: dict[str, object] = {}


class InputFaults(OptimenuError):
    """The input has faults; holds every one found in one pass."""

    exit_code = 2

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(sorted(set(faults)))
        super().__init__("\n".join(map(str, self.faults)))


class ProvedImpossible(OptimenuError):
    """No menu can hold all limits; the message names the limits that conflict."""

    exit_code = 3


class Undecided(OptimenuError):
    """The search ended without a menu and without a proof that none exists."""

    exit_code = 4


class AuditFailed(OptimenuError):
    """A menu breaks a limit, or a claimed bound is not proved."""

    exit_code = 5


class Interrupted(OptimenuError):
    """Stopped by the user before a menu was found."""

    exit_code = 130


def nearest(name: str, known: Sequence[str], cutoff: float = 0.6) -> str:
    """Return ' Did you mean "x"?' for the closest known name, or an empty string."""
    close = get_close_matches(name, list(known), n=1, cutoff=cutoff)
    return f' Did you mean "{close[0]}"?' if close else ""
