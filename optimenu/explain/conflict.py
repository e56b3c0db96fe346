"""Which limits cannot hold together: the smallest set that shows it, each with its place in the config."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from decimal import Decimal
    from typing import Any

    import numpy as np
    from numpy.typing import NDArray

    from optimenu.config.case import Case
    from optimenu.problem.problem import Problem
    from optimenu.program.origin import Origin
    from optimenu.rules.base import Rule

Without = Literal["menu", "relaxation", "undecided"]
"""What is known of the other limits of a conflict, without this one: a menu keeps them all (checked in
whole numbers); their relaxation is possible; or neither was shown."""
Proof = Literal["exact", "solver", ""]
"""What "cannot hold together" rests on: whole-number arithmetic; HiGHS, with presolve and again without;
or nothing."""


@dataclass(frozen=True)
class Limit:
    """One promise that a person can find in the config and change.

    All hard rows of one config key, person and nutrient are one limit, whatever days, meals, items or
    stretches of dates they speak of. So is what a rule refuses by one entry: an allergy, a floor of
    acceptance, the lots of a load.

    Attributes
    ----------
    rule, key, person : str
        As in ``Origin``; person may be a party, or empty for the crew.
    what : str
        Nutrient, diet, allergen ... where one key speaks of several; else empty.
    who : str
        Who may loosen it: nobody, physician, dietitian, planner.
    where : str
        File and line of the key.
    label : str
        The promise in a dietitian's words, without numbers.
    low, high : Decimal or None
        Narrowest limits among its rows, as a person reads them; None where it has none or refuses only.
    unit : str
        Of both.
    rows : tuple of int
        Its rows in ``build(problem, rules)``.
    origins : tuple of Origin
        Of those rows, in their order.
    days : tuple of int
        Plan days that the proof leans on, rising; empty where it is not of single days.
    items : tuple of str
        Ids of the items whose rows or refusals the proof leans on; empty where it speaks of no items.
    refusals : int
        Pairings (party, day, meal, course, item) it refuses; 0 for a limit of rows alone.
    reason : str
        The rule's own words for the first of the refusals that matter; empty without.
    """

    rule: str
    key: str
    person: str
    what: str
    who: str
    where: str
    label: str
    low: Decimal | None = None
    high: Decimal | None = None
    unit: str = ""
    rows: tuple[int, ...] = ()
    origins: tuple[Origin, ...] = ()
    days: tuple[int, ...] = ()
    items: tuple[str, ...] = ()
    refusals: int = 0
    reason: str = ""


@dataclass(frozen=True)
class Member:
    """One limit of a conflict, and what becomes of the others without it."""

    limit: Limit
    without: Without


@dataclass(frozen=True, eq=False)
class Conflict:
    """Limits that cannot hold together.

    Attributes
    ----------
    status : str
        ``conflict``; ``none``: a menu keeps every limit, ``menu`` is it; ``undecided``.
    person : str
        Whose own limits they are; empty when the crew's take part.
    members : tuple of Member
        What the proof leans on most comes first.
    patterns : tuple of Limit
        Courses that nothing may fill, where that is the conflict. Patterns of courses and what packs
        hold are taken as given otherwise.
    proof : str
    hints : tuple of Limit
        When undecided: what the nearest try breaks.
    menu : int64 (n_menu,) or None
        Servings of ``build(problem, rules)`` that keep every limit.
    """

    status: Literal["conflict", "none", "undecided"]
    person: str = ""
    members: tuple[Member, ...] = ()
    patterns: tuple[Limit, ...] = ()
    proof: Proof = ""
    hints: tuple[Limit, ...] = ()
    menu: NDArray[np.int64] | None = None

    @property
    def irreducible(self) -> bool:
        """True when a menu was found without each of the limits: none can be left out of the set."""
        return all(m.without == "menu" for m in self.members)


def conflict_of(case: Case, near: NDArray[np.int64] | None = None) -> Conflict:
    """Return a conflict of a case; see ``conflict``."""
    return conflict(case.problem, case.rules, case.where, near)


def conflict(
    problem: Problem,
    rules: Sequence[Rule[Any]],
    where: Callable[[str], str],
    near: NDArray[np.int64] | None = None,
) -> Conflict:
    """Find limits that cannot hold together, none of which can be left out.

    Parameters
    ----------
    where : callable
        File and line of a dotted config key.
    near : int64 (n_menu,), optional
        The nearest try of a search in the columns of ``build(problem, rules)``, for hints.
    """
    raise NotImplementedError
