"""The main road: from a Case to an audited menu with a proved bound."""

from __future__ import annotations

import time
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from optimenu.audit.bound import check_bound
from optimenu.audit.least import Claims, prove_least
from optimenu.audit.menu import Report, audit_menu
from optimenu.errors import AuditFailed, InputFaults
from optimenu.menu.menu import Menu, from_counts, to_counts
from optimenu.program.build import build, priced
from optimenu.program.page import GOAL_DECIMALS
from optimenu.solve.liking import Scale, scale_of
from optimenu.solve.outcome import Outcome, Progress
from optimenu.solve.solve import solve
from optimenu.solve.two_goals import Effort, least_first

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from optimenu.config.case import Case
    from optimenu.program.certificate import Certificate
    from optimenu.program.program import Program
    from optimenu.solve.halt import Halt
    from optimenu.solve.outcome import First, Method

ONE_GOAL = '[goal] first = "least": --method direct knows the mean alone; leave one of the two out'
AFTER_LEAST, AFTER_SHARE = 0.5, 0.5
"""Time for audit, proof and writing: seconds, and a part of what writing the rows took; from trials."""


@dataclass(frozen=True)
class Options:
    """How to solve.

    Attributes
    ----------
    gap : float
        Relative gap asked for, for example 0.01.
    ends_at_gap : bool
        Whether a search ends when the gap is reached; else it spends its moves.
    seconds : float or None
        Limit of wall-clock time for everything, from reading the inputs to the written run. What is found
        within it depends on the machine.
    start : Menu or None
        A menu the search starts from and stays near.
    exact_steps : bool
        Whether exact steps follow the search of a small plan.
    """

    method: Method = "search"
    moves: int = 24_000_000
    seed: int = 1
    threads: int = 2
    gap: float = 0.01
    ends_at_gap: bool = False
    seconds: float | None = None
    start: Menu | None = None
    exact_steps: bool = True


@dataclass(frozen=True)
class Given:
    """A scale that was computed once and serves many cases, so that their likings compare.

    Attributes
    ----------
    config : Path
        The config it was computed from; each case that is given it extends that config.
    """

    scale: Scale
    config: Path


@dataclass(frozen=True)
class Planned:
    """What came of planning: a menu with its audit, or the reason why there is none.

    Attributes
    ----------
    left_out : int
        Lines of the menu started from that cannot be any more.
    given : Given or None
        Where the scale comes from, when it is not the case's own.
    """

    case: Case
    program: Program
    scale: Scale
    outcome: Outcome
    menu: Menu | None
    report: Report | None
    left_out: int = 0
    given: Given | None = None


def whole(case: Case, scale: Scale) -> Program:
    """Return the case's program in mean liking."""
    return priced(build(case.problem, case.rules), scale.prices)


def plan(
    case: Case,
    options: Options,
    progress: Callable[[str, Progress | None], None] | None = None,
    stop: Halt | None = None,
    given: Given | None = None,
) -> Planned:
    """Plan a case and audit what is found.

    Parameters
    ----------
    progress : callable of (phase, Progress or None), optional
        Told about phases: rows, liking, then those of the solve, then audit.
    stop : Halt, optional
        Ends the search early; a deadline it holds is drawn in by the time the audit and the writing take.
    given : Given, optional
        The scale of the config that this case changes; else the scale is the case's own.

    Raises
    ------
    AuditFailed
        When the menu found breaks a limit or its value or bound does not stand: a fault of ours.
    InputFaults
        When the least liking goes first and the method is direct, which knows one goal only.
    """
    if case.least_first and options.method == "direct":
        raise InputFaults([case.layers.fault(("goal", "first"), ONE_GOAL)])

    def tell(phase: str, message: Progress | None = None) -> None:
        if progress is not None:
            progress(phase, message)

    tell("rows")
    since = time.monotonic()
    worth = build(case.problem, case.rules)
    if stop is not None:
        # the audit and the writing grow with the case as the rows do
        stop.keep_back(AFTER_LEAST + AFTER_SHARE * (time.monotonic() - since))
    if given is None:
        tell("liking")
    scale = scale_of(case.problem, worth, options.threads) if given is None else given.scale
    program = priced(worth, scale.prices)
    start, left_out = None, 0
    if options.start is not None:
        start, left_out = to_counts(case.problem, program, options.start)
    effort = Effort(
        moves=options.moves,
        seed=options.seed,
        threads=options.threads,
        gap=options.gap,
        ends_at_gap=options.ends_at_gap,
        progress=lambda message: tell(message.phase, message),
        stop=stop,
    )
    if case.least_first:
        outcome = least_first(worth, scale, effort, start)
    else:
        outcome = solve(
            program, method=options.method, start=start, exact_steps=options.exact_steps, **vars(effort)
        )
    if outcome.counts is None:
        return Planned(case, program, scale, outcome, None, None, left_out, given)
    tell("audit")
    menu = from_counts(case.problem, program, outcome.counts)
    report = audit_menu(case.problem, case.rules, menu, scale)
    if outcome.first is None:
        faults = prove(program, outcome.certificate, report, value=claimed(outcome.value or 0)).faults
    else:
        first, claims = outcome.first, claims_of(outcome.first, outcome)
        certificates = first.certificate, outcome.certificate
        faults = prove_least(worth, scale, certificates, report, claims).faults
    if faults or not report.holds:
        msg = "the plan does not pass its own audit: " + "; ".join(
            [*faults, *(b.text for b in report.breaches[:5])]
        )
        raise AuditFailed(msg)
    return Planned(case, program, scale, outcome, menu, report, left_out, given)


