"""Worker processes: what one of them does for a job, and how to run many, here or on a cluster.

    this machine   warm processes; if one dies, its task is tried once more, then that task fails. One that
                   takes more memory or time than a job may take fails at once
    a cluster      a Dask scheduler by its address, which manages its workers

A task has all that a worker needs, and its result has all output, so machines need no shared disk.
"""

from __future__ import annotations

import gc
import os
import threading
from concurrent.futures import FIRST_COMPLETED, Future, wait
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from itertools import islice
from typing import TYPE_CHECKING, Any

from handover.errors import Finding, UnusableInput, fault_text
from handover.service.worker_limits import UNLIMITED, Limits, OutOfMemory, is_out_of_memory
from handover.service.worker_pool import Workers, gc_paused

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from datetime import datetime

    from handover.service.job_inputs import JobInputs
    from handover.service.settings import Settings

    RenderFunction = Callable[["RenderTask"], "RenderResult"]

PREFETCH = 2
"""Tasks in the queue for each worker: one that it runs, one so that it need not wait."""

CONNECT_TIMEOUT_S = 10.0
"""Time limit for the first reply of a cluster's scheduler. [s]"""


@dataclass(frozen=True)
class RenderTask:
    """One job for any free worker.

    Attributes:
        name: Identifies the result; unique.
        inputs: The job and its weather; of its inputs only the record.
        as_of: Time of issue, aware.
        revision: Of the set.
        settings: The choices of the issue.
        earlier: Of the set of the previous issue, what the new one is compared with: its schedule, calendars
            and inputs, by file name; None for the first issue.
    """

    name: str
    inputs: JobInputs
    as_of: datetime
    revision: int
    settings: Settings
    earlier: Mapping[str, bytes] | None = None


@dataclass(frozen=True)
class RenderResult:
    """The result of a task: documents, or findings, or why it failed.

    It is a value, since exceptions do not pickle well between machines.
    """

    documents: Mapping[str, bytes] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    failure: str = ""


# ---- what one worker does ---------------------------------------------------------------------------

_RENDER_LOCK = threading.Lock()


def make_documents(task: RenderTask) -> RenderResult:
    """Return the documents of one job. It keeps no state of the job.

    Raises:
        OutOfMemory: The system gave it no more memory. Anything else is in the result.
    """
    warm_up()
    from handover.service.issuing import compute_schedule  # noqa: PLC0415 - a process that submits needs neither
    from handover.service.render import render_documents  # noqa: PLC0415

    inputs, settings = task.inputs, task.settings
    try:
        # The PDF engine's warnings belong to the process, not to a thread.
        with _RENDER_LOCK, gc_paused():
            schedule = compute_schedule(inputs, task)
            documents = render_documents(
                inputs.job,
                schedule,
                settings,
                inputs=inputs.files,
                pictures=inputs.pictures,
                earlier=task.earlier,
            )
    except Exception as fault:  # noqa: BLE001 - whatever it is, the other jobs go on
        if is_out_of_memory(fault):
            raise OutOfMemory from None
        return failure_result(fault)
    return RenderResult(documents)


def failure_result(fault: Exception) -> RenderResult:
    """Return a fault as a result."""
    if isinstance(fault, UnusableInput):
        return RenderResult(findings=fault.findings)
    return RenderResult(failure=fault_text(fault))


@cache
def warm_up() -> None:
    """Load once what every job needs, and exclude it from garbage collection."""
    import handover.service.issuing  # noqa: PLC0415
    import handover.service.render  # noqa: F401, PLC0415

    gc.collect()
    gc.freeze()


# ---- on this machine --------------------------------------------------------------------------------


def run_in_processes(
    tasks: Iterator[RenderTask],
    workers: int,
    work: RenderFunction = make_documents,
    limits: Limits = UNLIMITED,
) -> Iterator[tuple[RenderTask, RenderResult]]:
    """Yield the results of tasks as they complete, from a number of processes.

    Args:
        tasks: Taken one by one as workers become free.
        workers: Number of processes.
        work: The function for each task; another process must be able to import it.
        limits: What one task may take.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the matrices are small, and all cores are busy
    pending: dict[Future[RenderResult], RenderTask] = {}
    with Workers[RenderTask, RenderResult](workers, work, warm_up, limits) as pool:
        while True:
            for task in islice(tasks, PREFETCH * workers - len(pending)):
                pending[pool.submit(task)] = task
            if not pending:
                return
            for future in wait(pending, return_when=FIRST_COMPLETED).done:
                yield pending.pop(future), _result_of(future)


def _result_of(future: Future[RenderResult]) -> RenderResult:
    """Return the result of a finished task, or its failure."""
    try:
        return future.result()
    except Exception as fault:  # noqa: BLE001 - a dead process, or a task that cannot travel
        return failure_result(fault)


# ---- on a cluster -----------------------------------------------------------------------------------


def run_on_dask(
    tasks: Iterator[RenderTask], scheduler: str, work: RenderFunction = make_documents
) -> Iterator[tuple[RenderTask, RenderResult]]:
    """Yield the results of tasks as they complete, from the workers of a Dask cluster.

    The scheduler gives the jobs of a lost worker to others. While there are no workers, it waits for some.

    Args:
        tasks: Taken one by one as workers become free.
        scheduler: Its address: tcp://host:port.
        work: The function for each task; the workers must be able to import it.

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
        problem = "Dask, which a cluster requires, is not installed"
        raise UnusableInput.with_finding(
            problem, field="--scheduler", expected="pip install 'handover[cluster]'"
        ) from None
    with suppress(OSError, TimeoutError, ValueError):
        return Client(scheduler, timeout=CONNECT_TIMEOUT_S, set_as_default=False)
    raise UnusableInput.with_finding(
        f"no scheduler answers at {scheduler}",
        field="--scheduler",
        expected="the address of a Dask scheduler",
        example="tcp://office-server:8786",
    )
