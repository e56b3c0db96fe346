"""Ways out where no menu exists: the cheapest changes that somebody may make, each tried by planning.

The least steps come from a linear program in which only what the asking role may loosen gives way. Where
whole servings need more than it says, a search in which those limits are soft finds by how much the
nearest menu misses them. A way counts as one only when a menu was planned and audited with its changes.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from optimenu.errors import InputFaults, ProvedImpossible, Undecided
from optimenu.explain.changed import changed
from optimenu.explain.levers import Board, stays
from optimenu.explain.steps import MOST_LEVERS, SOLVES, LeastSteps, SpentError, Steps, TooManyError
from optimenu.explain.ways import Kept, Way, WaysOut
from optimenu.planning import plan
from optimenu.solve.liking import NothingLiked

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from optimenu.config.case import Case
    from optimenu.explain.levers import Lever
    from optimenu.planning import Options
    from optimenu.program.program import Program
    from optimenu.rules.edits import Edit, Edits
    from optimenu.settings import Writer
    from optimenu.solve.halt import Halt

ROLES: tuple[Writer, ...] = ("planner", "dietitian", "physician")
MOST = 3
"""Most ways out that are looked for."""
MOST_SHAPES = 2
"""Most changes of one way that change the courses of a meal: more is another plan."""
ROUNDS = 12
"""Times that levers are barred and the least steps looked for anew."""
NEAR = 0.03
"""Part of a limit that whole servings mostly need beyond the linear program's step; from trials."""
LARGER = (Decimal("1.25"), Decimal("1.5"), Decimal(2))
"""Times a step that is tried where the step itself gives no menu."""


def ways_out(
    case: Case,
    role: Writer,
    options: Options,
    *,
    most: int = MOST,
    tell: Callable[[str], None] | None = None,
    stop: Halt | None = None,
    kept: Kept | None = None,
) -> WaysOut:
    """Look for the cheapest ways out of a case that has no menu.

    Parameters
    ----------
    role : str
        Who asks: only what that role may loosen is changed.
    options : Options
        Of each search.
    tell : callable, optional
        Told in words what is looked at and tried.
    kept : Kept, optional
        Takes each way as soon as it is planned, for who may have to do without the rest.
    """
    kept = Kept(role, options.moves) if kept is None else kept
    for way in _Finder(case, role, options, tell, stop, kept).ways(most):
        kept.ways.append(way)
    if not any(w.state == "menu" for w in kept.ways):
        for higher in ROLES[ROLES.index(role) + 1 :]:
            if stop is not None and stop.is_set():
                break
            found = _Finder(case, higher, options, tell, stop, kept).ways(1)
            kept.others += [w for w in found if w.state == "menu"]
            if kept.others:
                break
    return kept.so_far(stopped=stop is not None and stop.is_set())


