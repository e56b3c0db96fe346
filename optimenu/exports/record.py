"""The record of a run: what went in, what was asked, what came out. It holds no times."""

from __future__ import annotations

import hashlib
import json
import platform
from functools import cache
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from optimenu.exports.run_folder import (
    CERTIFICATE,
    LEAST_CERTIFICATE,
    RECORD,
    TOTALS,
    input_files,
    menu_rows,
    parquet_bytes,
    sha256,
    table_bytes,
    total_rows,
)
from optimenu.menu.menu import COLUMNS, beside
from optimenu.planning import claimed
from optimenu.rules.nutrient_settings import not_assessed

if TYPE_CHECKING:
    from collections.abc import Mapping
    from decimal import Decimal

    from optimenu.audit.menu import Report
    from optimenu.config.case import Case
    from optimenu.menu.menu import Menu
    from optimenu.planning import Options, Planned
    from optimenu.solve.outcome import First

FORMAT = 1
Versions = tuple[tuple[str, str], ...]


@cache
def versions() -> Versions:
    """Return what the same bytes rest on beside the inputs: Python and the libraries that count."""
    names = ("optimenu", "numpy", "numba", "highspy", "pulp")
    python = ".".join(platform.python_version_tuple()[:2])
    return (("python", python), *((name, version(name)) for name in names))


def inputs_of(case: Case) -> dict[str, str]:
    """Return the SHA-256 of every file a case was read from, by its path inside the project."""
    return {p.relative_to(case.root).as_posix(): sha256(case.contents(p)) for p in sorted(case.files)}


def record(planned: Planned, options: Options) -> dict[str, Any]:
    """Return the record of a plan that found a menu.

    The same inputs give the same bytes, unless it ended by the clock or by the user: see ``ended``.
    """
    case, outcome, report = planned.case, planned.outcome, planned.report
    if report is None or outcome.value is None or outcome.bound is None:
        msg = "a record needs a menu"
        raise ValueError(msg)
    settings: Any = case.settings
    gap = outcome.gap
    return {
        "format": FORMAT,
        "name": case.problem.name,
        "config": case.files[0].relative_to(case.root).as_posix(),
        "inputs": inputs_of(case),
        "versions": dict(versions()),
        "options": {
            "method": options.method,
            "moves": options.moves,
            "seed": options.seed,
            "gap_asked": options.gap,
            "ends_at_gap": options.ends_at_gap,
            "seconds": options.seconds,
            "start": None if options.start is None else started_from(options.start, planned.left_out),
        },
        "ended": outcome.ended,
        "exact_steps": outcome.steps,
        "beside_start": None
        if options.start is None or planned.menu is None
        else beside_start(options.start, planned.menu),
        "program": {
            "digest": planned.program.digest,
            "columns": planned.program.n,
            "rows": planned.program.m,
            "nonzeros": len(planned.program.row_coef),
        },
        "value": str(claimed(outcome.value)),
        "bound": str(claimed(outcome.bound)),
        "gap": None if gap is None else f"{float(gap):.9f}",
        "gap_reached": outcome.reached,
        "gap_closed": outcome.closed,
        "scale_of": (planned.given.config if planned.given else case.files[0])
        .relative_to(case.root)
        .as_posix(),
        **({} if outcome.first is None else {"least": least_first(planned, outcome.first)}),
        "price_of_soft_limits": str(report.price),
        "people": [
            {
                "id": liked.person,
                "best": str(best),
                "price": str(price),
                "worth": str(liked.worth),
                "liking": f"{liked.liking:.6f}",
                "mean_acceptance": f"{liked.acceptance:.2f}",
            }
            for liked, best, price in zip(report.liked, planned.scale.best, planned.scale.prices, strict=True)
        ],
        "soft_limits_missed": [b.text for b in report.soft],
        "not_proved": not_proved(report),
        "not_assessed": list(not_assessed(settings.nutrients, case.problem)),
    }


def least_first(planned: Planned, first: First) -> dict[str, Any]:
    """Return what came of the least liking, and at which prices of worth both bounds are proved."""
    people = [p.id for p in planned.case.problem.people]
    gap = first.gap
    return {
        "value": str(claimed(first.value)),
        "bound": str(claimed(first.bound)),
        "gap": None if gap is None else f"{float(gap):.9f}",
        "gap_reached": first.reached,
        "gap_closed": first.closed,
        "prices": dict(zip(people, map(plain, first.prices), strict=True)),
        "mean_prices": dict(zip(people, map(plain, first.mean_prices), strict=True)),
        "mean_factor": plain(first.factor),
    }


def plain(value: Decimal) -> str:
    """Return a decimal as written, never with an exponent."""
    return format(value, "f")


def started_from(menu: Menu, left_out: int) -> dict[str, Any]:
    """Return which menu a search started from: its lines, those left out, SHA-256 of it as CSV."""
    lines = table_bytes(COLUMNS, menu_rows(menu))
    return {"lines": len(menu.lines), "left_out": left_out, "sha256": hashlib.sha256(lines).hexdigest()}


def beside_start(earlier: Menu, menu: Menu) -> dict[str, int]:
    """Return how many lines of the menu started from stayed where they were, went, and are new."""
    found = beside(earlier, menu)
    return {"stayed": found.stayed, "gone": found.gone, "new": found.new}


def not_proved(report: Report) -> list[dict[str, str]]:
    """Ceilings that rest on unknown values, by person and nutrient, with the least share that is known."""
    least: dict[tuple[str, str], Decimal] = {}
    for m in report.measures:
        if not m.proved and m.high is not None:
            key = (m.origin.person, m.origin.what)
            least[key] = min(m.known, least.get(key, m.known))
    return [
        {"person": person, "what": what, "known_share": f"{share:.4f}"}
        for (person, what), share in sorted(least.items())
    ]


def run_files(planned: Planned, options: Options, times: Mapping[str, float]) -> dict[str, bytes]:
    """Every file of a run folder, by relative path.

    Parameters
    ----------
    times : mapping of phase to seconds
        Kept in a file of its own.
    """
    if planned.menu is None or planned.report is None or planned.outcome.certificate is None:
        msg = "a run needs a menu"
        raise ValueError(msg)
    first = planned.outcome.first
    days = [d.label for d in planned.case.problem.days]
    lines = menu_rows(planned.menu)
    totals = total_rows(planned.report.measures, days)
    return {
        **input_files(planned.case),
        "menu.csv": table_bytes(COLUMNS, lines),
        "menu.parquet": parquet_bytes(COLUMNS, lines),
        "totals.csv": table_bytes(TOTALS, totals),
        "totals.parquet": parquet_bytes(TOTALS, totals),
        CERTIFICATE: planned.outcome.certificate.to_json().encode(),
        **({} if first is None else {LEAST_CERTIFICATE: first.certificate.to_json().encode()}),
        RECORD: (json.dumps(record(planned, options), indent=1) + "\n").encode(),
        "times.json": (
            json.dumps({phase: round(seconds, 3) for phase, seconds in times.items()}, indent=1) + "\n"
        ).encode(),
    }
