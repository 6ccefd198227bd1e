"""Worker processes: what one of them does for a job, and two ways to have many, on this machine or a cluster.

    this machine   processes that stay warm; if one dies, its task is done once more, then that task fails
    a cluster      a Dask scheduler by its address; it sees itself to workers that come and go

A task carries all that a worker needs, and its result all that came of it, so that machines share no disk.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
from concurrent.futures import FIRST_COMPLETED, Future, wait
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import cache
from itertools import islice
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait as wait_for_end
from multiprocessing.reduction import ForkingPickler
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from handover.errors import Finding, HandoverError, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from datetime import datetime
    from types import TracebackType

    from handover.documents.pdf import Attachment
    from handover.service.inputs import JobInputs
    from handover.service.settings import Settings

    RenderFunction = Callable[["RenderTask"], "RenderResult"]

_Task = TypeVar("_Task")
_Result = TypeVar("_Result")

PREFETCH = 2
"""Tasks in the queue for each worker: one at work, one so that it need not wait for us."""

MAX_ATTEMPTS = 2
"""How often a task is begun, if the process that does it dies."""

MAX_JOBS_PER_WORKER = 200
"""Tasks after which a process gives way to a fresh one: the PDF engine's libraries keep a little of each."""

STOP_TIMEOUT_S = 5.0
"""How long a process may take to end when it is asked to. [s]"""

CONNECT_TIMEOUT_S = 10.0
"""How long a cluster's scheduler may take to answer at first. [s]"""

PRELOADED = ("handover.documents.preload",)
"""Modules that the server of processes imports once for all of them."""


class WorkerDied(HandoverError):
    """The process at work on a task died, as often as it was begun."""


@dataclass(frozen=True)
class RenderTask:
    """One job to be done by whichever worker is free.

    Attributes:
        name: By which the result is known; no two alike.
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
    """What came of a task: documents, or findings, or why it failed.

    A value and no exception, since exceptions do not travel well between machines.
    """

    documents: Mapping[str, bytes] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    failure: str = ""


@dataclass(frozen=True)
class PdfTask:
    """One document to be rendered: a finished page and the files to lay inside, as `render_pdf` has them."""

    html: str
    attachments: Sequence[Attachment] = ()


# ---- what one worker does ---------------------------------------------------------------------------

_RENDER_LOCK = threading.Lock()


def make_documents(task: RenderTask) -> RenderResult:
    """Return the documents of one job. It never raises, and keeps nothing of the job."""
    warm_up()
    from handover.service.inputs import compute  # noqa: PLC0415 - whoever only submits needs neither
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
    """Return a fault as a result."""
    if isinstance(fault, UnusableInput):
        return RenderResult(findings=fault.findings)
    if isinstance(fault, HandoverError):
        return RenderResult(failure=str(fault))
    if isinstance(fault, OSError):
        return RenderResult(failure=f"{fault.filename or 'The system'}: {fault.strerror or fault}")
    return RenderResult(failure=f"a fault in the program itself: {type(fault).__name__}: {fault}")


def make_pdf(task: PdfTask) -> bytes:
    """Return a document as PDF. Raises as `render_pdf`."""
    from handover.documents.pages import sheet_pdf  # noqa: PLC0415 - heavy

    return sheet_pdf(task.html, task.attachments)


def make_pdf_alone(task: PdfTask) -> bytes:
    """Return a document as PDF, as `make_pdf` does, in a process that does nothing else."""
    from handover.documents.pdf import render_pdf  # noqa: PLC0415 - heavy

    with _gc_paused():
        return render_pdf(task.html, task.attachments)


@cache
def warm_up() -> None:
    """Load once what every job needs, and keep it out of the search for garbage."""
    import handover.service.inputs  # noqa: PLC0415
    import handover.service.render  # noqa: F401, PLC0415

    gc.collect()
    gc.freeze()


@cache
def load_pdf_engine() -> None:
    """Load once what every PDF needs; where it cannot be, the first PDF says so."""
    import handover.documents.preload  # noqa: F401, PLC0415

    gc.freeze()


@contextmanager
def _gc_paused() -> Iterator[None]:
    """Look for garbage once a task, at its end: what the PDF engine leaves is found, and memory stays flat.

    While a task is at work nothing of it is garbage, and to look for some took a fifth of the time.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
        gc.collect()


# ---- on this machine --------------------------------------------------------------------------------


