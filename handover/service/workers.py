"""Hands for many jobs: what one of them does, and two ways to have many, on this machine or on a cluster.

    this machine   processes that stay warm; one that dies has its job done once more, then given up
    a cluster      a Dask scheduler by its address; it sees itself to workers that come and go

An order carries all that a worker needs, and its answer all that came of it, so that machines share no disk.
"""

from __future__ import annotations

import gc
import os
import signal
import threading
from collections import deque
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import cache
from itertools import islice
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait as wait_for_end
from typing import TYPE_CHECKING, Any

from handover.errors import Finding, HandoverError, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from datetime import datetime

    from handover.service.job_inputs import JobInputs
    from handover.service.settings import Settings

    RenderFunction = Callable[["RenderTask"], "RenderResult"]

PREFETCH = 2
"""Orders that a worker has at hand: one at work, one so that it need not wait for us."""

MAX_ATTEMPTS = 2
"""How often a job is begun, if the process that does it dies."""

MAX_JOBS_PER_WORKER = 200
"""Jobs after which a process gives way to a fresh one: the PDF engine's libraries keep a little of each."""

CONNECT_TIMEOUT_S = 10.0
"""How long a cluster's scheduler may take to answer at first. [s]"""


@dataclass(frozen=True)
class RenderTask:
    """One job to be done by whoever has a hand free.

    Attributes:
        name: By which the answer is known; no two alike.
        inputs: The job and its weather. Of its inputs only the record.
        as_of: Time of issue, aware.
        revision: Of the set.
        settings: How it is to be made.
    """

    name: str
    inputs: JobInputs
    as_of: datetime
    revision: int
    settings: Settings


@dataclass(frozen=True)
class RenderResult:
    """What came of an order: documents, or findings, or why it failed.

    An answer and no exception, since exceptions do not travel well between machines.
    """

    documents: Mapping[str, bytes] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    failure: str = ""


# ---- what one does ----------------------------------------------------------------------------------

_RENDER_LOCK = threading.Lock()


def make_documents(task: RenderTask) -> RenderResult:
    """Return the documents of one job. It never raises, and keeps nothing of the job."""
    _warm_up()
    from handover.service.inputs import compute  # noqa: PLC0415 - whoever only hands out needs neither
    from handover.service.render import render_documents  # noqa: PLC0415

    inputs, settings = task.inputs, task.settings
    try:
        # The PDF engine's complaints are those of the process, whichever thread is at work.
        with _RENDER_LOCK, _gc_paused():
            schedule = compute(inputs, task.as_of, task.revision, settings)
            documents = render_documents(
                inputs.job, schedule, settings, inputs=inputs.files, pictures=inputs.pictures
            )
    except Exception as fault:  # noqa: BLE001 - whatever it is, the other jobs go on
        return failure_result(fault)
    return RenderResult(documents)


def failure_result(fault: Exception) -> RenderResult:
    """Return a fault as an answer."""
    if isinstance(fault, UnusableInput):
        return RenderResult(findings=fault.findings)
    if isinstance(fault, HandoverError):
        return RenderResult(failure=str(fault))
    if isinstance(fault, OSError):
        return RenderResult(failure=f"{fault.filename or 'The system'}: {fault.strerror or fault}")
    return RenderResult(failure=f"a fault in the program itself: {type(fault).__name__}: {fault}")


@cache
def _warm_up() -> None:
    """Load once what every job needs, and keep it out of the search for garbage."""
    import handover.service.inputs  # noqa: PLC0415
    import handover.service.render  # noqa: F401, PLC0415

    gc.collect()
    gc.freeze()


@contextmanager
def _gc_paused() -> Iterator[None]:
    """Look for garbage once a job, at its end: what the PDF engine leaves is found, and memory stays flat.

    While a job is at work nothing of it is garbage, and to look for some took a fifth of the time.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
        gc.collect()


# ---- on this machine --------------------------------------------------------------------------------


def run_in_processes(
    tasks: Iterator[RenderTask], workers: int, work: RenderFunction = make_documents
) -> Iterator[tuple[RenderTask, RenderResult]]:
    """Give the answers to orders as they come, from so many processes.

    Each process has a queue of its own: so it is known which job it was at when it died.

    Args:
        tasks: Taken one by one as hands come free.
        workers: How many processes.
        work: What is done for each; another process must be able to import it.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices, and the cores are all at work
    pool = [_Worker(work) for _ in range(workers)]
    retries: deque[RenderTask] = deque()
    lost: set[str] = set()
    try:
        while True:
            for worker in pool:
                worker.renew()
                while worker.is_free and (task := retries.popleft() if retries else next(tasks, None)):
                    worker.assign(task)
            if not any(worker.queue for worker in pool):
                return
            wait([future for worker in pool for _, future in worker.queue], return_when=FIRST_COMPLETED)
            for worker in pool:
                for task, result in worker.take_results():
                    if result is not None:
                        yield task, result
                    elif task.name in lost:
                        yield (
                            task,
                            RenderResult(failure=f"the process at work on it died, {MAX_ATTEMPTS} times"),
                        )
                    else:
                        lost.add(task.name)
                        retries.append(task)
                retries += worker.take_unstarted()
    finally:
        for worker in pool:
            worker.stop()


