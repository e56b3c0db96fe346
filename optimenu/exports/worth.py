"""What limits are worth and why items are missing, as plain data for JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from optimenu.config.case import Case
    from optimenu.explain.entry import Entry
    from optimenu.explain.told import Told
    from optimenu.explain.why_not import WhyNot
    from optimenu.explain.worth import Limit
    from optimenu.program.origin import Origin


def worth_data(case: Case, told: Told) -> dict[str, Any]:
    """Return all that was told; worth in mean liking (1 is 100 %), decimals as text where they are exact."""
    limits = []
    for k, limit in enumerate(told.limits):
        data = _limit(case, limit)
        trial = told.trials[k] if k < len(told.trials) else None
        if trial is not None:
            data["tried"] = {
                "step": _text(trial.step),
                "promised": float(trial.promised),
                "bound_rises": _text(trial.gain),
                "tighter_bound_falls": _text(trial.loss),
            }
        if k < len(told.replans):
            replan = told.replans[k]
            data["menu_gains"] = {
                "step": _text(replan.step), "gain": _text(replan.gain), "anyway": _text(replan.anyway),
            }  # fmt: skip
        limits.append(data)
    return {
        "speaks_of": "relaxation" if told.value is None else "menu",
        "value": _text(told.value),
        "bound_without_cuts": _text(told.bound),
        "limits": limits,
        "places_of_meals_left_out": told.shapes,
        "soft_limits_missed": [
            {**_origin(case, c.origin), "label": c.reading.label, "times": c.rows,
             "side": "too little" if c.low_side else "too much", "cost": c.cost}
            for c in told.soft
        ],
        "items": [_why(case, w) for w in told.items],
        "liked_as_well_but_refused": dict(told.barred),
        "exchanges": [
            {"person": e.person, "liking": _text(e.liking), "step": _text(e.step), "rate": e.rate,
             "others_bound": _text(e.others), "others_bound_with_step": _text(e.raised)}
            for e in told.exchanges
        ],
    }  # fmt: skip


def _text(value: object) -> str | None:
    return None if value is None else format(value, "f")


def _origin(case: Case, origin: Origin) -> dict[str, Any]:
    return {
        "rule": origin.rule, "key": origin.key, "person": origin.person, "what": origin.what,
        "who": origin.who, "place": case.where(origin.key),
    }  # fmt: skip


def _limit(case: Case, limit: Limit) -> dict[str, Any]:
    reading = limit.reading
    return {
        **_origin(case, limit.origin),
        "label": reading.label,
        "side": "low" if limit.low_side else "high",
        "soft": limit.soft,
        "rows": len(limit.rows),
        "limit": _text(reading.limit),
        "unit": reading.unit,
        "step": _text(limit.step),
        "worth_of_a_step": limit.worth,
        "worth_of_one_percent": limit.share or None,
        "unit_depends_on_menu": not reading.steady,
    }


def _why(case: Case, why: WhyNot) -> dict[str, Any]:
    return {
        "person": why.person,
        "item": why.item,
        "status": why.status,
        "score": _text(why.score),
        "estimated": why.estimated,
        "floor": _text(why.floor),
        "places": why.places,
        "allowed": why.allowed,
        "reasons": [
            {"key": r.refusal.key, "place": case.where(r.refusal.key), "text": r.refusal.text,
             "who": r.refusal.who, "places": r.places, "meals": list(r.meals)}
            for r in why.reasons
        ],
        "on_menu": [vars(u) for u in why.uses],
        "relaxation_dates": why.relaxed,
        "comes_in": None if why.entry is None else _entry(case, why.entry),
        "without": None
        if why.without is None
        else {"bound": _text(why.without.bound), "before": _text(why.without.before)},
    }  # fmt: skip


def _entry(case: Case, entry: Entry) -> dict[str, Any]:
    return {
        "score_needed": _text(entry.needed),
        "dates_a_tenth_above": entry.above,
        "dates_a_tenth_below": entry.below,
        "place": entry.place,
        "dates": entry.dates,
        "worth": entry.worth,
        "cost": entry.cost,
        "costs": [
            {**_origin(case, c.origin), "label": c.label, "side": "low" if c.low_side else "high",
             "amount": c.amount, "meal_pattern": c.shape}
            for c in entry.costs
        ],
    }  # fmt: skip
