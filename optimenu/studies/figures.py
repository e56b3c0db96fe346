"""What a planned case comes to: the figures of its row, and why there is none."""

from __future__ import annotations

from collections import defaultdict
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

import numpy as np

from optimenu.explain.reading import Readings
from optimenu.explain.worth import binding
from optimenu.exports.run_folder import menu_rows, sha256, table_bytes
from optimenu.menu.menu import COLUMNS, Menu
from optimenu.menu.packs import opened, overwraps
from optimenu.menu.tally import Tally
from optimenu.planning import claimed
from optimenu.rules.base import plain, unit_word
from optimenu.rules.stowage import Stowage
from optimenu.rules.water import Water
from optimenu.solve.bound import Relaxation
from optimenu.stowage.losses import losses_of_all

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.config.case import Case
    from optimenu.menu.tally import Entry
    from optimenu.planning import Planned
    from optimenu.solve.elastic import Shortfall

Figure = str | int | Decimal | None
THOUSAND = 1000
KINDS: dict[str, type] = {
    "people": int,
    "dates": int,
    "items_offered": int,
    "lots": int,
    "lots_past_use_by": int,
    "lots_past_best_before": int,
    "mass_kg": Decimal,
    "volume_l": Decimal,
    "water_l": Decimal,
    "mass_kg_person_day": Decimal,
    "volume_l_person_day": Decimal,
    "water_l_person_day": Decimal,
    "liking": Decimal,
    "least_liking": Decimal,
    "least_liking_person": str,
    "items": int,
    "variety": Decimal,
    "losses_counted": str,
    "losses_bind": str,
    "soft_missed": int,
    "soft_price": Decimal,
    "value": Decimal,
    "bound": Decimal,
    "gap": Decimal,
    "binding": str,
    "binding_worth": Decimal,
    "binding_shared": str,
    "binding_shared_worth": Decimal,
    "menu_sha256": str,
}
"""Figures of a row, in order. Mass and volume are of all packs and overwraps, the reserve included; water of
the crew over the dates, plain water included; a person-day is one person on one date. Liking is the mean over
people; items counts different ones on the menu, variety the mean over people of different items eaten.
The binding limit is the one whose 1 % is worth most mean liking by the certificate's multipliers, the shared
one the same among those that are the crew's; the shape of meals is left out. Losses in storage bind where
a floor on a mean of the stay is kept by less than 2 %, or missed, and would not be at production."""
MOST_REASONS = 3
_BECAUSE = ("binds", "below")


def of_case(case: Case) -> dict[str, Figure]:
    """Figures that are known before a menu is."""
    problem = case.problem
    stock, last = problem.stock or (), problem.dates[-1]
    released = [row for row in stock if row.state == "released" and row.packs]
    spoiled = [row for row in released if row.use_by is not None and row.use_by < last]
    faded = [row for row in released if row.best_before is not None and row.best_before < last]
    return {
        "people": len(problem.people),
        "dates": len(problem.dates),
        "losses_counted": "no" if problem.storage is None else "yes",
        "lots": len(released),
        "lots_past_use_by": len(spoiled),
        "lots_past_best_before": len(faded),
    }


def of_plan(planned: Planned) -> dict[str, Figure]:
    """Figures of a menu and its audit.

    Raises
    ------
    ValueError
        When there is no menu.
    """
    menu, report, outcome = planned.menu, planned.report, planned.outcome
    if menu is None or report is None or outcome.value is None or outcome.bound is None:
        msg = "figures need a menu"
        raise ValueError(msg)
    case = planned.case
    problem = case.problem
    tally = Tally.of(problem, menu)
    days = len(problem.people) * len(problem.dates)
    mass, volume, water = _loads(case, tally)
    least = min(report.liked, key=lambda liked: (liked.liking, liked.person))
    liking = sum((liked.liking for liked in report.liked), Decimal(0)) / len(report.liked)
    eaten: dict[int, set[str]] = defaultdict(set)
    for p, entry in _eaten(tally):
        eaten[p].add(entry.item.id)
    gap = outcome.gap
    return {
        **of_case(case),
        "items_offered": len({int(i) for i in planned.program.item}),
        "mass_kg": rounded(mass, 3),
        "volume_l": rounded(volume, 3),
        "water_l": rounded(water, 3),
        "mass_kg_person_day": rounded(mass / days, 5),
        "volume_l_person_day": rounded(volume / days, 5),
        "water_l_person_day": rounded(water / days, 5),
        "liking": rounded(liking, 6),
        "least_liking": rounded(least.liking, 6),
        "least_liking_person": least.person,
        "items": len({line.item for line in menu.lines}),
        "variety": rounded(Decimal(sum(map(len, eaten.values()))) / len(problem.people), 2),
        "losses_bind": _lost(case, tally),
        "soft_missed": len(report.soft),
        "soft_price": rounded(report.price, 6),
        "value": claimed(outcome.value),
        "bound": claimed(outcome.bound),
        "gap": None if gap is None else rounded(Decimal(gap.numerator) / gap.denominator, 9),
        **_binding(planned, menu),
        "menu_sha256": sha256(table_bytes(COLUMNS, menu_rows(menu))),
    }


