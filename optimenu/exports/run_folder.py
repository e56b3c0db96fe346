"""A run as a folder: whole or not there at all.

::

    runs/highmoor-001/
      menu.csv, menu.parquet      one line per planned serving
      totals.csv, totals.parquet  every promise measured
      certificate.json            the bound's multipliers and cuts
      certificate_least.json      those of the bound on the least liking, where that goes first
      record.json                 inputs with SHA-256, versions, seed, options, value, bound, gap
      times.json                  how long it took; apart, so that the record is the same every time
      inputs/                     every file the plan was made from, paths as in the project

A later command reads the folder and needs nothing else.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import shutil
import tempfile
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimenu.config.case import Case, load_case
from optimenu.errors import Fault, InputFaults
from optimenu.files import shown_path
from optimenu.menu.menu import Menu
from optimenu.menu.read import read_menu
from optimenu.program.certificate import Certificate
from optimenu.solve.liking import Scale

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from optimenu.rules.base import Measure

TOTALS = (
    "rule", "key", "person", "day", "meal", "what", "label", "unit", "least", "most", "low", "high",
    "soft_price", "known_share", "proved", "amount_outside",
)  # fmt: skip
LATEST = "latest"
RECORD = "record.json"
CERTIFICATE, LEAST_CERTIFICATE = "certificate.json", "certificate_least.json"


@dataclass(frozen=True)
class Run:
    """A run read back.

    Attributes
    ----------
    record : dict
        As ``record.json`` holds it.
    """

    folder: Path
    case: Case
    menu: Menu
    scale: Scale
    certificate: Certificate | None
    record: Mapping[str, Any]
    least_certificate: Certificate | None = None

    def scaled_by(self) -> Case | None:
        """Return the case whose bests make the scale, read from this folder; None when that is its own."""
        name = self.record.get("scale_of", self.record["config"])
        if name == self.record["config"]:
            return None
        root = self.folder / "inputs"
        return load_case(root / name, root)


def table_bytes(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """CSV, UTF-8, one line end everywhere; None is empty, truth is yes or no."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow(["" if v is None else _word(v) for v in row])
    return out.getvalue().encode()


