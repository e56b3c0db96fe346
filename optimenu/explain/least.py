"""From limits that cannot hold together to so few that none can be left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence

    from optimenu.solve.subsets import Answer

    Ask = Callable[[Collection[int]], Answer]


def least_by_proof(
    ask: Ask, fixed: Collection[int], candidates: Collection[int], unwanted: Mapping[int, int] | None = None
) -> list[int] | None:
    """Leave out limits while the rest is still proved impossible.

    A proof names the limits it leans on, so each one may take many away at once. What leans least is
    tried first, half of it together, then less, in the end one by one.

    Parameters
    ----------
    unwanted : mapping of int to int, optional
        Limits to leave out before all others, the higher the number the sooner.

    Returns
    -------
    list of int, or None
        What the proof leans on most first; None where the whole is not proved impossible.
    """
    answer = ask({*fixed, *candidates})
    if not answer.impossible:
        return None
    rank = unwanted or {}
    left = set(candidates) & set(answer.weight)
    needed: set[int] = set()
    weight = answer.weight
    size = len(left)
    while todo := sorted(left - needed, key=lambda k: (-rank.get(k, 0), weight.get(k, 0.0), k)):
        size = max(1, min(size, len(todo) // 2))
        trial = ask({*fixed, *left} - set(todo[:size]))
        if trial.impossible:
            left &= set(trial.weight)
            weight, size = trial.weight, len(left)
        elif size == 1:
            needed.add(todo[0])
        else:
            size //= 2
    return sorted(left, key=lambda k: (-weight.get(k, 0.0), k))


def least_by_trial(
    impossible: Callable[[Collection[int]], bool], fixed: Collection[int], candidates: Sequence[int]
) -> list[int]:
    """Divide and conquer over limits known to be impossible together, when an answer names no limits.

    Junker, "QuickXplain: preferred explanations and relaxations for over-constrained problems", AAAI
    2004. What stands first among the candidates is left out last.
    """

    def split(known: set[int], new: Collection[int], rest: Sequence[int]) -> list[int]:
        if new and impossible(known):
            return []
        if len(rest) == 1:
            return list(rest)
        half = len(rest) // 2
        first, second = rest[:half], rest[half:]
        late = split(known | set(first), first, second)
        early = split(known | set(late), late, first)
        return early + late

    start = set(fixed)
    if not candidates or impossible(start):
        return []
    return split(start, (), candidates)
