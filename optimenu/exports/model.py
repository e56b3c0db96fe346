"""The direct model as a file other solvers read, and a table that says what its names mean.

MPS files hold minimisation, so there the objective is the negative of the goal; LP files say
``Maximize``. Neither has a constant. One unit of the objective is ``goal_unit`` of mean liking, and
figures are written with 13 (MPS) or 12 (LP) significant digits: a menu read back is to be audited.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from optimenu.errors import Fault, InputFaults
from optimenu.exports.run_folder import table_bytes
from optimenu.files import shown_path
from optimenu.menu.menu import day_numbers
from optimenu.problem.problem import ALLOWANCE
from optimenu.program.program import ANY, HARD, IMPLIED

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from optimenu.problem.problem import Problem
    from optimenu.program.program import Program
    from optimenu.program.to_pulp import PulpModel

FORMATS = (".mps", ".lp")
NAMES = (
    "name", "part", "means", "party", "person", "block", "day", "meal", "course", "item", "rule", "key",
    "what",
)  # fmt: skip


def model_bytes(model: PulpModel, suffix: str) -> bytes:
    """Return the model in free MPS or in LP, UTF-8.

    Parameters
    ----------
    suffix : str
        ``.mps`` or ``.lp``.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"model{suffix}"
        model.write(path)
        return path.read_bytes()


def names_bytes(problem: Problem, program: Program, model: PulpModel) -> bytes:
    """Return what each name of the model's columns and rows means, as CSV.

    Columns: name; part (column, row); means (servings, packs, used, use, breach, limit, uses); then where
    it belongs, empty where that says nothing. ``day`` counts within the block from 1.
    """
    used = {v.name for v in model.problem.variables()} | set(model.problem.constraints)
    rows = [
        tuple(words.get(column, "") for column in NAMES)
        for words in (*_columns(problem, program), *_groups(problem, program), *_rows(problem, program))
        if words["name"] in used
    ]
    return table_bytes(NAMES, rows)


def _columns(problem: Problem, program: Program) -> Iterator[Mapping[str, object]]:
    place = {number: key for key, number in day_numbers(problem).items()}
    for c in range(program.n_menu):
        day = problem.days[int(program.day[c])]
        block, within = place[day.number]
        m, k = int(program.meal[c]), int(program.course[c])
        yield {
            "name": f"c{c}",
            "part": "column",
            "means": "servings",
            "party": problem.parties[int(program.party[c])].id,
            "block": block,
            "day": within,
            "meal": day.meals[m].name if m >= 0 else "",
            "course": day.meals[m].courses[k].name if m >= 0 else ALLOWANCE,
            "item": problem.catalogue.items[int(program.item[c])].id,
        }
    for k, kind in enumerate(program.extra_kind.tolist()):
        sources = program.extra_column[program.extra_start[k] : program.extra_start[k + 1]]
        yield {
            "name": f"c{program.n_menu + k}",
            "part": "column",
            "means": "used" if kind == ANY else "packs",
            "party": _only([problem.parties[p].id for p in np.unique(program.party[sources])]),
            "item": _only([problem.catalogue.items[i].id for i in np.unique(program.item[sources])]),
        }


def _groups(problem: Problem, program: Program) -> Iterator[Mapping[str, object]]:
    """Uses whose worth falls: the row that counts them, and a column for the first, second ... use."""
    for g in range(program.n_groups):
        members = program.group_column[program.group_start[g] : program.group_start[g + 1]]
        words = {
            "person": problem.people[int(program.group_person[g])].id,
            "item": _only([problem.catalogue.items[i].id for i in np.unique(program.item[members])]),
        }
        yield {"name": f"g{g}", "part": "row", "means": "uses", **words}
        for k in range(int(program.deduct_start[g + 1] - program.deduct_start[g])):
            yield {"name": f"g{g}_{k}", "part": "column", "means": "use", **words}


def _rows(problem: Problem, program: Program) -> Iterator[Mapping[str, object]]:
    place = {number: key for key, number in day_numbers(problem).items()}
    for r, origin in enumerate(program.origins):
        if program.row_kind[r] == IMPLIED:
            continue
        block, within = place[origin.day] if origin.day >= 0 else ("", "")
        words = {
            "person": origin.person,
            "block": block,
            "day": within,
            "meal": origin.meal,
            "rule": origin.rule,
            "key": origin.key,
            "what": origin.what,
        }
        yield {"name": f"r{r}", "part": "row", "means": "limit", **words}
        yield {"name": f"r{r}_low", "part": "row", "means": "limit", **words}
        if program.row_price[r] != HARD:
            for side in ("over", "under"):
                yield {"name": f"s{r}_{side}", "part": "column", "means": "breach", **words}


def _only(names: list[str]) -> str:
    """Return the one name, or nothing where several share it."""
    return names[0] if len(names) == 1 else ""


def names_path(path: Path) -> Path:
    """Where the table of names goes: beside the model."""
    return path.with_name(f"{path.name}.names.csv")


def format_of(path: Path) -> str:
    """Return the format a file's name asks for.

    Raises
    ------
    InputFaults
        For a name that ends in neither ``.mps`` nor ``.lp``.
    """
    suffix = path.suffix.lower()
    if suffix not in FORMATS:
        raise InputFaults([Fault(shown_path(path), 0, "no such format: name a file ending in .mps or .lp")])
    return suffix
