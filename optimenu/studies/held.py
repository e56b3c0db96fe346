"""The least of a quantity while liking is held: the limit is moved until the menu is just liked enough."""

from __future__ import annotations

from dataclasses import replace
from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

from optimenu.exports.run_folder import read_run
from optimenu.program.page import GOAL_DECIMALS
from optimenu.solve.bound import certify, relax
from optimenu.solve.merge import merge
from optimenu.solve.reach import reach
from optimenu.studies.axes import AXES, Axis
from optimenu.studies.ends import least_proved, limited
from optimenu.studies.points import name_of
from optimenu.studies.store import RUNS

if TYPE_CHECKING:
    from optimenu.program.certificate import Certificate
    from optimenu.studies.curve import Point
    from optimenu.studies.points import Limits, Points

MARGIN = Decimal("0.6")
"""How much better than asked, in per cent of liking, the relaxation must be for a search to find a menu; from
trials, and then from the points found."""
SPARE = Decimal("0.05")
"""Liking, in per cent, aimed at beyond the floor."""
LEFT_OVER = Decimal("0.3")
"""Liking, in per cent, that may be left over without another try."""
FAR = Decimal("0.03")
"""What is proved so far from the menu, as a part of its amount, is proved a second way."""
TRIES, GUESSES = 5, 3
"""Limits tried for a point, at most, and how many of them the relaxation proposes."""


def liked_at(points: Points, axis: Axis, limits: Limits, wanted: Decimal) -> Decimal | None:
    """Return the tightest limit of an axis, within others, at which the relaxation is liked as wanted.

    Parameters
    ----------
    wanted : Decimal
        Per cent.

    Returns
    -------
    Decimal or None
        None where the relaxation is nowhere liked so much.
    """
    _, program = points.question()
    points.tell("bound", None)
    rows = axis.rows(program).tolist()
    merged = merge(limited(program, points.caps, limits))
    best = reach(merged, rows, high=axis.less, floor=float(wanted) / 100, goal_decimals=GOAL_DECIMALS)
    if best is None:
        return None
    units = Decimal(best).scaleb(int(program.row_decimals[rows[0]]))
    return axis.toward(axis.limit_at(program, rows[0], units, axis.unlimited), loose=True)


class Held:
    """Finds points that keep a floor of liking.

    Parameters
    ----------
    floor : Decimal
        Liking held, per cent.
    """

    def __init__(self, points: Points, floor: Decimal) -> None:
        self.points, self.floor = points, floor
        self._margin = MARGIN

    def point(self, axis: Axis, limits: Limits) -> Point | None:
        """Return the point that takes least of an axis and keeps limits and floor; None if none is found.

        The relaxation says where to begin, as far beyond the floor as menus stayed behind it before. From
        there the limit moves between where liking fell short and where it held.
        """
        facts = self.points.store.facts
        key = f"held {axis.name} {name_of(limits)}"
        if key in facts:
            self.points.done += 1
            self._margin = Decimal(facts[key]["margin"])
            return self.points.store.points.get(facts[key]["point"])
        good = self._search(axis, limits)
        if good is not None:
            good = self._with_least(axis, good, limits)
        self.points.done += 1
        facts[key] = {"point": "" if good is None else good.run, "margin": str(self._margin)}
        return good

    def _search(self, axis: Axis, limits: Limits) -> Point | None:
        good = self._good(axis, limits)
        bad: tuple[Decimal, Decimal | None] | None = None
        for k in range(TRIES):
            cap = self._next(axis, limits, good, bad, k)
            if cap is None or (good is not None and not axis.beats(cap, good.at(axis))):
                break
            tried = self.points.point({**limits, axis.name: cap}, counts=False)
            liking = tried.at(AXES["liking"]) if tried.end == "menu" else None
            # what a menu stayed behind the relaxation here, the next ones will
            short = MARGIN if liking is None else self.floor - liking
            self._margin = max(SPARE, self._margin + short + SPARE)
            if liking is None or liking < self.floor:
                bad = cap, liking
                continue
            good = self._good(axis, limits)
            if bad is not None or liking - self.floor <= LEFT_OVER:
                break
        return good

    def _next(
        self,
        axis: Axis,
        limits: Limits,
        good: Point | None,
        bad: tuple[Decimal, Decimal | None] | None,
        tries: int,
    ) -> Decimal | None:
        """Return the limit to try: the relaxation's, or between what failed and what held once that fails."""
        if tries < GUESSES:
            cap = liked_at(self.points, axis, limits, self.floor + self._margin)
            if cap is not None and (bad is None or axis.beats(bad[0], cap)):
                return cap
        return None if good is None or bad is None else self._middle(axis, good, bad)

    def _good(self, axis: Axis, limits: Limits) -> Point | None:
        """Return the menu found so far that takes least of an axis, keeps the limits and the floor."""
        caps = self.points.caps

        def keeps(p: Point) -> bool:
            within = not any(caps[k].beats(v, p.at(caps[k])) for k, v in limits.items())
            return within and p.at(AXES["liking"]) >= self.floor

        menus = [p for p in self.points.store.points.values() if p.end == "menu" and keeps(p)]
        return min(menus, key=lambda p: p.at(axis) * (1 if axis.less else -1), default=None)

    def _middle(self, axis: Axis, good: Point, bad: tuple[Decimal, Decimal | None]) -> Decimal | None:
        """Return a limit between one that keeps the floor and one that does not; None where they touch."""
        loose, (tight, liking) = good.at(axis), bad
        part = Decimal("0.5")
        if liking is not None:
            short, spare = self.floor - liking, good.at(AXES["liking"]) - self.floor
            # a little on the safe side of the line through both
            part = min(Decimal("0.9"), Decimal("1.2") * short / (short + spare))
        limit = axis.toward(tight + (loose - tight) * part, loose=True)
        return limit if min(tight, loose) < limit < max(tight, loose) else None

    def _with_least(self, axis: Axis, point: Point, limits: Limits) -> Point:
        """Add what is proved of the least that keeps the floor within the limits."""
        if axis.name in point.least or any(point.limits.get(k) != v for k, v in limits.items()):
            return point
        store = self.points.store
        proved = None
        certificate = read_run(store.folder / RUNS / point.run).certificate
        if certificate is not None and axis.name in point.limits:
            at = {**limits, axis.name: point.limits[axis.name]}
            proved = self._proved(axis, at, certificate)
        if proved is None or abs(proved - point.at(axis)) > FAR * abs(point.at(axis)):
            # where the menu was found the limit may bear little price; at the relaxation's least it does
            cap = liked_at(self.points, axis, limits, self.floor)
            if cap is not None:
                at = {**limits, axis.name: cap}
                program = limited(self.points.question()[1], self.points.caps, at)
                relaxation = relax(program)
                if relaxation.status == "solved":
                    other = self._proved(axis, at, certify(program, relaxation))
                    if proved is None or (other is not None and axis.beats(proved, other)):
                        proved = other
        if proved is not None:
            point = replace(point, least={**point.least, axis.name: proved})
            store.keep(point.run, point, None)
        return point

    def _proved(self, axis: Axis, limits: Limits, certificate: Certificate) -> Decimal | None:
        program = limited(self.points.question()[1], self.points.caps, limits)
        units = int((self.floor * 10 ** (GOAL_DECIMALS - 2)).to_integral_value(ROUND_FLOOR))
        return least_proved(program, certificate, axis, limits[axis.name], units)