class _Worker:
    """One warm process, and what lies before it, in order."""

    def __init__(self, work: RenderFunction) -> None:
        self.queue: deque[tuple[RenderTask, Future[RenderResult]]] = deque()
        self._work = work
        self._unstarted: list[RenderTask] = []
        self._start()

    def _start(self) -> None:
        self._submitted = 0
        self._pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_init_worker)

    @property
    def is_free(self) -> bool:
        """Whether it can take an order: it has not had its share, nor is it dead with that to be told."""
        return len(self.queue) < PREFETCH and not self._unstarted and self._submitted < MAX_JOBS_PER_WORKER

    def renew(self) -> None:
        """Have a fresh process take over from one that has had its share and is done."""
        if self._submitted >= MAX_JOBS_PER_WORKER and not self.queue and not self._unstarted:
            self._pool.shutdown()
            self._start()

    def assign(self, task: RenderTask) -> None:
        """Lay an order before the process; one that has died is begun anew when its last job is told."""
        try:
            future = self._submit(task)
        except BrokenProcessPool:  # it died, perhaps while it had nothing to do
            if self.queue:
                self._unstarted.append(task)
                return
            self._start()
            future = self._submit(task)
        self._submitted += 1
        self.queue.append((task, future))

    def _submit(self, task: RenderTask) -> Future[RenderResult]:
        with _sigint_blocked():  # the process begins with the first order
            return self._pool.submit(self._work, task)

    def take_results(self) -> Iterator[tuple[RenderTask, RenderResult | None]]:
        """Give what is finished; None where the process died over it, and then it is begun anew."""
        while self.queue and self.queue[0][1].done():
            task, future = self.queue.popleft()
            try:
                yield task, future.result()
            except BrokenProcessPool:
                self._unstarted += [each for each, _ in self.queue]
                self.queue.clear()
                self._start()
                yield task, None
            except Exception as fault:  # noqa: BLE001 - an order that cannot travel
                yield task, failure_result(fault)

    def take_unstarted(self) -> list[RenderTask]:
        """Return what lay before a process that died, and was not begun."""
        unstarted, self._unstarted = self._unstarted, []
        return unstarted

    def stop(self) -> None:
        self._pool.shutdown(wait=not self.queue, cancel_futures=True)


@contextmanager
def _sigint_blocked() -> Iterator[None]:
    """Put off Ctrl-C; a process that is begun meanwhile never hears of it, and leaves it to us."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _init_worker() -> None:
    """Get a process ready. It ends with whoever began it."""
    threading.Thread(target=_exit_with_parent, daemon=True).start()
    _warm_up()


def _exit_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        os._exit(1)


# ---- on a cluster -----------------------------------------------------------------------------------


def run_on_dask(
    tasks: Iterator[RenderTask], scheduler: str, work: RenderFunction = make_documents
) -> Iterator[tuple[RenderTask, RenderResult]]:
    """Give the answers to orders as they come, from the workers of a Dask cluster.

    The scheduler gives the jobs of a worker that is lost to others. While there are no workers, it waits for
    some.

    Args:
        tasks: Taken one by one as hands come free.
        scheduler: Its address: tcp://host:port.
        work: What is done for each; the workers must be able to import it.

    Raises:
        UnusableInput: Dask is not installed, or no scheduler answers there.
    """
    with _client(scheduler) as client:
        from distributed import as_completed  # noqa: PLC0415 - only for a cluster

        pending: dict[str, RenderTask] = {}
        futures = as_completed(loop=client.loop)

        def submit_tasks() -> None:
            free = PREFETCH * max(1, sum(client.nthreads().values())) - len(pending)
            for task in islice(tasks, max(0, free)):
                future = client.submit(work, task, key=f"handover-{task.name}", pure=False)
                pending[future.key] = task
                futures.add(future)

        submit_tasks()
        for future in futures:
            task = pending.pop(future.key)
            try:
                result = future.result()
            except Exception as fault:  # noqa: BLE001 - it died too often, or does not know our program
                result = RenderResult(failure=f"the cluster gave it up: {type(fault).__name__}: {fault}")
            future.release()
            yield task, result
            submit_tasks()


def _client(scheduler: str) -> Any:
    try:
        from distributed import Client  # noqa: PLC0415 - only for a cluster
    except ImportError:
        problem = "Dask is not installed, by which a cluster is reached"
        finding = Finding(problem, field="--scheduler", expected="pip install 'handover[cluster]'")
        raise UnusableInput([finding]) from None
    with suppress(OSError, TimeoutError, ValueError):
        return Client(scheduler, timeout=CONNECT_TIMEOUT_S, set_as_default=False)
    finding = Finding(
        f"no scheduler answers at {scheduler}",
        field="--scheduler",
        expected="the address of a Dask scheduler",
        example="tcp://office-server:8786",
    )
    raise UnusableInput([finding])
