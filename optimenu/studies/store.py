"""A trade on disk: what was asked, every point tried, the curve as tables.

::

    runs/station-trade-001/
      trade.json                   the question, the ends, every point tried; no times
      points.csv, points.parquet   the curve, one line a point
      curve.svg                    the same as a picture
      runs/volume-480.12/          each point is a run by itself: optimenu show, audit, order ...
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimenu.errors import Fault, InputFaults
from optimenu.exports.record import versions
from optimenu.exports.run_folder import replace_file, sweep, write_folder
from optimenu.files import shown_path
from optimenu.studies.bundle import inside
from optimenu.studies.curve import Point

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimenu.exports.record import Versions

FORMAT = 1
FILE, RUNS = "trade.json", "runs"


@dataclass(frozen=True)
class Question:
    """What is asked of a trade; another question needs another folder.

    Attributes
    ----------
    name : str
        Of the plan.
    config : str
        The config, relative to the project's root.
    inputs : mapping of str to str
        SHA-256 of every file it was read from.
    axes : tuple of str
    moves, seed : int
        Of each point.
    floor : str
        Part of the best liking that is kept where liking is no axis.
    versions : tuple
        Of what the same bytes rest on beside the inputs.
    """

    name: str
    config: str
    inputs: Mapping[str, str]
    axes: tuple[str, ...]
    moves: int
    seed: int
    floor: str
    versions: Versions = field(default_factory=versions)


class Store:
    """A trade's folder; what was found in it is not looked for again.

    Parameters
    ----------
    folder : Path
        Made with the first point.
    question : Question
    """

    def __init__(self, folder: Path, question: Question) -> None:
        self.folder = folder
        self.question = question
        self.facts: dict[str, Any] = {}
        self.points: dict[str, Point] = {}
        if folder.exists():
            self._read()

    def _read(self) -> None:
        data = read_trade(self.folder)
        asked = json.loads(json.dumps(asdict(self.question)))
        other = [k for k in asked if data["question"].get(k) != asked[k]]
        if other:
            text = f"holds another trade, not of the same {', '.join(other)}; name a new folder with --out"
            raise InputFaults([Fault(shown_path(self.folder), 0, text)])
        self.facts = data["facts"]
        self.points = {name: _point(p) for name, p in data["points"].items()}

    def keep(self, name: str, point: Point, files: Mapping[str, bytes] | None) -> None:
        """Keep a point, and its run."""
        if files is not None:
            runs = self.folder / RUNS
            if (runs / name).exists():
                # written just before the process was killed; the point was not told yet
                _remove(runs / name)
            write_folder(runs / name, files, latest=None)
        self.points[name] = point
        self.write(FILE, self._json())

    def write(self, name: str, contents: bytes) -> None:
        """Write a file of the folder, whole."""
        self.folder.mkdir(parents=True, exist_ok=True)
        sweep(self.folder)
        replace_file(self.folder / name, contents)

    def _json(self) -> bytes:
        data = {
            "format": FORMAT,
            "question": asdict(self.question),
            "facts": self.facts,
            "points": {name: _plain(p) for name, p in self.points.items()},
        }
        return (json.dumps(data, indent=1) + "\n").encode()

    def menu(self, name: str) -> Path:
        """Path of a point's menu."""
        return self.folder / RUNS / name / "menu.csv"


def read_trade(folder: Path) -> dict[str, Any]:
    """Return what ``trade.json`` of a folder says.

    Raises
    ------
    InputFaults
        When it is none.
    """
    try:
        data: dict[str, Any] = json.loads((folder / FILE).read_text())
        if data["format"] != FORMAT or not {"question", "facts", "points"} <= set(data):
            raise ValueError
        points_of(data)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, ArithmeticError):
        text = f"is no folder of a trade: no readable {FILE} in it"
        raise InputFaults([Fault(shown_path(folder), 0, text)]) from None
    return data


def points_of(data: Mapping[str, Any]) -> dict[str, Point]:
    """Every point tried, by name."""
    return {name: _point(p) for name, p in data["points"].items()}


def _remove(folder: Path) -> None:
    import shutil

    shutil.rmtree(folder)


def _plain(point: Point) -> dict[str, Any]:
    def text(values: Mapping[str, Decimal | None]) -> dict[str, str | None]:
        return {k: None if v is None else format(v, "f") for k, v in values.items()}

    return {
        "limits": text(point.limits),
        "end": point.end,
        "run": point.run,
        "amounts": text(point.amounts),
        "bound": None if point.bound is None else format(point.bound, "f"),
        "gap": None if point.gap is None else format(point.gap, "f"),
        "least": text(point.least),
    }


def _point(data: Mapping[str, Any]) -> Point:
    def number(value: Any) -> Decimal | None:
        return None if value is None else Decimal(value)

    return Point(
        limits={k: Decimal(v) for k, v in data["limits"].items()},
        end=data["end"],
        run=inside(data["run"]),
        amounts={k: number(v) for k, v in data["amounts"].items()},
        bound=number(data["bound"]),
        gap=number(data["gap"]),
        least={k: Decimal(v) for k, v in data["least"].items()},
    )
