"""Entry point: puts the commands together and turns our errors into a few lines and an exit code."""

from __future__ import annotations

import json
import sys

import typer

from optimenu.commands import (
    audit,
    check,
    compare,
    drill,
    explain,
    export_model,
    order,
    plan,
    rules,
    schema,
    sheet,
    show,
    trade,
)
from optimenu.errors import InputFaults, OptimenuError

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Menu cycles for small crews far from any shop: planned, proved and handed over.",
    epilog=(
        "Exit codes: 0 menu found or all well, 1 internal fault, 2 faults in the input, 3 proved impossible, "
        "4 undecided, 5 audit failed, 130 interrupted."
    ),
)
for name, module in (
    ("plan", plan), ("check", check), ("show", show), ("audit", audit), ("explain", explain),
    ("trade", trade), ("compare", compare), ("sheet", sheet), ("order", order), ("drill", drill),
    ("model", export_model),
    ("rules", rules), ("schema", schema),
):  # fmt: skip
    app.command(name)(module.run)


def report(error: OptimenuError, *, as_json: bool) -> None:
    """Tell an expected error: lines to stderr, and as JSON to stdout when JSON was asked for."""
    print(error, file=sys.stderr)
    faults = error.faults if isinstance(error, InputFaults) else ()
    if faults:
        word = "fault" if len(faults) == 1 else "faults"
        print(f"{len(faults)} {word}. Nothing was solved or written.", file=sys.stderr)
    if as_json and not error.told_as_json:
        data = {
            "error": type(error).__name__,
            "exit_code": error.exit_code,
            "message": str(error),
            **error.details,
            "faults": [{"file": f.file, "line": f.line, "message": f.message} for f in faults],
        }
        print(json.dumps(data, indent=1))


def main() -> None:
    """Run the command line."""
    try:
        app()
    except OptimenuError as error:
        report(error, as_json="--json" in sys.argv[1:])
        sys.exit(error.exit_code)
    except BrokenPipeError:
        # the reader has gone; what is left has no one to read it
        sys.stderr.close()
        sys.exit(0)
