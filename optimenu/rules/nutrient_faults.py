"""What is wrong with settings of ``nutrients``, beyond what each table can tell by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.errors import nearest
from optimenu.nutrition.intakes import reference_intakes
from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.rules.base import SettingFault
from optimenu.rules.nutrient_settings import column_of, lines
from optimenu.rules.which import people_faults

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from optimenu.problem.problem import Problem
    from optimenu.rules.nutrient_settings import NutrientsSettings


class NutrientFaults:
    """Faults of the settings against the problem."""

    def __init__(self, settings: NutrientsSettings, problem: Problem) -> None:
        self.settings = settings
        self.problem = problem
        self._columns = problem.catalogue.columns

    def all(self) -> Iterator[SettingFault]:
        """Unknown people and day kinds, floors above ceilings, energy shares of what is not in grams."""
        for column, windows in self.settings.limits.items():
            for window, table in sorted(windows.items()):
                keys = ("limits", column, window)
                yield from people_faults(self.problem, tuple(table.for_), (*keys, "for"))
                for name, own in table.for_.items():
                    yield from self._kind_faults(own.on, window, (*keys, "for", name, "on"))
                yield from self._kind_faults(table.on, window, (*keys, "on"))
        yield from self._proportion_faults()
        if self.settings.fluid is not None:
            yield from self._kind_faults(self.settings.fluid.extra_ml, "day", ("fluid", "extra_ml"))
        yield from self._reference_faults()
        yield from self._upside_down()

    def _upside_down(self) -> Iterator[SettingFault]:
        """Floors above ceilings, once the narrowest tables have won."""
        for person in self.problem.people:
            for kind in ("", *self.problem.kinds):
                found = lines(self.settings, person, kind, self._columns)
                for (column, when, side), line in found.items():
                    top = found.get((column, when, "high"))
                    if side == "low" and top is not None and line.value > top.value:
                        # a prescription against itself is told where its file is read
                        spot = top if line.key.startswith("prescriptions.") else line
                        if spot.key.startswith("prescriptions."):
                            continue
                        yield SettingFault(
                            tuple(spot.key.split(".")[1:]),
                            f"{column} over {when} for {person.id}: "
                            f"low {line.value} is over high {top.value}",
                        )

    def _proportion_faults(self) -> Iterator[SettingFault]:
        """Shares, densities and ratios that say nothing or stand upside down."""
        for column, share in self.settings.shares.items():
            yield from self._kind_faults(share.on, share.window, ("shares", column, "on"))
            if column in BY_COLUMN and BY_COLUMN[column].unit != "g":
                text = f"a share of energy needs a nutrient in g, {column} is in {BY_COLUMN[column].unit}"
                yield SettingFault(("shares", column), text)
            for kind, own in share.on.items():
                low = share.low if own.low is None else own.low
                high = share.high if own.high is None else own.high
                keys = ("shares", column, "on", kind)
                if own.low is None and own.high is None:
                    yield SettingFault(keys, "set low or high")
                elif low is not None and high is not None and low > high:
                    yield SettingFault(keys, f"low {low} is over high {high}")
        for name in ("shares", "per_1000_kcal", "ratios"):
            for key, pair in getattr(self.settings, name).items():
                if pair.low is None and pair.high is None and not getattr(pair, "on", None):
                    yield SettingFault((name, key), "set low or high")
                elif pair.low is not None and pair.high is not None and pair.low > pair.high:
                    yield SettingFault((name, key, "low"), f"low {pair.low} is over high {pair.high}")

    def _reference_faults(self) -> Iterator[SettingFault]:
        """Names among the published intakes that none of them bears."""
        table = self.settings.reference
        published = [i for p in self.problem.people for i in reference_intakes(p.sex, p.age)]
        ceilings = sorted({i.upper_column for i in published if i.upper_column})
        every = sorted({*ceilings, *(column_of(i, self._columns) for i in published)})
        for field, known in (("leave_out", every), ("soft_ceilings", ceilings)):
            for name in getattr(table, field):
                if name not in known:
                    word = "ceiling" if field == "soft_ceilings" else "intake"
                    text = f'no published {word} of "{name}".{nearest(name, known)}'
                    yield SettingFault(("reference", field), text)

    def _kind_faults(
        self, kinds: Collection[str], window: str, keys: tuple[str, ...]
    ) -> Iterator[SettingFault]:
        """Day kinds that do not exist, or that a window of several days cannot tell apart."""
        for kind in kinds:
            if kind not in self.problem.every_kind:
                text = f'no day kind "{kind}".{nearest(kind, self.problem.every_kind)}'
                yield SettingFault((*keys, kind), text)
            elif window not in ("meal", "day"):
                text = f"a limit on a day kind needs the window meal or day, this one is {window}"
                yield SettingFault((*keys, kind), text)
