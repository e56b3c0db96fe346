"""Ways out of a case without a menu: changes that belong together, and what came of planning with them."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from optimenu.planning import Planned
    from optimenu.rules.edits import Edits
    from optimenu.settings import Writer


@dataclass(frozen=True, eq=False)
class Way:
    """Changes that belong together, and what came of planning with them.

    Attributes
    ----------
    state : str
        ``menu``: planned and audited; ``relaxation``: its relaxation became possible, no menu was found
        within the moves; ``impossible``: proved to have no menu, or none that is liked, at the largest step
        tried; ``undecided``: not even whether its relaxation is possible was told.
    who : str
        The lowest role that may make all the changes.
    planned : Planned or None
    """

    edits: Edits
    state: Literal["menu", "relaxation", "impossible", "undecided"]
    who: Writer
    planned: Planned | None = None


@dataclass(frozen=True, eq=False)
class WaysOut:
    """What a role can do, and where that is nothing, what another role could.

    Attributes
    ----------
    ways : tuple of Way
        Cheapest first; those without a menu were tried in vain.
    others : tuple of Way
        The first that a higher role has, where the asking one has none that gives a menu.
    moves : int
        Moves of each search.
    notes : tuple of str
        Sentences on ways that were passed over, and on where the search for more ended.
    stopped : bool
        Whether the user ended the search for more.
    """

    role: Writer
    ways: tuple[Way, ...]
    others: tuple[Way, ...]
    moves: int
    notes: tuple[str, ...] = ()
    stopped: bool = False

    @property
    def working(self) -> tuple[Way, ...]:
        """Ways with which a menu was planned."""
        return tuple(w for w in self.ways if w.state == "menu")

    @property
    def best(self) -> tuple[Decimal, ...]:
        """For each person the best that the loosest of the ways allows: one yardstick for all of them."""
        scales = [w.planned.scale.best for w in (*self.ways, *self.others) if w.planned is not None]
        return tuple(max(each) for each in zip(*scales, strict=True))

    def liking(self, way: Way) -> Decimal | None:
        """Mean liking of a way's menu by the one yardstick, None without a menu."""
        if way.planned is None or way.planned.report is None:
            return None
        liked = way.planned.report.liked
        parts = (one.worth / best for one, best in zip(liked, self.best, strict=True))
        return sum(parts, Decimal(0)) / len(liked)


@dataclass
class Kept:
    """What was found so far, as `WaysOut` has it; filled while the search goes on."""

    role: Writer
    moves: int
    ways: list[Way] = field(default_factory=list)
    others: list[Way] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def so_far(self, *, stopped: bool) -> WaysOut:
        """Return what there is by now."""
        return WaysOut(
            self.role, tuple(self.ways), tuple(self.others), self.moves, tuple(self.notes), stopped
        )
