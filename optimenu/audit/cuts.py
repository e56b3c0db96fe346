"""Derives a certificate's cuts from the Program's own rows, in Python's own whole numbers.

What a cut says is nowhere written down: it follows from the rows it names by mixed-integer rounding
(``program.certificate.Cut``). So whoever names them can make a cut useless but never untrue. Nothing here
is shared with the code that found the cuts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NoReturn

from optimenu.errors import AuditFailed
from optimenu.program.certificate import HIGH, LOW
from optimenu.program.program import HARD, NO_HIGH, NO_LOW

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from optimenu.program.certificate import Cut
    from optimenu.program.program import Program


@dataclass(frozen=True)
class Limit:
    """What a cut says: ``sum coef[k] * x[k] <= high``.

    Attributes
    ----------
    coef : dict
        By column; the uses of worth groups stand after the columns, in the order of ``deduction``.
    high : int
    """

    coef: dict[int, int]
    high: int


@dataclass(frozen=True)
class _Taken:
    """A row, link or earlier cut that takes part: its multiplier, its limit on one side, its terms."""

    times: int
    limit: int
    is_high: bool
    terms: Sequence[tuple[int, int]]


class _Source:
    """A Program's rows by kin, columns by class, links by group; uses stand after the columns."""

    def __init__(self, program: Program) -> None:
        self.program = program
        uses = len(program.deduction)
        self.low: list[int] = program.low.tolist() + [0] * uses
        self.high: list[int] = program.high.tolist() + [1] * uses
        self.rows: dict[int, list[int]] = {}
        for r, kin in enumerate(program.row_kin.tolist()):
            self.rows.setdefault(kin, []).append(r)
        self.columns: dict[int, list[int]] = {}
        for c, klass in enumerate(program.column_class.tolist()):
            self.columns.setdefault(klass, []).append(c)

    def row(self, r: int) -> list[tuple[int, int]]:
        p, a, b = self.program, int(self.program.row_start[r]), int(self.program.row_start[r + 1])
        return list(zip(p.row_column[a:b].tolist(), p.row_coef[a:b].tolist(), strict=True))

    def link(self, g: int) -> list[tuple[int, int]]:
        """Columns of a group less its uses: 0 in every menu, for no group has more uses than deductions."""
        p = self.program
        members = p.group_column[int(p.group_start[g]) : int(p.group_start[g + 1])].tolist()
        uses = range(p.n + int(p.deduct_start[g]), p.n + int(p.deduct_start[g + 1]))
        return [(c, 1) for c in members] + [(u, -1) for u in uses]


def derive(program: Program, cuts: Sequence[Cut]) -> list[Limit]:
    """Return what each cut says.

    Raises
    ------
    AuditFailed
        When a column may be negative or a fraction, or a cut names what is not there or leans on what a
        menu need not keep.
    """
    if not cuts:
        return []
    for c, (low, fraction) in enumerate(zip(program.low.tolist(), program.continuous.tolist(), strict=True)):
        if low < 0 or fraction:
            kind = "a fraction" if fraction else "negative"
            msg = f"column {c} may be {kind}, which the bound's cuts do not cover."
            raise AuditFailed(msg)
    source = _Source(program)
    done: list[Limit] = []
    for number, cut in enumerate(cuts):
        if cut.cover:
            done.append(_covered(source, number, cut.cover))
            continue
        if cut.later:
            done.append(_after_the_first(source, number, cut.later))
            continue
        if cut.parts < 1 or cut.unit < 1:
            _fail(number, f"counts in parts {cut.parts} and units {cut.unit}; both must be 1 or more")
        taken = [*_rows(source, number, cut), *_earlier(done, number, cut), *_links(source, number, cut)]
        done.append(_rounded(source, taken, _turned(source, number, cut), cut.parts, cut.unit))
    return done


def _fail(number: int, what: str) -> NoReturn:
    msg = f"cut {number} of the bound {what}."
    raise AuditFailed(msg)


def _rows(source: _Source, number: int, cut: Cut) -> Iterator[_Taken]:
    program = source.program
    for kin, times, side in cut.kins:
        if kin not in source.rows or side not in (HIGH, LOW):
            _fail(number, f"names rows {kin}, side {side}, which are not there")
        for r in source.rows[kin]:
            limit = int(program.row_high[r] if side == HIGH else program.row_low[r])
            if limit in (NO_HIGH, NO_LOW) or program.row_price[r] != HARD:
                _fail(number, f"leans on a side of row {r} that nothing has to keep")
            yield _Taken(times, limit, side == HIGH, source.row(r))


