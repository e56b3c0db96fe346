"""The people of a config: whom the tables cover, what energy each needs, how they are told apart."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.config.days import known_kinds
from optimenu.crew.people import Person, requirement
from optimenu.errors import nearest
from optimenu.nutrition.covered import NotCovered, uncovered

if TYPE_CHECKING:
    from collections.abc import Callable
    from decimal import Decimal

    from optimenu.config.main_settings import ConfigBase
    from optimenu.crew.people import EnergyTable
    from optimenu.crew.prescriptions import Prescription

    Tell = Callable[[tuple[str, ...], str], None]

LOW_FLOOR = 5


def person_of(settings: ConfigBase, name: str, script: Prescription, tell: Tell) -> Person | None:
    """Return a person as the plan sees them, None where their energy on an ordinary day is not known.

    Whoever the tables of reference intakes do not cover is a fault, wherever their energy comes from: the
    intakes asked for, and the ceilings that nothing may lift, are those of adults.

    Parameters
    ----------
    tell : callable of (keys, message)
        Takes faults.
    """
    table = settings.people[name]
    kcal: dict[str, Decimal] = {}
    steps: list[str] = []
    known = known_kinds(settings)
    strange = uncovered(table.sex, table.age, table.mass_kg, table.height_m, table.state or "")
    for key, text in strange.items():
        tell(("people", name, key), text)
    sources: list[tuple[str, tuple[str, ...], EnergyTable]] = [("", ("energy",), table.energy)]
    sources += [(kind, ("energy_on", kind), t) for kind, t in table.energy_on.items()]
    for kind, keys, source in sources:
        if kind and kind not in known:
            tell(("people", name, *keys), f'no day kind "{kind}".{nearest(kind, known)}')
        if source.ways() != 1:
            tell(("people", name, *keys), "needs exactly one of kcal, hours, or edition with activity")
            continue
        try:
            kcal[kind], lines = requirement(table, source)
            steps += [f"{kind}: {line}" if kind else line for line in lines]
        except ValueError as error:
            if isinstance(error, NotCovered) and strange:
                continue  # told above
            for text in getattr(error, "messages", (str(error),)):
                tell(("people", name, *keys), text)
    if table.floor < LOW_FLOOR and table.floor_reason is None:
        tell(("people", name, "floor"), f"a floor under {LOW_FLOOR} needs a floor_reason")
    if "" not in kcal:
        return None
    return Person(
        name, table.name, table.sex, table.age, table.mass_kg, table.height_m, table.floor, kcal, script,
        table.mark or "", table.colour or "", tuple(steps),
    )  # fmt: skip


def marks(settings: ConfigBase, tell: Tell) -> None:
    """Tell of two people with one mark, who could not be told apart on a label."""
    first: dict[str, str] = {}
    for name, table in settings.people.items():
        if table.mark is not None:
            other = first.setdefault(table.mark.upper(), name)
            if other != name:
                tell(("people", name, "mark"), f'"{table.mark}" is the mark of {other} already')
