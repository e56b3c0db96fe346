"""Command `model`: the plain integer model of a config as a file for other solvers."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def run(
    config: Annotated[Path, typer.Argument(help="The config, a TOML file.")],
    file: Annotated[Path, typer.Argument(help="File to write: name.mps (free MPS) or name.lp.")],
    as_json: Annotated[bool, typer.Option("--json", help="Write what was done as JSON to stdout.")] = False,
) -> None:
    """Write the plain integer model as MPS or LP, and beside it what its names mean (.names.csv).

    The goal is mean liking: maximised in LP; in MPS, which minimises, its negative. It has no constant.
    """
    import json
    from decimal import Decimal

    from optimenu.config.case import load_case
    from optimenu.errors import Fault, InputFaults
    from optimenu.exports.model import format_of, model_bytes, names_bytes, names_path
    from optimenu.exports.run_folder import write_new
    from optimenu.files import shown_path
    from optimenu.planning import whole
    from optimenu.program.build import build
    from optimenu.program.to_pulp import to_pulp
    from optimenu.solve.liking import scale_of
    from optimenu.views.console import error_console

    def aside(text: str) -> None:
        error_console().print(text, highlight=False)

    suffix, names = format_of(file), names_path(file)
    there = [p for p in (file, names) if p.exists() or p.is_symlink()]
    if there:
        text = "exists already and is not overwritten; name another"
        raise InputFaults(Fault(shown_path(p), 0, text) for p in there)
    case = load_case(config)
    aside("writing the limits as rows ...")
    scale = scale_of(case.problem, build(case.problem, case.rules))
    program = whole(case, scale)
    aside("writing the plain model ...")
    model = to_pulp(program)
    table = names_bytes(case.problem, program, model)
    write_new(file, model_bytes(model, suffix))
    write_new(names, table)
    unit = Decimal(model.goal_unit).scaleb(-program.goal_decimals)
    data = {
        "file": str(file),
        "names": str(names),
        "format": suffix[1:],
        "columns": model.problem.numVariables(),
        "rows": model.problem.numConstraints(),
        "sense": "minimise the negative" if suffix == ".mps" else "maximise",
        "constant": 0,
        "unit": format(unit, "f"),
        "digest": program.digest,
    }
    if as_json:
        print(json.dumps(data, indent=1))
        return
    aside(
        f"Written: {file} ({data['columns']:,} columns, {data['rows']:,} rows) and {names}. "
        f"Sense: {data['sense']}; no constant; one unit is {data['unit']} of mean liking."
    )
