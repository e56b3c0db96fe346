"""From a study to its cases: each a config with some settings changed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import product
from math import prod
from typing import TYPE_CHECKING, Any

from optimenu.config.toml_layers import locate, read_layers
from optimenu.config.toml_spots import place_of
from optimenu.config.variant import variant_text
from optimenu.errors import Fault, InputFaults, nearest
from optimenu.files import UnreadableError
from optimenu.studies.grid import (
    CONFIG,
    DAYS,
    KEY_OF,
    MOVES,
    SEED,
    Axis,
    axes_of,
    flat,
    known_name,
    label,
    sound,
)  # fmt: skip

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from optimenu.studies.grid import Keys
    from optimenu.studies.study import Study

MOST_CASES = 1_000_000
FIRST_DATE, LAST_DATE = "stay.first_date", "stay.last_date"


@dataclass(frozen=True)
class StudyCase:
    """One case of a study.

    Attributes
    ----------
    number : int
        From 1, in the order of the file: the grid, its last axis fastest, then the cases by themselves.
    labels : mapping of axis to text
        What was chosen on each axis; axes the case does not speak of are not in it.
    config : Path
        The config that is changed.
    changes : mapping of dotted key to value
        What is changed in it, but for its name.
    """

    number: int
    labels: Mapping[str, str]
    config: Path
    changes: Mapping[str, Any]

    @property
    def title(self) -> str:
        """What tells the case from the others, in words."""
        return ", ".join(f"{name} {text}" for name, text in self.labels.items())

    def text(self, study: Study, *, named: bool = True) -> bytes:
        """Return the case as a config that extends the study's.

        Parameters
        ----------
        named : bool
            Whether it bears a name of its own, which changes nothing in its menu.
        """
        own = {"name": f"{study.asked.name}: {self.title}"} if named and self.labels else {}
        return variant_text(self.config.name, {**self.changes, **own}, role=study.role)


def cases_of(study: Study) -> tuple[StudyCase, ...]:
    """Return every case of a study.

    Raises
    ------
    InputFaults
        Every fault of axes and cases at once: unknown settings, values that cannot be, configs that are
        not there, a study without cases. Values of settings are judged case by case, where they are read.
    """
    return _Cases(study).all()


class _Cases:
    def __init__(self, study: Study) -> None:
        self.study = study
        self.faults: list[Fault] = []
        self.configs: dict[str, Path | None] = {}
        self.first: dict[Path, date | None] = {}

    def tell(self, keys: Keys, message: str) -> None:
        self.faults.append(self.study.layers.fault(keys, f"{place_of(keys)}: {message}"))

    def all(self) -> tuple[StudyCase, ...]:
        axes = axes_of(self.study, self.tell)
        own = [dict(flat(table)) for table in self.study.asked.cases]
        for k, table in enumerate(own):
            for name, value in table.items():
                keys: Keys = ("cases", k, *name.split("."))
                if known_name(self.study, name, keys, self.tell):
                    sound(name, value, keys, self.tell)
        for name, tables in self.study.asked.choices.items():
            for choice, changes in tables.items():
                for key, value in flat(changes):
                    keys = ("choices", name, choice, *key.split("."))
                    if key in self.study.asked.choices:
                        self.tell(keys, "a choice cannot hold another")
                    elif known_name(self.study, key, keys, self.tell):
                        sound(key, value, keys, self.tell)
        count = prod(len(a.values) for a in axes) if axes else 0
        if count > MOST_CASES:
            self.tell(("grid",), f"the grid has {count:,} cases; {MOST_CASES:,} are the most")
        if not count and not own and not self.faults:
            self.tell(("name",), "no case: add axes to [grid], or tables [[cases]]")
        if self.faults:
            raise InputFaults(self.faults)
        made = tuple(self._made(axes, own))
        if self.faults:
            raise InputFaults(self.faults)
        return made

    def _made(self, axes: list[Axis], own: list[dict[str, Any]]) -> Iterator[StudyCase]:
        number = 0
        for values in product(*(a.values for a in axes)) if axes else ():
            number += 1
            case = self._case(number, {a.name: v for a, v in zip(axes, values, strict=True)}, ("grid",))
            if case is not None:
                yield case
        for k, table in enumerate(own):
            number += 1
            case = self._case(number, table, ("cases", k))
            if case is not None:
                yield case

    def _case(self, number: int, chosen: Mapping[str, Any], keys: Keys) -> StudyCase | None:
        asked = self.study.asked
        settings: dict[str, Any] = {
            n: v
            for n, v in ((CONFIG, asked.config), (MOVES, asked.moves), (SEED, asked.seed))
            if v is not None
        }
        seen: dict[str, str] = {}
        for name, value in chosen.items():
            tables = asked.choices.get(name)
            if tables is None:
                inside = {name: value}
            elif value in tables:
                inside = dict(flat(tables[value]))
            else:
                guess = nearest(str(value), list(tables))
                self.tell((*keys, name), f'no choice "{value}" in [choices.{name}].{guess}')
                return None
            for key, each in inside.items():
                if key in seen:
                    self.tell(keys, f"{key} is set by {seen[key]} and by {name}; leave it to one of them")
                    return None
                seen[key] = name
                settings[key] = each
        config = self._config(settings.pop(CONFIG, None), keys)
        if config is None:
            return None
        changes = {KEY_OF.get(name, name): value for name, value in settings.items() if name != DAYS}
        if DAYS in settings:
            last = self._last(config, changes, settings[DAYS], keys)
            if last is None:
                return None
            changes[LAST_DATE] = last
        case = StudyCase(number, {n: label(v) for n, v in chosen.items()}, config, changes)
        try:
            case.text(self.study)
        except ValueError as error:
            self.tell(keys, str(error))
            return None
        return case

    def _config(self, name: str | None, keys: Keys) -> Path | None:
        if name is None:
            self.tell(("name",), "no config: set config, or name one in [grid] or in each case")
            return None
        if name not in self.configs:
            where = ("config",) if name == self.study.asked.config else (*keys, CONFIG)
            layers = self.study.layers
            try:
                self.configs[name] = locate(name, self.study.path.parent, layers.root)
            except UnreadableError as error:
                self.configs[name] = None
                self.tell(where, str(error))
        return self.configs[name]

    def _last(self, config: Path, changes: Mapping[str, Any], days: int, keys: Keys) -> date | None:
        if LAST_DATE in changes:
            self.tell(keys, f"days and {LAST_DATE} say the same; keep one")
            return None
        first = changes.get(FIRST_DATE)
        if first is None:
            if config not in self.first:
                self.first[config] = self._first(config, keys)
            first = self.first[config]
            if first is None:
                return None
        if not isinstance(first, date):
            self.tell(keys, f"{FIRST_DATE} needs a date, found {first}")
            return None
        return first + timedelta(days=days - 1)

    def _first(self, config: Path, keys: Keys) -> date | None:
        """First date of a config; faults of its own files are told as they are."""
        try:
            stay = read_layers(config, self.study.layers.root).values.get("stay")
        except InputFaults as error:
            self.faults += error.faults
            return None
        first = stay.get("first_date") if isinstance(stay, dict) else None
        if not isinstance(first, date):
            self.tell(keys, f"{config.name} states no {FIRST_DATE} to count days from")
            return None
        return first