class _Finder:
    """Looks for ways out of one case for one role."""

    def __init__(
        self,
        case: Case,
        role: Writer,
        options: Options,
        tell: Callable[[str], None] | None,
        stop: Halt | None,
        kept: Kept,
    ) -> None:
        self.case, self.role, self.options, self.stop, self.kept = case, role, options, stop, kept
        self.tell = tell or (lambda text: None)
        self.board = Board(case.problem, case.rules, role)
        self.program: Program = self.board.program
        self.least = LeastSteps(self.board, options, stop)

    def ways(self, most: int) -> Iterator[Way]:
        """Yield ways out that rest on different levers."""
        barred: set[int] = set()
        kept: set[int] = set()
        last: list[int] = []
        seen: set[tuple[str, ...]] = set()
        n = 0
        for _ in range(ROUNDS):
            if n == most or self._stopped():
                return
            self.tell(f"looking for way {n + 1}{self._whose()}")
            try:
                steps = self.least.least(barred)
            except TooManyError as many:
                self._note(
                    f"A way was passed over that would need {many}; {MOST_LEVERS} at most are offered."
                )
                last = [k for k in many.levers if k not in kept]
                if not last:
                    return
                barred.add(last[0])
                continue
            except SpentError:
                if self._stopped():
                    return
                self._note(f"No further way was looked for after {SOLVES} solves without a new one.")
                return
            if steps is None:
                # what was barred last is needed whatever else gives: it may move, and another is barred
                left = [k for k in last if k not in kept]
                if not left:
                    return
                barred.discard(left[0])
                kept.add(left[0])
                left = left[1:]
                if not left:
                    return
                barred.add(left[0])
                last = left
                continue
            if not steps:
                return
            for way in self._alternatives(steps):
                if self._stopped() and way.state != "menu":
                    # cut short: what a whole search would have found is not known
                    return
                names = tuple(e.key for e in way.edits)
                if names not in seen and n < most:
                    seen.add(names)
                    n += 1
                    self.least.solves = 0
                    yield way
            last = [k for k in sorted(steps, key=lambda k: -steps[k]) if k not in kept]
            if not last:
                return
            barred.add(last[0])

    def _stopped(self) -> bool:
        return self.stop is not None and self.stop.is_set()

    def _whose(self) -> str:
        return "" if self.role == self.kept.role else f" that the {self.role} could allow"

    def _note(self, text: str) -> None:
        self.tell(text.rstrip("."))
        whole = text if self.role == self.kept.role else f"For the {self.role}: {text}"
        if whole not in self.kept.notes:
            self.kept.notes.append(whole)

    # ---- from steps to edits, and to a menu

    def _alternatives(self, steps: Steps) -> Iterator[Way]:
        """Yield a way for each kind of change that takes these steps."""
        for choice in range(self._choices(steps)):
            way = self._tried(steps, choice)
            if way is not None:
                yield way

    def _choices(self, steps: Steps) -> int:
        shapes = sum(self.board.shapes(self.board.levers[k]) for k in steps)
        if len(steps) > MOST_LEVERS or shapes > MOST_SHAPES:
            courses = f", {shapes} of them of the courses of a meal" if shapes else ""
            self._note(
                f"A way was passed over that would need {len(steps)} change{'s' * (len(steps) > 1)}{courses}."
            )
            return 0
        if len(steps) > 1:
            return 1
        lever = self.board.levers[next(iter(steps))]
        return len(list(self._changes(lever, next(iter(steps.values())))))

    def _tried(self, steps: Steps, choice: int) -> Way | None:
        """Plan with larger and larger steps; None where there is no such change, or it may not be made."""
        way: Way | None = None
        done: set[Edits] = set()
        failed: Steps = {}
        for ladder in self._ladder(steps):
            found = self._planned(ladder, choice, done)
            if found is None:
                continue
            way = found
            if way.state != "menu":
                failed = ladder
            elif failed:
                # between what was too little and what is enough, once
                middle = {k: (failed.get(k, 0.0) + step) / 2 for k, step in ladder.items()}
                smaller = self._planned(middle, choice, done)
                return smaller if smaller is not None and smaller.state == "menu" else way
            if way.state == "menu" or self._stopped():
                break
        return way

    def _planned(self, steps: Steps, choice: int, done: set[Edits]) -> Way | None:
        """Plan with some steps; None where there are no such edits, or they were tried already."""
        edits = self._edits(steps, choice)
        if edits is None or edits in done:
            return None
        done.add(edits)
        self.tell(f"trying: {'; '.join(map(str, edits))}")
        return self._plan(edits)

    def _ladder(self, steps: Steps) -> Iterator[Steps]:
        yield steps
        yield {k: v + NEAR for k, v in steps.items()}
        uses = self.least.uses
        whole = self.least.whole(self.least.only(steps))
        if whole:
            yield whole
            steps = {k: max(v, whole.get(k, 0.0)) for k, v in steps.items()}
        else:
            self.least.uses = uses
        for times in LARGER:
            yield {k: v * float(times) for k, v in steps.items()}

    def _edits(self, steps: Steps, choice: int) -> Edits | None:
        out: dict[str, Edit] = {}
        for k, step in sorted(steps.items()):
            options = list(self._changes(self.board.levers[k], step))
            if not options:
                return None
            for edit in options[min(choice, len(options) - 1)]:
                if stays(edit.key):
                    # whatever a rule offers
                    return None
                other = out.get(edit.key)
                out[edit.key] = edit if other is None else _further(other, edit)
        return tuple(out.values())

    def _changes(self, lever: Lever, step: float) -> Iterator[Edits]:
        if lever.rows:
            # the row that moves farthest, in its own unit
            row = max(lever.rows, key=lambda r: self.board.size[r])
            amount = Decimal(str(round(step * float(self.board.size[row]), 9)))
            yield from lever.rule.further(self.program.origins[row], amount, low=lever.low)
        elif lever.refusal is not None:
            yield from lever.rule.admit(lever.refusal, self.board.wanted(lever, self.least.uses))

    def _plan(self, edits: Edits) -> Way | None:
        try:
            case = changed(self.case, edits, self.role)
        except InputFaults:
            return None
        who = self._lowest(edits)
        try:
            planned = plan(case, self.options, stop=self.stop)
        except (ProvedImpossible, NothingLiked):
            return Way(edits, "impossible", who)
        except Undecided:
            return Way(edits, "undecided", who)
        outcome = planned.outcome
        if outcome.end == "menu":
            return Way(edits, "menu", who, planned)
        if outcome.end == "impossible":
            return Way(edits, "impossible", who)
        # only a relaxation that has an answer has a bound
        return Way(edits, "undecided" if outcome.bound is None else "relaxation", who)

    def _lowest(self, edits: Sequence[Edit]) -> Writer:
        """The lowest role that may make the changes."""
        if any(e.key.startswith("prescriptions.") for e in edits):
            return "physician"
        for role in ROLES[: ROLES.index(self.role)]:
            try:
                changed(self.case, edits, role)
            except InputFaults:
                continue
            return role
        return self.role


def _further(one: Edit, other: Edit) -> Edit:
    """The farther of two changes of one number."""
    if not isinstance(one.new, int | Decimal) or not isinstance(one.old, int | Decimal):
        return other
    return max(one, other, key=lambda e: abs(e.new - e.old))
