"""The PDFs of one issue: rendered side by side by two processes, or here."""

from __future__ import annotations

import gc
import os
from concurrent.futures import Future
from contextlib import contextmanager, suppress
from functools import cache
from typing import TYPE_CHECKING, Self

from handover.service.worker_limits import UNLIMITED, Limits
from handover.service.worker_pool import NoProcess, Workers

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from handover.documents.pdf import Attachment

PdfWorkers = Workers[str, bytes]
"""Processes whose tasks are pages; the second part of a task is the files to embed."""

MAX_PDF_WORKERS = 2
"""A set has two long documents."""


def make_pdf_alone(html: str, attachments: Callable[[], Sequence[Attachment]] = tuple) -> bytes:
    """Return a document as PDF, in a process that does nothing else. Arguments and errors as `render_pdf`."""
    from handover.documents.pdf import render_pdf  # noqa: PLC0415 - heavy

    gc.collect()  # what the document before left; nobody waits for that of the last one
    return render_pdf(html, attachments)


@cache
def load_pdf_engine() -> None:
    """Load once what every PDF needs; if that fails, the first PDF reports it.

    Nothing of a document is garbage before it is finished: garbage is collected between documents only.
    """
    import handover.documents.preload  # noqa: F401, PLC0415

    gc.freeze()
    gc.disable()


@contextmanager
def pdf_workers(limits: Limits = UNLIMITED) -> Iterator[PdfWorkers | None]:
    """Begin the processes that render the PDFs of a set side by side; None where there is one core.

    Each PDF may take so much memory and time. Begin them before anything else is imported: they load the PDF
    engine while the schedule is computed.
    """
    if core_count() < MAX_PDF_WORKERS:
        yield None
        return
    with Workers[str, bytes](MAX_PDF_WORKERS, make_pdf_alone, load_pdf_engine, limits) as workers:
        yield workers


def core_count() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class PendingPdf:
    """A PDF that a worker renders; this process renders it where no worker can begin.

    A page that killed its worker could kill this process too, and is given up. Its worker begins at once. The
    files to embed may come later: the layout takes most of the time. Use it as a context: a worker does not
    wait for files that never come.
    """

    def __init__(self, html: str, workers: PdfWorkers | None) -> None:
        self._html = html
        self._files: Future[Sequence[Attachment]] = Future()
        self._result = None if workers is None else workers.submit(html, self._files)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._files.cancel()

    def attach(self, files: Sequence[Attachment]) -> Self:
        """Say which files are inside. Without this, `content` waits for ever."""
        self._files.set_result(files)
        return self

    @property
    def content(self) -> bytes:
        """The bytes, after waiting for them.

        Raises:
            RenderingFailed: As `render_pdf`, whichever process rendered it; MissingLibraries likewise.
            WorkerDied: The page killed its worker.
            LimitExceeded: It took too much memory or time.
        """
        if self._result is not None:
            with suppress(NoProcess):
                return self._result.result()
        from handover.documents.pages import sheet_pdf  # noqa: PLC0415 - heavy

        return sheet_pdf(self._html, self._files.result())
