"""What a drill says: on board, lost, left, water, who must not be given what, the ration, cautions."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimenu.rules.base import plain
from optimenu.stowage.drill_answer import LOW, counted
from optimenu.stowage.drill_board import RESERVE
from optimenu.stowage.drill_question import FREEZER, HEATER, HOT_WATER
from optimenu.views.console import BELOW, STYLES, cell, dates_of, heading, marked, marks, sign
from optimenu.views.drill_words import kcal, litres, percent
from optimenu.views.summary import many

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from optimenu.catalogue.item import Item
    from optimenu.problem.problem import Problem
    from optimenu.stowage.drill_answer import Answer, PersonDate
    from optimenu.views.console import Mark

MOST = 12
ZERO = Decimal(0)
WORDS = {"heater": "the heater", "hot_water": "hot water", "freezer": "the freezer"}
THAWED = (
    "Thawed food: discard what stood 4 hours above 5 °C; cold food is kept at 5 °C or below (FDA Food Code, "
    "3-501.16 and 3-501.19). Never refreeze it."
)
CAUTIONS = (
    "Check allergens, use-by date and soundness on each pack before it is eaten; discard what is swollen, "
    "leaking, thawed or spoiled. Other people's packs are given only where nothing in the plan forbids it.",
    "Nothing is moved that would break a prescribed ceiling, an hour kept apart or a fast. Least amounts and "
    "vitamins are not looked at; what is added is eaten outside the hours of a fast.",
    "Local food-safety codes hold. Where they say nothing else: cold food at 5 °C or below, hot food at "
    "57 °C or above; discard what stood 4 hours without temperature control (FDA Food Code, 3-501.16 and "
    "3-501.19).",
)


def drill_page(problem: Problem, answer: Answer, *, everything: bool = False) -> RenderableType:
    """Return the whole page; long lists cut unless asked."""
    letters = marks(problem.people)
    return Group(
        heading(f"{problem.name}: drill"),
        cell(asked(problem, answer)),
        *_board(problem, answer, letters),
        *_lost(problem, answer, letters, everything=everything),
        *_person_days(problem, answer, letters),
        *_water(problem, answer),
        *_apart(problem, answer, letters, everything=everything),
        *_ration(problem, answer, letters),
        *(_lines(problem, answer, letters) if everything else ()),
        *_cautions(problem, answer),
    )


def asked(problem: Problem, answer: Answer) -> str:
    """Return the question in words."""
    q, h = answer.question, answer.horizon
    parts = [f"{WORDS[w]} is lost" for w in q.lost]
    if q.water_l is not None:
        parts.append(f"the crew has {plain(q.water_l)} L of water a day, plain water included")
    if q.late and q.load is not None:
        gap = sorted(h.gap)
        comes = f"load {problem.loads[q.load].name} comes {many(q.late, 'day')} late"
        parts.append(f"{comes} and leaves {many(len(gap), 'date')} without food of their own")
    elif q.late:
        parts.append(f"the stay is {many(q.late, 'day')} longer")
    what = "; ".join(parts) or "nothing is lost or late"
    return f"From {_day(q.start)} to {_day(h.dates[-1])}, {many(len(h.dates), 'date')}: {what}."


def _day(when: object) -> str:
    return f"{dates_of([when])} {when.year}"  # type: ignore[list-item, attr-defined]


def _table(*columns: tuple[str | Text, bool]) -> Table:
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    for name, right in columns:
        table.add_column(name, justify="right" if right else "left", overflow="fold")
    return table


def tenths(value: Fraction | Decimal) -> str:
    """Write a number to one decimal, rounded down so that never more is said than there is."""
    return f"{Decimal(int(value * 10)) / 10:,.1f}"


def _board(problem: Problem, answer: Answer, letters: Mapping[str, Mark]) -> list[RenderableType]:
    """On board at the start: packs and energy, lost, left, and how long it lasts."""
    lost = {g.item.id for g in answer.gone}
    table = _table(
        ("packs of", False), ("menu", True), ("reserve", True), ("lost", True), ("left", True),
        ("servings left", True),
    )  # fmt: skip
    holders = list(dict.fromkeys([*(p.id for p in problem.people), *sorted({h.holder for h in answer.held})]))
    total = [0, 0, 0, 0]
    for holder in holders:
        mine = [h for h in answer.held if h.holder == holder]
        reserve = sum(h.packs for h in mine if h.part == RESERVE)
        menu = sum(h.packs for h in mine) - reserve
        gone = sum(h.packs for h in mine if h.item.id in lost)
        row = [menu, reserve, gone, sum(h.servings for h in mine if h.item.id not in lost)]
        total = [a + b for a, b in zip(total, row, strict=True)]
        name = letters[holder].text(name=True) if holder in letters else cell(f"{holder}, shared")
        table.add_row(name, *_packs(row))
    table.add_row(cell("crew", STYLES["head"]), *_packs(total))
    energy = _table(
        ("energy, kcal", False), ("on board", True), ("lost", True), ("left", True),
        ("person-days left", True),
        ("dates", True),
    )  # fmt: skip
    for s in answer.stores:
        who = letters[problem.people[s.person].id].text(name=True)
        energy.add_row(
            who, cell(kcal(s.menu + s.reserve)), cell(kcal(s.lost)), cell(kcal(s.left)),
            cell(tenths(s.days(s.left))), cell(s.dates),
        )  # fmt: skip
    sums = [
        sum((f for f in fs), ZERO)
        for fs in zip(*((s.menu + s.reserve, s.lost) for s in answer.stores), strict=True)
    ]
    days = sum((s.days(s.left) for s in answer.stores), Fraction(0))
    energy.add_row(
        cell("crew", STYLES["head"]), cell(kcal(sums[0])), cell(kcal(sums[1])),
        cell(kcal(sums[0] - sums[1])), cell(tenths(days)), cell(sum(s.dates for s in answer.stores)),
    )  # fmt: skip
    until = "the next load comes" if answer.horizon.cover != answer.horizon.dates else "the end"
    if answer.question.load is not None:
        until = "the load comes" if answer.horizon.cover == answer.horizon.dates else "the next load comes"
    spare = sum(h.spare for h in answer.held)
    parts: list[RenderableType] = [
        heading(f"On board at the start of {_day(answer.question.start)}"),
        table,
        Text(),
        energy,
        cell(
            f"Days left: energy left by the mean requirement of the dates to be fed until {until}. Planned "
            "servings only: what is free in the day and packs beyond the menu are not counted"
            + (f", nor {many(spare, 'serving')} the packs hold beyond the plan." if spare else "."),
            STYLES["quiet"],
        ),
    ]
    if answer.unknown_energy:
        names = _names(answer.unknown_energy)
        parts.append(cell(f"Energy not stated, counted as none: {names}.", STYLES["quiet"]))
    return parts


def _packs(row: Sequence[int]) -> list[Text]:
    menu, reserve, gone, servings = row
    return [cell(f"{n:,}") for n in (menu, reserve, gone, menu + reserve - gone, servings)]


def _lost(
    problem: Problem, answer: Answer, letters: Mapping[str, Mark], *, everything: bool
) -> list[RenderableType]:
    if not answer.question.lost:
        return []
    parts: list[RenderableType] = [heading("What is lost")]
    if not answer.gone:
        parts.append(cell("Nothing on board: all of it can be eaten without."))
    else:
        table = _table(("item", False), ("packs", True), ("kcal", True), ("why", False))
        gone = sorted(answer.gone, key=lambda g: -g.kcal)
        shown = gone if everything else gone[:MOST]
        for g in shown:
            table.add_row(cell(g.item.name), cell(sum(g.packs.values())), cell(kcal(g.kcal)), cell(g.why))
        parts.append(table)
        if len(gone) > len(shown):
            parts.append(cell(f"{len(gone) - len(shown)} more; all of them with --all", STYLES["quiet"]))
    if answer.later:
        parts.append(cell(f"Lost too when a later load brings it: {_names(answer.later)}."))
    if answer.fridge:
        parts.append(cell(f"Kept, but in the fridge at 5 °C or below: {_names(answer.fridge)}."))
    return parts


def _names(items: Sequence[Item]) -> str:
    return "; ".join(i.name for i in items)


def _person_days(problem: Problem, answer: Answer, letters: Mapping[str, Mark]) -> list[RenderableType]:
    """Mean energy and water a date: needed, planned, left, in the ration."""
    table = _table(
        ("mean of a date", False), ("needed", True), ("planned", True), ("left", True), ("ration", True),
        ("water L", True), ("left L", True), ("ration L", True),
    )  # fmt: skip
    for p, person in enumerate(problem.people):
        mine = [d for d in answer.days if d.person == p]
        if mine:
            table.add_row(letters[person.id].text(name=True), *_means(mine, len(mine)))
    parts: list[RenderableType] = [
        heading("Energy (kcal) and water for food of a person-day"),
        table,
        cell(
            "Planned: as signed. Left: own menu of the date that has come and can be eaten. Ration: with the "
            "reserve, what is kept back and what others can spare. Plain water comes on top.",
            STYLES["quiet"],
        ),
    ]
    return parts


def _means(days: Sequence[PersonDate], count: int) -> list[Text]:
    energy = [sum((getattr(d, n) for d in days), ZERO) / count for n in ("need", "planned", "left", "ration")]
    water = [
        sum((getattr(d, n) for d in days), ZERO) / count / 1000
        for n in ("water_planned", "water_left", "water_ration")
    ]
    return [cell(kcal(v)) for v in energy] + [cell(f"{v:.2f}") for v in water]


def _water(problem: Problem, answer: Answer) -> list[RenderableType]:
    """Litres a day of the crew: needed by what is left, there is, what is made of it."""
    dates = answer.horizon.dates
    names = ("water_planned", "water_left", "water_ration")
    sums = {n: dict(answer.plain_ml) for n in names}
    for d in answer.days:
        for n in names:
            sums[n][d.when] += getattr(d, n)

    def ends(n: str) -> str:
        return litres(sums[n].values())

    there = answer.question.water_l
    text = (
        f"A day for the crew, {litres(answer.plain_ml.values())} of plain water included: planned "
        f"{ends('water_planned')}; for the menu that is left {ends('water_left')}"
    )
    parts: list[RenderableType] = [heading("Water")]
    gone = [x.replace("_", " ") for x in (HEATER, HOT_WATER) if x in answer.question.lost]
    if answer.melted and gone:
        words = (
            f"Every drop is melted with fuel, and the {' and the '.join(gone)} is lost: there may be none to "
        )
        parts.append(
            marked(sign(BELOW), f"{words}drink or to cook with. A physician decides now.", STYLES["head"])
        )
    if there is None:
        parts.append(cell(f"{text}; for the ration {ends('water_ration')}."))
        return parts
    parts.append(cell(f"{text}; there are {plain(there)} L; the ration takes {ends('water_ration')}."))
    most = max(answer.plain_ml.values()) / 1000
    if there < most:
        short = plain(most - there)
        words = f"Plain water alone is up to {short} L a day short; on such a date nothing that needs water "
        words += "can be made."
        parts.append(marked(sign(BELOW), f"{words} A physician decides now.", STYLES["head"]))
    elif (taken := max(sums["water_ration"].values()) / 1000) > there:
        words = (
            f"The ration itself takes up to {plain(taken - there)} L a day more than there is, plain water "
        )
        parts.append(
            marked(sign(BELOW), f"{words}included: it cannot be prepared as it stands.", STYLES["head"])
        )
    elif not most:
        parts.append(cell("The config asks for no plain water: keep back what people must drink first."))
    short_dates = [w for w in dates if sums["water_left"][w] > there * 1000]
    if short_dates:
        words = f"On {many(len(short_dates), 'date')} not all can be made that is left of the menu"
        parts.append(marked(sign(BELOW), f"{words}: what needs no water first, then most energy a litre."))
    return parts


def _apart(
    problem: Problem, answer: Answer, letters: Mapping[str, Mark], *, everything: bool
) -> list[RenderableType]:
    """Items in others' packs that a person must not be given; never why."""
    found = {p: items for p, items in answer.apart.items() if items}
    parts: list[RenderableType] = [heading("In other people's packs, not to be given to")]
    if not found:
        parts.append(cell("nobody: all food that is left suits everybody."))
    for p, items in found.items():
        shown = items if everything else items[:MOST]
        rest = f"; and {len(items) - len(shown)} more" if len(items) > len(shown) else ""
        line = letters[problem.people[p].id].text(name=True)
        line.append(" ").append_text(cell(f"({many(len(items), 'item')}): {_names(shown)}{rest}"))
        parts.append(Padding(line, (0, 0, 0, 2)))
    if any(len(items) > MOST for items in found.values()) and not everything:
        parts.append(cell("All of them with --all", STYLES["quiet"]))
    return parts


