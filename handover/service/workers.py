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

    from handover.service.inputs import Received
    from handover.service.settings import Settings

    Work = Callable[["Order"], "Answer"]

AHEAD = 2
"""Orders that a worker has at hand: one at work, one so that it need not wait for us."""

TRIES = 2
"""How often a job is begun, if the process that does it dies."""

FRESH_AFTER = 200
"""Jobs after which a process gives way to a fresh one: the PDF engine's libraries keep a little of each."""

ANSWERS_WITHIN_S = 10.0
"""How long a cluster's scheduler may take to answer at first. [s]"""


@dataclass(frozen=True)
class Order:
    """One job to be done by whoever has a hand free.

    Attributes:
        name: By which the answer is known; no two alike.
        received: The job and its weather. Of its inputs only the record.
        as_of: Time of issue, aware.
        revision: Of the set.
        settings: How it is to be made.
    """

    name: str
    received: Received
    as_of: datetime
    revision: int
    settings: Settings


@dataclass(frozen=True)
class Answer:
    """What came of an order: documents, or findings, or why it failed.

    An answer and no exception, since exceptions do not travel well between machines.
    """

    documents: Mapping[str, bytes] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    failure: str = ""


# ---- what one does ----------------------------------------------------------------------------------

_ALONE = threading.Lock()


def make_documents(order: Order) -> Answer:
    """Return the documents of one job. It never raises, and keeps nothing of the job."""
    _warm_up()
    from handover.service.inputs import compute  # noqa: PLC0415 - whoever only hands out needs neither
    from handover.service.render import render_documents  # noqa: PLC0415

    received, settings = order.received, order.settings
    try:
        # The PDF engine's complaints are those of the process, whichever thread is at work.
        with _ALONE, _tidied_after():
            schedule = compute(received, order.as_of, order.revision, settings)
            documents = render_documents(
                received.job, schedule, settings, inputs=received.inputs, pictures=received.pictures
            )
    except Exception as fault:  # noqa: BLE001 - whatever it is, the other jobs go on
        return answer_of(fault)
    return Answer(documents)


def answer_of(fault: Exception) -> Answer:
    """Return a fault as an answer."""
    if isinstance(fault, UnusableInput):
        return Answer(findings=fault.findings)
    if isinstance(fault, HandoverError):
        return Answer(failure=str(fault))
    if isinstance(fault, OSError):
        return Answer(failure=f"{fault.filename or 'The system'}: {fault.strerror or fault}")
    return Answer(failure=f"a fault in the program itself: {type(fault).__name__}: {fault}")


@cache
def _warm_up() -> None:
    """Load once what every job needs, and keep it out of the search for garbage."""
    import handover.service.inputs  # noqa: PLC0415
    import handover.service.render  # noqa: F401, PLC0415

    gc.collect()
    gc.freeze()


@contextmanager
def _tidied_after() -> Iterator[None]:
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


