"""How a nutrient range can give way: for one person, on one day kind, as far as it is safe."""

from __future__ import annotations

from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING, Any

from optimenu.nutrition.intakes import reference_intakes
from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.rules.edits import moved, sensible, stated
from optimenu.rules.nutrient_asks import ENERGY, FLUID, PERCENT, ZERO

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from optimenu.crew.people import Person
    from optimenu.problem.problem import Problem
    from optimenu.program.origin import Origin
    from optimenu.rules.edits import Edits
    from optimenu.rules.nutrient_asks import Ask
    from optimenu.rules.nutrient_settings import NutrientsSettings

PUBLISHED = "nutrients.reference."
TOXIC = f"{PUBLISHED}UL"
"""Key of the published tolerable upper intakes, which are lifted for no one."""
FARTHEST = Decimal(30)
"""Percent from the requirement beyond which no energy range is offered; common practice, no source."""
_PROPORTIONS = ("nutrients.shares.", "nutrients.per_1000_kcal.", "nutrients.ratios.")


class NutrientEdits:
    """Edits of the settings behind asks."""

    def __init__(self, settings: NutrientsSettings, problem: Problem, asks: tuple[Ask, ...]) -> None:
        self.settings = settings
        self.problem = problem
        self._asks = asks

    @cached_property
    def _ask(self) -> Mapping[Origin, Ask]:
        return {a.origin: a for a in self._asks}

    def lever(self, origin: Origin) -> str:
        """Name the setting that would be changed."""
        ask = self._ask.get(origin)
        if ask is None or origin.key.startswith(("nutrients.energy.", *_PROPORTIONS, FLUID)):
            return origin.key
        return self._narrow(ask)

    def further(self, origin: Origin, amount: Decimal) -> Iterator[Edits]:
        """Yield the change that moves a limit so much further out, none where it must not move."""
        ask = self._ask.get(origin)
        if ask is None or origin.key == TOXIC:
            return
        person, key = self.problem.people[ask.person], origin.key
        if key.startswith("nutrients.energy."):
            sign = 1 if ask.side == "high" else -1
            old = self._stated(key)
            need = ask.total / (1 + sign * old / PERCENT)
            span = "a day" if key.endswith("day_within") else "the mean over the stay"
            words = f"how far energy of {span} may differ from the requirement"
            edit = moved(key, old, old + amount / need * PERCENT, words, "%")
            if edit.new <= max(FARTHEST, old):
                yield (edit,)
        elif key == FLUID:
            day = self.problem.days[origin.day]
            old = self._stated(key)
            new = old - amount / (person.kcal_on(day.kind) * day.share)
            # under nothing for the requirement it is the extra of heavy days that asks for more
            if new >= 0:
                yield (moved(key, old, new, "fluid for each kcal of the requirement", "mL/kcal"),)
        elif key.startswith(_PROPORTIONS):
            yield from self._proportion(ask, amount)
        else:
            yield from self._amount(ask, person, amount)

    def _amount(self, ask: Ask, person: Person, amount: Decimal) -> Iterator[Edits]:
        low = ask.side == "low"
        change = amount / ask.per
        new = sensible(ask.limit - change if low else ask.limit + change, down=low)
        top = _upper(person, ask.top)
        if not low and top is not None and new > top:
            return
        key = self._narrow(ask)
        name = BY_COLUMN[ask.top].inside
        spans = {
            "meal": f"at {ask.meal}", "day": "a day", "three_days": "a day, mean of 3 dates",
            "seven_days": "a day, mean of 7 dates", "stay": "a day, mean of the stay",
        }  # fmt: skip
        whose = f" of {person.id}" if f".{person.id}." in f".{key}." or len(self.problem.people) > 1 else ""
        on = f" on {key.split('.on.')[1].split('.')[0]} days" if ".on." in key else ""
        unit = BY_COLUMN[ask.top].unit.replace("ug", "µg")
        words = f"{'least' if low else 'most'} {name}{whose} {spans[ask.window]}{on}"
        edit = moved(key, ask.limit, new, words, unit)
        yield (edit,)

    def _narrow(self, ask: Ask) -> str:
        """Key of this person's line beside the wider one; of a day kind only where the config has one."""
        key, person = ask.origin.key, self.problem.people[ask.person].id
        if key.startswith("prescriptions."):
            return key
        if key.startswith(PUBLISHED):
            key = f"nutrients.limits.{ask.top}.{ask.window}.{ask.side}"
        head, side = key.rsplit(".", 1)
        base = ".".join(head.split(".")[:4])
        parts = [base]
        if len(self.problem.people) > 1 or f".for.{person}" in head:
            parts.append(f"for.{person}")
        own = len(parts) > 1
        if ".on." in head or (own and ".for." not in head and self._by_kind(ask.top, ask.window, side)):
            parts.append(f"on.{self.problem.days[ask.origin.day].kind}")
        return ".".join((*parts, side))

    def _by_kind(self, column: str, window: str, side: str) -> bool:
        """Tell whether some day kind has a line for everybody, over which one for a person would win."""
        table = self._stated(f"nutrients.limits.{column}.{window}.on") or {}
        return window in ("meal", "day") and any(line[side] is not None for line in table.values())

    def _proportion(self, ask: Ask, amount: Decimal) -> Iterator[Edits]:
        """Amounts of the row become a change of the factor by what the bottom is known to sum to."""
        key, low = ask.origin.key, ask.side == "low"
        old = self._stated(key)
        bottom = self._bottom(ask)
        if old is None or not bottom:
            return
        times = {"% of energy": PERCENT, "ratio": Decimal(1)}.get(ask.reading, Decimal(1000))
        change = amount / bottom * times
        name = BY_COLUMN[ask.top].inside
        side = "least" if low else "most"
        words = {"% of energy": f"{side} share of energy from {name}",
                 "ratio": f"{side} {name} to {BY_COLUMN[ask.bottom].inside}"}  # fmt: skip
        said = words.get(ask.reading, f"{side} {name} per 1000 kcal")
        unit = "%" if ask.reading == "% of energy" else BY_COLUMN[ask.top].unit if times == 1000 else ""
        yield (moved(key, old, old - change if low else old + change, said, unit),)

    def _bottom(self, ask: Ask) -> Decimal:
        """What the bottom of a proportion comes to over the window: the requirement."""
        person = self.problem.people[ask.person]
        days = [(self.problem.days[d], w) for d, w in ask.weights]
        if ask.bottom == ENERGY:
            return sum((w * d.share * person.kcal_on(d.kind) for d, w in days), ZERO)
        found = (i for i in reference_intakes(person.sex, person.age) if i.column == ask.bottom)
        amount = next((i.amount for i in found if i.amount is not None), ZERO)
        return sum((w * d.share * amount for d, w in days), ZERO)

    def _stated(self, key: str) -> Any:
        return stated(self.settings, tuple(key.split(".")[1:]))


def _upper(person: Person, column: str) -> Decimal | None:
    """Tolerable upper intake of a column for a person, None where there is none."""
    found = reference_intakes(person.sex, person.age)
    return next((i.upper for i in found if i.upper_kind == "UL" and i.upper_column == column), None)
