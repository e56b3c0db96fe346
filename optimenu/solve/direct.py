"""The plain integer model handed to a solver: for small programs, and to compare with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import highspy
import numpy as np
import pulp

from optimenu.program.program import HARD, NO_HIGH, NO_LOW
from optimenu.program.to_pulp import to_pulp
from optimenu.solve.linear import EXACT, INTERRUPTS, look_at, ready

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimenu.program.program import Program
    from optimenu.program.to_pulp import PulpModel
    from optimenu.solve.halt import Stop

Solver = Literal["HiGHS", "CBC"]
Status = Literal["optimal", "menu", "impossible", "undecided"]

_CLOSED = 1e-6
"""Relative gap, in floating point, at which the solver's bound and the exact value count as equal."""


@dataclass(frozen=True, eq=False)
class DirectResult:
    """What a solver made of the plain model.

    Attributes
    ----------
    status : str
        ``optimal``: the solver closed its gap (in its own floating point); ``menu``: a feasible choice
        with a gap; ``impossible``: none exists, found with presolve and again without; ``undecided``.
    x : int64 (n,) or None
        The choice, rounded and checked in whole numbers; None for programs with continuous columns.
    value : int or None
        Exact value of ``x`` in whole goal units.
    bound : float or None
        The solver's own bound, in whole goal units; CBC tells one only when it closes its gap.
    amounts : float64 (n,) or None
        The solver's own values; the answer of a program with continuous columns.
    objective : float or None
        The solver's own objective in units of the goal.
    """

    status: Status
    x: NDArray[np.int64] | None = None
    value: int | None = None
    bound: float | None = None
    amounts: NDArray[np.float64] | None = None
    objective: float | None = None


@dataclass(frozen=True, eq=False)
class _Answer:
    """How one solve ended; values and bound in the model's units."""

    end: Literal["optimal", "stopped", "impossible"]
    values: NDArray[np.float64] | None
    bound: float | None


def direct(
    program: Program,
    solver: Solver = "HiGHS",
    seconds: float | None = None,
    gap: float = 0.0,
    *,
    stop: Stop | None = None,
) -> DirectResult:
    """Solve the plain model.

    Parameters
    ----------
    solver : str
        ``HiGHS`` or ``CBC``.
    seconds : float, optional
        Time limit; without one the solver may take for ever. Only runs without one repeat exactly.
    gap : float
        Relative gap at which the solver may stop.
    stop : Stop, optional
        Ends a HiGHS solve within milliseconds when set; CBC does not look at it.

    Raises
    ------
    ValueError
        For another solver's name.
    """
    if solver not in ("HiGHS", "CBC"):
        msg = f"no such solver: {solver}; HiGHS and CBC are known"
        raise ValueError(msg)
    model = to_pulp(program)
    answer = _answer(model, solver, seconds, gap, stop, presolve=True)
    if answer.end == "impossible":
        answer = _answer(model, solver, seconds, gap, stop, presolve=False)
    if answer.end == "impossible":
        return DirectResult("impossible")
    bound = None if answer.bound is None else answer.bound * model.goal_unit
    if answer.values is None:
        return DirectResult("undecided", bound=bound)
    objective = float(pulp.value(model.problem.objective)) * model.goal_unit
    told = objective / 10.0**program.goal_decimals
    if program.continuous.any():
        if not _nearly_feasible(program, answer.values):
            return DirectResult("undecided", bound=bound, amounts=answer.values)
        end: Status = "optimal" if answer.end == "optimal" and gap == 0 else "menu"
        return DirectResult(end, bound=bound, amounts=answer.values, objective=told)
    x = program.complete(np.rint(answer.values[: program.n_menu]).astype(np.int64))
    if not program.feasible(x):
        # within the solver's tolerances only: not a menu
        return DirectResult("undecided", bound=bound, amounts=answer.values)
    value = program.value(x)
    closed = (
        answer.end == "optimal"
        and bound is not None
        and bound - value <= _CLOSED * max(abs(value), model.goal_unit)
    )
    return DirectResult("optimal" if closed else "menu", x, value, bound, answer.values, told)


