"""Proves a certificate's bound again, in Python's own whole numbers, from the Program and nothing else.

For any choice x, any multipliers y with the sign of a side that has a limit, and no soft one above its
price, the value of x is at most

    sum_r y_r * limit_r  +  sum over columns and groups of the best at gain - sum_r y_r a_r,

because y_r (activity - limit_r) is at most the price of the breach (weak duality). The best of a group
is found by trying every number of uses, the dearest first. Cuts are further rows: each is derived here
from the Program's rows by mixed-integer rounding (``program.certificate.Cut``), whatever its maker
thought it says. Nothing here is shared with the code that made the certificate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimenu.errors import AuditFailed
from optimenu.program.certificate import HIGH, LOW
from optimenu.program.program import HARD, NO_HIGH, NO_LOW

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.program.certificate import Certificate, Cut
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
        row above its price, or claims less than its multipliers prove; one sentence says which.
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


@dataclass(frozen=True)
class _Row:
    """A derived limit: coefficients by column, by place of a use, and the high side."""

    column: dict[int, int]
    use: dict[int, int]
    high: int


class _Labels:
    """Rows by kin and columns by class."""

    def __init__(self, program: Program) -> None:
        self.rows: dict[int, list[int]] = {}
        for r, kin in enumerate(program.row_kin.tolist()):
            self.rows.setdefault(kin, []).append(r)
        self.columns: dict[int, list[int]] = {}
        for c, klass in enumerate(program.column_class.tolist()):
            self.columns.setdefault(klass, []).append(c)
        self.start = program.row_start.tolist()


def _cuts(program: Program, certificate: Certificate, earn: list[int], deduct: list[int]) -> int:
    """Derive every cut, take what it costs from ``earn`` and add it to ``deduct``; price times limit."""
    if len(certificate.cuts) != len(certificate.cut_price):
        _fail(f"the bound names {len(certificate.cuts)} cuts and {len(certificate.cut_price)} multipliers")
    if not certificate.cuts:
        return 0
    for c, low in enumerate(program.low.tolist()):
        if low < 0:
            _fail(f"column {c} may be negative, which the bound's cuts do not cover")
    labels = _Labels(program)
    derived: list[_Row] = []
    total = 0
    for k, (cut, price) in enumerate(zip(certificate.cuts, certificate.cut_price, strict=True)):
        if price < 0:
            _fail(f"the bound prices the low side of cut {k}, which has none")
        row = _derive(program, labels, cut, derived, k)
        derived.append(row)
        total += price * row.high
        for c, coef in row.column.items():
            earn[c] -= price * coef
        for u, coef in row.use.items():
            deduct[u] += price * coef
    return total


def _derive(program: Program, labels: _Labels, cut: Cut, earlier: list[_Row], number: int) -> _Row:
    """Derive one cut: add up its rows, round, write the slacks out, divide."""
    parts, unit = cut.parts, cut.unit
    if parts < 1 or unit < 1:
        _fail(f"cut {number} of the bound counts in parts {parts} and units {unit}; both must be 1 or more")
    # multiplier, limit, whether the slack is limit less activity, and the activity itself
    taken: list[tuple[int, int, bool, list[tuple[int, int]], list[tuple[int, int]]]] = []
    for kin, v, side in cut.kins:
        if kin not in labels.rows or side not in (HIGH, LOW):
            _fail(f"cut {number} of the bound names rows {kin}, side {side}, which are not there")
        for r in labels.rows[kin]:
            limit = int(program.row_high[r] if side == HIGH else program.row_low[r])
            if limit in (NO_HIGH, NO_LOW) or int(program.row_price[r]) != HARD:
                _fail(f"cut {number} of the bound leans on a side of row {r} that nothing has to keep")
            a, b = labels.start[r], labels.start[r + 1]
            activity = list(
                zip(program.row_column[a:b].tolist(), program.row_coef[a:b].tolist(), strict=True)
            )
            taken.append((v, limit, side == HIGH, activity, []))
    for k, v in cut.cuts:
        if not 0 <= k < len(earlier):
            _fail(f"cut {number} of the bound follows from cut {k}, which does not come before it")
        before = earlier[k]
        taken.append((v, before.high, True, list(before.column.items()), list(before.use.items())))
    for g, v in cut.links:
        if not 0 <= g < program.n_groups:
            _fail(f"cut {number} of the bound names worth group {g}; there are {program.n_groups}")
        a, b = int(program.group_start[g]), int(program.group_start[g + 1])
        first, end = int(program.deduct_start[g]), int(program.deduct_start[g + 1])
        members = [(c, 1) for c in program.group_column[a:b].tolist()]
        taken.append((v, 0, True, members, [(u, -1) for u in range(first, end)]))

    column: dict[int, int] = {}
    use: dict[int, int] = {}
    for v, _, _, columns, uses in taken:
        for c, coef in columns:
            column[c] = column.get(c, 0) + v * coef
        for u, coef in uses:
            use[u] = use.get(u, 0) + v * coef
    turned = _turned(program, labels, cut, number)
    from_high = set(cut.turned_uses)
    if not from_high <= set(range(len(program.deduction))):
        _fail(f"cut {number} of the bound turns a use that is not there")
    limits = sum(v * limit for v, limit, _, _, _ in taken)
    limits -= sum(a * int(program.high[c] if c in turned else program.low[c]) for c, a in column.items())
    limits -= sum(a for u, a in use.items() if u in from_high)
    over = limits % parts

    def rounded(a: int) -> int:
        return (a // parts) * (parts - over) + max(0, a % parts - over)

    high = rounded(limits)
    for c, a in column.items():
        column[c] = -rounded(-a) if c in turned else rounded(a)
        high += column[c] * int(program.high[c] if c in turned else program.low[c])
    for u, a in use.items():
        use[u] = -rounded(-a) if u in from_high else rounded(a)
        high += use[u] if u in from_high else 0
    for v, limit, is_high, columns, uses in taken:
        # written out: slack = limit - activity, or activity - limit
        slack = -rounded(v) if is_high else rounded(-v)
        high += slack * limit
        for c, coef in columns:
            column[c] += slack * coef
        for u, coef in uses:
            use[u] += slack * coef
    return _Row(
        {c: a // unit for c, a in column.items()},
        {u: a // unit for u, a in use.items()},
        -(-high // unit),
    )


def _turned(program: Program, labels: _Labels, cut: Cut, number: int) -> set[int]:
    out: set[int] = set()
    for klass in cut.turned:
        if klass not in labels.columns:
            _fail(f"cut {number} of the bound turns columns {klass}, which are not there")
        out.update(labels.columns[klass])
    return out


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
