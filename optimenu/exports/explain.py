"""Why there is no menu and what would give one: as JSON, and each way out as files to plan with."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from optimenu.explain.changed import files

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from optimenu.config.case import Case
    from optimenu.explain.conflict import Conflict
    from optimenu.explain.tell import Limit
    from optimenu.explain.ways import Way, WaysOut


def explain_data(
    case: Case, conflict: Conflict, ways: WaysOut, written: Mapping[str, Path] | None = None
) -> dict[str, Any]:
    """Return conflict and ways out as plain values; decimals are texts.

    Parameters
    ----------
    written : mapping, optional
        File of each way by its name, as `names` has them.
    """
    paths = written or {}
    return {
        "conflict": {
            "status": conflict.status,
            "person": conflict.person,
            "proof": conflict.proof,
            "irreducible": bool(conflict.members) and conflict.irreducible,
            "limits": [{**_limit(case, m.limit), "without": m.without} for m in conflict.members],
            "courses": [_limit(case, one) for one in conflict.patterns],
            "nearest_try_breaks": [_limit(case, one) for one in conflict.hints],
        },
        "role": ways.role,
        "moves": ways.moves,
        "stopped": ways.stopped,
        "notes": list(ways.notes),
        "ways": [_way(case, ways, way, paths.get(name)) for name, way in names(case, ways).items()],
        "others_could": [_way(case, ways, way, None) for way in ways.others],
    }


def names(case: Case, ways: WaysOut) -> dict[str, Way]:
    """Name each way out as the file that would hold it."""
    return {f"{case.files[0].stem}-way-{n}": way for n, way in enumerate(ways.ways, 1)}


def way_files(case: Case, ways: WaysOut, folder: Path) -> dict[str, bytes]:
    """Return the files of every way with which a menu was planned, by name, for a folder."""
    out: dict[str, bytes] = {}
    for name, way in names(case, ways).items():
        if way.state == "menu":
            out |= files(case, way.edits, way.who, folder, name)
    return out


def way_text(case: Case, way: Way) -> str:
    """Return the config of a way as it would be beside the config it changes."""
    made = files(case, way.edits, way.who, case.files[0].parent, "way")
    return made["way.toml"].decode()


def _way(case: Case, ways: WaysOut, way: Way, path: Path | None) -> dict[str, Any]:
    liking = ways.liking(way)
    return {
        "state": way.state,
        "role": way.who,
        "mean_liking": None if liking is None else f"{liking:.6f}",
        "changes": [
            {
                "words": str(e),
                "key": e.key,
                "place": case.where(e.key),
                "old": _plain(e.old),
                "new": _plain(e.new),
                "unit": e.unit,
            }
            for e in way.edits
        ],
        "config": way_text(case, way),
        "file": None if path is None else str(path),
    }


def _limit(case: Case, limit: Limit) -> dict[str, Any]:
    return {
        "rule": limit.rule,
        "key": limit.key,
        "person": limit.person,
        "what": limit.what,
        "words": limit.label,
        "low": _plain(limit.low),
        "high": _plain(limit.high),
        "unit": limit.unit,
        "written": limit.written,
        "who": limit.who,
        "place": limit.where,
        "days": [case.problem.days[d].label for d in limit.days],
        "items": list(limit.items),
        "refused_servings": limit.refusals,
        "reason": limit.reason,
    }


def _plain(value: object) -> object:
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, tuple):
        return _listed(value)
    return value


def _listed(values: Sequence[object]) -> list[object]:
    return [_plain(v) for v in values]
