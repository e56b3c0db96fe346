"""All that is told of a menu: what binds, what it is worth, what soft limits cost, what is missing."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from optimenu.explain.prices import group_of
from optimenu.explain.why_not import served, uses_of, why_not
from optimenu.explain.worth import binding, moved, soft_costs, stride, tried
from optimenu.menu.menu import to_counts
from optimenu.program.page import GOAL_DECIMALS
from optimenu.solve.solve import solve

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.explain.exchange import Exchange
    from optimenu.explain.prices import Prices
    from optimenu.explain.why_not import WhyNot
    from optimenu.explain.worth import Limit, SoftCost, Trial

TRIED, EACH = 8, 3
"""Limits tried by a second solve (a tenth of a second each), and items told for each person."""
REPLANNED = 3
"""Limits of which is also tried what the menu gains; each is a search."""


@dataclass(frozen=True)
class Replan:
    """A search from the menu with one limit looser, beside the same search with none.

    Attributes
    ----------
    gain : Decimal or None
        Value found, less that of the menu, mean liking; None when no menu was found.
    anyway : Decimal or None
        The same with no limit changed.
    """

    step: Decimal
    gain: Decimal | None
    anyway: Decimal | None


@dataclass(frozen=True)
class Told:
    """What is told of a case and its menu.

    Attributes
    ----------
    value : Decimal or None
        Of the menu; None when only the relaxation is spoken of.
    bound : Decimal
        Proved from the multipliers told here, which are those without cuts.
    limits : tuple of Limit
        Those that bind, the dearest first; the shape of the meals is left out.
    trials : tuple of Trial or None
        Of the first of them; None where a setting says more than its rows.
    replans : tuple of Replan
        Of the first of them.
    shapes : int, shape_share
        How many limits are the shape of the meals.
    soft : tuple of SoftCost
        Of the menu, else of the relaxation.
    items : tuple of WhyNot
    barred : mapping of person to int
        Items liked as well as those told, that prescriptions or other rules refuse whatever they score.
    exchanges : tuple of Exchange
        What more liking of one person costs the others, where that was asked.
    """

    value: Decimal | None
    bound: Decimal
    limits: tuple[Limit, ...]
    trials: tuple[Trial | None, ...]
    replans: tuple[Replan, ...]
    shapes: int
    soft: tuple[SoftCost, ...]
    items: tuple[WhyNot, ...]
    barred: dict[str, int]
    exchanges: tuple[Exchange, ...] = ()


def tell(
    prices: Prices,
    value: Decimal | None,
    *,
    people: Sequence[int] | None = None,
    item: str | None = None,
    replan: tuple[int, int, int] | None = None,
) -> Told:
    """Tell of all limits and the best-liked items that are missing, or of one item.

    Parameters
    ----------
    value : Decimal or None
        Of the menu spoken of.
    people : sequence of int, optional
        People meant; everybody when left out.
    item : str, optional
        Id of the one item to tell of; limits are then left out.
    replan : (moves, seed, threads), optional
        Search again from the menu with the dearest limits looser.
    """
    everybody = range(len(prices.case.problem.people))
    asked = list(everybody if people is None else people)
    bound = Decimal(prices.bound).scaleb(-GOAL_DECIMALS)
    if item is not None:
        told = tuple(why_not(prices, p, item) for p in asked)
        return Told(value, bound, (), (), (), 0, (), told, {})
    every = binding(prices.program, prices.relaxation, prices.readings)
    ids = {prices.case.problem.people[p].id for p in asked}
    limits = tuple(
        k for k in every if not k.shape and (people is None or k.origin.person in ids or not k.origin.person)
    )
    trials = tuple(
        tried(prices.again, prices.bound, k, stride(k)) if k.alone else None for k in limits[:TRIED]
    )
    replans = () if replan is None else _replanned(prices, [k for k in limits[:REPLANNED] if k.alone], replan)
    barred: dict[str, int] = defaultdict(int)
    items = tuple(w for p in asked for w in _missing(prices, p, barred))
    x = prices.relaxation.x
    if prices.menu is not None:
        counts, _ = to_counts(prices.case.problem, prices.program, prices.menu)
        x = prices.program.complete(counts).astype(float)
    return Told(
        value,
        bound,
        limits,
        trials,
        replans,
        sum(k.shape for k in every),
        soft_costs(prices.program, x, prices.readings),
        items,
        dict(barred),
    )


def _missing(prices: Prices, person: int, barred: dict[str, int]) -> list[WhyNot]:
    """Best-liked items that are not on a person's menu (or in the relaxation, without one)."""
    problem = prices.case.problem
    who = problem.people[person].id
    liked = [
        (problem.acceptance[who, i.id].value, k, i.id)
        for k, i in enumerate(problem.catalogue.items)
        if (who, i.id) in problem.acceptance
    ]
    found: list[WhyNot] = []
    for score, number, item in sorted(liked, key=lambda one: (-one[0], one[2])):
        if len(found) >= EACH or score < problem.people[person].floor:
            break
        group = group_of(prices.program, person, number)
        on_menu = bool(uses_of(prices, person, item))
        if prices.menu is None and group is not None:
            on_menu = served(prices, prices.relaxation, group) >= 0.5
        if on_menu:
            continue
        why = why_not(prices, person, item, briefly=True)
        if why.status == "refused":
            barred[who] += 1
        elif why.status in ("dear", "used", "not scored"):
            found.append(why)
    return found


def _replanned(prices: Prices, limits: Sequence[Limit], replan: tuple[int, int, int]) -> tuple[Replan, ...]:
    """Search from the menu with each limit looser, and once with none."""
    if prices.menu is None:
        return ()
    moves, seed, threads = replan
    start, _ = to_counts(prices.case.problem, prices.program, prices.menu)
    before = prices.program.value(prices.program.complete(start))

    def gain(program: Any) -> Decimal | None:
        found = solve(program, moves=moves, seed=seed, threads=threads, start=start)
        return None if found.value is None else Decimal(found.value - before).scaleb(-GOAL_DECIMALS)

    anyway = gain(prices.program)
    return tuple(Replan(stride(k), gain(moved(prices.program, k, stride(k))), anyway) for k in limits)
