"""The page that closes a plan: liking, what is full, what was missed, how good it is, cautions."""

from __future__ import annotations

from collections import defaultdict
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING, Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimenu.nutrition.covered import YOUNGEST
from optimenu.nutrition.intakes import reference_intakes
from optimenu.nutrition.nutrients import BY_COLUMN
from optimenu.rules.base import plain
from optimenu.views.audit import breach_lines, soft_lines
from optimenu.views.console import BELOW, STYLES, cell, heading, marked, marks, sign
from optimenu.views.nutrient_words import measure_name
from optimenu.views.totals import fullness, limits_table

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence
    from datetime import date

    from optimenu.audit.menu import Report
    from optimenu.problem.problem import Problem

CAUTIONS = (
    "Check allergens on the pack itself; a recipe may change between lots.",
    "A licensed dietitian and a physician judge this plan; it does not replace them.",
    "Local food-safety codes hold. Where they say nothing else: hot food held at 57 °C or above, cold food "
    "at 5 °C or below; discard what stood 4 hours without temperature control (FDA Food Code, 3-501.16 and "
    "3-501.19).",
    "A pack kept open is finished or discarded within the hours on the pack; the plan counts on new ones.",
)
AT_PRODUCTION = (
    "Nutrient values are those at production: no table [storage] says how the food is kept, so losses of "
    "vitamins in storage are not counted."
)
COUNTED = (
    "Vitamins count after losses in storage, at mean rates that spread widely between foods and packs; where "
    "nobody states a loss, food over 30 days old counts for nothing in a floor and in full in a ceiling. A "
    "dietitian judges whether they fit; see the sources in optimenu/nutrition/data."
)
LONG_STAY = 90
"""Dates from which a plan that counts no losses says so first; common practice, no source."""
_KEPT = ("stowage", "water", "condiments", "requests", "variety", "cost")
MOST_BREACHES = 10


def summary(
    problem: Problem,
    report: Report,
    record: Mapping[str, Any],
    lost: Sequence[RenderableType] = (),
) -> RenderableType:
    """Return the closing page of a plan.

    Parameters
    ----------
    report : Report
        Audit of the menu; the value shown is the audit's own.
    record : mapping
        As ``record.json`` holds it; the bound and its gap come from it.
    lost : sequence of renderable
        What storage takes, as ``views.losses`` writes it.
    """
    shared = [m for m in report.measures if m.section in _KEPT and m.origin.day < 0]
    shared.sort(key=lambda m: (_KEPT.index(m.section), -fullness(m), m.label))
    parts: list[RenderableType] = [
        heading(problem.name),
        cell(
            f"{_long(problem.dates[0])} to {_long(problem.dates[-1])}: {many(len(problem.dates), 'date')}, "
            f"a cycle of {many(problem.cycle_length, 'day')}, "
            + ("1 person" if len(problem.people) == 1 else f"{len(problem.people)} people")
            + (f", {many(len(problem.reserve), 'reserve day')} each" if problem.reserve else "")
        ),
        *not_counted(problem),
        heading("Liking"),
        liking_table(problem, report),
        cell(
            "Liking: worth of the menu as a part of the best that the person's own limits allow.",
            STYLES["quiet"],
        ),
    ]
    if shared:
        parts += [heading("Limits over the stay"), limits_table(shared)]
    if report.soft:
        parts.append(heading("Soft limits missed, at their price"))
        parts += soft_lines(report)
    parts += lost
    parts += _not_judged(problem, report, record)
    parts += [heading("How good it is"), *closing(report, record), cautions(problem)]
    return Group(*parts)


def liking_table(problem: Problem, report: Report) -> Table:
    """Liking and mean acceptance of each person."""
    letters = marks(problem.people)
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("person", overflow="fold")
    table.add_column("liking", justify="right")
    table.add_column("mean acceptance", justify="right")
    for person, liked in zip(problem.people, report.liked, strict=True):
        table.add_row(
            letters[person.id].text(name=True),
            cell(f"{liked.liking * 100:.1f} %"),
            cell(f"{liked.acceptance:.2f} of 9"),
        )
    return table


def _long(when: date) -> str:
    return f"{when.day} {when:%B %Y}"


