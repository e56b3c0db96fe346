"""General solvers on the plain model: HiGHS, CBC, and SCIP and CP-SAT where they are installed."""

from __future__ import annotations

import re
import subprocess
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import highspy
import numpy as np
import pulp

from optimenu.program.program import NO_HIGH, NO_LOW
from tests.benchmarks.answer import Answer
from tests.benchmarks.plain import plain, to_highs, write_mps

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimenu.program.program import Program
    from tests.benchmarks.plain import Plain

INFINITE = 1e29
GOAL_ROOM = 2**50
"""CP-SAT's goal must be whole: its coefficients are rounded to that much in sum."""


def _settle(answer: Answer, program: Program, x: Any) -> None:
    """Value of a solver's choice, in the Program's exact numbers."""
    if x is None:
        return
    menu = program.complete(np.rint(np.asarray(x)[: program.n_menu]).astype(np.int64))
    if program.feasible(menu):
        answer.value = program.value(menu) / 10.0**program.goal_decimals
    else:
        answer.note = "its choice breaks a row once rounded"
    if answer.end not in ("impossible", "closed"):
        answer.end = "menu" if answer.value is not None else "nothing"


def highs(program: Program, seconds: float, threads: int) -> Answer:
    """HiGHS from arrays."""
    answer = Answer("HiGHS")
    began = time.perf_counter()
    model = plain(program)
    units = model.goal_unit / 10.0**program.goal_decimals
    h = to_highs(model)
    options = {
        "threads": threads, "time_limit": seconds, "mip_rel_gap": 0.0, "mip_abs_gap": 0.0,
        "mip_feasibility_tolerance": 1e-9, "primal_feasibility_tolerance": 1e-9,
    }  # fmt: skip
    for name, value in options.items():
        h.setOptionValue(name, value)

    def told(kind: Any, _message: str, out: Any, _back: Any, _data: Any) -> None:
        bound = -out.mip_dual_bound * units if abs(out.mip_dual_bound) < INFINITE else None
        value = -out.mip_primal_bound * units if abs(out.mip_primal_bound) < INFINITE else None
        if not answer.events or answer.events[-1][1:] != (value, bound):
            answer.events.append((time.perf_counter() - began, value, bound))
        if bound is not None and (out.mip_node_count <= 1 or answer.root is None):
            answer.root = bound

    h.setCallback(told, None)
    h.startCallback(highspy.cb.HighsCallbackType.kCallbackMipImprovingSolution)
    h.startCallback(highspy.cb.HighsCallbackType.kCallbackMipInterrupt)
    h.run()
    state, info = h.getModelStatus(), h.getInfo()
    answer.seconds = time.perf_counter() - began
    if state in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible):
        answer.end = "impossible"
    elif state == highspy.HighsModelStatus.kOptimal:
        answer.end = "closed"
    if abs(info.mip_dual_bound) < INFINITE and answer.end != "impossible":
        answer.bound = -info.mip_dual_bound * units
    if info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible:
        _settle(answer, program, list(h.getSolution().col_value))
    return answer


def relaxation(program: Program, seconds: float, threads: int) -> Answer:
    """The plain model without whole numbers, by HiGHS: what merging alone costs the bound."""
    answer = Answer("plain LP")
    began = time.perf_counter()
    model = plain(program)
    h = to_highs(replace(model, whole=np.zeros_like(model.whole)))
    h.setOptionValue("threads", threads)
    h.setOptionValue("time_limit", seconds)
    h.run()
    answer.seconds = time.perf_counter() - began
    state = h.getModelStatus()
    if state == highspy.HighsModelStatus.kOptimal:
        answer.end = "relaxation"
        units = model.goal_unit / 10.0**program.goal_decimals
        answer.bound = answer.root = -h.getInfo().objective_function_value * units
    elif state == highspy.HighsModelStatus.kInfeasible:
        answer.end = "impossible"
    return answer