def _answer(
    model: PulpModel,
    solver: Solver,
    seconds: float | None,
    gap: float,
    stop: Stop | None,
    *,
    presolve: bool,
) -> _Answer:
    if solver == "HiGHS":
        return _highs(model, seconds, gap, stop, presolve=presolve)
    return _cbc(model, seconds, gap, presolve=presolve)


def _highs(
    model: PulpModel, seconds: float | None, gap: float, stop: Stop | None, *, presolve: bool
) -> _Answer:
    ready()
    model.problem.solve(
        pulp.HiGHS(
            msg=False,
            gapRel=gap,
            gapAbs=0.0,
            threads=1,
            timeLimit=seconds,
            callbackTuple=(look_at(stop), None),
            callbacksToActivate=list(INTERRUPTS),
            presolve="choose" if presolve else "off",
            parallel="off",
            **EXACT,
        )
    )
    raw = model.problem.solverModel
    state, info = raw.getModelStatus(), raw.getInfo()
    states = highspy.HighsModelStatus
    if state in (states.kInfeasible, states.kUnboundedOrInfeasible):
        return _Answer("impossible", None, None)
    whole = any(v.cat == pulp.LpInteger for v in model.columns)
    # PuLP gives HiGHS the negative to minimise
    bound = -info.mip_dual_bound if whole else -info.objective_function_value
    done = state in (states.kOptimal, states.kModelEmpty)
    if not done and not whole:
        bound = float("inf")
    feasible = highspy.SolutionStatus.kSolutionStatusFeasible
    values = _values(model) if done or info.primal_solution_status == feasible else None
    return _Answer("optimal" if done else "stopped", values, bound if np.isfinite(bound) else None)


def _cbc(model: PulpModel, seconds: float | None, gap: float, *, presolve: bool) -> _Answer:
    solver = pulp.COIN_CMD(
        # the CBC that comes with PuLP; the class named after it only adds a warning of PuLP 4
        path=pulp.PULP_CBC_CMD.pulp_cbc_path,
        msg=False,
        gapRel=gap,
        gapAbs=0.0,
        threads=1,
        timeLimit=seconds,
        presolve=presolve,
        options=["primalTolerance 1e-9"],
    )
    if not solver.available():
        msg = "the CBC of this PuLP cannot run here; use HiGHS"
        raise RuntimeError(msg)
    try:
        model.problem.solve(solver)
    except pulp.PulpSolverError:
        # CBC 2.10 now and then dies on a program it cannot solve, which decides nothing
        return _Answer("stopped", None, None)
    if model.problem.status == pulp.LpStatusInfeasible:
        return _Answer("impossible", None, None)
    if model.problem.sol_status == pulp.LpSolutionOptimal:
        bound = float(pulp.value(model.problem.objective)) if gap == 0 else None
        return _Answer("optimal", _values(model), bound)
    found = model.problem.sol_status == pulp.LpSolutionIntegerFeasible
    return _Answer("stopped", _values(model) if found else None, None)


def _values(model: PulpModel) -> NDArray[np.float64]:
    # PuLP leaves out a column that no row and no goal speaks of, such as a free serving that nothing limits
    return np.asarray(
        [(v.lowBound or 0.0) if v.varValue is None else v.varValue for v in model.columns], dtype=np.float64
    )


def _nearly_feasible(program: Program, x: NDArray[np.float64]) -> bool:
    """True when ``x`` keeps bounds and hard rows within a millionth of their size."""
    if np.any(x < program.low - 1e-6) or np.any(x > program.high + 1e-6):
        return False
    act = np.bincount(
        program.row_of_entry, weights=program.row_coef * x[program.row_column], minlength=program.m
    )
    low = np.where(program.row_low == NO_LOW, -np.inf, program.row_low)
    high = np.where(program.row_high == NO_HIGH, np.inf, program.row_high)
    room = 1e-6 * np.maximum(np.abs(act), 10.0**program.row_decimals)
    broken = (act < low - room) | (act > high + room)
    return not np.any(broken & (program.row_price == HARD))
