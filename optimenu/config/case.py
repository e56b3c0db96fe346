"""From a config file to a Case: the problem and the rules that speak in it, or every fault at once."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from optimenu.catalogue.item import Catalogue
from optimenu.catalogue.losses import read_losses
from optimenu.catalogue.read import read_catalogue
from optimenu.catalogue.stock import StockRow, read_stock
from optimenu.config.aboard import aboard
from optimenu.config.changes import Change
from optimenu.config.days import known_kinds, plan_days
from optimenu.config.keeping import storage_of
from optimenu.config.main_settings import ConfigBase, config_model
from optimenu.config.people import marks, person_of
from optimenu.config.roles import refused
from optimenu.config.sift import sift
from optimenu.config.table_plan import tables
from optimenu.config.toml_layers import Layers, read_layers
from optimenu.config.toml_spots import place_of
from optimenu.config.validate import validate
from optimenu.crew.acceptance import acceptances
from optimenu.crew.people import Person
from optimenu.crew.prescriptions import (
    Prescription,
    PrescriptionFile,
    PrescriptionTable,
    resolve,
)
from optimenu.crew.slips import absent, impossible
from optimenu.crew.tasting import Score, read_tasting
from optimenu.errors import Fault, InputFaults, nearest
from optimenu.files import shown_path
from optimenu.problem.calendar import Load
from optimenu.problem.problem import Problem
from optimenu.rules.avoid import prescription_faults
from optimenu.rules.registry import rule_classes

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping

    from optimenu.catalogue.losses import Losses
    from optimenu.rules.base import Rule

T = TypeVar("T")
ENERGY = "ENERC_KCAL_kcal"


@dataclass(frozen=True)
class Case:
    """A problem, the rules that speak in it, and the files it came from.

    Attributes
    ----------
    files : tuple of Path
        Every file read, the config first; the record of a run names each with its SHA-256.
    root : Path
        Folder that holds them all.
    changes : tuple of Change
        What files of the config, then of the prescriptions, change in those they extend; keys of the
        prescriptions begin with ``prescriptions``.
    scripts : Layers or None
        The file of prescriptions and those it extends.
    text : bytes or None
        What the config itself says, when it is not on disk.
    """

    problem: Problem
    rules: tuple[Rule[Any], ...]
    settings: ConfigBase
    files: tuple[Path, ...]
    root: Path
    layers: Layers
    changes: tuple[Change, ...] = ()
    scripts: Layers | None = None
    text: bytes | None = None

    def contents(self, path: Path) -> bytes:
        """What one of the files says."""
        return self.text if self.text is not None and path == self.files[0] else path.read_bytes()

    @property
    def least_first(self) -> bool:
        """Whether the liking of whoever likes the menu least goes before the mean."""
        return self.settings.goal.first == "least"

    def where(self, key: str) -> str:
        """File and line of a dotted config key, or of the closest one that is written.

        A key that begins with ``prescriptions.people`` is looked up in the prescriptions.
        """
        layers, keys = self._at(key)
        return "{}:{}".format(*layers.where(keys))

    def written(self, key: str) -> object:
        """Value of a dotted config key as it is written; None where it is not."""
        layers, keys = self._at(key)
        value: object = layers.values
        for k in keys:
            value = value.get(k) if isinstance(value, dict) else None
        return value

    def _at(self, key: str) -> tuple[Layers, list[str]]:
        keys = key.split(".")
        if keys[:2] == ["prescriptions", "people"] and self.scripts is not None:
            return self.scripts, keys[1:]
        return self.layers, keys


def load_case(path: Path, root: Path | None = None, text: bytes | None = None) -> Case:
    """Read a config and everything it names.

    Parameters
    ----------
    path : Path
        The config.
    root : Path or None
        Folder that no path may leave; None: see `toml_layers`.
    text : bytes or None
        What the config itself says, when it is not on disk.

    Raises
    ------
    InputFaults
        Every fault that one pass can find, each with file, line and remedy.
    """
    return replace(_Loader(read_layers(path, root, text)).case(), text=text)


class _Loader:
    def __init__(self, layers: Layers) -> None:
        self.layers = layers
        self.faults: list[Fault] = []
        self.files: list[Path] = list(layers.files)
        self.changes: list[Change] = list(layers.changes)
        self.scripts: tuple[Layers, Mapping[str, PrescriptionTable]] | None = None

    def case(self) -> Case:
        settings, faults = validate(config_model(), self.layers, (), self.layers.values)
        self.faults += faults
        self.faults += refused(config_model(), self.layers.changes)
        catalogue = self._file("catalogue", read_catalogue)
        names = self.layers.values.get("people", {})
        people = sorted(names) if isinstance(names, dict) else []
        scores: tuple[Score, ...] | None = None
        stock: tuple[StockRow, ...] | None = None
        losses: Losses | None = None
        if catalogue is not None:
            losses = self._file("storage", lambda p: read_losses(p, catalogue), "losses")
            scores = self._file("tasting", lambda p: read_tasting(p, catalogue, people))
            stock = self._file("stock", lambda p: read_stock(p, catalogue))
        scripts = self._prescriptions(people)
        if settings is None or catalogue is None or scores is None:
            raise InputFaults(self.faults)
        settings = aboard(settings, self._fault)
        scripts = {name: script for name, script in scripts.items() if name in settings.people}
        problem = self._problem(settings, catalogue, scores, stock, scripts, losses or {})
        if problem is None:
            raise InputFaults(self.faults)
        rules = self._rules(settings, problem)
        if self.faults:
            raise InputFaults(self.faults)
        files = tuple(dict.fromkeys(self.files))
        written = None if self.scripts is None else self.scripts[0]
        return Case(
            problem, rules, settings, files, self.layers.root, self.layers, tuple(self.changes), written
        )

    def _fault(self, keys: tuple[str, ...], message: str) -> None:
        self.faults.append(self.layers.fault(keys, f"{place_of(keys)}: {message}"))

    def _path(self, table: str, key: str = "file") -> Path | None:
        """File that a table names; its fault, if any, is kept."""
        value = self.layers.values.get(table)
        text = value.get(key) if isinstance(value, dict) else None
        if not isinstance(text, str):
            return None  # absent, or already a fault of the settings
        found = self.layers.path((table, key), text)
        if isinstance(found, Fault):
            self.faults.append(found)
            return None
        self.files.append(found)
        return found

    def _file(self, table: str, read: Callable[[Path], T], key: str = "file") -> T | None:
        path = self._path(table, key)
        if path is None:
            return None
        try:
            return read(path)
        except InputFaults as error:
            self.faults += error.faults
            return None

    def _prescriptions(self, people: list[str]) -> Mapping[str, Prescription]:
        path = self._path("prescriptions")
        if path is None:
            return {}
        try:
            layers = read_layers(path, self.layers.root)
        except InputFaults as error:
            self.faults += error.faults
            return {}
        self.files += layers.files
        found, faults = validate(PrescriptionFile, layers, (), layers.values)
        self.faults += faults
        self.faults += refused(PrescriptionFile, layers.changes)
        self.changes += [replace(c, keys=("prescriptions", *c.keys)) for c in layers.changes]
        if found is None:
            return {}
        out = {}
        for name, table in found.people.items():
            if name not in people:
                text = f'[people.{name}] no person "{name}" in the config.{nearest(name, people)}'
                self.faults.append(layers.fault(("people", name), text))
            script = resolve(table)
            stand_in = Person(name, name, "", 0, Decimal(0), Decimal(0), Decimal(0), {"": Decimal(0)}, script)
            for fault in prescription_faults(stand_in):
                text = f"{place_of(fault.keys)}: {fault.message}"
                self.faults.append(layers.fault(fault.keys, text))
            for keys, message in impossible(table):
                where = ("people", name, *keys)
                self.faults.append(layers.fault(where, f"{place_of(where)}: {message}"))
            out[name] = script
        self.scripts = layers, found.people
        return out

    # ---- the problem

    def _problem(
        self,
        settings: ConfigBase,
        catalogue: Catalogue,
        scores: tuple[Score, ...],
        stock: tuple[StockRow, ...] | None,
        scripts: Mapping[str, Prescription],
        losses: Losses,
    ) -> Problem | None:
        before = len(self.faults)
        whole = catalogue
        catalogue, unsifted = sift(whole, settings.catalogue)
        for keys, message in unsifted:
            self._fault(("catalogue", *keys), message)
        days, sequence, dates = plan_days(settings, scripts, self._fault)
        people = tuple(
            p
            for name in settings.people
            if (p := person_of(settings, name, scripts.get(name, Prescription()), self._fault)) is not None
        )
        marks(settings, self._fault)
        loads = self._loads(settings, stock)
        found = tables(settings, people, days, catalogue, self._fault)
        self._script_names(whole, settings.people)
        if len(self.faults) > before or not days:
            return None
        water: Any = getattr(settings, "water")  # noqa: B009  the rules' tables are added by name
        return Problem(
            name=settings.name,
            people=people,
            parties=found.parties,
            dates=dates,
            days=days,
            sequence=sequence,
            cycle_length=settings.stay.cycle_days,
            loads=loads,
            catalogue=catalogue,
            stock=None if stock is None else tuple(r for r in stock if r.item in catalogue.by_id),
            acceptance=acceptances(
                scores,
                [p.id for p in people],
                [i.id for i in catalogue.items],
                sample=settings.tasting.sample_weight,
                serving=settings.tasting.serving_weight,
            ),
            repeat_share=settings.goal.repeat_share,
            plain_water_ml=water.plain_ml,
            declared_kinds=tuple(known_kinds(settings)),
            clock=found.clock,
            sleep=found.sleep,
            away=found.away,
            shared_packs=found.shared_packs,
            plain_water_on=water.plain_ml_on,
            storage=None if settings.storage is None else storage_of(settings.storage, catalogue, losses),
        )

    def _loads(self, settings: ConfigBase, stock: tuple[StockRow, ...] | None) -> tuple[Load, ...]:
        stay = settings.stay
        tables = stay.loads
        loads = [Load(name, t.arrives) for name, t in tables.items()] or [Load("first", stay.first_date)]
        loads.sort(key=lambda load: (load.arrives, load.name))
        if loads[0].arrives > stay.first_date:
            text = f"no load has arrived on the first date {stay.first_date}"
            self._fault(("stay", "loads", loads[0].name, "arrives"), text)
        for when, count in Counter(load.arrives for load in loads).items():
            if count > 1:
                text = f"{count} loads arrive on {when}; make them one"
                self._fault(("stay", "loads"), text)
        names = [load.name for load in loads]
        if stock is not None and getattr(settings, "stock").unlisted == "refuse":  # noqa: B009
            for load in loads:
                if not any(row.load == load.name for row in stock):
                    text = f'no lot of load "{load.name}" in the stock table: nothing can be eaten from it; '
                    text += 'add its lots, or set stock.unlisted = "order"'
                    self._fault(("stay", "loads", load.name), text)
        for row in stock or ():
            if row.load not in names:
                file = self.layers.path(("stock", "file"), self.layers.values["stock"]["file"])
                text = f'load: no load "{row.load}" in [stay.loads].{nearest(row.load, names)}'
                if not isinstance(file, Fault):
                    self.faults.append(Fault(shown_path(file), row.line, text))
        return tuple(loads)

    def _script_names(self, catalogue: Catalogue, people: Collection[str]) -> None:
        """What a prescription names and the catalogue lacks is unsafe, so refused."""
        if self.scripts is None:
            return
        layers, tables = self.scripts
        for name, table in tables.items():
            for keys, message in absent(table, catalogue) if name in people else ():
                where = ("people", name, *keys)
                self.faults.append(layers.fault(where, f"{place_of(where)}: {message}"))

    def _rules(self, settings: ConfigBase, problem: Problem) -> tuple[Rule[Any], ...]:
        rules = []
        for table, cls in rule_classes().items():
            rule = cls(getattr(settings, table), problem)
            for fault in rule.faults():
                self._fault((table, *fault.keys), fault.message)
            for column, keys in rule.needs():
                if column not in problem.catalogue.columns:
                    known = sorted(problem.catalogue.columns)
                    text = f"the catalogue has no nutrient column {column}.{nearest(column, known)}"
                    self._fault((table, *keys), text)
            rules.append(rule)
        if not self.faults:
            self._free_energy(settings, problem, rules)
        return tuple(rules)

    def _free_energy(self, settings: ConfigBase, problem: Problem, rules: list[Rule[Any]]) -> None:
        """Refuse allowances worth more energy than the day's range is wide: no menu could hold both ends."""
        within = getattr(settings, "nutrients").energy.day_within  # noqa: B009
        free = [a for rule in rules for a in rule.allowances()]
        for k, party in enumerate(problem.parties):
            mine = [a for a in free if a.party == k]
            parts = [(a, problem.amount(problem.catalogue.by_id[a.item], ENERGY) or Decimal(0)) for a in mine]
            total = sum((a.most * kcal for a, kcal in parts), Decimal(0))
            need = min(
                problem.people[p].kcal_on(d.kind) * d.share for p in party.members for d in problem.cycle
            )
            width = 2 * within / 100 * need
            if mine and total > width:
                words = " + ".join(f"{a.most} x {kcal} {a.item}" for a, kcal in parts)
                text = (
                    f"{party.id} may freely eat {words} = {total} kcal a day, more than the day's range of "
                    f"{width.normalize():f} kcal; allow less, or widen nutrients.energy.day_within"
                )
                self._fault(tuple(mine[0].key.split(".")), text)
