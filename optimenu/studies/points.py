"""One point of a trade: the config with its limits moved, planned, audited and kept as a run."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING, Any

from optimenu.audit.menu import audit_menu
from optimenu.config.variant import variant
from optimenu.errors import Fault, InputFaults, ProvedImpossible, Undecided
from optimenu.exports.record import run_files
from optimenu.files import shown_path
from optimenu.menu.menu import Menu, from_counts
from optimenu.menu.read import read_menu
from optimenu.menu.tally import Tally
from optimenu.planning import Given, Options, plan
from optimenu.program.build import build, priced
from optimenu.program.page import GOAL_DECIMALS
from optimenu.solve.liking import Scale, scale_of
from optimenu.studies.axes import AXES, Axis
from optimenu.studies.curve import Point
from optimenu.studies.ends import found_end, limited, proved_end

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from optimenu.config.case import Case
    from optimenu.planning import Planned
    from optimenu.program.program import Program
    from optimenu.solve.halt import Halt
    from optimenu.solve.outcome import Progress
    from optimenu.studies.store import Store

    Limits = Mapping[str, Decimal]

GAP = 0.005
"""Gap of a point that is told as reached or not."""
NEAR, NEARER = Decimal("0.06"), Decimal("0.035")
"""A search starts from a menu whose amounts lie within this part beyond the limits, or that part inside them,
else anew; from trials."""
_STEP = Decimal("0.000001")


class Stopped(Exception):  # noqa: N818
    """The user asked for an end; what is complete is kept."""


@dataclass(frozen=True)
class Ways:
    """How each point is solved.

    Attributes
    ----------
    points : int
        Points in all, as far as the limits can be told apart.
    floor : Decimal
        Part of the best liking that is kept where liking is no axis.
    """

    points: int
    moves: int
    seed: int
    threads: int
    floor: Decimal


class Points:
    """Plans points, each once, and keeps them.

    Parameters
    ----------
    base : Case
        The config as it stands.
    caps : mapping of str to Axis
        The axes traded that the config can limit; what it says of them is lifted.
    tell : callable of (phase, Progress or None)
        As `plan` has it.
    count : callable of (points done, points in all, words)
        Told before each search.
    """

    def __init__(
        self,
        base: Case,
        caps: Mapping[str, Axis],
        ways: Ways,
        store: Store,
        halt: Halt,
        tell: Callable[[str, Progress | None], None],
        count: Callable[[int, int, str], None],
    ) -> None:
        self.base, self.caps, self.ways = base, caps, ways
        self.store, self.halt, self.tell = store, halt, tell
        self.first = "least" if "least" in store.question.axes else "mean"
        self.done = 0
        self._count = count
        self._given: Given | None = None
        self._question: tuple[Case, Program] | None = None

    def needed(self, limits: Limits) -> Point:
        """Return a point without which there is no curve.

        Raises
        ------
        ProvedImpossible, Undecided
            When it has no menu.
        """
        point = self.point(limits)
        words = f"with {self.words(limits)}"
        if point.end == "impossible":
            raise ProvedImpossible(f"no menu can keep all other limits, {words}: proved. See optimenu plan")
        if point.end != "menu":
            raise Undecided(f"no menu was found {words}, and none proved impossible; try more --moves")
        return point

    def point(self, limits: Limits, *, start: Menu | None = None, counts: bool = True) -> Point:
        """Plan a point, or take it from the store.

        Parameters
        ----------
        counts : bool
            False for a trial on the way to a point.
        """
        found = self.store.points.get(name_of(limits))
        if found is None:
            self._count(self.done, self.ways.points, self.words(limits))
            found = self._plan(limits, start)
        self.done += counts
        return found

    def _plan(self, limits: Limits, start: Menu | None) -> Point:
        name = name_of(limits)
        given, case = self.scale(), self._case(limits)
        if start is None:
            near = self._nearest(limits)
            start = None if near is None else read_menu(self.store.menu(near.run))
        options = Options(
            moves=self.ways.moves, seed=self.ways.seed, threads=self.ways.threads, gap=GAP, start=start
        )
        began = time.perf_counter()
        planned = plan(case, options, self.tell, self.halt, given)
        self._look()
        point, files = Point(dict(limits), planned.outcome.end), None
        if planned.menu is not None:
            files = run_files(planned, options, {"plan": time.perf_counter() - began})
            point = replace(point, run=name, **_told(planned))
        self.store.keep(name, point, files)
        return point

    def _look(self) -> None:
        if self.halt.is_set():
            raise Stopped

    def _nearest(self, limits: Limits) -> Point | None:
        """Return the menu to start from, if one is near: it takes a little too much, else a little less.

        To give something up is easier than to find what is worth more room.
        """
        caps = self.caps

        def apart(p: Point) -> tuple[bool, Decimal, str]:
            parts = [abs(p.at(caps[k]) - v) / max(abs(v), caps[k].step) for k, v in limits.items()]
            within = not any(caps[k].beats(v, p.at(caps[k])) for k, v in limits.items())
            return within, max(parts, default=Decimal(0)), p.run

        menus = [(apart(p), p) for p in self.store.points.values() if p.end == "menu"]
        near = [(key, p) for key, p in menus if key[1] <= (NEARER if key[0] else NEAR)]
        return min(near, key=lambda pair: pair[0], default=(None, None))[1]

    def proved(self, axis: Axis, fixed: Limits, free: Point) -> Decimal | None:
        """Return an amount that no menu betters within limits, and keep it; None where none is proved."""
        key = f"proved {axis.name} {name_of(fixed)}"
        if key not in self.store.facts:
            self.tell("bound", None)
            program = limited(self.question()[1], self.caps, fixed)
            amount = proved_end(program, axis, free.at(axis), self.halt)
            self._look()
            told = None if amount is None else format(axis.toward(amount, loose=False), "f")
            self.store.facts[key] = told
        known = self.store.facts[key]
        return None if known is None else Decimal(known)

    def end(self, axis: Axis, fixed: Limits, free: Point) -> tuple[Decimal, Menu | None]:
        """Return the least of an axis that some menu takes within limits, and that menu where it is new."""
        key = f"least {axis.name} {name_of(fixed)}"
        known = self.store.facts.get(key)
        if known is not None and name_of({**fixed, axis.name: Decimal(known)}) in self.store.points:
            return Decimal(known), None
        self._count(self.done, self.ways.points, f"the {'least' if axis.less else 'most'} {axis.words}")
        case, program = self.question()
        asked = limited(program, self.caps, fixed)
        counts = found_end(
            asked, axis, free.at(axis), moves=self.ways.moves, seed=self.ways.seed,
            threads=self.ways.threads, stop=self.halt, progress=lambda m: self.tell(m.phase, m),
        )  # fmt: skip
        self._look()
        menu, at = None, free.at(axis)
        if counts is not None:
            menu = from_counts(case.problem, asked, counts)
            report = audit_menu(case.problem, case.rules, menu, self.scale().scale)
            amount = axis.measure(case, Tally.of(case.problem, menu), report)
            at = at if amount is None else amount
        at = axis.toward(at, loose=True)
        self.store.facts[key] = format(at, "f")
        return at, menu

    def _case(self, limits: Limits) -> Case:
        changes: dict[str, Any] = {}
        for axis in self.caps.values():
            changes.update(axis.changes(limits.get(axis.name, axis.unlimited)))
        if self.base.least_first != (self.first == "least"):
            changes["goal.first"] = self.first
        config = self.base.files[0]
        try:
            return variant(config, changes, name=f"{config.stem}-{name_of(limits)}", root=self.base.root)
        except InputFaults as error:
            text = f"cannot be traded; with {', '.join(sorted(changes))} changed: "
            faults = [Fault(shown_path(config), 0, text + f.message) for f in error.faults]
            raise InputFaults(faults) from None

    def scale(self) -> Given:
        """Everybody's best, from the config as it stands; computed once."""
        if self._given is None:
            best = self.store.facts.get("best")
            if best is None:
                self.tell("liking", None)
                worth = build(self.base.problem, self.base.rules)
                best = [str(b) for b in scale_of(self.base.problem, worth, self.ways.threads).best]
                self.store.facts["best"] = best
            self._given = Given(Scale(tuple(Decimal(b) for b in best)), self.base.files[0])
        return self._given

    def question(self) -> tuple[Case, Program]:
        """Case and program in which nothing traded is limited."""
        if self._question is None:
            self.tell("rows", None)
            case = self._case({})
            self._question = case, priced(build(case.problem, case.rules), self.scale().scale.prices)
        return self._question

    def words(self, limits: Limits) -> str:
        """Say limits as a planner does."""
        return limit_words(limits, self.caps) or "no limit on what is traded"


