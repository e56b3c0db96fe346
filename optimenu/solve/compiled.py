"""One place that says how the inner loops are compiled."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import numba

if TYPE_CHECKING:
    from collections.abc import Callable

F = TypeVar("F", bound="Callable[..., object]")


def compiled(function: F) -> F:
    """Compile a loop over arrays: no Python lock, kept on disk where a folder can be written.

    Inside such loops no infinity and no not-a-number may occur: the additions may be reordered.
    """
    try:
        return cast("F", _forgiving(numba.njit(cache=True, nogil=True, fastmath=True)(function)))
    except RuntimeError:
        # no folder beside the source or of the user's can be written: compile anew in every process
        return cast("F", numba.njit(cache=False, nogil=True, fastmath=True)(function))


def _forgiving(loop: Any) -> Any:
    """Let a folder that fails later, such as one on a full disk, cost no more than the compiled code."""
    kept = getattr(loop, "_cache", None)
    for name in ("load_overload", "save_overload"):
        if hasattr(kept, name):
            setattr(kept, name, _tried(getattr(kept, name)))
    return loop


def _tried(call: Callable[..., object]) -> Callable[..., object]:
    def tried(*words: object) -> object:
        try:
            return call(*words)
        except OSError:
            return None

    return tried


def kept(loop: Any) -> bool:
    """Tell whether there is a folder that a loop, once compiled, is kept in."""
    return loop.stats.cache_path is not None


def ready(loop: Any) -> bool:
    """Tell whether a compiled loop can be called at once: compiled here, or kept since its source changed."""
    if loop.signatures:
        return True
    folder = loop.stats.cache_path
    if folder is None:
        return False
    code = loop.py_func.__code__
    source = Path(code.co_filename)
    tag = f"py{sys.version_info.major}{sys.version_info.minor}"
    kept = Path(folder).glob(f"{source.stem}.{loop.__name__}-{code.co_firstlineno}.{tag}*.nbi")
    return any(p.stat().st_mtime >= source.stat().st_mtime for p in kept)
