"""What a worker does with a case: plans it, audits it, and answers in a few figures."""

from __future__ import annotations

import os
import socket
import time
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Literal

from optimenu.config.case import load_case
from optimenu.errors import AuditFailed, InputFaults, OptimenuError, ProvedImpossible, Undecided
from optimenu.exports.record import run_files, versions
from optimenu.files import clean, shown_path
from optimenu.planning import Options, plan
from optimenu.solve.liking import NothingLiked, PersonImpossible
from optimenu.studies.bundle import root_of
from optimenu.studies.figures import Figure, missing, of_case, of_plan

if TYPE_CHECKING:
    from pathlib import Path

    from optimenu.config.case import Case
    from optimenu.errors import Fault
    from optimenu.planning import Planned

End = Literal["menu", "impossible", "undecided", "faults", "failed"]
"""How a case ended: with an audited menu; proved impossible; without a menu or a proof; with faults in its
settings or files; or by a fault of ours, its worker's death included."""
LASTING: tuple[End, ...] = ("menu", "impossible", "undecided", "faults")
"""Ends that the same inputs give again; the others are tried again when the study is run again."""
MOST_WORDS = 2000


@dataclass(frozen=True)
class Task:
    """A case on its way to a worker; needs nothing but itself.

    Attributes
    ----------
    key : str
        SHA-256 of all that decides the answer.
    packed : bytes
        The inputs, see `bundle`.
    digest : str
        SHA-256 of `packed`.
    config : str
        The case's own config, path inside the inputs; it is not among them.
    text : bytes
        What that config says.
    wants_run : bool
        Whether the files of the run are wanted back.
    versions : tuple
        Versions the key was made with.
    """

    key: str
    packed: bytes = field(repr=False)
    digest: str
    config: str
    text: bytes = field(repr=False)
    wants_run: bool = False
    versions: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Answer:
    """What came of a case.

    Attributes
    ----------
    reason : str
        Why there is no menu; empty when there is one.
    figures : dict
        See `figures.KINDS`; those that are not known are left out.
    seconds : float
        Wall-clock time the worker took.
    where : str
        Machine and process.
    run : dict or None
        Files of the run folder.
    """

    key: str
    end: End
    reason: str = ""
    figures: dict[str, Figure] = field(default_factory=dict)
    seconds: float = 0.0
    where: str = ""
    run: dict[str, bytes] | None = field(default=None, repr=False)


class OtherVersionsError(OptimenuError):
    """A worker has other versions than the program that asks: the same bytes would not be sure."""

    exit_code = 2


def work(task: Task) -> Answer:
    """Plan a case on one thread.

    Raises
    ------
    OtherVersionsError
        Faults of the case itself are answers.
    """
    differ = sorted(set(task.versions) ^ set(versions()))
    if task.versions and differ:
        words = ", ".join(f"{name} {number}" for name, number in differ)
        msg = f"the worker on {socket.gethostname()} has other versions: {words}; install the same there"
        raise OtherVersionsError(msg)
    began = time.monotonic()
    root = root_of(task.digest, task.packed)
    answer = _answer(task, root)
    where = f"{socket.gethostname()}:{os.getpid()}"
    return Answer(
        task.key,
        answer.end,
        _tidy(answer.reason, root),
        answer.figures,
        time.monotonic() - began,
        where,
        answer.run,
    )


def planned(root: Path, config: str, text: bytes) -> tuple[Planned, Options]:
    """Plan a case whose inputs lie in a folder, with the moves and seed that its config states.

    Raises
    ------
    OptimenuError
        As `load_case` and `plan`.
    """
    case = load_case(root / PurePosixPath(config), root, text)
    return plan(case, options := options_of(case)), options


def options_of(case: Case) -> Options:
    """Return how a case is solved: by moves, never by the clock, so that its answer is the same again."""
    search = case.settings.search
    return Options(moves=search.moves, seed=search.seed, threads=1)


def _answer(task: Task, root: Path) -> Answer:
    figures: dict[str, Figure] = {}
    try:
        case = load_case(root / PurePosixPath(task.config), root, task.text)
        figures = of_case(case)
        options = options_of(case)
        found = plan(case, options)
    except InputFaults as error:
        own = shown_path(root / PurePosixPath(task.config))
        return Answer(task.key, "faults", "; ".join(_told(f, own) for f in error.faults), figures)
    except NothingLiked as error:
        return Answer(task.key, "faults", str(error), figures)
    except PersonImpossible as error:
        return Answer(task.key, "impossible", f"{error}: {missing(case, error.shortfalls)}", figures)
    except ProvedImpossible as error:
        return Answer(task.key, "impossible", str(error), figures)
    except Undecided as error:
        return Answer(task.key, "undecided", str(error), figures)
    except AuditFailed as error:
        return Answer(task.key, "failed", f"audit failed: {error}", figures)
    except Exception as error:
        return Answer(task.key, "failed", f"internal fault: {type(error).__name__}: {error}", figures)
    outcome = found.outcome
    if outcome.end == "impossible":
        return Answer(task.key, "impossible", missing(case, outcome.shortfalls), figures)
    if outcome.end != "menu":
        nearly = missing(case, outcome.shortfalls)
        text = "no menu found, and none proved impossible; try more moves, or loosen a limit"
        return Answer(task.key, "undecided", f"{text}; {nearly}" if nearly else text, figures)
    files = run_files(found, options, {}) if task.wants_run else None
    return Answer(task.key, "menu", "", of_plan(found), run=files)


def _told(fault: Fault, own: str) -> str:
    """Return a fault in words; the case's own config is no file that anybody could open."""
    place = "set by the study:" if fault.file == own else f"{fault.file}:{fault.line}"
    return f"{place} {fault.message}"


def _tidy(reason: str, root: Path) -> str:
    """Return a reason that does not say where this worker keeps its inputs."""
    for prefix in (str(root), shown_path(root)):
        reason = reason.replace(f"{prefix}/", "")
    return clean(reason)[:MOST_WORDS]
