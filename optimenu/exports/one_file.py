"""Writes one file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from optimenu.errors import Fault, InputFaults
from optimenu.files import shown_path


def write_file(path: Path, contents: bytes) -> None:
    """Write a file by way of another name beside it, so that it is whole at any moment.

    Raises
    ------
    InputFaults
        When it cannot be written.
    """
    try:
        handle, name = tempfile.mkstemp(prefix=f".passing-{os.getpid()}-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as out:
                out.write(contents)
                out.flush()
                os.fsync(out.fileno())
            Path(name).chmod(0o644)
            Path(name).replace(path)
        finally:
            Path(name).unlink(missing_ok=True)
    except OSError as error:
        text = f"cannot be written: {error.strerror or error}"
        raise InputFaults([Fault(shown_path(path), 0, text)]) from error
