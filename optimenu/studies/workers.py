"""Who plans the cases: processes of this machine, or a Dask cluster.

Both take a case and promise its answer; a case whose worker died comes back as `Lost`. A cluster must be
one's own: whoever can reach its scheduler can run anything on its workers.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from concurrent.futures import CancelledError, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from optimenu.errors import Fault, InputFaults, OptimenuError

if TYPE_CHECKING:
    from collections.abc import Callable
    from multiprocessing.connection import Connection

    from optimenu.studies.work import Answer, Task

    Work = Callable[[Task], Answer]
    Done = Callable[[str, "Promise"], None]

LOOK_SECONDS = 2.0
"""Time between two looks at how many workers a cluster has."""


class SchedulerLostError(OptimenuError):
    """The cluster's scheduler cannot be reached any more; what is done is kept."""


@dataclass(frozen=True)
class Lost(Exception):  # noqa: N818  it is an answer as much as an error
    """A case came back without an answer because a worker died.

    Attributes
    ----------
    deaths : int
        Deaths that this case alone can have caused; 0 when others were under way beside it.
    """

    deaths: int = 0


class Promise(Protocol):
    """An answer to come."""

    def result(self) -> Answer:
        """Return the answer, or raise what came instead."""


class Workers(Protocol):
    """Who plans cases.

    Attributes
    ----------
    tells_who : bool
        True when a lost case is known to be the one that killed its worker. Else those under way at the
        time are tried again one by one.
    """

    tells_who: bool

    def size(self) -> int:
        """How many cases can be planned at once; 0 while there is nobody."""

    def submit(self, work: Work, task: Task, done: Done) -> None:
        """Give a case to a worker; ``done`` is called with its key and promise, from any thread."""

    def close(self) -> None:
        """Let everybody go at once; what is under way is dropped."""

    def why(self, error: BaseException, *, alone: bool) -> Lost | None:
        """Return what an error of a promise means for its case; None: it is no loss."""


def _begin(leash: Connection) -> None:
    """Begin a worker process: it leaves with its parent, however that ends, and lets Ctrl-C be."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def wait() -> None:
        try:
            leash.recv()
        except (EOFError, OSError):
            os._exit(0)

    threading.Thread(target=wait, daemon=True).start()


class Local:
    """Processes of this machine, started afresh, never forked: a solver's threads would not survive that."""

    tells_who = False

    def __init__(self, count: int) -> None:
        self._count = count
        self._context = multiprocessing.get_context("spawn")
        self._theirs, self._mine = self._context.Pipe(duplex=False)
        self._pool: ProcessPoolExecutor | None = None

    def size(self) -> int:
        """How many processes there may be."""
        return self._count

    def submit(self, work: Work, task: Task, done: Done) -> None:
        """Give a case to a process, in a new pool where a death has broken the last one."""
        for _ in range(2):
            if self._pool is None:
                self._pool = ProcessPoolExecutor(
                    self._count, mp_context=self._context, initializer=_begin, initargs=(self._theirs,)
                )
            # a Ctrl-C while they are being started is ours to take, not theirs
            before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
            try:
                promise = self._pool.submit(work, task)
            except BrokenProcessPool:
                self._pool.shutdown()
                self._pool = None
                continue
            finally:
                signal.pthread_sigmask(signal.SIG_SETMASK, before)
            promise.add_done_callback(lambda made: done(task.key, made))
            return
        raise BrokenProcessPool

    def close(self) -> None:
        """End every process."""
        self._mine.close()
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)
            self._pool = None

    def why(self, error: BaseException, *, alone: bool) -> Lost | None:
        """Return that a death breaks the pool, for all that is under way."""
        return Lost(int(alone)) if isinstance(error, BrokenProcessPool) else None


class Cluster:
    """Workers of a Dask cluster, wherever they are.

    Parameters
    ----------
    address : str
        Of its scheduler, such as ``tcp://10.0.0.5:8786``.

    Raises
    ------
    InputFaults
        When Dask is not installed, or nobody answers there.
    """

    tells_who = True

    def __init__(self, address: str, patience: float = 20.0) -> None:
        try:
            import distributed
        except ImportError:
            text = "needs Dask: pip install 'optimenu[cluster]'"
            raise InputFaults([Fault("--scheduler", 0, text)]) from None
        try:
            connect: Any = distributed.Client
            self._client = connect(address, timeout=patience)
        except (OSError, ValueError) as error:
            text = f"no scheduler answers at {address}; start one with: dask scheduler"
            raise InputFaults([Fault("--scheduler", 0, text)]) from error
        self._size, self._looked = 0, float("-inf")
        self._flying: dict[str, Any] = {}

    def size(self) -> int:
        """How many threads its workers have just now."""
        if time.monotonic() - self._looked > LOOK_SECONDS:
            try:
                self._size = sum(self._client.nthreads().values())
            except (OSError, TimeoutError) as error:
                raise SchedulerLostError("the scheduler of the cluster has gone") from error
            self._looked = time.monotonic()
        return self._size

    def submit(self, work: Work, task: Task, done: Done) -> None:
        """Give a case to the scheduler."""
        # the key is not the case's: one that was lost is asked again, not remembered
        promise = self._client.submit(work, task, pure=False)
        self._flying[task.key] = promise

        def made(future: Any) -> None:
            self._flying.pop(task.key, None)
            done(task.key, future)

        promise.add_done_callback(made)

    def close(self) -> None:
        """Take back what is under way, and leave the cluster to itself."""
        self._client.cancel(list(self._flying.values()), force=True)
        self._client.close(timeout=2)

    def why(self, error: BaseException, *, alone: bool) -> Lost | None:
        """Return that the scheduler has tried a case on several workers that died, or has lost it."""
        from distributed import KilledWorker

        if isinstance(error, KilledWorker):
            return Lost(error.allowed_failures + 1)
        if isinstance(error, CancelledError) or type(error).__name__ == "FutureCancelledError":
            if self._client.status != "running":
                raise SchedulerLostError("the scheduler of the cluster has gone") from error
            return Lost()
        return None