class Workers(Generic[_Task, _Result]):
    """Warm processes that do tasks in the order in which these are submitted.

    A thread of ours sees to each process, so it is known which task a process was at when it died: that task
    is begun anew, `MAX_ATTEMPTS` times in all, and those in the queue go to whichever process is free. The
    processes begin at once. They hear no Ctrl-C, and end with us. Use it as a context: what is not done when
    an exception leaves the context is given up.

    Args:
        count: How many processes.
        work: What is done for each task; another process must be able to import it.
        prepare: What a process does before its first task, likewise.
    """

    def __init__(
        self, count: int, work: Callable[[_Task], _Result], prepare: Callable[[], None] = warm_up
    ) -> None:
        self._queue: SimpleQueue[tuple[_Task, Future[_Result]] | None] = SimpleQueue()
        self._work = work
        self._prepare = prepare
        self._stopped = False
        self._running: set[_Process] = set()
        self._threads = [threading.Thread(target=self._serve, daemon=True) for _ in range(count)]
        for each in self._threads:
            each.start()

    def __enter__(self) -> Workers[_Task, _Result]:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close(at_once=kind is not None)

    def submit(self, task: _Task) -> Future[_Result]:
        """Put a task into the queue; return its result to come.

        The future raises what the work raised, `WorkerDied` where its process died too often, and what
        pickle raises of a task or a result that cannot travel.
        """
        future: Future[_Result] = Future()
        self._queue.put((task, future))
        return future

    def close(self, *, at_once: bool = False) -> None:
        """End the processes: when all that was submitted is done, or at once."""
        self._stopped = at_once
        for _ in self._threads:
            self._queue.put(None)
        if at_once:
            for each in tuple(self._running):
                each.kill()
        for thread in self._threads:
            thread.join()

    def _serve(self) -> None:
        """Have the tasks of the queue done by one process after another."""
        if hasattr(signal, "pthread_sigmask"):  # a process that is begun here never hears of Ctrl-C
            signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        process: _Process | None = None
        with suppress(OSError, EOFError):
            process = self._begin()
        while (order := self._queue.get()) is not None:
            task, future = order
            if self._stopped:
                future.cancel()
            if not future.set_running_or_notify_cancel():
                continue
            try:
                process, result = self._attempt(process, task)
            except WorkerDied as fault:
                process = None
                future.set_exception(fault)
            except Exception as fault:  # noqa: BLE001 - a task that cannot travel
                future.set_exception(fault)
            else:
                _settle(future, result)
        self._end(process)

    def _attempt(self, process: _Process | None, task: _Task) -> tuple[_Process, tuple[bool, Any]]:
        """Return the process that did a task, and what came of it.

        Raises:
            WorkerDied: It died too often, or could not be begun.
        """
        data = bytes(ForkingPickler.dumps(task))
        if process is not None and not process.is_fit:
            self._end(process)
            process = None
        for _ in range(MAX_ATTEMPTS):
            try:
                process = process or self._begin()
                return process, process.run(data)
            except (OSError, EOFError):  # it died
                self._end(process)
                process = None
                if self._stopped:
                    break
        raise WorkerDied(f"the process at work on it died, {MAX_ATTEMPTS} times")

    def _begin(self) -> _Process:
        process = _Process(self._work, self._prepare)
        self._running.add(process)
        if self._stopped:
            process.kill()
        return process

    def _end(self, process: _Process | None) -> None:
        if process is not None:
            self._running.discard(process)
            process.stop()


def _settle(future: Future[_Result], outcome: tuple[bool, Any]) -> None:
    """Set what came of a task: its result, or the exception that its work raised."""
    succeeded, value = outcome
    if succeeded:
        future.set_result(value)
    else:
        future.set_exception(value)


_BEGIN_LOCK = threading.Lock()


class _Process:
    """One process, and the channel to it."""

    def __init__(self, work: Callable[[Any], Any], prepare: Callable[[], None]) -> None:
        self._tasks = 0
        with _BEGIN_LOCK:
            context = _context()
            self._channel, theirs = context.Pipe()
            self._process = context.Process(target=_work_off, args=(theirs, work, prepare), daemon=True)
            try:
                self._process.start()
            finally:
                theirs.close()

    @property
    def is_fit(self) -> bool:
        """Whether it can take a task: it is alive, and has not had its share."""
        return self._tasks < MAX_JOBS_PER_WORKER and self._process.is_alive()

    def run(self, data: bytes) -> tuple[bool, Any]:
        """Have a pickled task done; return whether that went well, and its result or its exception.

        Raises:
            OSError: The process died; EOFError likewise.
        """
        self._tasks += 1
        self._channel.send_bytes(data)
        outcome: tuple[bool, Any] = self._channel.recv()
        return outcome

    def kill(self) -> None:
        """End it whatever it is at; its thread hears of that."""
        self._process.kill()

    def stop(self) -> None:
        """End it, now that it has nothing to do, and wait until it has ended."""
        self._channel.close()
        self._process.join(STOP_TIMEOUT_S)
        if self._process.exitcode is None:
            self._process.kill()
            self._process.join()


