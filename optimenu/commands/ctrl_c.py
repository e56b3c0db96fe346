"""What Ctrl-C does, from our first line to the last.

Python would raise it in the main thread between any two steps: within the loading of a library, within a file
half written, within the closing of the process. Here it only ends the process while there is nothing to lose,
or is noted and looked at where that is safe. So it never leaves a traceback or half of anything.

It is loaded before anything else, so it loads as little as can be itself.
"""

from __future__ import annotations

import os
import signal
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from types import FrameType

    from optimenu.solve.halt import Halt

EXIT_CODE = 130
"""As shells tell it: 128 and the number of the signal. The error `Interrupted` has the same."""
ENDED = "interrupted: nothing more was done"
NOTHING = "stopped before a menu was found: there is none yet; nothing was written"


def end(text: str) -> None:
    """Say so and end the process at once, without waiting for threads that are at work in a solver."""
    os.write(2, f"{text}\n".encode())
    if "--json" in sys.argv[1:]:
        data = f'{{"error": "Interrupted", "exit_code": {EXIT_CODE}, "message": "{text}", "faults": []}}\n'
        os.write(1, data.encode())
    os._exit(EXIT_CODE)


def _at_once(_number: int, _frame: FrameType | None) -> None:
    end(ENDED)


def heeded() -> bool:
    """Tell whether Ctrl-C is ours to take: who starts a process may have it ignored, or take it."""
    return signal.getsignal(signal.SIGINT) not in (signal.SIG_IGN, None)


def from_the_start() -> None:
    """Let Ctrl-C end the process with one line."""
    if heeded():
        signal.signal(signal.SIGINT, _at_once)


def no_more() -> None:
    """Let Ctrl-C be: all is done and said, and the process ends by itself."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


class Asked:
    """How often the user has asked a plan to stop; a context for all that a plan does.

    Until `note` is called nothing is under way yet, and the process ends at once.

    Parameters
    ----------
    halt : Halt
        Set at the first Ctrl-C that is noted.
    """

    def __init__(self, halt: Halt) -> None:
        self.times = 0
        self._halt = halt
        self._noting = False
        self._heeded = heeded()

    def __enter__(self) -> Asked:
        if self._heeded:
            try:
                self._before = signal.signal(signal.SIGINT, self._heard)
            except ValueError:
                # not in the main thread, which alone hears it
                self._heeded = False
        return self

    def __exit__(self, *_: object) -> None:
        if self._heeded:
            signal.signal(signal.SIGINT, self._before)

    def note(self) -> None:
        """From here on only note it."""
        self._noting = True

    def _heard(self, number: int, frame: FrameType | None) -> None:
        if self._noting:
            self.times += 1
            self._halt.set()
        elif self._before is _at_once:
            end(NOTHING)
        elif callable(self._before):
            # a caller that has its own ways
            self._before(number, frame)
