"""Rule: gross mass and stowed volume, for the stay, a load or a person."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np
from pydantic import Field

from optimenu.errors import nearest
from optimenu.menu.packs import opened, overwraps
from optimenu.problem.opening import BLOCKS
from optimenu.program.origin import Origin
from optimenu.program.page import vector
from optimenu.rules.base import Measure, Rule, SettingFault, Shown
from optimenu.rules.edits import moved
from optimenu.rules.which import people_faults
from optimenu.settings import Names, Positive, Role, Settings, Unit

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from optimenu.menu.packs import Key
    from optimenu.menu.tally import Tally
    from optimenu.program.page import Page
    from optimenu.rules.edits import Edits

ZERO = Decimal(0)
THOUSAND = 1000


class CapTable(Settings):
    """Mass and volume that may be stowed."""

    gross_kg: Annotated[Positive, Unit("kg")] | None = None
    """Most gross mass: food, packs and overwraps."""
    volume_l: Annotated[Positive, Unit("L")] | None = None
    """Most stowed volume of packs and overwraps."""
    who: Role = "planner"
    """Who may loosen it."""


class StowageSettings(CapTable):
    """Caps for the stay, and narrower ones."""

    loads: dict[str, CapTable] = Field(default_factory=dict)
    """Caps of a load, by name."""
    people: Annotated[dict[str, CapTable], Names("person")] = Field(default_factory=dict)
    """Caps of a person's own packs, by id."""


class Stowage(Rule[StowageSettings]):
    """Stowage.

    What
        Gross mass and stowed volume of all packs and overwraps opened, the reserve and the allowances
        included, stay under the caps.
    Maths
        sum over people who draw on a pack, item, load, block and span of gross x packs + overwrap mass x
        overwraps <= cap, with packs and overwraps whole within each; the same for volume. A pack of several
        servings is opened and used up within a span of dates no longer than it may be kept open.
    When
        The whole stay, each load, each person.
    Source
        The vehicle's figures.
    """

    table: ClassVar[str] = "stowage"
    model: ClassVar[type[Settings]] = StowageSettings
    example: ClassVar[str] = """
[stowage]
gross_kg = 460
volume_l = 1500
[stowage.loads.first]
volume_l = 800
"""

    def faults(self) -> Iterable[SettingFault]:
        """Unknown loads and people."""
        names = [load.name for load in self.problem.loads]
        for name in self.settings.loads:
            if name not in names:
                yield SettingFault(("loads", name), f'no load "{name}".{nearest(name, names)}')
        yield from people_faults(self.problem, tuple(self.settings.people), ("people",))

    def _caps(self) -> Iterator[tuple[str, CapTable, int | None, int | None, str]]:
        """Key, caps, load and person (None for all), words."""
        yield "stowage", self.settings, None, None, "stay"
        for name, table in self.settings.loads.items():
            number = [load.name for load in self.problem.loads].index(name)
            yield f"stowage.loads.{name}", table, number, None, f"load {name}"
        for name, table in self.settings.people.items():
            yield f"stowage.people.{name}", table, None, self.problem.person_number[name], name

    def _lines(self) -> Iterator[tuple[Origin, Decimal, str, int | None, int | None, str]]:
        for key, table, load, person, words in self._caps():
            for field in ("gross_kg", "volume_l"):
                cap = getattr(table, field)
                if cap is not None:
                    who = "" if person is None else self.problem.people[person].id
                    origin = Origin("stowage", f"{key}.{field}", who, what=field, who=table.who)
                    yield origin, cap * THOUSAND, field, load, person, words

    def _each(self, field: str) -> tuple[list[Decimal], list[Decimal]]:
        """Mass (g) or volume (mL) of one pack and one overwrap, by item."""
        items = self.problem.catalogue.items
        if field == "gross_kg":
            return [i.gross_g for i in items], [i.overwrap_g or ZERO for i in items]
        return [i.volume_ml for i in items], [i.overwrap_ml or ZERO for i in items]

    def write(self, page: Page) -> None:
        """One row per cap."""
        for origin, cap, field, load, person, _ in self._lines():
            pack, wrap = self._each(field)
            both, places = vector([*pack, *wrap])
            sizes = {False: both[: len(pack)], True: both[len(pack) :]}
            cols, vals = [], []
            for number in range(len(self.problem.loads)):
                if load is not None and number != load:
                    continue
                for block in BLOCKS:
                    for outer, size in sizes.items():
                        c, i, v = page.opened(number, block, overwraps=outer, person=person)
                        cols.append(c)
                        vals.append(v * size[i])
            page.row(origin, np.concatenate(cols), np.concatenate(vals), high=cap, decimals=places)

    def measures(self, tally: Tally) -> Iterator[Measure]:
        """Weigh and measure every pack and overwrap opened."""
        packs, wraps = opened(tally), overwraps(tally)
        for origin, cap, field, load, person, words in self._lines():
            total = self.total(packs, wraps, field, load, person)
            label = f"{'gross mass' if field == 'gross_kg' else 'stowed volume'}, {words}"
            unit = "g" if field == "gross_kg" else "mL"
            shown = Shown(total / THOUSAND, None, cap / THOUSAND, "kg" if unit == "g" else "L")
            yield Measure(origin, label, unit, total, total, high=cap, section="stowage", shown=shown)

    def further(self, origin: Origin, amount: Decimal, *, low: bool) -> Iterator[Edits]:
        """Raise a cap, stated in kg and L."""
        old = self.stated(origin.key)
        parts = origin.key.split(".")
        what, unit = ("gross mass", "kg") if origin.what == "gross_kg" else ("stowage volume", "L")
        whose = "" if len(parts) == 2 else f" of {parts[1].removesuffix('s')} {parts[2]}"
        yield (moved(origin.key, old, old + amount / THOUSAND, what + whose, unit),)

    def total(
        self,
        packs: Mapping[Key, int],
        wraps: Mapping[Key, int],
        field: str,
        load: int | None = None,
        person: int | None = None,
    ) -> Decimal:
        """Mass (g) or volume (mL) of packs and overwraps, of one load or one person if named."""
        pack, wrap = self._each(field)
        order = self.problem.catalogue.order
        total = ZERO
        for counts, size in ((packs, pack), (wraps, wrap)):
            for (people, item, number, _), n in counts.items():
                mine = person is None or people == (person,)
                if mine and (load is None or number == load):
                    total += n * size[order[item]]
        return total
