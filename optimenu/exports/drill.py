"""A drill's answer as data: JSON, and the ration plan as a table."""

from __future__ import annotations

import os
import tempfile
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimenu.errors import Fault, InputFaults
from optimenu.exports.run_folder import table_bytes
from optimenu.files import shown_path

if TYPE_CHECKING:
    from fractions import Fraction

    from optimenu.problem.problem import Problem
    from optimenu.stowage.drill_answer import Answer

RATION = (
    "date", "person", "meal", "item", "name", "servings", "kcal", "water_ml", "source", "planned_for",
    "planned_on", "how",
)  # fmt: skip


def decimal_of(value: Fraction, places: int, *, up: bool = False) -> Decimal:
    """Return a fraction as a decimal, rounded down or up, never to the nearest."""
    digits = value.numerator * 10**places
    whole = -(-digits // value.denominator) if up else digits // value.denominator
    side = ROUND_CEILING if up else ROUND_FLOOR
    return Decimal(whole).scaleb(-places).quantize(Decimal(1).scaleb(-places), side)


def ration_rows(problem: Problem, answer: Answer) -> list[tuple[object, ...]]:
    """Rows of ``RATION``: by date, person and meal. A meal is empty where the plan has no such serving."""
    ids = [p.id for p in problem.people]
    return [
        (
            d.when.isoformat(), ids[d.person], d.meal, d.item.id, d.item.name, d.count,
            d.count * (problem.amount(d.item, "ENERC_KCAL_kcal") or Decimal(0)), d.count * d.item.water_ml,
            d.source, ids[d.owner], d.planned.isoformat() if d.planned else None, d.how or None,
        )
        for d in answer.dishes
    ]  # fmt: skip


def drill_data(problem: Problem, answer: Answer) -> dict[str, Any]:
    """Everything a drill says. Decimals are text; levels and person-days are rounded down, the bound up."""
    ids, q = [p.id for p in problem.people], answer.question
    worst = answer.worst
    return {
        "from": q.start.isoformat(),
        "lost": list(q.lost),
        "water_l": None if q.water_l is None else str(q.water_l),
        "late_load": None if q.load is None else problem.loads[q.load].name,
        "days_late": q.late,
        "last_date": answer.horizon.dates[-1].isoformat(),
        "dates_without_their_food": [w.isoformat() for w in sorted(answer.horizon.gap)],
        "dates_to_cover": len(answer.horizon.cover),
        "on_board": [
            {"holder": h.holder, "item": h.item.id, "part": h.part, "packs": h.packs,
             "servings": h.servings, "spare_servings": h.spare}
            for h in answer.held
        ],
        "stores": [
            {"person": ids[s.person], "menu_kcal": str(s.menu), "reserve_kcal": str(s.reserve),
             "lost_kcal": str(s.lost), "left_kcal": str(s.left), "needed_kcal": str(s.need),
             "dates": s.dates, "person_days": str(decimal_of(s.days(s.menu + s.reserve), 2)),
             "person_days_left": str(decimal_of(s.days(s.left), 2))}
            for s in answer.stores
        ],
        "lost_items": [
            {"item": g.item.id, "why": g.why, "packs": dict(g.packs), "servings": dict(g.servings),
             "kcal": str(g.kcal)}
            for g in answer.gone
        ],
        "lost_later": [i.id for i in answer.later],
        "not_to_be_given": {ids[p]: [i.id for i in items] for p, items in answer.apart.items()},
        "days": [
            {"date": d.when.isoformat(), "person": ids[d.person], "needed_kcal": str(d.need),
             "planned_kcal": str(d.planned), "left_kcal": str(d.left), "ration_kcal": str(d.ration),
             "level": str(decimal_of(d.level, 4)), "low": d.low,
             "water_planned_ml": str(d.water_planned), "water_left_ml": str(d.water_left),
             "water_ration_ml": str(d.water_ration)}
            for d in answer.days
        ],
        "plain_water_ml_crew": {w.isoformat(): str(ml) for w, ml in answer.plain_ml.items()},
        "worst": None if worst is None else {
            "person": ids[worst.person], "date": worst.when.isoformat(),
            "level": str(decimal_of(worst.level, 4)), "bound": str(decimal_of(answer.bound, 4, up=True)),
        },
        "not_eaten_kcal": [
            {"person": ids[p], "source": source, "kcal": str(kcal)}
            for (p, source), kcal in sorted(answer.left_over.items())
        ],
        "servings_left_in_opened_packs": answer.stranded,
        "energy_unknown": [i.id for i in answer.unknown_energy],
        "use_by_not_stated": [i.id for i in answer.no_use_by],
        "needs_fridge": [i.id for i in answer.fridge],
        "ration": [dict(zip(RATION, map(_plain, row), strict=True)) for row in ration_rows(problem, answer)],
    }  # fmt: skip


def _plain(value: object) -> object:
    return str(value) if isinstance(value, Decimal) else value


def write_ration(path: Path, problem: Problem, answer: Answer) -> None:
    """Write the ration plan as CSV; it is whole or not there.

    Raises
    ------
    InputFaults
        When the file cannot be written.
    """
    try:
        handle, name = tempfile.mkstemp(prefix=f".passing-{os.getpid()}-", dir=path.parent)
        with os.fdopen(handle, "wb") as out:
            out.write(table_bytes(RATION, ration_rows(problem, answer)))
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except OSError as error:
        text = f"cannot be written: {error.strerror or error}; name a file in a folder that exists"
        raise InputFaults([Fault(shown_path(path), 0, text)]) from error
