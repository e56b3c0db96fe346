"""Plans many cases: keeps the workers busy, and comes through their deaths."""

from __future__ import annotations

import queue
from collections import Counter, deque
from typing import TYPE_CHECKING

from optimenu.studies.work import Answer

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from optimenu.solve.halt import Stop
    from optimenu.studies.work import Task
    from optimenu.studies.workers import Promise, Work, Workers

LOOK = 0.1
"""Seconds between two looks at whether the user asks for an end."""
DEATHS = 2
"""Deaths of its worker after which a case is given up."""
LOSSES = 20
"""Times a case may be lost for reasons that are not its own."""
KILLER = "its worker died each time the case was tried; too little memory is the usual cause"
STRAY = "the cluster lost the case again and again"


class Batch:
    """Cases on their way.

    Parameters
    ----------
    tasks : sequence of Task
        Each key once; they are begun in this order.
    workers : Workers
    work : callable
        What a worker does with a task.
    took : callable of Answer
        Called in this thread with every answer as it comes.
    """

    def __init__(
        self, tasks: Sequence[Task], workers: Workers, work: Work, took: Callable[[Answer], None]
    ) -> None:
        self.tasks = {task.key: task for task in tasks}
        self.workers, self.work, self.took = workers, work, took
        self.waiting = deque(self.tasks)
        self.suspects: deque[str] = deque()
        self.flying: set[str] = set()
        self.alone = ""
        self.deaths: Counter[str] = Counter()
        self.losses: Counter[str] = Counter()
        self.back: queue.SimpleQueue[tuple[str, Promise]] = queue.SimpleQueue()

    def run(self, stop: Stop, look: Callable[[], None] = lambda: None) -> bool:
        """Plan everything; False when stopped before the end.

        Parameters
        ----------
        look : callable
            Called several times a second.

        Raises
        ------
        OptimenuError
            When the workers cannot plan at all; cases that cannot be planned are answers.
        """
        while self.waiting or self.suspects or self.flying:
            if stop.is_set():
                return False
            self._send()
            look()
            try:
                key, promise = self.back.get(timeout=LOOK)
            except queue.Empty:
                continue
            self._take(key, promise)
        return True

    def _send(self) -> None:
        """Give out as many cases as keep every worker busy; a suspect goes alone."""
        if self.suspects or self.alone:
            if not self.flying and self.workers.size():
                self.alone = self.suspects.popleft()
                self._submit(self.alone)
            return
        # one more each, so that nobody waits for an answer to travel
        room = 2 * self.workers.size() - len(self.flying) if self.waiting else 0
        for _ in range(min(room, len(self.waiting))):
            self._submit(self.waiting.popleft())

    def _submit(self, key: str) -> None:
        self.flying.add(key)
        self.workers.submit(self.work, self.tasks[key], lambda name, promise: self.back.put((name, promise)))

    def _take(self, key: str, promise: Promise) -> None:
        alone = key == self.alone
        self.flying.discard(key)
        self.alone = "" if alone else self.alone
        try:
            answer = promise.result()
        except BaseException as error:
            lost = self.workers.why(error, alone=alone)
            if lost is None:
                raise
            self._again(key, lost.deaths)
        else:
            self.took(answer)

    def _again(self, key: str, deaths: int) -> None:
        self.deaths[key] += deaths
        self.losses[key] += 1
        if self.deaths[key] >= DEATHS:
            self.took(Answer(key, "failed", KILLER))
        elif self.losses[key] > LOSSES:
            self.took(Answer(key, "failed", STRAY))
        else:
            (self.waiting if self.workers.tells_who else self.suspects).append(key)
