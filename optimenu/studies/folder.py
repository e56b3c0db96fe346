"""The folder of a study: what was asked, what has been answered, and the table of it all.

::

    studies/lengths/
      study.json         which study of the inputs this is
      inputs.zip         every file the cases are made from, the study's own included
      answers/KEY.json   the answer of one case, by the SHA-256 of all that decides it
      results.csv        one line per case that is answered, in the order of the cases
      results.parquet    the same with numbers as numbers
      charts/            figures against the length of the stay, or another axis, as SVG
      times.json         seconds and place of each answer; apart, so that the rest is the same every time
      runs/NNNN/         runs of single cases, on demand
      runs.json          which answer each of those runs is of

Every file is whole at any moment. The folder needs nothing else.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimenu.errors import Fault, InputFaults
from optimenu.exports.chart import svg_bytes
from optimenu.exports.record import versions
from optimenu.exports.run_folder import (
    parquet_bytes,
    replace_file,
    sha256,
    sweep,
    table_bytes,
    write_folder,
)
from optimenu.files import shown_path
from optimenu.studies.bundle import inside, unpacked
from optimenu.studies.figures import KINDS, Figure
from optimenu.studies.study import read_study
from optimenu.studies.work import LASTING, Answer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimenu.exports.chart import Chart
    from optimenu.exports.record import Versions
    from optimenu.studies.cases import StudyCase
    from optimenu.studies.study import Study
    from optimenu.studies.work import End

FORMAT = 1
STUDY, INPUTS, ANSWERS, CHARTS = "study.json", "inputs.zip", "answers", "charts"
TIMES, RUNS, RUN_KEYS = "times.json", "runs", "runs.json"
RESULTS_CSV, RESULTS = "results.csv", "results.parquet"


@dataclass(frozen=True)
class Row:
    """A case with its answer; None while there is none."""

    case: StudyCase
    answer: Answer | None


class StudyFolder:
    """A folder that answers are kept in.

    Parameters
    ----------
    path : Path
        Made when something is first written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._times: dict[str, dict[str, Any]] = {}

    # ---- what was asked

    def begin(self, study: Study, packed: bytes) -> None:
        """Keep what is asked; answers that are there already stay.

        Raises
        ------
        InputFaults
            When it cannot be written, or something else lies there.
        """
        strange = self.path.exists() and not (self.path / STUDY).is_file()
        if strange and (not self.path.is_dir() or any(self.path.iterdir())):
            text = "is there already and is no study; name another folder with --out"
            raise InputFaults([Fault(shown_path(self.path), 0, text)])
        said = {
            "format": FORMAT,
            "name": study.asked.name,
            "study": study.path.relative_to(study.layers.root).as_posix(),
            "inputs_sha256": sha256(packed),
            "versions": dict(versions()),
        }
        try:
            (self.path / ANSWERS).mkdir(parents=True, exist_ok=True)
            for folder in (self.path, self.path / ANSWERS):
                sweep(folder)
            replace_file(self.path / INPUTS, packed)
            replace_file(self.path / STUDY, (json.dumps(said, indent=1) + "\n").encode())
        except OSError as error:
            text = f"cannot be written: {error.strerror or error}"
            raise InputFaults([Fault(shown_path(self.path), 0, text)]) from error

    def study(self, place: Path) -> tuple[Study, Versions]:
        """Read back what was asked, and the versions it was planned with.

        Parameters
        ----------
        place : Path
            An empty folder that the inputs are unpacked into; the study's paths lead there.

        Raises
        ------
        InputFaults
            When the folder holds no study, or a file of it was changed.
        """
        try:
            said = json.loads((self.path / STUDY).read_text())
            packed = (self.path / INPUTS).read_bytes()
            name, digest = inside(str(said["study"])), said["inputs_sha256"]
            made_with = tuple((str(k), str(v)) for k, v in said["versions"].items())
        except (OSError, ValueError, KeyError, TypeError):
            text = "is no study that can be read; begin one with: optimenu compare STUDY.toml"
            raise InputFaults([Fault(shown_path(self.path), 0, text)]) from None
        if sha256(packed) != digest:
            text = "changed since the study was begun; restore it, or run the study again"
            raise InputFaults([Fault(shown_path(self.path / INPUTS), 0, text)])
        try:
            unpacked(packed, place)
        except (OSError, ValueError) as error:
            text = f"cannot be unpacked: {error}; run the study again"
            raise InputFaults([Fault(shown_path(self.path / INPUTS), 0, text)]) from None
        return read_study(place / name, place), made_with

    # ---- what was answered

    def answer(self, key: str) -> Answer | None:
        """Return the answer kept under a key; one that cannot be read counts as none."""
        try:
            said = json.loads((self.path / ANSWERS / f"{key}.json").read_text())
            figures = {name: _figure(name, value) for name, value in said["figures"].items()}
            end: End = said["end"]
            if said["key"] != key or end not in LASTING:
                return None
            return Answer(key, end, str(said["reason"]), figures)
        except (OSError, ValueError, KeyError, TypeError, AttributeError, ArithmeticError):
            return None

    def keep(self, answer: Answer) -> None:
        """Keep an answer, whole or not at all; one that may be another the next time is not kept."""
        self._times[answer.key] = {"seconds": round(answer.seconds, 3), "where": answer.where}
        if answer.end not in LASTING:
            return
        said = {
            "format": FORMAT,
            "key": answer.key,
            "end": answer.end,
            "reason": answer.reason,
            "figures": {name: _written(value) for name, value in answer.figures.items()},
        }
        replace_file(self.path / ANSWERS / f"{answer.key}.json", (json.dumps(said, indent=1) + "\n").encode())

    # ---- runs of single cases

    def run(self, number: int, key: str) -> Path | None:
        """Return the folder of a case's run; None where there is none, or one of other inputs."""
        place = self._place(number)
        return place if self._run_keys().get(place.name) == key and place.exists() else None

    def keep_run(self, number: int, key: str, files: Mapping[str, bytes]) -> Path:
        """Keep the run of a case; one of other inputs gives way."""
        place, keys = self._place(number), self._run_keys()
        if keys.pop(place.name, None) is not None:
            # whoever is killed from here on leaves a run that counts as none
            self._write_json(RUN_KEYS, keys)
        if place.exists():
            shutil.rmtree(place)
        write_folder(place, files, latest=None)
        self._write_json(RUN_KEYS, {**keys, place.name: key})
        return place

    def _place(self, number: int) -> Path:
        return self.path / RUNS / f"{number:04d}"

    def _run_keys(self) -> dict[str, Any]:
        return self._read_json(RUN_KEYS)

    def _read_json(self, name: str) -> dict[str, Any]:
        """Return a table that is kept as JSON; empty where it cannot be read."""
        try:
            found = json.loads((self.path / name).read_text())
        except (OSError, ValueError):
            return {}
        return found if isinstance(found, dict) else {}

    def _write_json(self, name: str, table: Mapping[str, Any]) -> None:
        replace_file(self.path / name, (json.dumps(table, indent=1, sort_keys=True) + "\n").encode())

    # ---- the table

    def write(self, rows: Sequence[Row]) -> None:
        """Write the table of everything answered, and the times."""
        names, kinds = _columns(rows)
        lines = [_line(row, names) for row in rows if row.answer is not None]
        replace_file(self.path / RESULTS_CSV, table_bytes(list(kinds), lines))
        replace_file(self.path / RESULTS, parquet_bytes(list(kinds), lines, kinds))
        self._write_json(TIMES, self.times())

    def draw(self, charts: Mapping[str, Chart]) -> None:
        """Draw charts, by name."""
        (self.path / CHARTS).mkdir(exist_ok=True)
        for name, chart in charts.items():
            replace_file(self.path / CHARTS / f"{name}.svg", svg_bytes(chart))

    def times(self) -> Mapping[str, Mapping[str, Any]]:
        """Seconds and place of each answer by its key, as far as they are known."""
        return {**self._read_json(TIMES), **self._times}