def many(count: int, word: str) -> str:
    """Return a count with its word, in the plural unless it is one."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _not_judged(problem: Problem, report: Report, record: Mapping[str, Any]) -> list[RenderableType]:
    """Ceilings that rest on unknown values, and nutrients the catalogue has no values of."""
    unproved: dict[str, dict[str, Decimal]] = defaultdict(dict)
    for m in report.measures:
        if not m.proved and m.high is not None:
            known = unproved[measure_name(m)]
            known[m.origin.person] = min(m.known, known.get(m.origin.person, m.known))
    parts: list[RenderableType] = []
    if unproved:
        parts.append(
            cell(
                "Ceilings not proved: some items do not state the nutrient. Share of what is eaten, by mass, "
                "that does, on the dates where it is least:"
            )
        )
        for name, known in unproved.items():
            shares = ", ".join(
                f"{p.name} {(known[p.id] * 100).quantize(Decimal(1), ROUND_FLOOR)} %"
                for p in problem.people
                if p.id in known
            )
            parts.append(Padding(cell(f"{name}: {shares}"), (0, 0, 0, 2)))
    if record["not_assessed"]:
        missing = "; ".join(column_name(c) for c in record["not_assessed"])
        parts.append(cell(f"Not assessed, because the catalogue does not state them: {missing}."))
    return [heading("Not judged"), *(Padding(p, (0, 0, 0, 2)) for p in parts)] if parts else []


def column_name(column: str) -> str:
    """Name of a nutrient column a dietitian reads; its tag where there is none."""
    if column == "WATER_g":
        return "Fluid"
    if column in BY_COLUMN:
        return BY_COLUMN[column].name
    # every adult has the same rows, with the same names; only the amounts differ
    names = {i.column: i.name for i in reference_intakes("female", YOUNGEST)}
    return names.get(column, column.rsplit("_", 1)[0])


def closing(report: Report, record: Mapping[str, Any]) -> list[RenderableType]:
    """Say what was found and how much better at most any menu could be."""
    if not report.holds:
        return broken(report)
    value, bound = report.value, Decimal(record["bound"])
    least = record.get("least")
    lines: list[RenderableType] = [
        cell(f"The menu as planned meets every hard limit: {len(report.measures):,} promises were measured."),
        *([] if least is None else least_lines(report, least)),
        cell(
            f"Mean liking {plain((value + report.price) * 100)} % less {plain(report.price * 100)} % for "
            f"soft limits missed: value {value:.6f}, bound {bound:.6f}, gap {_gap(record)}."
        ),
    ]
    if value != Decimal(record["value"]) or (least is not None and report.least != Decimal(least["value"])):
        text = (
            f"The record claims {record['value']}: this is not the menu that was planned. See: optimenu audit"
        )
        lines.append(cell(text, "bold"))
        return lines
    if least is not None:
        lines.append(cell(least_verdict(least), STYLES["head"]))
    lines.append(cell(verdict(record), STYLES["head"]))
    return lines


def least_lines(report: Report, least: Mapping[str, Any]) -> list[RenderableType]:
    """Say how much whoever likes the menu least likes it."""
    value, bound = report.least, Decimal(least["bound"])
    who = min(report.liked, key=lambda liked: liked.liking).person
    return [
        cell(
            f"Least liking, {who}'s: {(value + report.price) * 100:.4f} % less {plain(report.price * 100)} % "
            f"for soft limits missed: value {value:.6f}, bound {bound:.6f}, gap {gap_words(least)}."
        )
    ]


def least_verdict(least: Mapping[str, Any]) -> str:
    """Return in words what no menu gives to whoever likes it least; rounded up, so never too little."""
    value, bound = Decimal(least["value"]), Decimal(least["bound"])
    if bound <= value:
        return "No menu within these limits gives the least-liking person more, soft limits missed taken off."
    most = plain((bound * 100).quantize(Decimal("0.01"), ROUND_CEILING))
    return (
        f"No menu within these limits gives the least-liking person more than {most} % of their best, the "
        "price of soft limits missed taken off."
    )


def broken(report: Report) -> list[RenderableType]:
    """Say which hard limits a menu breaks; nothing about it may be trusted until they hold."""
    count = len(report.breaches)
    lines: list[RenderableType] = [cell(f"This menu breaks {many(count, 'hard limit')}:", "bold")]
    lines += breach_lines(report, report.breaches[:MOST_BREACHES])
    if count > MOST_BREACHES:
        lines.append(cell(f"and {count - MOST_BREACHES} more. All of them: optimenu audit"))
    return lines


def gap_words(record: Mapping[str, Any]) -> str:
    """Return the proved gap with its unit, rounded up."""
    if record["gap"] is None:
        return "unknown"
    gap = Decimal(record["gap"])
    if Decimal(record["bound"]) <= 0:
        return f"{gap:.6f} in mean liking"
    return f"{plain((gap * 100).quantize(Decimal('0.001'), ROUND_CEILING), 3)} %"


def beside_words(found: Mapping[str, int]) -> str:
    """Return how much of the menu started from is left, in words."""
    stayed, earlier = found["stayed"], found["stayed"] + found["gone"]
    if not found["gone"] and not found["new"]:
        return f"Of the menu started from, all {many(earlier, 'line')} stayed where they were; none is new."
    share = plain(Decimal(100 * stayed) / max(earlier, 1), 1)
    return (
        f"Of the menu started from, {stayed} of {many(earlier, 'line')} stayed where they were ({share} %), "
        f"{found['gone']} went; {found['new']} are new."
    )


def _gap(record: Mapping[str, Any]) -> str:
    text = gap_words(record)
    if record["gap"] is None or Decimal(record["bound"]) <= 0 or record["gap_reached"]:
        return text
    if not record["options"]["ends_at_gap"]:
        return text
    asked = Decimal(str(record["options"]["gap_asked"]))
    return f"{text} ({plain(asked * 100)} % was asked: not reached, try more --moves)"


def verdict(record: Mapping[str, Any]) -> str:
    """Return the closing statement in words; "optimal" only of a closed gap."""
    value, bound = Decimal(record["value"]), Decimal(record["bound"])
    score = "(liking less the price of soft limits)"
    menus = "menu within these limits"
    if "least" in record:
        menus = "menu that gives nobody less than this one's least liking"
        score = "in mean liking less the price of soft limits"
    if bound <= value:
        best = "optimal" if "least" not in record else "the best of its kind"
        return f"This menu is {best}: no {menus} scores better {score}."
    if value > 0:
        # of this menu's own value and rounded up, so that no less is said than is proved
        better = ((bound - value) / value * 100).quantize(Decimal("0.01"), ROUND_CEILING)
        left = f"more than {plain(better)} % better"
    else:
        left = f"more than {(bound - value).quantize(Decimal('0.000001'), ROUND_CEILING)} higher"
    if record["gap_closed"]:
        return (
            "HiGHS finds no better menu, in its own floating point. Proved in whole numbers: no "
            f"{menus} scores {left} {score}."
        )
    return f"No {menus} scores {left} {score}."


def cautions(problem: Problem) -> RenderableType:
    """Return the cautions that go with every plan."""
    return cautions_where({problem.storage is not None})


def cautions_where(counted: Collection[bool]) -> RenderableType:
    """Return them for plans of which some count losses in storage (True), or some do not (False)."""
    told = {False: AT_PRODUCTION, True: COUNTED}
    texts = [*CAUTIONS, *(text for known, text in told.items() if known in counted)]
    return Group(heading("Cautions"), *(Padding(cell(text), (0, 0, 0, 2)) for text in texts))


def not_counted(problem: Problem) -> list[RenderableType]:
    """Say loudly that a long plan counts no losses in storage; nothing for a short one."""
    if problem.storage is not None or len(problem.dates) < LONG_STAY:
        return []
    text = (
        f"LOSSES IN STORAGE ARE NOT COUNTED, and this stay has {len(problem.dates)} dates. Vitamins A, "
        "B1, B6 and C fall in stored food; B1 may fall short within a year (npj Microgravity 2017;3:17). "
        "Say how food is kept in a table [storage]."
    )
    return [Text(), marked(sign(BELOW), text, STYLES["head"])]
