"""A case with some edits made, and the files that say the same."""

from __future__ import annotations

import csv
import io
import os
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from optimenu.catalogue.stock import STOCK_COLUMNS, StockRow
from optimenu.config.variant import variant, variant_text
from optimenu.errors import Fault, InputFaults

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from optimenu.config.case import Case
    from optimenu.crew.people import Person
    from optimenu.problem.problem import Problem
    from optimenu.rules.edits import Edit
    from optimenu.settings import Writer

_STOCK_SETTINGS = ("stock.file", "stock.unlisted")
_SCRIPTS = "prescriptions.people."
LOT = "to_be_had"
"""Lot of packs that a way out asks for; whoever has them writes their own."""


def changed(case: Case, edits: Sequence[Edit], role: Writer) -> Case:
    """Return the case as it would be with some edits made by somebody.

    Raises
    ------
    InputFaults
        When the edits are not that role's to make, or do not fit the rest.
    """
    if any(map(_is_script, edits)) and role != "physician":
        faults = [case.layers.fault(("prescriptions",), f"{e.key}: only the physician may change it")
                  for e in edits if _is_script(e)]  # fmt: skip
        raise InputFaults(faults)
    settings = {e.key: e.new for e in edits if not _is_stock(e) and not _is_script(e)}
    out = variant(case.files[0], settings, role=role, root=case.root) if settings else case
    problem = out.problem
    if any(map(_is_stock, edits)):
        problem = replace(problem, stock=(*(problem.stock or ()), *_lots(problem, edits)))
    if any(map(_is_script, edits)):
        problem = replace(problem, people=tuple(_prescribed(p, edits) for p in problem.people))
    if problem is out.problem:
        return out
    return replace(out, problem=problem, rules=tuple(type(r)(r.settings, problem) for r in out.rules))


def files(case: Case, edits: Sequence[Edit], role: Writer, folder: Path, name: str) -> Mapping[str, bytes]:
    """Return files for a folder that make the edits, by name: a config, and what it names."""
    out: dict[str, bytes] = {}
    settings: dict[str, Any] = {e.key: e.new for e in edits if not _is_stock(e) and not _is_script(e)}
    if any(map(_is_stock, edits)):
        settings["stock.file"] = f"{name}-stock.csv"
        out[settings["stock.file"]] = _table((*(case.problem.stock or ()), *_lots(case.problem, edits)))
    if any(map(_is_script, edits)):
        base = _named(case, "prescriptions", "file")
        settings["prescriptions.file"] = f"{name}-prescriptions.toml"
        own = {e.key.removeprefix("prescriptions."): e.new for e in edits if _is_script(e)}
        out[settings["prescriptions.file"]] = variant_text(_from(folder, base), own, role=role)
    out[f"{name}.toml"] = variant_text(_from(folder, case.files[0]), settings, role=role)
    return out


def _named(case: Case, *keys: str) -> Path:
    """File that a setting names, wherever the file stands that says so."""
    value = case.layers.values
    for key in keys:
        value = value[key]
    path = case.layers.path(keys, str(value))
    if isinstance(path, Fault):
        raise InputFaults([path])
    return path


def _from(folder: Path, file: Path) -> str:
    return os.path.relpath(file.resolve(), folder.resolve()).replace(os.sep, "/")


def _is_stock(edit: Edit) -> bool:
    return edit.key.startswith("stock.") and edit.key not in _STOCK_SETTINGS


def _is_script(edit: Edit) -> bool:
    return edit.key.startswith(_SCRIPTS)


def _lots(problem: Problem, edits: Sequence[Edit]) -> list[StockRow]:
    """Lots of the packs asked for, good until the last date their load feeds anybody."""
    lots = []
    for edit in filter(_is_stock, edits):
        _, name, item = edit.key.split(".", 2)
        load = next(one for one in problem.loads if one.name == name)
        last = problem.dates[-1]
        lots.append(StockRow(item, name, LOT, load.arrives, last, last, edit.new - edit.old, "released", 0))
    return lots


def _table(rows: Sequence[StockRow]) -> bytes:
    """Stock as CSV; an unknown date stays empty."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(STOCK_COLUMNS)
    for row in rows:
        cells = [getattr(row, name) for name in STOCK_COLUMNS]
        writer.writerow(["" if v is None else v.isoformat() if hasattr(v, "isoformat") else v for v in cells])
    return out.getvalue().encode()


def _prescribed(person: Person, edits: Sequence[Edit]) -> Person:
    """The person with limits as a physician's edits have them."""
    script = person.prescription
    limits = {column: dict(bands) for column, bands in script.limits.items()}
    for edit in filter(_is_script, edits):
        _, _, who, _, column, span, side = edit.key.split(".")
        if who == person.id:
            low, high = limits[column][span]
            limits[column][span] = (edit.new, high) if side == "low" else (low, edit.new)
    return replace(person, prescription=replace(script, limits=limits))
