"""The contract every rule keeps.

A rule owns one table of the config. It says which servings cannot be (``allow``), writes rows into the
program (``write``), and measures the same promises on a menu from the Problem's tables in exact
arithmetic (``measures``), never seeing the program. The two are compared in the tests.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING, Any, ClassVar, Generic, NamedTuple, TypeVar, final

from optimenu.program.page import soft_price
from optimenu.rules.edits import moved, stated, unit_of
from optimenu.settings import Role, Settings

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from optimenu.catalogue.item import Item
    from optimenu.menu.tally import Tally
    from optimenu.problem.calendar import Course, Meal, PlanDay
    from optimenu.problem.problem import Party, Problem
    from optimenu.program.origin import Origin
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits, Wanted

S = TypeVar("S", bound=Settings)
_ONE = {"servings": "serving", "packs": "pack", "items": "item", "lines": "line", "days": "day"}
_READ = {"ug": "µg"}
"""Units of files, which keep to ASCII, as people read them."""


@dataclass(frozen=True)
class Shown:
    """A measure in the words and unit a dietitian reads, when they differ from the row's."""

    value: Decimal
    low: Decimal | None
    high: Decimal | None
    unit: str


@dataclass(frozen=True)
class Measure:
    """One promise measured on a menu.

    Attributes
    ----------
    least, most : Decimal
        The value with every optional serving at its worse end for a floor and for a ceiling.
    low, high : Decimal or None
        Limits, in the same unit.
    soft : Decimal or None
        Price in mean liking per unit outside; None for a hard limit.
    known : Decimal
        Share of what was summed that rests on known values, 0 to 1.
    proved : bool
        False for a ceiling whose sum holds unknown values without an upper estimate.
    section : str
        Where screens show it; empty for a promise only worth showing when broken.
    note : str
        What the number means at work, shown under the label.
    """

    origin: Origin
    label: str
    unit: str
    least: Decimal
    most: Decimal
    low: Decimal | None = None
    high: Decimal | None = None
    soft: Decimal | None = None
    known: Decimal = Decimal(1)
    proved: bool = True
    section: str = ""
    shown: Shown | None = None
    note: str = ""

    @property
    def short(self) -> Decimal:
        """How far below the floor, 0 when it holds."""
        return max(self.low - self.least, Decimal(0)) if self.low is not None else Decimal(0)

    @property
    def over(self) -> Decimal:
        """How far above the ceiling, 0 when it holds."""
        return max(self.most - self.high, Decimal(0)) if self.high is not None else Decimal(0)

    @property
    def cost(self) -> Decimal:
        """Price of the breach of a soft limit, in mean liking; 0 for a hard one."""
        # an optional serving may break both ends at once, and each end has its row
        return Decimal(0) if self.soft is None else soft_price(self.soft) * (self.short + self.over)

    @property
    def amount(self) -> Decimal:
        """How far outside the limits; 0 when the promise holds."""
        return max(self.short, self.over)


@dataclass(frozen=True)
class Breach:
    """A promise a menu does not keep, with the exact amount in the row's unit."""

    origin: Origin
    amount: Decimal
    unit: str
    text: str
    soft: bool = False


class Refusal(NamedTuple):
    """Why a serving cannot be.

    Attributes
    ----------
    key : str
        Config key that says so, as in ``Origin``.
    text : str
        In words, with the person's id where it is of one.
    person, what : str
        As in ``Origin``; empty where it is of no single person, and where the key speaks of one thing.
    who : str
        Who may loosen it.
    """

    key: str
    text: str
    person: str = ""
    what: str = ""
    who: str = "dietitian"


@dataclass(frozen=True)
class Allowance:
    """Servings that are free in the day: none, some or all may be eaten."""

    party: int
    item: str
    most: int
    key: str


@dataclass(frozen=True)
class SettingFault:
    """A setting that does not fit the problem: keys inside the rule's table, and what to do."""

    keys: tuple[str, ...]
    message: str


