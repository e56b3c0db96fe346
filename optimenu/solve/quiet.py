"""Silence for libraries that print before they can be told not to."""

from __future__ import annotations

import os
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def quiet_descriptor() -> Iterator[None]:
    """Send file descriptor 1 nowhere for a moment.

    HiGHS prints its banner there when its first object is made, before it can be told to be silent.
    """
    sys.stdout.flush()
    keep = os.dup(1)
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.close(nowhere)
        yield
    finally:
        os.dup2(keep, 1)
        os.close(keep)
