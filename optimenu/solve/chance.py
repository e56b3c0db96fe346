"""Random numbers inside compiled loops: one 64-bit state each, the same on every machine.

Source: xorshift64* after S. Vigna, "An experimental exploration of Marsaglia's xorshift generators,
scrambled", ACM Trans. Math. Softw. 42 (2016), and splitmix64 for the seeds (both from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

_MASK = (1 << 64) - 1


def seeded(*parts: int) -> NDArray[np.uint64]:
    """Return the state (1,) that belongs to some whole numbers; never 0."""
    z = 0
    for part in parts:
        z = (z + (part & _MASK) + 0x9E3779B97F4A7C15) & _MASK
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & _MASK
        z ^= z >> 31
    return np.asarray([z or 1], dtype=np.uint64)


@compiled
def next_bits(state: NDArray[np.uint64]) -> np.uint64:
    """Return 64 random bits."""
    z = state[0]
    z ^= z >> np.uint64(12)
    z ^= z << np.uint64(25)
    z ^= z >> np.uint64(27)
    state[0] = z
    mixed: np.uint64 = z * np.uint64(2685821657736338717)
    return mixed


@compiled
def below(state: NDArray[np.uint64], count: int) -> int:
    """Return a whole number from 0 to count - 1; count below 2**32."""
    return np.int64(((next_bits(state) >> np.uint64(32)) * np.uint64(count)) >> np.uint64(32))  # type: ignore[return-value]


@compiled
def unit(state: NDArray[np.uint64]) -> float:
    """Return a number strictly between 0 and 1."""
    return (np.float64(next_bits(state) >> np.uint64(11)) + 0.5) * 1.1102230246251565e-16