def _ration(problem: Problem, answer: Answer, letters: Mapping[str, Mark]) -> list[RenderableType]:
    """Ration by date, what it gives the worst off, and what could be at best."""
    people = [p for p in range(len(problem.people)) if any(d.person == p for d in answer.days)]
    by_place = {(d.person, d.when): d for d in answer.days}
    parts: list[RenderableType] = [heading("Ration, kcal and per cent of the requirement")]
    for k in range(0, len(people), 4):
        table = _table(
            ("date", False), *((letters[problem.people[p].id].text(), True) for p in people[k : k + 4])
        )
        for when in answer.horizon.dates:
            row = [cell(f"{dates_of([when])}{' *' if when in answer.horizon.gap else ''}")]
            row += [_level(by_place.get((p, when))) for p in people[k : k + 4]]
            table.add_row(*row)
        parts.append(table)
    if answer.horizon.gap:
        parts.append(cell("* no menu of its own has come", STYLES["quiet"]))
    parts += _verdict(problem, answer, letters)
    low = [d for d in answer.days if d.low]
    if low:
        words = f"{many(len(low), 'person-day')} under {plain(LOW * 100)} % of the requirement"
        doctors = list(dict.fromkeys(p.prescription.by for p in problem.people if p.prescription.by))
        asked_of = ", ".join(doctors) or "a physician (the prescriptions name none)"
        text = f"{words} (common practice, no source). To be put before: {asked_of}."
        parts.append(marked(sign(BELOW), text, STYLES["head"]))
    kept = sum(answer.left_over.values(), ZERO)
    if kept:
        parts.append(cell(f"Not eaten in the ration: {kcal(kept)} kcal of the crew's food that is left."))
    if answer.stranded:
        text = f"{many(answer.stranded, 'serving')} left in opened packs that do not keep: discard them."
        parts.append(cell(text))
    return parts


