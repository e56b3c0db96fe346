"""Progress of a long command on stderr, and a stop that keeps what was found."""

from __future__ import annotations

import threading
import time
from concurrent.futures import Future, wait
from typing import TYPE_CHECKING, TypeVar

from optimenu.commands.ctrl_c import NOTHING
from optimenu.errors import Interrupted
from optimenu.planning import Options, Planned, plan

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import TracebackType

    from optimenu.commands.ctrl_c import Asked
    from optimenu.config.case import Case
    from optimenu.solve.halt import Halt
    from optimenu.solve.outcome import Progress

T = TypeVar("T")
WORDS = {
    "rows": "writing the limits as rows",
    "liking": "finding the best each person could have",
    "merge": "merging days that are alike",
    "bound": "proving what no menu can beat",
    "compile": "compiling the search (once on this machine)",
    "compile_anew": "compiling the search (every time: no folder to keep it in can be written)",
    "search": "looking for a menu",
    "polish": "settling what is shared",
    "others": "raising the mean, the least liking kept",
    "exact": "choosing days exactly",
    "audit": "auditing the menu from the tables",
    "write": "writing the run",
}

SEARCHING = ("search", "others", "polish", "exact", "audit")
"""Phases in which there may be a menu."""
LOOK = 0.1
"""Seconds between two looks at whether the user asks for an end."""


class Watch:
    """Times each phase and tells it: one live line on a terminal, one line a phase elsewhere."""

    def __init__(self) -> None:
        from optimenu.views.console import error_console

        self.times: dict[str, float] = {}
        self._console = error_console()
        self._status = self._console.status("starting") if self._console.is_terminal else None
        self._phase = ""
        self._about = ""
        self._moves = 0
        self._began = self._since = time.perf_counter()
        self._lock = threading.Lock()

    def __enter__(self) -> Watch:
        if self._status is not None:
            self._status.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._close()
        if self._status is not None:
            self._status.stop()

    def _close(self) -> None:
        now = time.perf_counter()
        if self._phase:
            self.times[self._phase] = self.times.get(self._phase, 0.0) + now - self._since
        self._since = now

    def about(self, words: str) -> None:
        """Say which of several tasks the phases that follow belong to."""
        with self._lock:
            self._about = f"{words}: "
            if self._status is None:
                self._console.print(words, highlight=False)

    def phase(self, name: str, message: Progress | None = None) -> None:
        """Tell a phase, and how far it is."""
        with self._lock:
            words = WORDS.get(name, name)
            if name != self._phase:
                self._close()
                self._phase = name
                self._moves = (message and message.moves) or 0
                if self._status is None and not self._about:
                    self._console.print(f"{words} ...", highlight=False)
            if self._status is not None:
                self._status.update(self._about + words + self._figures(message, time.perf_counter()))

    def _figures(self, message: Progress | None, now: float) -> str:
        """Return what a message says in figures, and how long the phase and all of it have taken."""
        parts = [] if message is None else figures(message)
        if message is not None and message.moves is not None and now > self._since:
            parts.append(f"{(message.moves - self._moves) / (now - self._since) / 1e6:.1f} million moves/s")
        parts.append(f"{now - self._began:.0f} s")
        return f"  {', '.join(parts)}"


def figures(message: Progress) -> list[str]:
    """Return how far a solve is: part done, value, bound and gap, as far as they are known."""
    parts = []
    if message.fraction is not None:
        parts.append(f"{message.fraction:.0%}")
    if message.value is not None:
        parts.append(f"value {message.value:.4f}")
    if message.bound is not None:
        parts.append(f"bound {message.bound:.4f}")
        if message.value is not None and message.bound > 0:
            parts.append(f"gap {(message.bound - message.value) / message.bound:.2%}")
    return parts


def interruptible(case: Case, options: Options, watch: Watch, halt: Halt, asked: Asked) -> Planned:
    """Plan in a worker thread; Ctrl-C asks it to stop with the best menu so far.

    Raises
    ------
    Interrupted
        On a Ctrl-C before the search has begun, when there is no menu to keep, or on a second one: at once.
    """
    searching = threading.Event()

    def phase(name: str, message: Progress | None = None) -> None:
        if name in SEARCHING:
            searching.set()
        watch.phase(name, message)

    return in_a_thread(lambda: plan(case, options, phase, halt), watch, asked, searching.is_set)


def in_a_thread(
    work: Callable[[], T],
    watch: Watch,
    asked: Asked,
    kept: Callable[[], bool],
    what: str = "the best menu so far",
) -> T:
    """Work in another thread and look for Ctrl-C, which has set the halt that the work looks at.

    Parameters
    ----------
    kept : callable
        Tells whether there is anything to keep yet.
    what : str
        What is kept, in words.

    Raises
    ------
    Interrupted
        On a Ctrl-C while there is nothing to keep, or on a second one: at once.
    """
    told = False

    def look() -> None:
        nonlocal told
        if asked.times > 1 or (asked.times and not kept()):
            raise Interrupted(NOTHING)
        if asked.times and not told:
            told = True
            watch.phase(f"stopping; {what} is kept (Ctrl-C again: at once)")

    return meanwhile(work, look)


def meanwhile(work: Callable[[], T], look: Callable[[], None]) -> T:
    """Do some work in another thread, and look at something again and again until it is done.

    Parameters
    ----------
    look : callable
        What it raises ends the wait; the work is left alone then.
    """
    done: Future[T] = Future()

    def run() -> None:
        try:
            done.set_result(work())
        except BaseException as error:
            done.set_exception(error)

    # a daemon, so that who ends the wait need not wait for it
    threading.Thread(target=run, daemon=True).start()
    while not wait([done], LOOK).done:
        look()
    return done.result()
