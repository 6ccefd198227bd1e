"""A pool of warm processes; one that dies, or takes more than a task may, fails its own task alone."""

from __future__ import annotations

import atexit
import gc
import os
import shutil
import signal
import sys
import tempfile
import threading
from concurrent.futures import Future
from contextlib import contextmanager, suppress
from functools import cache
from multiprocessing import current_process, get_context, parent_process, resource_tracker
from multiprocessing.connection import wait as wait_for_end
from multiprocessing.reduction import ForkingPickler
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from handover.errors import HandoverError
from handover.service.worker_limits import (
    UNLIMITED,
    LimitExceeded,
    Limits,
    OutOfMemory,
    is_out_of_memory,
    limit_memory,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from types import TracebackType

_Task = TypeVar("_Task")
_Result = TypeVar("_Result")

MAX_ATTEMPTS = 2
"""Maximum number of attempts for a task whose process dies."""

MAX_JOBS_PER_WORKER = 200
"""Tasks after which a fresh process replaces an old one: the PDF engine's libraries leak a little memory."""

STOP_TIMEOUT_S = 5.0
"""Time limit for a process to end on request. [s]"""

MAX_TEMPORARY_PATH = 70
"""Maximum length of the path of the temporary folder, to which the fork server adds 32 of 107 bytes."""

PRELOADED = ("handover.documents.preload",)
"""Modules that the fork server imports once for all processes."""


class WorkerDied(HandoverError):
    """The process of a task died in every attempt."""


class NoProcess(WorkerDied):
    """No process can begin on this machine."""


class Workers(Generic[_Task, _Result]):
    """Warm processes that run tasks in the order of submission.

    One thread serves each process, so it is known which task a process had when it died. That task is tried
    again, `MAX_ATTEMPTS` times in all; the tasks in the queue go to any free process. The processes begin at
    once. They ignore Ctrl-C, and end with this process. Their temporary files are in one folder, which is
    removed after the last process, even a killed one. Use it as a context: an exception that leaves the
    context cancels the unfinished tasks.

    Args:
        count: Number of processes.
        work: The function for each task; another process must be able to import it. For a task with a second
            part, it is called with the task and a function that waits for that part and returns it.
        prepare: A function that a process calls before its first task, likewise.
        limits: What one task may take. A task that takes more is not tried again.
    """

    def __init__(
        self,
        count: int,
        work: Callable[..., _Result],
        prepare: Callable[[], None],
        limits: Limits = UNLIMITED,
    ) -> None:
        if getattr(current_process(), "_inheriting", False):  # a worker imports the script of its parent
            raise HandoverError('A script that begins workers does so below `if __name__ == "__main__":`.')
        self._queue: SimpleQueue[tuple[_Task, Future[Any] | None, Future[_Result]] | None] = SimpleQueue()
        self._work = work
        self._prepare = prepare
        self._limits = limits
        self._stopped = False
        self._running: set[_Process] = set()
        self._threads = [threading.Thread(target=self._serve, daemon=True) for _ in range(count)]
        with _block_signals(signal.SIGINT, signal.SIGTERM):  # they wait until all threads have begun
            self._temporary = tempfile.TemporaryDirectory(prefix="handover-", ignore_cleanup_errors=True)
            atexit.register(self.close, at_once=True)  # an exception may come before the context is entered
            for each in self._threads:
                each.start()

    def __enter__(self) -> Workers[_Task, _Result]:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close(at_once=kind is not None)

    def submit(self, task: _Task, rest: Future[Any] | None = None) -> Future[_Result]:
        """Add a task to the queue; return its future.

        Args:
            task: The task; its process begins at once.
            rest: The second part of the task, which is not ready yet. It must end: with a value, with an
                exception, which the future of the task then has too, or cancelled.

        The future raises the exception of the work, `WorkerDied` if its process died too often (`NoProcess`
        if none could begin), `LimitExceeded` if the task took too much, and pickle's exception for a task or
        a result that cannot be pickled.
        """
        future: Future[_Result] = Future()
        self._queue.put((task, rest, future))
        return future

    def close(self, *, at_once: bool = False) -> None:
        """End the processes: after the last task, or at once."""
        for _ in self._threads:
            self._queue.put(None)
        try:
            if at_once:
                self._kill()
            self._join()
        except BaseException:  # stopped while it waits
            self._kill()
            self._join()
            raise
        finally:
            self._temporary.cleanup()
            atexit.unregister(self.close)

    def _join(self) -> None:
        """Wait for the threads, but for those that could not start."""
        for thread in self._threads:
            if thread.ident is not None:
                thread.join()

    def _kill(self) -> None:
        """End the processes, even during a task."""
        self._stopped = True
        for each in tuple(self._running):
            each.kill()

    def _serve(self) -> None:
        """Run the tasks of the queue, in one process after another."""
        if hasattr(signal, "pthread_sigmask"):  # a process that starts here never receives Ctrl-C
            signal.pthread_sigmask(signal.SIG_SETMASK, {signal.SIGINT})
        process: _Process | None = None
        with suppress(Exception):  # `_attempt` starts another one, and reports what is wrong with each task
            process = self._begin()
        while (order := self._queue.get()) is not None:
            task, rest, future = order
            if self._stopped:
                future.cancel()
            if not future.set_running_or_notify_cancel():
                continue
            try:
                process, result = self._attempt(process, task, rest)
            except (WorkerDied, LimitExceeded) as fault:
                process = None
                future.set_exception(fault)
            except Exception as fault:  # noqa: BLE001 - a task that cannot travel
                future.set_exception(fault)
            else:
                _settle(future, result)
        self._end(process)

    def _attempt(
        self, process: _Process | None, task: _Task, rest: Future[Any] | None
    ) -> tuple[_Process, tuple[bool, Any]]:
        """Return the process that ran a task, and its result.

        Raises:
            WorkerDied: It died too often.
            NoProcess: None could begin, or none became ready.
            LimitExceeded: It took too much memory or time, and is ended.
        """
        data = bytes(ForkingPickler.dumps((task, rest is not None)))
        if process is not None and not process.is_fit:
            self._end(process)
            process = None
        ran = False
        for _ in range(MAX_ATTEMPTS):
            try:
                process = process or self._begin()
                return process, process.run(data, rest)
            except LimitExceeded:
                self._end(process)
                raise
            except (OSError, EOFError, RuntimeError):  # it died, or none may begin here
                ran = ran or (process is not None and process.is_ready)
                self._end(process)
                process = None
                if self._stopped:
                    break
        if not ran:
            raise NoProcess("no process can begin")
        may_have = f"; it may have reached {self._limits.memory_text}" if self._limits.memory_mb else ""
        raise WorkerDied(f"its process died, {MAX_ATTEMPTS} times{may_have}")

    def _begin(self) -> _Process:
        process = _Process(self._work, self._prepare, self._temporary.name, self._limits)
        self._running.add(process)
        if self._stopped:
            process.kill()
        return process

    def _end(self, process: _Process | None) -> None:
        if process is not None:
            self._running.discard(process)
            process.stop()


def _settle(future: Future[_Result], outcome: tuple[bool, Any]) -> None:
    """Complete a future with the result, or with the exception of the work."""
    succeeded, value = outcome
    if succeeded:
        future.set_result(value)
    else:
        future.set_exception(value)


@contextmanager
def _block_signals(*signals: signal.Signals) -> Iterator[None]:
    """Let signals wait until the end of the block; then the thread blocks those that it blocked before."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, signals)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


_BEGIN_LOCK = threading.Lock()


class _Process:
    """One process, and the channel to it."""

    def __init__(
        self, work: Callable[..., Any], prepare: Callable[[], None], temporary: str, limits: Limits
    ) -> None:
        self.is_ready = False
        self._tasks = 0
        self._limits = limits
        with _BEGIN_LOCK, _safe_path():
            context = _context()
            self._channel, theirs = context.Pipe()
            arguments = (theirs, work, prepare, temporary, limits.memory_mb)
            self._process = context.Process(target=_work_off, args=arguments, daemon=True)
            _start_resource_tracker()
            try:
                self._process.start()
            finally:
                theirs.close()

    @property
    def is_fit(self) -> bool:
        """Whether it can run a task: it is alive, and has not reached its limit of tasks."""
        return self._tasks < MAX_JOBS_PER_WORKER and self._process.is_alive()

    def run(self, data: bytes, rest: Future[Any] | None) -> tuple[bool, Any]:
        """Run a pickled task; return whether it succeeded, and its result or its exception.

        Raises:
            OSError: The process died; EOFError likewise.
            LimitExceeded: It took too long, and was killed, or the system gave it no more memory.
            Exception: That of the second part of the task. The process, which waits for it, is ended.
        """
        self._tasks += 1
        if not self.is_ready:
            self._channel.recv()
            self.is_ready = True
        with self._deadline(rest) as is_over:
            try:
                outcome = self._exchange(data, rest)
            except (OSError, EOFError):
                if is_over.is_set():
                    raise LimitExceeded(f"took more than {self._limits.time_text}") from None
                raise
        if self._limits.memory_mb and isinstance(outcome[1], OutOfMemory):
            raise LimitExceeded(f"needs more than {self._limits.memory_text}")
        return outcome

    def _exchange(self, data: bytes, rest: Future[Any] | None) -> tuple[bool, Any]:
        """Send a task, and receive its outcome."""
        self._channel.send_bytes(data)
        if rest is not None:
            try:
                part = rest.result()
            except Exception:
                self.kill()
                raise
            self._channel.send(part)
        outcome: tuple[bool, Any] = self._channel.recv()
        return outcome

    @contextmanager
    def _deadline(self, rest: Future[Any] | None) -> Iterator[threading.Event]:
        """Kill the process at the limit of time; give the event that says so.

        The time begins once the second part of the task is there, which this process
        makes.
        """
        is_over, timer = threading.Event(), None
        if self._limits.time_s is not None:
            timer = threading.Timer(self._limits.time_s, self._kill_late, (is_over,))
            timer.daemon = True
            if rest is None:
                timer.start()
            else:
                rest.add_done_callback(lambda _: timer.start())
        try:
            yield is_over
        finally:
            if timer is not None:
                timer.cancel()

    def _kill_late(self, is_over: threading.Event) -> None:
        is_over.set()
        self.kill()

    def kill(self) -> None:
        """End it at once; its thread notices."""
        self._process.kill()

    def stop(self) -> None:
        """End it, now that it has nothing to do, and wait until it has ended."""
        self._channel.close()
        self._process.join(STOP_TIMEOUT_S)
        if self._process.exitcode is None:
            self._process.kill()
            self._process.join()


def _start_resource_tracker() -> None:
    """Start the resource tracker of multiprocessing; Ctrl-C stays blocked if it was.

    Python 3.11 unblocks Ctrl-C in this thread when it starts it: the server could receive it while it starts.
    """
    if hasattr(signal, "pthread_sigmask"):
        with _block_signals():
            resource_tracker.ensure_running()


def _context() -> Any:
    """Return the start method of processes: never a copy of this process, whose threads may hold locks.

    On Linux they are copies of a server with one thread, which has loaded the PDF engine. Elsewhere system
    libraries do not allow that, and each starts as a new process.
    """
    if sys.platform != "linux" or len(os.fsencode(tempfile.gettempdir())) > MAX_TEMPORARY_PATH:
        return get_context("spawn")
    context = get_context("forkserver")
    context.set_forkserver_preload(list(PRELOADED))
    return context


@contextmanager
def _safe_path() -> Iterator[None]:
    """Begin Pythons that import nothing from the working directory; other children are as before."""
    before = os.environ.get("PYTHONSAFEPATH")
    os.environ["PYTHONSAFEPATH"] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ["PYTHONSAFEPATH"]
        else:
            os.environ["PYTHONSAFEPATH"] = before


def _work_off(
    channel: Any,
    work: Callable[..., Any],
    prepare: Callable[[], None],
    temporary: str,
    memory_mb: int | None,
) -> None:
    """Run the tasks of a channel until it is closed. This process owns the temporary folder."""
    limit_memory(memory_mb)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    tempfile.tempdir = temporary
    threading.Thread(target=_exit_with_parent, args=(temporary,), daemon=True).start()
    prepare()
    with suppress(EOFError, OSError):
        channel.send(None)  # it is ready
        while True:
            channel.send_bytes(_do(work, channel))


def _do(work: Callable[..., Any], channel: Any) -> bytes:
    """Return the pickled outcome of the next task of a channel."""
    data = channel.recv_bytes()
    rest = cache(channel.recv)
    outcome: tuple[bool, Any]
    has_rest = False
    try:
        task, has_rest = ForkingPickler.loads(data)
        outcome = True, work(task, rest) if has_rest else work(task)
    except Exception as fault:  # noqa: BLE001 - it is raised where the task was submitted
        outcome = False, OutOfMemory() if is_out_of_memory(fault) else fault
    if has_rest:
        rest()  # it comes in any case, and is not the next task
    try:
        return bytes(ForkingPickler.dumps(outcome))
    except Exception as fault:  # noqa: BLE001 - what pickle cannot do has many names
        reason = f"{type(outcome[1]).__name__} cannot be pickled: {type(fault).__name__}: {fault}"
        return bytes(ForkingPickler.dumps((False, RuntimeError(reason))))


def _exit_with_parent(temporary: str) -> None:
    parent = parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        shutil.rmtree(temporary, ignore_errors=True)  # the parent was killed
        os._exit(1)


@contextmanager
def gc_paused() -> Iterator[None]:
    """Collect garbage once for each task, at its end, so that memory stays constant.

    During a task there is no garbage to find, and the search took a fifth of the time.
    """
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_enabled:
            gc.enable()
        gc.collect()
