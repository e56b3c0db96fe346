"""Start of the program: the command ``optimenu``, and ``python -m optimenu``.

Sees to Ctrl-C before it loads the rest, which takes a moment.
"""

from __future__ import annotations

import os
import sys

from optimenu.commands import ctrl_c


def main() -> None:
    """Run the command line."""
    ctrl_c.from_the_start()
    from optimenu.commands.app import main as run

    try:
        run()
    except SystemExit as ended:
        ctrl_c.no_more()
        _flush()
        if ended.code == ctrl_c.EXIT_CODE:
            # a solver may still be at work in a thread of its own
            os._exit(ctrl_c.EXIT_CODE)
        raise


def _flush() -> None:
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            # its reader has gone, or it is closed
            continue


if __name__ == "__main__":
    main()