def _word(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return format(value, "f") if isinstance(value, Decimal) else value


def parquet_bytes(
    columns: Sequence[str], rows: Sequence[Sequence[object]], kinds: Mapping[str, type] | None = None
) -> bytes:
    """Return the same rows as Parquet.

    Parameters
    ----------
    kinds : mapping of column to str, int, or Decimal, optional
        Kind of every column, so that one without a value has it too; decimals become doubles. Without it
        decimals are text, exactly as written.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    def value(cell: object) -> object:
        if not isinstance(cell, Decimal):
            return cell
        return format(cell, "f") if kinds is None else float(cell)

    data = {name: [value(row[k]) for row in rows] for k, name in enumerate(columns)}
    of = {str: pa.string(), int: pa.int64(), Decimal: pa.float64()}
    schema = None if kinds is None else pa.schema([(name, of[kinds[name]]) for name in columns])
    sink = pa.BufferOutputStream()
    pq.write_table(pa.table(data, schema), sink)
    return bytes(sink.getvalue())


def total_rows(measures: Iterable[Measure], days: Sequence[str]) -> list[tuple[object, ...]]:
    """Every measure as a row of ``totals``; a run of days is written as their labels."""
    rows: list[tuple[object, ...]] = []
    for m in measures:
        o = m.origin
        day = days[o.day] if o.day >= 0 else ", ".join(days[d] for d in o.run)
        rows.append(
            (o.rule, o.key, o.person, day, o.meal, o.what, m.label, m.unit, m.least, m.most, m.low, m.high,
             m.soft, m.known, m.proved, m.amount)
        )  # fmt: skip
    return rows


def sha256(contents: bytes) -> str:
    """SHA-256 of a file's contents, hexadecimal."""
    return hashlib.sha256(contents).hexdigest()


def new_folder(parent: Path, stem: str) -> Path:
    """Return the next free folder ``stem-NNN`` under ``parent``; nothing is made yet."""
    taken = [
        int(tail)
        for p in (parent.iterdir() if parent.is_dir() else ())
        if p.name.startswith(f"{stem}-") and (tail := p.name[len(stem) + 1 :]).isdigit()
    ]
    return parent / f"{stem}-{max(taken, default=0) + 1:03d}"


def write_folder(
    folder: Path, files: Mapping[str, bytes], slowly: float = 0.0, *, latest: bool | None = True
) -> Path:
    """Write a run folder under a passing name, then rename it: it is whole or not there.

    Parameters
    ----------
    files : mapping of relative path to contents
    slowly : float
        Seconds to wait between files; lets a test kill the process in between.
    latest : bool or None
        False leaves the name of the latest run where it is: a plan cut short does not take its place. None
        never names one: the folder is a part of something larger.

    Raises
    ------
    InputFaults
        When the folder exists already, or cannot be written.
    """
    import time

    if folder.exists():
        raise InputFaults([Fault(shown_path(folder), 0, "exists already; name a new folder with --out")])
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        sweep(folder.parent)
        passing = Path(tempfile.mkdtemp(prefix=f".passing-{os.getpid()}-", dir=folder.parent))
        try:
            for name, contents in files.items():
                path = passing / name
                path.parent.mkdir(parents=True, exist_ok=True)
                with path.open("wb") as out:
                    out.write(contents)
                    out.flush()
                    os.fsync(out.fileno())
                if slowly:
                    time.sleep(slowly)
            passing.chmod(0o755)
            passing.rename(folder)
        except BaseException:
            shutil.rmtree(passing, ignore_errors=True)
            raise
        if latest or (latest is not None and not (folder.parent / LATEST).exists()):
            replace_file(folder.parent / LATEST, f"{folder.name}\n".encode())
    except OSError as error:
        text = f"cannot be written: {error.strerror or error}"
        raise InputFaults([Fault(shown_path(folder), 0, text)]) from error
    return folder


def replace_file(path: Path, contents: bytes) -> None:
    """Write a small file by way of another name, so that it is whole at any moment."""
    handle, name = tempfile.mkstemp(prefix=f".passing-{os.getpid()}-", dir=path.parent)
    with os.fdopen(handle, "wb") as out:
        out.write(contents)
        out.flush()
        os.fsync(out.fileno())
    Path(name).chmod(0o644)
    Path(name).replace(path)


def write_new(path: Path, contents: bytes) -> None:
    """Write a file that is not there yet; it is whole or not there at all.

    Raises
    ------
    InputFaults
        When there is something of that name already, or it cannot be written.
    """
    if path.exists() or path.is_symlink():
        raise InputFaults([Fault(shown_path(path), 0, "exists already and is not overwritten; name another")])
    try:
        sweep(path.parent)
        replace_file(path, contents)
    except OSError as error:
        text = f"cannot be written: {error.strerror or error}"
        raise InputFaults([Fault(shown_path(path), 0, text)]) from error


def sweep(parent: Path) -> None:
    """Remove what a killed process left half-written; one that still runs is left alone."""
    for stray in parent.glob(".passing-*"):
        owner = stray.name.split("-")[1]
        if owner.isdigit() and _alive(int(owner)):
            continue
        if stray.is_dir():
            shutil.rmtree(stray, ignore_errors=True)
        else:
            stray.unlink(missing_ok=True)


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def input_files(case: Case) -> dict[str, bytes]:
    """Every file the case was made from, under ``inputs/``, paths as in the project."""
    found = {f"inputs/{p.relative_to(case.root).as_posix()}": case.contents(p) for p in case.files}
    found["inputs/.optimenu-root"] = b""
    return found


def find_run(run: Path | None, parent: Path = Path("runs")) -> Path:
    """Return the folder meant: the one named, or the latest of ``runs``.

    Parameters
    ----------
    run : Path or None
        Folder of a run; or the small file ``latest`` beside it, which names it.

    Raises
    ------
    InputFaults
        When there is none.
    """
    if run is None or (run.name == LATEST and run.is_file()):
        parent = parent if run is None else run.parent
        try:
            run = parent / (parent / LATEST).read_text().strip()
        except OSError:
            text = "no run yet. Plan first: optimenu plan CONFIG"
            raise InputFaults([Fault(shown_path(parent), 0, text)]) from None
    if not (run / RECORD).is_file():
        text = "is not a run: no record.json in it. Plan first: optimenu plan CONFIG"
        raise InputFaults([Fault(shown_path(run), 0, text)])
    return run


def read_record(folder: Path) -> tuple[Mapping[str, Any], Scale]:
    """Read the record of a run folder: all of it, and the scale it states.

    Raises
    ------
    InputFaults
        When it cannot be read, or does not say of which config and which inputs it is, or whose best is what.
    """
    try:
        record = json.loads((folder / RECORD).read_text())
        scale = Scale(tuple(Decimal(p["best"]) for p in record["people"]))
        said = [record["config"], *record["inputs"].values(), record.get("scale_of", "")]
        if not all(b.is_finite() and b > 0 for b in scale.best) or not all(isinstance(s, str) for s in said):
            raise TypeError
    except (OSError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError):
        raise InputFaults([_unreadable(folder)]) from None
    return record, scale


def _unreadable(folder: Path) -> Fault:
    return Fault(shown_path(folder / RECORD), 0, "cannot be read")


def read_run(folder: Path) -> Run:
    """Read a run folder and nothing else.

    Raises
    ------
    InputFaults
        When a file is missing or unreadable, or an input differs from the record's SHA-256.
    """
    faults: list[Fault] = []
    record, scale = read_record(folder)
    for name, digest in record["inputs"].items():
        path = folder / "inputs" / name
        if not path.is_file():
            faults.append(Fault(shown_path(path), 0, "missing; the run cannot be read without it"))
        elif sha256(path.read_bytes()) != digest:
            text = "changed since the run was made; restore it, or plan again"
            faults.append(Fault(shown_path(path), 0, text))
    if faults:
        raise InputFaults(faults)
    root = folder / "inputs"
    case = load_case(root / record["config"], root)
    if len(scale.best) != len(case.problem.people):
        raise InputFaults([_unreadable(folder)])
    certificate, least = (_certificate(folder / name) for name in (CERTIFICATE, LEAST_CERTIFICATE))
    return Run(folder, case, read_menu(folder / "menu.csv"), scale, certificate, record, least)


def _certificate(path: Path) -> Certificate | None:
    if not path.is_file():
        return None
    try:
        return Certificate.from_json(path.read_text())
    except ValueError as error:
        raise InputFaults([Fault(shown_path(path), 0, str(error))]) from None


def menu_rows(menu: Menu) -> list[tuple[object, ...]]:
    """Lines of a menu as written: certain is yes or no."""
    return [(*row[:-1], "yes" if row[-1] else "no") for row in menu.rows()]
