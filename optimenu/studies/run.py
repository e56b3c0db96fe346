"""A study at work: its cases with their keys, what is answered, what is still to do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.errors import AuditFailed, Fault, InputFaults
from optimenu.exports.record import run_files
from optimenu.exports.run_folder import sha256, sweep
from optimenu.files import shown_path
from optimenu.studies.batch import Batch
from optimenu.studies.bundle import Inputs
from optimenu.studies.cases import cases_of
from optimenu.studies.figures import of_plan
from optimenu.studies.folder import RUNS, Row, StudyFolder
from optimenu.studies.work import LASTING, Answer, Task, planned, work

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from optimenu.exports.record import Versions
    from optimenu.solve.halt import Stop
    from optimenu.studies.cases import StudyCase
    from optimenu.studies.study import Study
    from optimenu.studies.workers import Work, Workers


class StudyRun:
    """A study and its folder.

    Parameters
    ----------
    folder : StudyFolder
    study : Study
    made_with : tuple, optional
        Versions the folder's answers were made with; those at work when left out.

    Attributes
    ----------
    cases : tuple of StudyCase
    keys : list of str
        Key of each case; two cases that ask the same have the same key.
    answers : dict of key to Answer
        What is known.

    Raises
    ------
    InputFaults
        When the study has faults, see `cases_of`.
    """

    def __init__(self, folder: StudyFolder, study: Study, made_with: Versions | None = None) -> None:
        self.folder, self.study = folder, study
        self.cases = cases_of(study)
        self.inputs = Inputs(study, made_with)
        self.keys = [self.inputs.key(case) for case in self.cases]
        found = ((key, folder.answer(key)) for key in dict.fromkeys(self.keys))
        self.answers: dict[str, Answer] = {key: answer for key, answer in found if answer is not None}

    def rows(self) -> list[Row]:
        """Every case in order, with its answer as far as there is one."""
        return [Row(case, self.answers.get(key)) for case, key in zip(self.cases, self.keys, strict=True)]

    def tasks(self, packed: bytes, *, runs: bool = False) -> list[Task]:
        """Return what is still to do, in the order of the cases.

        Parameters
        ----------
        packed : bytes
            The inputs.
        runs : bool
            Whether the runs of cases with a menu are kept too; those of earlier cases are made up for.
        """
        digest, todo = sha256(packed), {}
        for case, key in zip(self.cases, self.keys, strict=True):
            answer = self.answers.get(key)
            menu = answer is None or answer.end == "menu"
            lacks_run = runs and menu and self.folder.run(case.number, key) is None
            if key not in todo and (answer is None or lacks_run):
                todo[key] = Task(
                    key, packed, digest, self.config(case), case.text(self.study), runs, self.inputs.versions
                )
        return list(todo.values())

    def config(self, case: StudyCase) -> str:
        """Path of a case's own config inside the inputs; no file of that name is read."""
        unwritten = case.config.parent / f"{case.config.stem}-changed.toml"
        return unwritten.relative_to(self.study.layers.root).as_posix()

    def plan(
        self,
        workers: Workers,
        stop: Stop,
        took: Callable[[Answer], None] = lambda _: None,
        look: Callable[[], None] = lambda: None,
        *,
        runs: bool = False,
        doing: Work = work,
    ) -> bool:
        """Plan every case that has no answer yet; False when stopped before the end.

        Parameters
        ----------
        took : callable of Answer
            Called once an answer is kept.
        """
        packed = self.inputs.packed(self.cases)
        self.folder.begin(self.study, packed)
        if runs:
            sweep(self.folder.path / RUNS)

        def keep(answer: Answer) -> None:
            self.folder.keep(answer)
            self.answers[answer.key] = answer
            if answer.run is not None:
                self._keep_runs(answer)
            took(answer)

        return Batch(self.tasks(packed, runs=runs), workers, doing, keep).run(stop, look)

    def _keep_runs(self, answer: Answer) -> None:
        for case, key in zip(self.cases, self.keys, strict=True):
            if key == answer.key and answer.run is not None and self.folder.run(case.number, key) is None:
                self.folder.keep_run(case.number, key, answer.run)

    def kept(self, case: StudyCase) -> Path | None:
        """Return the folder of a case's run where it was kept."""
        return self.folder.run(case.number, self.keys[self.cases.index(case)])

    def open(self, number: int) -> Path:
        """Return the folder of a case's run; it is planned again where it was not kept.

        Raises
        ------
        InputFaults
            When there is no such case.
        OptimenuError
            When the case has no menu, as planning tells it.
        AuditFailed
            When another menu comes out than the study holds.
        """
        case = next((c for c in self.cases if c.number == number), None)
        if case is None:
            text = f"no case {number}; they are numbered 1 to {len(self.cases)}"
            raise InputFaults([Fault("--open", 0, text)])
        key, place = self.keys[self.cases.index(case)], self.kept(case)
        if place is not None:
            return place
        kept = self.answers.get(key)
        if kept is not None and kept.end in LASTING and kept.end != "menu":
            # the same inputs end so again; nobody need wait for that
            text = f"case {number} has no menu: {kept.end}: {kept.reason}"
            raise InputFaults([Fault("--open", 0, text)])
        found, options = planned(self.study.layers.root, self.config(case), case.text(self.study))
        if found.menu is None:
            why = f": {kept.end}: {kept.reason}" if kept is not None else ""
            raise InputFaults([Fault("--open", 0, f"case {number} has no menu{why}")])
        digest = of_plan(found)["menu_sha256"]
        if kept is not None and kept.figures.get("menu_sha256") != digest:
            msg = (
                f"planning case {number} again gives another menu than {shown_path(self.folder.path)} holds: "
                "other versions, or another kind of machine"
            )
            raise AuditFailed(msg)
        return self.folder.keep_run(number, key, run_files(found, options, {}))