def _earlier(done: Sequence[Limit], number: int, cut: Cut) -> Iterator[_Taken]:
    for k, times in cut.cuts:
        if not 0 <= k < len(done):
            _fail(number, f"follows from cut {k}, which does not come before it")
        yield _Taken(times, done[k].high, True, list(done[k].coef.items()))


def _links(source: _Source, number: int, cut: Cut) -> Iterator[_Taken]:
    for g, times in cut.links:
        if not 0 <= g < source.program.n_groups:
            _fail(number, f"names worth group {g}; there are {source.program.n_groups}")
        yield _Taken(times, 0, True, source.link(g))


def _covered(source: _Source, number: int, cover: Sequence[int]) -> Limit:
    """Count the extra columns of a class that any use of a group sets to 1 or more.

    No column is negative, so the rest of the class does no harm on the other side.
    """
    p = source.program
    group, klass, n = cover if len(cover) == 3 else (-1, -1, -1)
    if n < 1 or not 0 <= group < p.n_groups or klass not in source.columns:
        _fail(number, f"covers {list(cover)}, which is not there")
    first = int(p.deduct_start[group])
    if first == int(p.deduct_start[group + 1]):
        _fail(number, f"covers worth group {group}, which has no uses")
    feeds: dict[int, int] = {}
    for k in (c - p.n_menu for c in source.columns[klass] if c >= p.n_menu):
        a, b = int(p.extra_start[k]), int(p.extra_start[k + 1])
        # with a negative part a use need not open anything
        if min(p.extra_coef[a:b].tolist(), default=0) > 0 and p.extra_divisor[k] > 0:
            for fed in set(p.extra_column[a:b].tolist()):
                feeds[fed] = feeds.get(fed, 0) + 1
    for c in p.group_column[int(p.group_start[group]) : int(p.group_start[group + 1])].tolist():
        if feeds.get(c, 0) < n:
            _fail(number, f"claims {n} extra columns for column {c}, which feeds {feeds.get(c, 0)}")
    return Limit({p.n + first: n, **dict.fromkeys(source.columns[klass], -1)}, 0)


def _after_the_first(source: _Source, number: int, later: Sequence[int]) -> Limit:
    """Count uses of a group that come after its first."""
    p = source.program
    group, a, b = later if len(later) == 3 else (-1, -1, -1)
    if not 0 <= group < p.n_groups:
        _fail(number, f"orders {list(later)}, which is not there")
    uses = range(p.n + int(p.deduct_start[group]), p.n + int(p.deduct_start[group + 1]))
    if not 2 <= a <= b <= len(uses):
        _fail(number, f"orders {list(later)}; the group has {len(uses)} uses")
    return Limit({uses[0]: a - b - 1, **dict.fromkeys(uses[a - 1 : b], 1)}, 0)


def _turned(source: _Source, number: int, cut: Cut) -> set[int]:
    """Columns and uses that the cut counts from their high end."""
    n, uses = source.program.n, len(source.program.deduction)
    out: set[int] = set()
    for klass in cut.turned:
        if klass not in source.columns:
            _fail(number, f"turns columns {klass}, which are not there")
        out.update(source.columns[klass])
    for u in cut.turned_uses:
        if not 0 <= u < uses:
            _fail(number, f"turns use {u}; there are {uses}")
        out.add(n + u)
    return out


def _rounded(source: _Source, taken: Sequence[_Taken], turned: set[int], parts: int, unit: int) -> Limit:
    """Add up what takes part, round, write the slacks out, divide."""
    sums: dict[int, int] = {}
    for t in taken:
        for k, a in t.terms:
            sums[k] = sums.get(k, 0) + t.times * a
    end = {k: source.high[k] if k in turned else source.low[k] for k in sums}
    total = sum(t.times * t.limit for t in taken) - sum(a * end[k] for k, a in sums.items())
    over = total % parts

    def rounded(a: int) -> int:
        return (a // parts) * (parts - over) + max(0, a % parts - over)

    coef = {k: -rounded(-a) if k in turned else rounded(a) for k, a in sums.items()}
    high = rounded(total) + sum(a * end[k] for k, a in coef.items())
    for t in taken:
        # the slack is limit less activity, or activity less limit
        slack = -rounded(t.times) if t.is_high else rounded(-t.times)
        high += slack * t.limit
        for k, a in t.terms:
            coef[k] += slack * a
    return Limit({k: a // unit for k, a in coef.items()}, high // unit)
