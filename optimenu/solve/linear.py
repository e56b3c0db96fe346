"""Linear programs straight from arrays to HiGHS, silent and on one thread."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

import highspy
import numpy as np

from optimenu.solve.blocks import start_of
from optimenu.solve.quiet import quiet_descriptor

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from optimenu.solve.halt import Stop

Status = Literal["solved", "impossible", "unbounded", "undecided"]
_LOCK = threading.Lock()
_ERROR = highspy.HighsStatus.kError
DUAL, PRIMAL = 1, 4
"""HiGHS's numbers for its simplex strategies."""
EXACT = {"mip_feasibility_tolerance": 1e-9, "primal_feasibility_tolerance": 1e-9}
"""With these, rounding an answer to whole servings breaks no row of ordinary size."""


@dataclass(frozen=True, eq=False)
class LinearModel:
    """Maximise ``cost @ x`` over ``row_low <= A x <= row_high``, ``low <= x <= high``.

    Attributes
    ----------
    cost, low, high : float64 (n,)
        Infinite bounds are ``+-inf``.
    row_low, row_high : float64 (m,)
    start, index, value : int32 (m+1,), int32, float64
        ``A`` as compressed rows.
    part : int32 (n,), optional
        Part of each column, -1 for none; columns of two parts meet in few rows. Tells how to begin, never
        what to find.
    """

    cost: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    row_low: NDArray[np.float64]
    row_high: NDArray[np.float64]
    start: NDArray[np.int32]
    index: NDArray[np.int32]
    value: NDArray[np.float64]
    part: NDArray[np.int32] | None = None


@dataclass(frozen=True, eq=False)
class LinearResult:
    """What became of a linear program.

    Attributes
    ----------
    status : str
        ``solved``, ``impossible`` (found twice, with presolve and without), ``unbounded``, ``undecided``.
    objective : float
        NaN unless solved.
    x : float64 (n,)
        Zeros unless solved.
    dual : float64 (m,)
        Rate at which the maximum grows with the row's limit: positive where the high side binds,
        negative where the low side does. Zeros unless solved.
    """

    status: Status
    objective: float
    x: NDArray[np.float64]
    dual: NDArray[np.float64]


@cache
def _banner_is_out() -> bool:
    with quiet_descriptor():
        highspy.Highs()
    return True


def ready() -> None:
    """Let HiGHS get rid of its banner and show that it works; call before making one of its objects.

    Raises
    ------
    RuntimeError
        When it fails the self-test, which runs once a process.
    """
    with _LOCK:
        _banner_is_out()
        _self_test()


INTERRUPTS = (
    highspy.cb.HighsCallbackType.kCallbackMipInterrupt,
    highspy.cb.HighsCallbackType.kCallbackSimplexInterrupt,
)
"""Callbacks at which HiGHS may be told to end."""


def look_at(stop: Stop | None) -> Callable[..., None]:
    """Return a callback that ends HiGHS once it is to stop; to be called at `INTERRUPTS`."""

    def look(_kind: Any, _message: str, _out: Any, back: Any, _data: Any) -> None:
        if stop is not None and stop.is_set():
            back.user_interrupt = True

    return look


def maximise(model: LinearModel) -> LinearResult:
    """Solve a linear program.

    Raises
    ------
    RuntimeError
        When HiGHS refuses the arrays, or fails the self-test that runs once a process.
    """
    ready()
    return _maximise(model)


def whole_answer(model: LinearModel, *, presolve: bool, nodes: int) -> tuple[Status, NDArray[np.float64]]:
    """Solve a model in whole numbers of every column: the status, and the solver's values (n,).

    ``impossible`` is what it says the one time it is asked, with presolve or without.

    Raises
    ------
    RuntimeError
        As ``maximise`` does.
    """
    ready()
    options = {
        "presolve": "choose" if presolve else "off",
        "mip_max_nodes": nodes,
        **EXACT,
    }
    solver = loaded(model, options, np.ones(len(model.cost), dtype=np.int32))
    state, kinds = _run(solver), highspy.HighsModelStatus
    n = len(model.cost)
    if state in (kinds.kOptimal, kinds.kModelEmpty):
        return "solved", np.asarray(solver.getSolution().col_value, dtype=np.float64)
    impossible = state in (kinds.kInfeasible, kinds.kUnboundedOrInfeasible)
    return "impossible" if impossible else "undecided", np.zeros(n)