def claims_of(first: First, outcome: Outcome) -> Claims:
    """Return what is claimed where the least liking goes first."""
    return Claims(
        value=claimed(first.value),
        bound=claimed(first.bound),
        mean_value=claimed(outcome.value or 0),
        mean_bound=claimed(outcome.bound or 0),
        prices=first.prices,
        mean_prices=first.mean_prices,
        factor=first.factor,
    )


@dataclass(frozen=True)
class Proof:
    """What stands of a run's claims.

    Attributes
    ----------
    faults : tuple of str
        Claims that do not stand, a sentence each.
    proved : Decimal or None
        The bound that the multipliers prove, None when they prove none.
    least : Decimal or None
        That on the least liking, where it goes first.
    """

    faults: tuple[str, ...]
    proved: Decimal | None
    least: Decimal | None = None


def prove_run(
    case: Case,
    scale: Scale,
    certificates: tuple[Certificate | None, Certificate | None],
    report: Report,
    record: Mapping[str, Any],
    *,
    planned: bool = True,
) -> Proof:
    """Prove every bound of a run again, and hold what its record claims against them and the audited menu.

    Parameters
    ----------
    certificates : pair of Certificate or None
        Of the least liking, and of the mean; the first is asked for where the least liking goes first.
    planned : bool
        Whether the menu audited is the run's own; another's value is not held against the record.
    """
    worth = build(case.problem, case.rules)
    if not case.least_first:
        # what a record does not say it claims wrongly
        value, bound = (str(record.get(key, "nothing")) for key in ("value", "bound"))
        program = priced(worth, scale.prices)
        return prove(program, certificates[1], report, bound=bound, value=value if planned else None)
    try:
        claims = Claims.of(record, [p.id for p in case.problem.people])
    except AuditFailed as error:
        return Proof((str(error),), None)
    proof = prove_least(worth, scale, certificates, report, claims, planned=planned)
    return Proof(proof.faults, proof.mean, proof.least)


def prove(
    program: Program,
    certificate: Certificate | None,
    report: Report,
    *,
    value: Decimal | str | None = None,
    bound: Decimal | str | None = None,
) -> Proof:
    """Prove the bound again from its multipliers, and hold claims against it and the audited menu.

    Parameters
    ----------
    value, bound : Decimal, str or None
        What the search or a record claims; None claims nothing.
    """
    faults: list[str] = []
    proved: Decimal | None = None
    try:
        if certificate is None:
            raise AuditFailed("there is no certificate")
        proved = claimed(check_bound(program, certificate).proved)
    except AuditFailed as error:
        faults.append(str(error))
    if bound is not None and proved is not None and _number(bound) < proved:
        faults.append(f"the bound {bound} is claimed, the multipliers prove {proved}")
    if value is not None and report.holds and _number(value) != report.value:
        faults.append(f"the value {value} is claimed, the menu is worth {report.value}")
    if proved is not None and report.holds and report.value > proved:
        faults.append(f"the menu is worth {report.value}, more than the bound {proved}")
    return Proof(tuple(faults), proved)


SCALE_SLACK = Decimal("1e-6")
"""By this part another machine's linear solver may find a person's best otherwise, in its last digits."""


def scale_faults(base: Case, scale: Scale) -> list[str]:
    """Compute a scale anew from the config it is said to be of; return what differs, a sentence each."""
    own = scale_of(base.problem, build(base.problem, base.rules))
    return [
        f"{person.id}: a best of {said} is claimed, {base.files[0].name} gives {found}"
        for person, said, found in zip(base.problem.people, scale.best, own.best, strict=True)
        if abs(said - found) > SCALE_SLACK * found
    ]


def _number(text: Decimal | str) -> Decimal:
    """Return a claim as a number; one that is none claims the impossible, so it never stands."""
    never = Decimal("-Infinity")
    try:
        value = Decimal(text)
    except ArithmeticError:
        return never
    return value if value.is_finite() else never


def claimed(units: int) -> Decimal:
    """Whole goal units as a decimal in mean liking."""
    return Decimal(units).scaleb(-GOAL_DECIMALS)