def name_of(limits: Limits) -> str:
    """Name of the point at some limits, of its run and of its config."""
    return "-".join(f"{k}-{format(limits[k].normalize(), 'f')}" for k in sorted(limits)) or "free"


def limit_words(limits: Limits, axes: Mapping[str, Axis]) -> str:
    """Say limits as a planner does; empty for none."""
    parts = []
    for name, limit in limits.items():
        axis = axes[name]
        parts.append(f"{axis.words} at {'most' if axis.less else 'least'} {limit.normalize():f} {axis.unit}")
    return ", ".join(parts)


def _told(planned: Planned) -> dict[str, Any]:
    """Amounts, and bound and gap of what goes first, as the audit has them; bound and gap rounded up."""
    report = planned.report
    outcome = planned.outcome if planned.outcome.first is None else planned.outcome.first
    if planned.menu is None or report is None or outcome.bound is None or outcome.gap is None:
        msg = "there is no menu"
        raise ValueError(msg)
    tally = Tally.of(planned.case.problem, planned.menu)
    amounts: dict[str, Decimal | None] = {}
    for axis in AXES.values():
        value = axis.measure(planned.case, tally, report)
        whole = value is None or axis.limited
        amounts[axis.name] = value if whole or value is None else value.quantize(_STEP, ROUND_FLOOR)
    gap = Decimal(outcome.gap.numerator) / Decimal(outcome.gap.denominator)
    bound = Decimal(outcome.bound).scaleb(2 - GOAL_DECIMALS)
    return {
        "amounts": amounts,
        "bound": bound.quantize(_STEP, ROUND_CEILING),
        "gap": gap.quantize(_STEP, ROUND_CEILING),
    }
