"""The demo scenarios with fewer people, days and items, nearly in reach of a direct solver; caps as hard."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import tomli

from optimenu.config.case import load_case
from optimenu.program.build import build, priced
from optimenu.solve.bound import relax
from optimenu.solve.liking import scale_of
from tests.benchmarks.project import dense, in_units
from tests.benchmarks.sampled import DEMO
from tests.benchmarks.settings import toml

if TYPE_CHECKING:
    from optimenu.config.case import Case
    from optimenu.problem.problem import Problem
    from tests.benchmarks.registry import Instance

FAR = Decimal(10_000)
"""A cap that nothing reaches, kg, L."""
PASSES = 2
"""Of the cycle in the stay, as in both scenarios."""


@dataclass(frozen=True)
class Scenario:
    """What is kept of a scenario.

    Attributes
    ----------
    people : who goes; an instance takes the first of them.
    cap, loss : dotted key of the shared cap, and the part of the relaxation's value it takes in the scenario.
        The mass or volume itself says little: what has no weight is taken at will where nothing hinders it.
    crew : key of [water] that is for the whole crew and stay, kept in proportion.
    own_dates : tables of [dates] kept, each for one date: the first before the cycle, the others after it.
    """

    people: tuple[str, ...]
    cap: str
    loss: float
    crew: str
    own_dates: tuple[str, ...] = ()


SCENARIOS = {
    "traverse": Scenario(("aud", "corin", "pilar"), "stowage.gross_kg", 0.0024, "fuel_kg"),
    "submersible": Scenario(
        ("celia", "dmitri", "alma", "bjarne"), "stowage.volume_l", 0.00022, "crew_l", ("queasy_1", "feast")
    ),
}


def reduced(instance: Instance) -> Case:
    """Return the case of a reduced scenario; nothing is written.

    ``instance.variant`` names the scenario, ``size.days`` are plan days without those of the reserve,
    ``size.items`` what is left of what the scenario eats from.
    """
    scenario = SCENARIOS[instance.variant]
    left_out = _left_out(_case(instance, FAR, ()).problem, instance)
    slack = _case(instance, FAR, left_out)
    program = build(slack.problem, slack.rules)
    program = priced(program, scale_of(slack.problem, program).prices)
    (row,) = (r for r, o in enumerate(program.origins) if o.key == scenario.cap)
    slack_answer = relax(program)
    least = slack_answer.value * (1 - scenario.loss)
    most = in_units(program, row, float(dense(program, row) @ slack_answer.x))
    low, high = int(50 * most), int(100 * most) + 1
    # the least cap, in 10 g or 10 mL, that takes no more than the loss
    while high - low > 1:
        middle = (low + high) // 2
        caps = program.row_high.copy()
        caps[row] = middle * 10 * 10 ** int(program.row_decimals[row])
        answer = relax(replace(program, row_high=caps))
        low, high = (low, middle) if answer.status == "solved" and answer.value >= least else (middle, high)
    return _case(instance, Decimal(high) / 100, left_out)


def _case(instance: Instance, cap: Decimal, left_out: tuple[str, ...]) -> Case:
    values = _config(instance)
    _reduce(values, instance)
    table, key = SCENARIOS[instance.variant].cap.split(".")
    values[table][key] = cap
    leave = values["catalogue"].setdefault("leave_out", {})
    leave["items"] = [*leave.get("items", ()), *left_out]
    path = DEMO / "configs" / f"{instance.name}.toml"
    return load_case(path, DEMO, toml(values).encode())


def _config(instance: Instance) -> dict[str, Any]:
    path = DEMO / "configs" / f"{instance.variant}.toml"
    return tomli.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)


def _reduce(values: dict[str, Any], instance: Instance) -> None:
    """Make a scenario's config one of fewer people and days."""
    size, scenario = instance.size, SCENARIOS[instance.variant]
    people, stay = len(values["people"]), values["stay"]
    values["aboard"] = list(scenario.people[: size.people])
    values["reserve"]["days"] = 1
    own = scenario.own_dates
    old, stay["cycle_days"] = stay["cycle_days"], size.days - len(own)
    dates = len(own) + PASSES * stay["cycle_days"]
    first = stay["first_date"]
    whole = (stay["last_date"] - first).days + 1
    stay["last_date"] = first + timedelta(days=dates - 1)
    when = [first, *(stay["last_date"] - timedelta(days=k) for k in reversed(range(len(own) - 1)))]
    if "dates" in values:
        values["dates"] = {k: values["dates"][k] | {"on": [d]} for k, d in zip(own, when, strict=True)}
        # what meals say of a kind no date has is a fault
        gone = {"late"} - {table.get("kind") for table in values["dates"].values()}
        for meal in values["meals"].values():
            meal["on"] = {k: v for k, v in meal.get("on", {}).items() if k not in gone}
    if "kinds" in stay:
        # one of each
        stay["kinds"] = {"light": [1], "rest": [stay["cycle_days"]]}

    def shorter(amount: int) -> int:
        return max(1, round(amount * stay["cycle_days"] / old))

    for table in values["repeats"].values():
        if "most_a_cycle" in table:
            # once would forbid a second passing of what the scenario has often
            table["most_a_cycle"] = max(2, shorter(table["most_a_cycle"]))
    asks = (*values.get("requests", {}).values(), *values["variety"].get("distinct", {}).values())
    for table in asks:
        for key in ("at_least", "at_most"):
            if key in table:
                table[key] = shorter(table[key])
    if "galley" in values:
        galley = values["galley"]
        galley["places"] = max(1, galley["places"] * size.people // people)
    water = values["water"]
    water[scenario.crew] = Decimal(water[scenario.crew]) * size.people * dates / (people * whole)
    water[scenario.crew] = water[scenario.crew].quantize(Decimal("0.01"))


def _left_out(problem: Problem, instance: Instance) -> tuple[str, ...]:
    """Items that go, evenly from the catalogue's order; what the rules name stays, of a tag one item."""
    values = _config(instance)
    del values["catalogue"]
    named = set(_texts(values))
    first: dict[str, str] = {}
    for item in problem.catalogue.items:
        for mark in (item.id, item.cuisine, item.main_ingredient, *item.tags):
            if mark in named:
                first.setdefault(mark, item.id)
    fixed = set(first.values())
    loose = [i.id for i in problem.catalogue.items if i.id not in fixed]
    kept = min(len(loose), max(0, instance.size.items - len(fixed)))
    stay = {loose[k * len(loose) // kept] for k in range(kept)}
    return tuple(i for i in loose if i not in stay)


def _texts(value: Any) -> list[str]:
    """Every text in nested tables and arrays."""
    if isinstance(value, str):
        return [value]
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [text for v in inner for text in _texts(v)]