def _told(done: Any) -> None:
    """Raise where HiGHS refuses a change."""
    if done == _ERROR:
        msg = "HiGHS refuses a change of a linear program"
        raise RuntimeError(msg)


class OpenModel:
    """A linear program kept open: rows may be added, and its last basis looked at.

    Parameters
    ----------
    model : LinearModel

    Raises
    ------
    RuntimeError
        As ``maximise`` does.
    """

    def __init__(self, model: LinearModel) -> None:
        ready()
        self.n, self.m = len(model.cost), len(model.row_low)
        self._solver = _load(model)

    def solve(self, *, primal: bool = False) -> LinearResult:
        """Solve it, from the last basis where there is one.

        Parameters
        ----------
        primal : bool
            Go on with the primal simplex: far fewer steps where the last answer still keeps every row and
            only the costs are other ones.
        """
        if primal:
            _option(self._solver, "simplex_strategy", PRIMAL)
        try:
            return _solve(self._solver, self.n, self.m)
        finally:
            if primal:
                _option(self._solver, "simplex_strategy", DUAL)

    def add(
        self,
        start: NDArray[np.int32],
        index: NDArray[np.int32],
        value: NDArray[np.float64],
        high: NDArray[np.float64],
    ) -> None:
        """Add rows with a high side, compressed: ``start`` (k + 1,), ``high`` (k,)."""
        k = len(high)
        done = self._solver.addRows(k, np.full(k, -np.inf), high, len(index), start[:-1], index, value)
        if done == _ERROR:
            msg = "HiGHS refuses the arrays of further rows"
            raise RuntimeError(msg)
        self.m += k

    def price(self, cost: NDArray[np.float64], columns: NDArray[np.int32] | None = None) -> None:
        """Replace what columns earn, all of them where none are named; the last basis stays."""
        at = np.arange(self.n, dtype=np.int32) if columns is None else columns
        if len(at):
            _told(self._solver.changeColsCost(len(at), at, -cost))

    def bound(self, columns: NDArray[np.int32], low: NDArray[np.float64], high: NDArray[np.float64]) -> None:
        """Replace the bounds of columns; the last basis stays."""
        if len(columns):
            _told(self._solver.changeColsBounds(len(columns), columns, low, high))

    def limit(self, row: int, low: float, high: float) -> None:
        """Replace the limits of one row; the last basis stays."""
        _told(self._solver.changeRowBounds(row, low, high))

    def change(self, old: LinearModel, new: LinearModel) -> None:
        """Change goal and limits from those of one model to those of another with the same entries.

        Rows that were added stay as they are; the next solve begins from the last basis.
        """
        columns = np.flatnonzero(old.cost != new.cost).astype(np.int32)
        self.price(new.cost[columns], columns)
        columns = np.flatnonzero((old.low != new.low) | (old.high != new.high)).astype(np.int32)
        self.bound(columns, new.low[columns], new.high[columns])
        for r in np.flatnonzero((old.row_low != new.row_low) | (old.row_high != new.row_high)).tolist():
            self.limit(r, new.row_low[r], new.row_high[r])

    def basic(self) -> NDArray[np.int64]:
        """What is basic, int64 (m,): a column's number, or ``-1 - r`` for row r; empty if not known."""
        status, basic = self._solver.getBasicVariables()
        known = status != _ERROR
        return np.asarray(basic if known else (), dtype=np.int64)

    def row_values(self) -> NDArray[np.float64]:
        """Activities of the rows, float64 (m,)."""
        return np.asarray(self._solver.getSolution().row_value, dtype=np.float64)

    def inverse_row(self, place: int) -> NDArray[np.float64]:
        """Multipliers (m,) with which the rows add up to a basic variable's equation; 0 if not known.

        Parameters
        ----------
        place : int
            Where in ``basic`` the variable stands.
        """
        status, multiplier = self._solver.getBasisInverseRow(place)
        known = status != _ERROR
        return np.asarray(multiplier if known else np.zeros(self.m), dtype=np.float64)