def _context() -> Any:
    """Return how processes begin: never as a copy of ours, whose threads may hold locks.

    On Linux they are copies of a server with one thread, which has loaded the PDF engine. Elsewhere system
    libraries do not bear that, and each begins afresh.
    """
    if sys.platform != "linux":
        return get_context("spawn")
    context = get_context("forkserver")
    context.set_forkserver_preload(list(PRELOADED))
    return context


def _work_off(channel: Any, work: Callable[[Any], Any], prepare: Callable[[], None]) -> None:
    """Do the tasks that come through a channel, until it is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_exit_with_parent, daemon=True).start()
    prepare()
    with suppress(EOFError, OSError):
        while True:
            channel.send_bytes(_do(work, channel.recv_bytes()))
    if (pdf := sys.modules.get("handover.documents.pdf")) is not None:
        pdf.close_fonts()  # a process that is no child of the interpreter's own runs nothing at its exit


def _do(work: Callable[[Any], Any], data: bytes) -> bytes:
    """Return the pickled outcome of a pickled task."""
    outcome: tuple[bool, Any]
    try:
        outcome = True, work(ForkingPickler.loads(data))
    except Exception as fault:  # noqa: BLE001 - it is raised where the task was submitted
        outcome = False, fault
    try:
        return bytes(ForkingPickler.dumps(outcome))
    except Exception as fault:  # noqa: BLE001 - what pickle cannot do has many names
        reason = f"{type(outcome[1]).__name__} cannot travel: {type(fault).__name__}: {fault}"
        return bytes(ForkingPickler.dumps((False, RuntimeError(reason))))


def _exit_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        os._exit(1)


def run_in_processes(
    tasks: Iterator[RenderTask], workers: int, work: RenderFunction = make_documents
) -> Iterator[tuple[RenderTask, RenderResult]]:
    """Give the results of tasks as they come, from so many processes.

    Args:
        tasks: Taken one by one as workers become free.
        workers: How many processes.
        work: What is done for each; another process must be able to import it.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices, and the cores are all at work
    pending: dict[Future[RenderResult], RenderTask] = {}
    with Workers(workers, work) as pool:
        while True:
            for task in islice(tasks, PREFETCH * workers - len(pending)):
                pending[pool.submit(task)] = task
            if not pending:
                return
            for future in wait(pending, return_when=FIRST_COMPLETED).done:
                yield pending.pop(future), _result_of(future)


def _result_of(future: Future[RenderResult]) -> RenderResult:
    """Return what came of a task that is done, whatever it is."""
    try:
        return future.result()
    except Exception as fault:  # noqa: BLE001 - a dead process, or a task that cannot travel
        return failure_result(fault)


# ---- the documents of one issue ---------------------------------------------------------------------

PdfWorkers = Workers[PdfTask, bytes]

MAX_PDF_WORKERS = 2
"""A set has two long documents."""


@contextmanager
def pdf_workers() -> Iterator[PdfWorkers | None]:
    """Begin the processes that render the PDFs of one issue side by side; None where there is one core.

    Begin them before anything else: they load the PDF engine while the schedule is computed.
    """
    cores = core_count()
    if cores < MAX_PDF_WORKERS or _engine_is_replaced():
        yield None
        return
    with Workers(MAX_PDF_WORKERS, make_pdf_alone, load_pdf_engine) as workers:
        yield workers


def core_count() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _engine_is_replaced() -> bool:
    """Whether this process has another PDF engine than the one that a fresh process would load."""
    pages, pdf = (sys.modules.get(f"handover.documents.{name}") for name in ("pages", "pdf"))
    return pages is not None and pdf is not None and pages.render_pdf is not pdf.render_pdf


def submit_pdf(task: PdfTask, workers: PdfWorkers | None) -> Future[bytes]:
    """Return a PDF to come: from a worker, or, where there is none, from this process at once."""
    if workers is not None and not _engine_is_replaced():
        return workers.submit(task)
    future: Future[bytes] = Future()
    try:
        future.set_result(make_pdf(task))
    except Exception as fault:  # noqa: BLE001 - raised where the result is asked for
        future.set_exception(fault)
    return future


def finished_pdf(future: Future[bytes], task: PdfTask) -> bytes:
    """Return a PDF that was submitted; if its worker died or could not begin, this process renders it.

    Raises:
        RenderingFailed: As `render_pdf`, whichever process rendered it; MissingLibraries likewise.
    """
    try:
        return future.result()
    except WorkerDied:
        return make_pdf(task)


# ---- on a cluster -----------------------------------------------------------------------------------


def run_on_dask(
    tasks: Iterator[RenderTask], scheduler: str, work: RenderFunction = make_documents
) -> Iterator[tuple[RenderTask, RenderResult]]:
    """Give the answers to orders as they come, from the workers of a Dask cluster.

    The scheduler gives the jobs of a worker that is lost to others. While there are no workers, it waits for
    some.

    Args:
        tasks: Taken one by one as workers become free.
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
