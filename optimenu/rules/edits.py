"""Changes of settings that let a limit give way, as values and in words."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimenu.settings import Settings


@dataclass(frozen=True)
class Edit:
    """One value of the config, of the stock or of a prescription, and what it is to become.

    Attributes
    ----------
    key : str
        Dotted key of the setting; ``stock.LOAD.ITEM`` for packs, ``prescriptions.people. ...`` for what a
        physician has laid down.
    old, new : Any
        As a config holds them; old is None where nothing stands there yet.
    name : str
        What it is, in a dietitian's words.
    unit : str
    said : str
        The whole change in words, where it is more than a number moved.
    """

    key: str
    old: Any
    new: Any
    name: str
    unit: str = ""
    said: str = ""

    def __str__(self) -> str:
        if self.said:
            return self.said
        unit = f" {self.unit}" if self.unit else ""
        if isinstance(self.new, bool) or not isinstance(self.new, int | Decimal):
            return f"set {self.name} to {str(self.new).lower()}"
        if self.old is None:
            return f"let {self.name} be {figure(self.new)}{unit}"
        word = "raise" if self.new > self.old else "lower"
        return f"{word} {self.name} from {figure(self.old)} to {figure(self.new)}{unit}"


class Wanted(NamedTuple):
    """A serving that is refused and would help: person, day kind, meal, course and item."""

    person: str
    kind: str
    meal: str
    course: str
    item: str


Edits = tuple[Edit, ...]
"""Changes that belong together."""


def figure(value: Decimal | int) -> str:
    """Write a number in full, thousands with a comma, no idle zeros."""
    text = f"{Decimal(value):,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def sensible(value: Decimal, *, down: bool) -> Decimal:
    """Round outward to three figures, as a person would write a limit; 0 or more."""
    if value <= 0:
        return Decimal(0)
    # what lies beyond the ninth decimal is the rounding of a linear program, and no need
    value = round(value, 9)
    step = Decimal(1).scaleb(value.adjusted() - 2)
    return value.quantize(step, ROUND_FLOOR if down else ROUND_CEILING)


def moved(key: str, old: Decimal | int, new: Decimal, name: str, unit: str = "") -> Edit:
    """Return the change of a number, rounded outward; one that was whole stays so."""
    down = new < old
    if isinstance(old, int):
        whole = round(new, 6).to_integral_value(ROUND_FLOOR if down else ROUND_CEILING)
        return Edit(key, old, max(0, int(whole)), name, unit)
    return Edit(key, old, sensible(new, down=down), name, unit)


def stated(settings: Settings, keys: tuple[str, ...]) -> Any:
    """Return what stands under keys inside settings, None where nothing does."""
    value: Any = settings.model_dump(by_alias=True)
    for key in keys:
        if not isinstance(value, dict):
            return None
        inner: Mapping[Any, Any] = value
        value = inner.get(key)
    return value


def unit_of(key: str) -> str:
    """Return the unit that the end of a key tells: kg, L, mL, kcal, %."""
    last = key.rsplit(".", 1)[-1]
    ends = {"_kg": "kg", "_l": "L", "_ml": "mL", "_kcal": "kcal", "_min": "min", "_within": "%"}
    return next((unit for end, unit in ends.items() if last.endswith(end)), "")