SOLUTION = re.compile(r"solution of (-?[\d.e+-]+) found.*\(([\d.]+) seconds\)")
BOUND = re.compile(r"best possible (-?[\d.e+-]+).*\(([\d.]+) seconds\)")
ROOT = re.compile(r"Continuous objective value is (-?[\d.e+-]+) - ([\d.]+) seconds")
CUTS = re.compile(r"cuts changed objective from \S+ to (-?[\d.e+-]+)")
LAST = re.compile(r"(?:Lower|Upper) bound:\s+(-?[\d.e+-]+)")


def cbc(program: Program, seconds: float, threads: int) -> Answer:
    """CBC, the one that comes with PuLP, from an MPS file; writing and reading it counts."""
    answer = Answer("CBC")
    began = time.perf_counter()
    model = plain(program)
    units = model.goal_unit / 10.0**program.goal_decimals
    with tempfile.TemporaryDirectory() as folder:
        mps, out = Path(folder) / "model.mps", Path(folder) / "out.txt"
        write_mps(model, mps)
        before = time.perf_counter() - began
        command = [pulp.PULP_CBC_CMD.pulp_cbc_path, str(mps)]
        command += [
            "-sec",
            str(seconds),
            "-ratio",
            "0",
            "-allow",
            "0",
            "-primalT",
            "1e-9",
            "-timeMode",
            "elapsed",
        ]
        command += ["-threads", str(threads)] if threads > 1 else []
        done = subprocess.run(
            [*command, "-solve", "-solu", str(out)], capture_output=True, text=True, check=False
        )
        answer.seconds = time.perf_counter() - began
        x, head = _cbc_solution(out, len(model.cost))
    for line in done.stdout.splitlines():
        if found := SOLUTION.search(line):
            answer.events.append((before + float(found[2]), -float(found[1]) * units, None))
        elif found := ROOT.search(line) or CUTS.search(line):
            answer.root = answer.bound = -float(found[1]) * units
        elif (found := BOUND.search(line)) and abs(float(found[1])) < INFINITE:
            answer.bound = -float(found[1]) * units
            answer.events.append((before + float(found[2]), None, answer.bound))
        elif found := LAST.search(line):
            answer.bound = -float(found[1]) * units
    answer.events.sort(key=lambda e: e[0])
    if "nfeasible" in head or "Problem is infeasible" in done.stdout:
        answer.end, answer.bound = "impossible", None
    elif head.startswith("Optimal"):
        answer.end = "closed"
    elif done.returncode:
        answer.note = f"CBC ended with code {done.returncode}"
    if x is not None and answer.end != "impossible":
        _settle(answer, program, x)
        if answer.end == "closed" and answer.value is not None:
            answer.bound = answer.value
    return answer


def _cbc_solution(path: Path, columns: int) -> tuple[np.ndarray | None, str]:
    """Values of CBC's solution file (None where it says there is none) and its first line."""
    if not path.exists():
        return None, ""
    lines = path.read_text().splitlines()
    head = lines[0] if lines else ""
    # without a menu the file holds the relaxation's values, and says so by no "objective value" or infeasible
    if not head or "nfeasible" in head or "no integer solution" in head:
        return None, head
    x = np.zeros(columns)
    for line in lines[1:]:
        parts = line.replace("**", "").split()
        # HiGHS names columns c0, c1 ... in an MPS file
        x[int(parts[1].lstrip("cC"))] = float(parts[2])
    return x, head


