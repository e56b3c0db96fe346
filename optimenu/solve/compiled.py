"""One place that says how the inner loops are compiled."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar, cast

import numba

if TYPE_CHECKING:
    from collections.abc import Callable

F = TypeVar("F", bound="Callable[..., object]")


def compiled(function: F) -> F:
    """Compile a loop over arrays: no Python lock, kept on disk where a folder can be written.

    Inside such loops no infinity and no not-a-number may occur: the additions may be reordered.
    """
    try:
        return cast("F", numba.njit(cache=True, nogil=True, fastmath=True)(function))
    except RuntimeError:
        # no folder beside the source or of the user's can be written: compile anew in every process
        return cast("F", numba.njit(cache=False, nogil=True, fastmath=True)(function))