def _level(d: PersonDate | None) -> Text:
    if d is None:
        return cell("-")
    text = cell(f"{kcal(d.ration)} {int(d.level * 100)} %")
    return sign(BELOW).append(" ").append_text(text) if d.low else text


def _verdict(problem: Problem, answer: Answer, letters: Mapping[str, Mark]) -> list[RenderableType]:
    worst = answer.worst
    if worst is None:
        return []
    if all(d.ration >= min(d.planned or d.need, d.need) for d in answer.days):
        text = "Everybody has on every date what the plan gave, or the requirement where that is less."
        return [cell(text, STYLES["head"])]
    who = problem.people[worst.person].name
    here = f"Least: {who}, {_day(worst.when)}, {kcal(worst.ration)} kcal, {percent(worst.level)}."
    top = (
        f"No ration of what is left gives every person-day more than {percent(answer.bound, up=True)} of its "
        "requirement, however finely servings are cut; packs of several are eaten where planned"
    )
    if any(not counted(d) for d in answer.days):
        top += f", and days the plan itself has under {plain(LOW * 100)} % are left out"
    return [cell(f"{here} {top}.", STYLES["head"])]


def _lines(problem: Problem, answer: Answer, letters: Mapping[str, Mark]) -> Iterable[RenderableType]:
    """Every serving of the ration that is not eaten as planned."""
    yield heading("Eaten otherwise than planned")
    table = _table(("date", False), ("", False), ("serving", False), ("from", False))
    for d in answer.dishes:
        source = "reserve" if d.planned is None else f"menu of {dates_of([d.planned])}"
        if d.owner != d.person:
            source += f" of {problem.people[d.owner].name}"
        if d.planned == d.when and d.owner == d.person:
            if not d.how:
                continue
            source = "own menu"
        count = "" if d.count == 1 else f"{d.count} x "
        how = f" ({d.how})" if d.how else ""
        table.add_row(
            cell(dates_of([d.when])), letters[problem.people[d.person].id].text(),
            cell(f"{count}{d.item.name}{how}"), cell(source),
        )  # fmt: skip
    yield table


def _cautions(problem: Problem, answer: Answer) -> list[RenderableType]:
    doctors = sorted({p.prescription.by for p in problem.people if p.prescription.by})
    who = f" ({', '.join(doctors)})" if doctors else ""
    lines = [
        f"A physician{who} and a dietitian decide on a reduced ration; this is a reckoning, not an order."
    ]
    if FREEZER in answer.question.lost:
        lines.append(THAWED)
    lines += CAUTIONS
    if answer.no_use_by:
        names = _names(answer.no_use_by[:MOST])
        rest = f"; and {len(answer.no_use_by) - MOST} more" if len(answer.no_use_by) > MOST else ""
        lines.append(
            f"No lot states a use-by date for what the ration moves, check each pack: {names}{rest}."
        )
    return [heading("Cautions"), *(Padding(cell(text), (0, 0, 0, 2)) for text in lines)]