@cache
def _self_test() -> None:
    # max 3a + 2b, a + b <= 4, a + 3b >= 6, a <= 3: by hand a = 3, b = 1, value 11, duals 2 and 0;
    # with a + 3b >= 9 instead: a = 1.5, b = 2.5, value 9.5, duals 3.5 and -0.5
    def tiny(least: float) -> LinearModel:
        f, i = np.float64, np.int32
        return LinearModel(
            cost=np.array([3, 2], f),
            low=np.zeros(2),
            high=np.array([3, np.inf], f),
            row_low=np.array([-np.inf, least], f),
            row_high=np.array([4, np.inf], f),
            start=np.array([0, 2, 4], i),
            index=np.array([0, 1, 0, 1], i),
            value=np.array([1, 1, 1, 3], f),
        )

    good = _maximise(tiny(13.0)).status == "impossible"
    for least, value, dual in ((6.0, 11.0, (2.0, 0.0)), (9.0, 9.5, (3.5, -0.5))):
        got = _maximise(tiny(least))
        good &= got.status == "solved" and np.allclose([got.objective, *got.dual], [value, *dual], atol=1e-9)
    if not good:
        version = highspy.Highs().version()
        msg = f"HiGHS {version} fails a linear program with a known answer; install another version"
        raise RuntimeError(msg)


def _maximise(model: LinearModel) -> LinearResult:
    return _solve(_load(model), len(model.cost), len(model.row_low))


def _solve(solver: Any, n: int, m: int) -> LinearResult:
    # minimising the negative leaves one sign convention to think about: a dual is then the rate at
    # which the minimum grows with the limit
    kinds = highspy.HighsModelStatus
    started = solver.getBasis().valid
    state = _run(solver)
    if started and state != kinds.kOptimal:
        # the start that the parts gave led nowhere: as without it
        solver.clearSolver()
        state = _run(solver)
    if state in (kinds.kInfeasible, kinds.kUnboundedOrInfeasible):
        solver.clearSolver()
        _option(solver, "presolve", "off")
        state = _run(solver)
    if state in (kinds.kOptimal, kinds.kModelEmpty):
        solution = solver.getSolution()
        return LinearResult(
            "solved",
            float(-solver.getInfo().objective_function_value),
            np.asarray(solution.col_value, dtype=np.float64),
            -np.asarray(solution.row_dual, dtype=np.float64),
        )
    status: Status = "undecided"
    if state == kinds.kInfeasible:
        status = "impossible"
    elif state == kinds.kUnbounded:
        status = "unbounded"
    return LinearResult(status, float("nan"), np.zeros(n), np.zeros(m))


def _solved(model: LinearModel) -> Any:
    solver = _load(model)
    return solver if _run(solver) == highspy.HighsModelStatus.kOptimal else None


def loaded(model: LinearModel, options: Mapping[str, object], whole: NDArray[np.int32] | None = None) -> Any:
    """Return HiGHS with a model and some options set, on one thread; call ``ready`` before.

    Parameters
    ----------
    whole : int32 (n,), optional
        HiGHS's kind of each column; all continuous when left out.

    Raises
    ------
    RuntimeError
        When HiGHS refuses an option or the arrays.
    """
    solver = highspy.Highs()
    # one thread pool a process: every solve of ours uses one thread, else a later one silently does nothing
    for name, value in {"output_flag": False, "threads": 1, "parallel": "off", **options}.items():
        _option(solver, name, value)
    status = solver.passModel(
        len(model.cost),
        len(model.row_low),
        len(model.value),
        int(highspy.MatrixFormat.kRowwise),
        int(highspy.ObjSense.kMinimize),
        0.0,
        -model.cost,
        model.low,
        model.high,
        model.row_low,
        model.row_high,
        model.start,
        model.index,
        model.value,
        np.zeros(len(model.cost), dtype=np.int32) if whole is None else whole,
    )
    if status == _ERROR:
        msg = "HiGHS refuses the arrays of a linear program"
        raise RuntimeError(msg)
    return solver


def _load(model: LinearModel) -> Any:
    solver = loaded(model, {"solver": "simplex"})
    basis = start_of(model, _solved)
    if basis is not None:
        solver.setBasis(basis)
    return solver


def _option(solver: Any, name: str, value: object) -> None:
    if solver.setOptionValue(name, value) != highspy.HighsStatus.kOk:
        msg = f"HiGHS refuses its option {name} = {value}"
        raise RuntimeError(msg)


def _run(solver: Any) -> Any:
    if solver.run() == _ERROR:
        return highspy.HighsModelStatus.kSolveError
    return solver.getModelStatus()