def result_rows(rows: Sequence[Row]) -> list[dict[str, object]]:
    """Return the table as one mapping a case, answered or not."""
    names, kinds = _columns(rows)
    return [dict(zip(kinds, _line(row, names), strict=True)) for row in rows]


def _columns(rows: Sequence[Row]) -> tuple[list[str], dict[str, type]]:
    """Names of the axes, and every column with its kind."""
    names = list(dict.fromkeys(name for row in rows for name in row.case.labels))
    kinds: dict[str, type] = {"case": int, **dict.fromkeys(names, str), "end": str, "reason": str}
    # an axis that is called as a figure is keeps the name
    return names, {**kinds, **{n: k for n, k in KINDS.items() if n not in kinds}}


def _line(row: Row, names: Sequence[str]) -> tuple[object, ...]:
    answer = row.answer
    labels = (row.case.labels.get(name, "") for name in names)
    figures = (None if answer is None else answer.figures.get(name) for name in KINDS if name not in names)
    said = (None, None) if answer is None else (answer.end, answer.reason)
    return (row.case.number, *labels, *said, *figures)


def _written(value: Figure) -> Any:
    return format(value, "f") if isinstance(value, Decimal) else value


def _figure(name: str, value: Any) -> Figure:
    kind = KINDS[name]
    return None if value is None else kind(value)