def scip(program: Program, seconds: float, threads: int) -> Answer:
    """SCIP, one thread, from the same MPS file."""
    from pyscipopt import SCIP_EVENTTYPE, Eventhdlr, Model

    answer = Answer("SCIP", note="one thread" if threads > 1 else "")
    began = time.perf_counter()
    model = plain(program)
    units = model.goal_unit / 10.0**program.goal_decimals
    solver = Model()
    solver.hideOutput()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "model.mps"
        write_mps(model, path)
        solver.readProblem(str(path))

    class Watch(Eventhdlr):
        def eventinit(self) -> None:
            self.model.catchEvent(SCIP_EVENTTYPE.BESTSOLFOUND, self)
            self.model.catchEvent(SCIP_EVENTTYPE.NODESOLVED, self)

        def eventexec(self, event: Any) -> None:
            bound = self.model.getDualbound()
            known = None if abs(bound) >= 1e19 else -bound * units
            best = self.model.getBestSol()
            value = None if best is None else -self.model.getSolObjVal(best) * units
            answer.events.append((time.perf_counter() - began, value, known))
            if self.model.getNNodes() <= 1 and known is not None:
                answer.root = known

    solver.includeEventhdlr(Watch(), "watch", "notes values and bounds")
    solver.setParam("limits/time", seconds)
    solver.setParam("numerics/feastol", 1e-9)
    solver.optimize()
    answer.seconds = time.perf_counter() - began
    state = solver.getStatus()
    answer.end = {"optimal": "closed", "infeasible": "impossible"}.get(state, "nothing")
    if answer.end != "impossible" and abs(solver.getDualbound()) < 1e19:
        answer.bound = -solver.getDualbound() * units
    if solver.getNSols() and answer.end != "impossible":
        best = solver.getBestSol()
        by_name = {v.name: solver.getSolVal(best, v) for v in solver.getVars(transformed=False)}
        _settle(answer, program, [by_name.get(f"c{k}", 0.0) for k in range(program.n)])
    return answer


def cpsat(program: Program, seconds: float, threads: int) -> Answer:
    """CP-SAT from the exact whole numbers; its goal is rounded."""
    from ortools.sat.python import cp_model

    answer = Answer("CP-SAT")
    began = time.perf_counter()
    model = plain(program)
    goal, scale = _whole_goal(model)
    units = model.goal_unit / 10.0**program.goal_decimals / scale
    cp = cp_model.CpModel()
    highest = np.where(np.isinf(model.high), 10**9, model.high).astype(np.int64)
    ends = zip(model.low.astype(np.int64).tolist(), highest.tolist(), strict=True)
    variables = [cp.new_int_var(least, most, "") for least, most in ends]
    low = np.where(model.row_low == NO_LOW, cp_model.INT_MIN, model.row_low)
    high = np.where(model.row_high == NO_HIGH, cp_model.INT_MAX, model.row_high)
    for r in range(len(low)):
        at = slice(model.start[r], model.start[r + 1])
        terms = [variables[c] for c in model.index[at].tolist()]
        total = cp_model.LinearExpr.weighted_sum(terms, model.value[at].tolist())
        cp.add_linear_expression_in_domain(total, cp_model.Domain(int(low[r]), int(high[r])))
    cp.maximize(cp_model.LinearExpr.weighted_sum(variables, goal.tolist()))

    class Watch(cp_model.CpSolverSolutionCallback):
        def on_solution_callback(self) -> None:
            at = time.perf_counter() - began
            answer.events.append((at, self.objective_value * units, self.best_objective_bound * units))

    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = threads
    state = solver.solve(cp, Watch())
    answer.seconds = time.perf_counter() - began
    answer.end = {cp_model.OPTIMAL: "closed", cp_model.INFEASIBLE: "impossible"}.get(state, "nothing")
    if state in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        answer.bound = solver.best_objective_bound * units
        _settle(answer, program, [solver.value(v) for v in variables[: program.n]])
    return answer


def _whole_goal(model: Plain) -> tuple[np.ndarray, float]:
    """Goal coefficients as whole numbers, and how many of them make one unit of the goal."""
    size = np.where(np.isinf(model.high), 1e6, np.abs(model.high)) * np.abs(model.cost)
    scale = 10.0 ** np.floor(np.log10(GOAL_ROOM / max(float(size.sum()), 1.0)))
    return np.rint(model.cost * scale).astype(np.int64), float(scale)


PEERS: dict[str, Callable[[Program, float, int], Answer]] = {
    "lp": relaxation,
    "highs": highs,
    "cbc": cbc,
    "scip": scip,
    "cpsat": cpsat,
}
MODULE = {"lp": "highspy", "highs": "highspy", "cbc": "pulp", "scip": "pyscipopt", "cpsat": "ortools"}
