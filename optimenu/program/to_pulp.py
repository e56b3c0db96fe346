"""The Program as a plain integer model of PuLP, for its solvers, MPS and LP files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pulp

from optimenu.program.program import HARD, IMPLIED, NO_HIGH, NO_LOW

if TYPE_CHECKING:
    from pathlib import Path

    from optimenu.program.program import Program


@dataclass(frozen=True, eq=False)
class PulpModel:
    """A PuLP problem and how to read it.

    Names are made for machines, since PuLP folds names that differ only in blanks or signs: ``c17`` is
    column 17, ``g5_2`` the third use of worth group 5, ``s204_over`` and ``s204_under`` the breach of
    soft row 204; rows are ``r204`` (``r204_low`` for the low side of a row with two) and ``g5``.

    Attributes
    ----------
    problem : pulp.LpProblem
        Maximise; rows in units (last decimals divided out).
    columns : tuple of pulp.LpVariable, length n
    goal_unit : int
        One unit of the problem's objective, in whole goal units (a power of ten).
    """

    problem: Any
    columns: tuple[Any, ...]
    goal_unit: int

    def write(self, path: Path) -> None:
        """Write the model: as free MPS for a name ending in ``.mps``, else as LP."""
        if path.suffix == ".mps":
            # readers minimise whatever a comment in the file says
            self.problem.writeMPS(str(path), mpsSense=pulp.LpMinimize)
        else:
            self.problem.writeLP(str(path))


def to_pulp(program: Program) -> PulpModel:
    """Return the direct model. Implied rows are left out: they cut off nothing."""
    problem = pulp.LpProblem("program", pulp.LpMaximize)
    columns = tuple(
        problem.add_variable(f"c{c}", low, high, pulp.LpContinuous if continuous else pulp.LpInteger)
        for c, (low, high, continuous) in enumerate(
            zip(program.low.tolist(), program.high.tolist(), program.continuous.tolist(), strict=True)
        )
    )
    unit = goal_unit(program)
    goal = [(columns[c], gain / unit) for c, gain in enumerate(program.gain.tolist()) if gain]
    constraints = [
        *_groups(program, problem, columns, goal, unit),
        *_rows(program, problem, columns, goal, unit),
    ]
    problem.setObjective(pulp.LpAffineExpression(goal))
    for constraint in constraints:
        problem.addConstraint(constraint)
    return PulpModel(problem, columns, unit)


def goal_unit(program: Program) -> int:
    """Power of ten that brings the largest gain to 10 or more, at most the program's own.

    Gains in units of the goal may be 1e-5 and less, which a solver's absolute tolerances would swallow.
    """
    largest = max((abs(v) for a in (program.gain, program.deduction) for v in a.tolist()), default=0)
    if not largest:
        largest = max((v for v in program.row_price.tolist() if v != HARD), default=0)
    return int(10 ** max(0, min(program.goal_decimals, len(str(largest)) - 2)))


def _groups(
    program: Program, problem: Any, columns: tuple[Any, ...], goal: list[tuple[Any, float]], unit: int
) -> list[Any]:
    """Rows that tie the columns of each worth group to its uses.

    Deductions do not fall, so the uses fill in their order by themselves and may stay continuous.
    """
    out = []
    for g in range(program.n_groups):
        entries: dict[Any, int] = {}
        for c in program.group_column[program.group_start[g] : program.group_start[g + 1]].tolist():
            entries[columns[c]] = entries.get(columns[c], 0) + 1
        deductions = program.deduction[program.deduct_start[g] : program.deduct_start[g + 1]].tolist()
        for k, deduction in enumerate(deductions):
            use = problem.add_variable(f"g{g}_{k}", 0, 1)
            entries[use] = -1
            if deduction:
                goal.append((use, -deduction / unit))
        out.append(pulp.LpConstraint(pulp.LpAffineExpression(entries), pulp.LpConstraintEQ, f"g{g}", 0))
    return out


def _rows(
    program: Program, problem: Any, columns: tuple[Any, ...], goal: list[tuple[Any, float]], unit: int
) -> list[Any]:
    out = []
    start, column, coef = program.row_start.tolist(), program.row_column.tolist(), program.row_coef.tolist()
    for r in range(program.m):
        if program.row_kind[r] == IMPLIED:
            continue
        one = 10 ** int(program.row_decimals[r])
        low, high, price = int(program.row_low[r]), int(program.row_high[r]), int(program.row_price[r])
        entries = [
            (columns[c], a / one)
            for c, a in zip(column[start[r] : start[r + 1]], coef[start[r] : start[r + 1]], strict=True)
        ]
        if low == high and price == HARD:
            row = pulp.LpAffineExpression(entries)
            out.append(pulp.LpConstraint(row, pulp.LpConstraintEQ, f"r{r}", high / one))
            continue
        for limit, none, sense, side, sign in (
            (high, NO_HIGH, pulp.LpConstraintLE, "over", -1),
            (low, NO_LOW, pulp.LpConstraintGE, "under", 1),
        ):
            if limit == none:
                continue
            own = list(entries)
            if price != HARD:
                slack = problem.add_variable(f"s{r}_{side}", 0)
                own.append((slack, sign))
                goal.append((slack, -price * one / unit))
            name = f"r{r}_low" if side == "under" and high != NO_HIGH else f"r{r}"
            out.append(pulp.LpConstraint(pulp.LpAffineExpression(own), sense, name, limit / one))
    return out