class Rule(ABC, Generic[S]):
    """One constraint family; subclasses are found by discovery.

    Attributes
    ----------
    table : str
        Table of the config the rule owns.
    model : type of Settings
        Its settings.
    by_date : bool
        True when ``allow`` may answer differently on two days of one class.
    example : str
        A TOML example that parses; shown by ``optimenu rules NAME``.
    who : str
        Who may change a setting of this table for which no ``who`` in or around it speaks.
    """

    table: ClassVar[str]
    model: ClassVar[type[Settings]]
    example: ClassVar[str]
    by_date: ClassVar[bool] = False
    who: ClassVar[Role] = "dietitian"

    def __init__(self, settings: S, problem: Problem) -> None:
        self.settings = settings
        self.problem = problem

    @classmethod
    def replaces(cls, keys: tuple[str, ...], old: Any, new: Any, below: Mapping[str, Any]) -> Role | None:
        """Return who may lift the built-in promise that a setting takes the place of, or None.

        Parameters
        ----------
        keys : tuple of str
            Keys of the setting inside the rule's table.
        old, new : Any
            Its value in the files below, None where none stands there, and its new value; as read.
        below : mapping
            The rule's table as the files below have it.
        """
        return None

    def faults(self) -> Iterable[SettingFault]:
        """Settings that name what the problem does not have."""
        return ()

    def needs(self) -> Iterable[tuple[str, tuple[str, ...]]]:
        """Catalogue columns needed, each with the keys of the setting that needs it."""
        return ()

    @final
    def allow(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> str | None:
        """Return why this serving cannot be, or None. ``meal`` is None for an allowance."""
        first = next(iter(self.refusals(party, day, meal, course, item)), None)
        return None if first is None else first.text

    def refusals(
        self, party: Party, day: PlanDay, meal: Meal | None, course: Course | None, item: Item
    ) -> Iterable[Refusal]:
        """Every reason why this serving cannot be, one for each setting that by itself forbids it."""
        return ()

    def rows_alone(self, origin: Origin) -> bool:
        """Tell whether to change the setting of a promise is to move the limits of its rows, no more."""
        return True

    def shapes(self, origin: Origin) -> bool:
        """Tell whether a promise lays down the shape of the meals: taken as given when limits conflict."""
        return False

    def allowances(self) -> Iterable[Allowance]:
        """Servings to be left free in each day of the cycle."""
        return ()

    @abstractmethod
    def write(self, page: Page) -> None:
        """Add the rule's rows to the program."""

    @abstractmethod
    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Measure every promise that a menu could break, from the Problem's tables.

        Promises that hold whatever else is true (no such item on the menu) may be left out.
        """

    def breaches(self, tally: Tally) -> Iterator[Breach]:
        """Promises the menu does not keep, soft ones marked."""
        for m in self.measures(tally):
            if m.amount > 0:
                yield Breach(m.origin, m.amount, m.unit, self.say(m), soft=m.soft is not None)

    def say(self, measure: Measure) -> str:
        """Return the promise and how it fares, in a dietitian's words with numbers and units."""
        shown = measure.shown
        if shown is None:
            worse = measure.least if measure.short > measure.over else measure.most
            shown = Shown(worse, measure.low, measure.high, measure.unit)
        # two decimals, or as many more as it takes to tell the value from the limit it misses
        ends = [v for v in (shown.low, shown.high) if v is not None and v != shown.value]
        places = next((k for k in range(2, 9) if plain(shown.value, k) not in [plain(v, k) for v in ends]), 9)
        limits = []
        if shown.low is not None:
            limits.append(f"at least {plain(shown.low, places)}")
        if shown.high is not None:
            limits.append(f"at most {plain(shown.high, places)}")
        last = shown.low if shown.high is None else shown.high
        units = [f" {unit_word(shown.unit, v)}" if shown.unit else "" for v in (shown.value, last)]
        value = plain(shown.value, places)
        return f"{measure.label}: {value}{units[0]}; {' and '.join(limits)}{units[1]}"

    def stated(self, key: str) -> Any:
        """What the config says under a dotted key of this table, defaults included; None: nothing."""
        return stated(self.settings, tuple(key.split(".")[1:]))

    def lever(self, origin: Origin, *, low: bool = False) -> str:
        """Name what is changed to let a promise give way; promises of one name give way together."""
        return f"{origin.key} {'least' if low else 'most'}"

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Yield changes, each a way of its own, that move the limit of a promise so much further out.

        Parameters
        ----------
        amount : Decimal
            In the unit of the promise's measure.
        low : bool
            Whether its floor is meant, or its ceiling.
        """
        old = self.stated(origin.key)
        if isinstance(old, int | Decimal) and not isinstance(old, bool):
            new = old - amount if low else old + amount
            yield (moved(origin.key, old, Decimal(new), self.called(origin), unit_of(origin.key)),)

    def more_for_each(self, origin: Origin, amount: Decimal, *, low: bool, word: str) -> Iterator[Edits]:
        """Let each dish or base (the word) carry more, where its number is what the promise rests on."""
        key = f"{origin.key}.for_each"
        old = self.stated(key)
        if old is None:
            yield from Rule.further(self, origin, amount, low=low)
        else:
            words = f"servings with each {word}, {origin.what.replace('_', ' ')}"
            yield (moved(key, old, old + amount, words),)

    def called(self, origin: Origin) -> str:
        """Name the setting behind a promise in a dietitian's words."""
        return " ".join(origin.key.replace("_", " ").split("."))

    def admit(self, refusal: Refusal, wanted: Sequence[Wanted]) -> Iterator[Edits]:
        """Yield changes, each a way of its own, under which servings are not refused any more."""
        return iter(())


def unit_word(unit: str, value: Decimal | None = None) -> str:
    """Return a unit as a person reads it: micrograms with their sign, one serving in the singular."""
    if value == 1 and unit in _ONE:
        return _ONE[unit]
    return " ".join(_READ.get(word, word) for word in unit.split(" "))


def raised(value: Decimal, places: int) -> Decimal:
    """Round up to so many decimals: of a bound no less is said than is proved."""
    return value.quantize(Decimal(1).scaleb(-places), ROUND_CEILING)


def plain(value: Decimal, places: int = 2) -> str:
    """Write a number for reading: at most some decimals, thousands with a comma, no idle zeros."""
    text = f"{value:,.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
