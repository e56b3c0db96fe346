"""Proves a certificate's bound again, in Python's own whole numbers, from the Program and nothing else.

For any choice x, any multipliers y with the sign of a side that has a limit, and no soft one above its
price, the value of x is at most

    sum_r y_r * limit_r  +  sum over columns and groups of the best at gain - sum_r y_r a_r,

because y_r (activity - limit_r) is at most the price of the breach (weak duality). The best of a group
is found by trying every number of uses, the dearest first. Cuts are further rows, each derived anew from
the Program's (``audit.cuts``). Nothing here is shared with the code that made the certificate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimenu.audit.cuts import derive
from optimenu.errors import AuditFailed
from optimenu.program.program import HARD, NO_HIGH, NO_LOW

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.program.certificate import Certificate
    from optimenu.program.program import Program


@dataclass(frozen=True)
class BoundCheck:
    """A bound that holds.

    Attributes
    ----------
    proved : int
        What the multipliers prove, whole goal units, rounded up.
    claimed : int
        What the certificate claims; not less than ``proved``.
    rows : int
        Rows that carry a multiplier.
    """

    proved: int
    claimed: int
    rows: int


def check_bound(program: Program, certificate: Certificate) -> BoundCheck:
    """Prove a certificate's bound again.

    Raises
    ------
    AuditFailed
        When the certificate is another program's or malformed, prices a side without a limit or a soft
        row above its price, has a cut that follows from nothing, or claims less than its multipliers
        prove; one sentence says which.
    """
    if certificate.digest != program.digest:
        _fail(f"the bound is of another program: {certificate.digest[:12]}..., not {program.digest[:12]}...")
    if not 0 <= certificate.shift <= 4096:
        _fail(f"the bound's multipliers have {certificate.shift} binary places; 0 to 4096 are possible")
    y = _numbered("row", certificate.rows.tolist(), certificate.multiplier, program.m)
    worth = _numbered("worth group", certificate.groups.tolist(), certificate.use_worth, program.n_groups)
    total = _limits(program, y, certificate.shift)
    earn = _earnings(program, y, certificate.shift)
    deduct = [d * 2**certificate.shift for d in program.deduction.tolist()]
    total += _cuts(program, certificate, earn, deduct)
    total += _columns(program, earn, deduct, worth)
    unit = 1 << certificate.shift
    proved = total // unit + (total % unit > 0)
    if certificate.bound < proved:
        _fail(f"the bound {certificate.bound} is claimed but its multipliers prove no less than {proved}")
    return BoundCheck(proved=proved, claimed=certificate.bound, rows=len(y))


def _fail(sentence: str) -> None:
    raise AuditFailed(sentence + ".")


def _numbered(what: str, numbers: Sequence[int], values: Sequence[int], count: int) -> dict[int, int]:
    if len(numbers) != len(values):
        _fail(f"the bound names {len(numbers)} {what}s and {len(values)} multipliers")
    before = -1
    for k in numbers:
        if not 0 <= k < count:
            _fail(f"the bound names {what} {k}; there are {count}")
        if k <= before:
            _fail(f"the bound's {what} numbers must rise, but {k} follows {before}")
        before = k
    return {int(k): int(v) for k, v in zip(numbers, values, strict=True)}


def _limits(program: Program, y: dict[int, int], shift: int) -> int:
    """Sum of multiplier times limit, after looking at every multiplier's side and size."""
    total = 0
    for r, v in y.items():
        low, high, price = int(program.row_low[r]), int(program.row_high[r]), int(program.row_price[r])
        if v > 0 and high == NO_HIGH:
            _fail(f"the bound prices the high side of row {r} ({_name(program, r)}), which has none")
        if v < 0 and low == NO_LOW:
            _fail(f"the bound prices the low side of row {r} ({_name(program, r)}), which has none")
        if price != HARD and abs(v) > price * 2**shift:
            _fail(f"the bound prices the soft row {r} ({_name(program, r)}) above its price {price}")
        total += v * high if v > 0 else v * low
    return total


def _name(program: Program, r: int) -> str:
    origin = program.origins[r]
    return " ".join(str(part) for part in (origin.key, origin.person, origin.what) if part)


def _earnings(program: Program, y: dict[int, int], shift: int) -> list[int]:
    """Gain less cost of every column, in 2**-shift goal units."""
    earn = [gain * 2**shift for gain in program.gain.tolist()]
    start = program.row_start.tolist()
    for r, v in y.items():
        columns = program.row_column[start[r] : start[r + 1]].tolist()
        coefs = program.row_coef[start[r] : start[r + 1]].tolist()
        for c, a in zip(columns, coefs, strict=True):
            earn[c] -= v * a
    return earn


def _cuts(program: Program, certificate: Certificate, earn: list[int], deduct: list[int]) -> int:
    """Take what the cuts cost from ``earn`` and add it to ``deduct``; return price times limit."""
    if len(certificate.cuts) != len(certificate.cut_price):
        _fail(f"the bound names {len(certificate.cuts)} cuts and {len(certificate.cut_price)} multipliers")
    total = 0
    limits = derive(program, certificate.cuts)
    for k, (limit, price) in enumerate(zip(limits, certificate.cut_price, strict=True)):
        if price < 0:
            _fail(f"the bound prices the low side of cut {k}, which has none")
        total += price * limit.high
        for place, coef in limit.coef.items():
            if place < program.n:
                earn[place] -= price * coef
            else:
                deduct[place - program.n] += price * coef
    return total


def _columns(program: Program, earn: list[int], deductions: list[int], worth: dict[int, int]) -> int:
    """Best total of all columns: in worth groups against the deductions, else each at its better end."""
    low, high = program.low.tolist(), program.high.tolist()
    member = program.group_column.tolist()
    start, d_start = program.group_start.tolist(), program.deduct_start.tolist()
    inside: dict[int, list[int]] = {}
    for g in range(program.n_groups):
        for c in member[start[g] : start[g + 1]]:
            inside.setdefault(c, []).append(g)
    total = 0
    for c, e in enumerate(earn):
        if c not in inside:
            total += max(e * low[c], e * high[c])
    # the share of a column in each of its groups: the link's multiplier and an equal part of the rest
    shares: dict[int, list[int]] = {}
    for c, groups in inside.items():
        rest = earn[c] - sum(worth.get(g, 0) for g in groups)
        k = len(groups)
        shares[c] = [worth.get(g, 0) + rest // k + int(i < rest % k) for i, g in enumerate(groups)]
        if low[c] < 0:
            _fail(f"column {c} counts uses in a worth group but may be negative")
    for g in range(program.n_groups):
        deduct = deductions[d_start[g] : d_start[g + 1]]
        uses: list[int] = []
        forced = 0
        for c in member[start[g] : start[g + 1]]:
            share = shares[c].pop(0)
            total += share * low[c]
            forced += low[c]
            uses += [share] * min(high[c] - low[c], len(deduct))
        uses.sort(reverse=True)
        total -= sum(deduct[:forced])
        gained = best = 0
        for e, d in zip(uses, deduct[forced:], strict=False):
            gained += e - d
            best = max(best, gained)
        total += best
    return total
