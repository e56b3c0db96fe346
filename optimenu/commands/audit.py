"""Command `audit`: a menu against every limit, and its bound against its multipliers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.audit.menu import Report
    from optimenu.planning import Proof
    from optimenu.rules.base import Breach


def run(
    run_folder: Annotated[
        Path | None, typer.Argument(metavar="[RUN]", help="Folder of a run; by default the latest.")
    ] = None,
    menu: Annotated[
        Path | None, typer.Option(help="Another menu (CSV or Parquet) for the same case.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Write what was found as JSON to stdout.")] = False,
) -> None:
    """Audit a run: every limit from the tables in exact arithmetic, the bound from its multipliers."""
    from dataclasses import replace

    from optimenu.audit.menu import audit_menu
    from optimenu.errors import AuditFailed
    from optimenu.exports.run_folder import find_run, read_run
    from optimenu.menu.read import read_menu
    from optimenu.planning import prove_run, scale_faults
    from optimenu.views.console import error_console, output_console

    folder = find_run(run_folder)
    error_console().print(f"auditing {folder} ...", highlight=False)
    found = read_run(folder)
    lines = found.menu if menu is None else read_menu(menu)
    report = audit_menu(found.case.problem, found.case.rules, lines, found.scale)
    certificates = found.least_certificate, found.certificate
    proof = prove_run(found.case, found.scale, certificates, report, found.record, planned=menu is None)
    base = found.scaled_by()
    if base is not None:
        proof = replace(proof, faults=(*proof.faults, *scale_faults(base, found.scale)))
    if as_json:
        import json

        labels = [d.label for d in found.case.problem.days]
        print(json.dumps(_data(report, proof, labels), indent=1))
    else:
        from optimenu.views.audit import audit_page

        output_console().print(audit_page(report, proof.faults, proof.proved, proof.least))
    count = len(report.breaches) + len(proof.faults)
    if count:
        failed = AuditFailed(f"audit failed: {count} {'fault' if count == 1 else 'faults'}")
        failed.told_as_json = as_json
        raise failed


def _data(report: Report, proof: Proof, labels: Sequence[str]) -> dict[str, Any]:
    least: dict[str, Any] = {}
    if proof.least is not None:
        least = {
            "least_liking": str(report.least) if report.holds else None,
            "least_bound_proved": str(proof.least),
        }
    return {
        "holds": report.holds and not proof.faults,
        "measured": len(report.measures),
        # a menu that breaks hard limits has no value
        "value": str(report.value) if report.holds else None,
        "bound_proved": None if proof.proved is None else str(proof.proved),
        **least,
        "faults": list(proof.faults),
        "breaches": [_breach(b, labels) for b in report.breaches],
        "soft_limits_missed": [_breach(b, labels) for b in report.soft],
    }


def _breach(b: Breach, labels: Sequence[str]) -> dict[str, Any]:
    o = b.origin
    return {
        "rule": o.rule,
        "key": o.key,
        "person": o.person,
        "day": labels[o.day] if o.day >= 0 else "",
        "meal": o.meal,
        "what": o.what,
        "amount": str(b.amount),
        "unit": b.unit,
        "text": b.text,
    }