def on_this_machine(
    orders: Iterator[Order], workers: int, work: Work = make_documents
) -> Iterator[tuple[Order, Answer]]:
    """Give the answers to orders as they come, from so many processes.

    Each process has a queue of its own: so it is known which job it was at when it died.

    Args:
        orders: Taken one by one as hands come free.
        workers: How many processes.
        work: What is done for each; another process must be able to import it.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices, and the cores are all at work
    hands = [_Hand(work) for _ in range(workers)]
    again: deque[Order] = deque()
    lost: set[str] = set()
    try:
        while True:
            for hand in hands:
                hand.refresh()
                while hand.is_free and (order := again.popleft() if again else next(orders, None)):
                    hand.give(order)
            if not any(hand.queue for hand in hands):
                return
            wait([future for hand in hands for _, future in hand.queue], return_when=FIRST_COMPLETED)
            for hand in hands:
                for order, answer in hand.finished():
                    if answer is not None:
                        yield order, answer
                    elif order.name in lost:
                        yield order, Answer(failure=f"the process at work on it died, {TRIES} times")
                    else:
                        lost.add(order.name)
                        again.append(order)
                again += hand.dropped()
    finally:
        for hand in hands:
            hand.stop()


class _Hand:
    """One warm process, and what lies before it, in order."""

    def __init__(self, work: Work) -> None:
        self.queue: deque[tuple[Order, Future[Answer]]] = deque()
        self._work = work
        self._dropped: list[Order] = []
        self._begin()

    def _begin(self) -> None:
        self._given = 0
        self._pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_at_work)

    @property
    def is_free(self) -> bool:
        """Whether it can take an order: it has not had its share, nor is it dead with that to be told."""
        return len(self.queue) < AHEAD and not self._dropped and self._given < FRESH_AFTER

    def refresh(self) -> None:
        """Have a fresh process take over from one that has had its share and is done."""
        if self._given >= FRESH_AFTER and not self.queue and not self._dropped:
            self._pool.shutdown()
            self._begin()

    def give(self, order: Order) -> None:
        """Lay an order before the process; one that has died is begun anew when its last job is told."""
        try:
            future = self._submit(order)
        except BrokenProcessPool:  # it died, perhaps while it had nothing to do
            if self.queue:
                self._dropped.append(order)
                return
            self._begin()
            future = self._submit(order)
        self._given += 1
        self.queue.append((order, future))

    def _submit(self, order: Order) -> Future[Answer]:
        with _undisturbed():  # the process begins with the first order
            return self._pool.submit(self._work, order)

    def finished(self) -> Iterator[tuple[Order, Answer | None]]:
        """Give what is finished; None where the process died over it, and then it is begun anew."""
        while self.queue and self.queue[0][1].done():
            order, future = self.queue.popleft()
            try:
                yield order, future.result()
            except BrokenProcessPool:
                self._dropped += [each for each, _ in self.queue]
                self.queue.clear()
                self._begin()
                yield order, None
            except Exception as fault:  # noqa: BLE001 - an order that cannot travel
                yield order, answer_of(fault)

    def dropped(self) -> list[Order]:
        """Return what lay before a process that died, and was not begun."""
        dropped, self._dropped = self._dropped, []
        return dropped

    def stop(self) -> None:
        self._pool.shutdown(wait=not self.queue, cancel_futures=True)


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Put off Ctrl-C; a process that is begun meanwhile never hears of it, and leaves it to us."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _at_work() -> None:
    """Get a process ready. It ends with whoever began it."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    _warm_up()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        os._exit(1)


# ---- on a cluster -----------------------------------------------------------------------------------


def on_a_cluster(
    orders: Iterator[Order], scheduler: str, work: Work = make_documents
) -> Iterator[tuple[Order, Answer]]:
    """Give the answers to orders as they come, from the workers of a Dask cluster.

    The scheduler gives the jobs of a worker that is lost to others. While there are no workers, it waits for
    some.

    Args:
        orders: Taken one by one as hands come free.
        scheduler: Its address: tcp://host:port.
        work: What is done for each; the workers must be able to import it.

    Raises:
        UnusableInput: Dask is not installed, or no scheduler answers there.
    """
    with _client(scheduler) as client:
        from distributed import as_completed  # noqa: PLC0415 - only for a cluster

        asked: dict[str, Order] = {}
        futures = as_completed(loop=client.loop)

        def hand_out() -> None:
            free = AHEAD * max(1, sum(client.nthreads().values())) - len(asked)
            for order in islice(orders, max(0, free)):
                future = client.submit(work, order, key=f"handover-{order.name}", pure=False)
                asked[future.key] = order
                futures.add(future)

        hand_out()
        for future in futures:
            order = asked.pop(future.key)
            try:
                answer = future.result()
            except Exception as fault:  # noqa: BLE001 - it died too often, or does not know our program
                answer = Answer(failure=f"the cluster gave it up: {type(fault).__name__}: {fault}")
            future.release()
            yield order, answer
            hand_out()


def _client(scheduler: str) -> Any:
    try:
        from distributed import Client  # noqa: PLC0415 - only for a cluster
    except ImportError:
        problem = "Dask is not installed, by which a cluster is reached"
        finding = Finding(problem, field="--scheduler", expected="pip install 'handover[cluster]'")
        raise UnusableInput([finding]) from None
    with suppress(OSError, TimeoutError, ValueError):
        return Client(scheduler, timeout=ANSWERS_WITHIN_S, set_as_default=False)
    finding = Finding(
        f"no scheduler answers at {scheduler}",
        field="--scheduler",
        expected="the address of a Dask scheduler",
        example="tcp://office-server:8786",
    )
    raise UnusableInput([finding])
