"""The file of a study: which config, which settings are varied, over which values.

::

    name = "How long can it be?"
    config = "station.toml"
    moves = 4_000_000
    [grid]
    days = { from = 15, to = 180, step = 15 }
    stowage.volume_l = [400, 505]
    [choices.crew.pair]
    aboard = ["ines", "bram"]
    [choices.crew.all]
    [[cases]]
    days = 90
    crew = "pair"

The grid is every combination of its axes and of the choices, of which each table is an axis; the cases
after it stand by themselves.
"""

from __future__ import annotations

import json
from collections.abc import Mapping  # at run time: settings' own hints are read where a key is unknown
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, ClassVar

from pydantic import Field

from optimenu.config.toml_layers import Layers, read_layers
from optimenu.config.validate import validate
from optimenu.errors import InputFaults
from optimenu.settings import Settings, Span, Text, Whole, Word, Writer

if TYPE_CHECKING:
    from pathlib import Path


class StudyFile(Settings):
    """A study: one config, or several, with settings varied."""

    elsewhere: ClassVar[Mapping[str, str]] = {
        "days": "goes into [grid] as an axis, or into a table of [[cases]]",
        "aboard": "goes into [grid] as an axis, into a table of [[cases]], or into a choice",
    }

    role: Writer | None = None
    """Who writes this file; decides which limits it may change. The planner when it does not say."""
    name: Text
    """Name of the study, as it stands above its report."""
    config: Text | None = None
    """The config that is varied, where neither grid nor case names another."""
    moves: Annotated[Whole, Span(least=1000)] | None = None
    """Moves of the search of each case; the config's own when left out."""
    seed: Whole | None = None
    """Start of the random numbers of each case; the config's own when left out."""
    grid: dict[str, Any] = Field(default_factory=dict)
    """Axes: days (the length of the stay), config, moves, seed, or any setting of the config by its dotted
    key; each an array of values, or { from, to, step } for numbers. Every combination is a case."""
    choices: dict[Word, dict[Word, dict[str, Any]]] = Field(default_factory=dict)
    """Settings changed together: [choices.AXIS.VALUE] holds the changes. Each AXIS is one of the grid's."""
    cases: tuple[dict[str, Any], ...] = ()
    """Cases by themselves: a table each, of one value for any of the names an axis may have."""


@dataclass(frozen=True)
class Study:
    """A study as read.

    Attributes
    ----------
    path : Path
        Its file; configs it names are relative to it.
    asked : StudyFile
    layers : Layers
        Where each of its settings stands; `Layers.root` holds every file of the study.
    """

    path: Path
    asked: StudyFile
    layers: Layers

    @property
    def role(self) -> Writer:
        """Who writes it."""
        return self.asked.role or "planner"


def read_study(path: Path, root: Path | None = None) -> Study:
    """Read the file of a study.

    Parameters
    ----------
    root : Path or None
        Folder that no path may leave; None: see `toml_layers`.

    Raises
    ------
    InputFaults
        Every fault of its settings at once; what the axes name is looked at by `cases_of`.
    """
    layers = read_layers(path, root)
    asked, faults = validate(StudyFile, layers, (), layers.values)
    if asked is None:
        raise InputFaults(faults)
    return Study(path.resolve(), asked, layers)


def study_schema_text() -> str:
    """Return the JSON Schema of a study as text, ending in a line end."""
    made = StudyFile.model_json_schema(by_alias=True)
    return json.dumps({"$schema": "https://json-schema.org/draft/2020-12/schema", **made}, indent=1) + "\n"
