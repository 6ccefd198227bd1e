"""The PDFs of one issue: rendered side by side by two processes, or here."""

from __future__ import annotations

import gc
import os
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from handover.service.worker_pool import WorkerDied, Workers

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from handover.documents.pdf import Attachment


@dataclass(frozen=True)
class PdfTask:
    """One document to render: the finished HTML and the files to embed, as for `render_pdf`."""

    html: str
    attachments: Sequence[Attachment] = ()


PdfWorkers = Workers[PdfTask, bytes]

MAX_PDF_WORKERS = 2
"""A set has two long documents."""


def make_pdf(task: PdfTask) -> bytes:
    """Return a document as PDF. Raises as `render_pdf`."""
    from handover.documents.pages import sheet_pdf  # noqa: PLC0415 - heavy

    return sheet_pdf(task.html, task.attachments)


def make_pdf_alone(task: PdfTask) -> bytes:
    """Return a document as PDF, like `make_pdf`, in a process that does nothing else."""
    from handover.documents.pdf import render_pdf  # noqa: PLC0415 - heavy

    gc.collect()  # what the document before left; nobody waits for that of the last one
    return render_pdf(task.html, task.attachments)


@cache
def load_pdf_engine() -> None:
    """Load once what every PDF needs; if that fails, the first PDF reports it.

    Nothing of a document is garbage before it is finished: garbage is collected between documents only.
    """
    import handover.documents.preload  # noqa: F401, PLC0415

    gc.freeze()
    gc.disable()


@contextmanager
def pdf_workers() -> Iterator[PdfWorkers | None]:
    """Begin the processes that render the PDFs of a set side by side; None where there is one core.

    Begin them before anything else is imported: they load the PDF engine while the schedule is computed.
    """
    if core_count() < MAX_PDF_WORKERS:
        yield None
        return
    with Workers(MAX_PDF_WORKERS, make_pdf_alone, load_pdf_engine) as workers:
        yield workers


def core_count() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def submit_pdf(task: PdfTask, workers: PdfWorkers | None) -> Future[bytes]:
    """Return a PDF to come: from a worker, or, where there is none, from this process at once."""
    if workers is not None:
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