def _binding(planned: Planned, menu: Menu) -> dict[str, Figure]:
    """Limits worth most, by the multipliers that prove the bound."""
    certificate, program = planned.outcome.certificate, planned.program
    if certificate is None:
        return {}
    multiplier = np.zeros(program.m)
    multiplier[certificate.rows] = [m / 2**certificate.shift for m in certificate.multiplier]
    nothing = np.zeros(0)
    told = Relaxation("solved", float("nan"), nothing, multiplier, nothing)
    limits = [k for k in binding(program, told, Readings(planned.case, menu)) if not k.shape]
    found: dict[str, Figure] = {}
    for name, few in (("binding", limits), ("binding_shared", [k for k in limits if not k.origin.person])):
        if few:
            found[name] = f"{few[0].reading.label} [{few[0].origin.key}]"
            found[f"{name}_worth"] = rounded(Decimal(str(few[0].share)), 9)
    return found


def _loads(case: Case, tally: Tally) -> tuple[Decimal, Decimal, Decimal]:
    """Mass (kg), volume (L) and water (L) of a menu, limited or not."""
    packs, wraps = opened(tally), overwraps(tally)
    stowage = next(r for r in case.rules if isinstance(r, Stowage))
    water = next(r for r in case.rules if isinstance(r, Water))
    mass, volume = (stowage.total(packs, wraps, field) / THOUSAND for field in ("gross_kg", "volume_l"))
    return mass, volume, water.crew_ml(tally) / THOUSAND


def _lost(case: Case, tally: Tally) -> str:
    """Whose floors bind because of what storage takes, with the nutrients."""
    everybody = zip(case.problem.people, losses_of_all(tally, case.rules), strict=True)
    found = ((person.id, [x.column for x in lost if x.state in _BECAUSE]) for person, lost in everybody)
    return "; ".join(f"{person}: {' '.join(columns)}" for person, columns in found if columns)


def _eaten(tally: Tally) -> list[tuple[int, Entry]]:
    """Who eats what for certain on the days of the cycle."""
    people = range(len(tally.problem.people))
    days = [d.number for d in tally.problem.cycle]
    return [(p, e) for p in people for d in days for e in tally.on(p, d) if e.certain and e.count]


def rounded(value: Decimal, places: int) -> Decimal:
    """Return a figure with so many decimals."""
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)


def missing(case: Case, shortfalls: Sequence[Shortfall]) -> str:
    """Say in a line which limits cannot hold together with all the others, the worst first."""
    readings = Readings(case)
    parts = []
    for s in shortfalls[:MOST_REASONS]:
        # what lies beyond the sixth decimal is the linear program's rounding
        amount = Decimal(str(round(s.amount, 6)))
        if s.origin is None:
            parts.append(f"uses of an item: {plain(amount)} too many")
            continue
        reading = readings.of([s.origin], low_side=s.low_side)
        amount /= reading.per
        unit = f" {unit_word(reading.unit, amount)}" if reading.unit else ""
        side = "little" if s.low_side else "much"
        parts.append(f"{reading.label} [{s.origin.key}]: {plain(amount)}{unit} too {side}")
    more = len(shortfalls) - MOST_REASONS
    return "; ".join(parts) + (f"; and {more} more" if more > 0 else "")
