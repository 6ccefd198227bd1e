"""The only place that knows the PDF engine: finished HTML in, the same bytes out every time.

The engine may read nothing but what the document carries in itself, and whatever it has to complain about
is a failure: a document that the engine is not sure of does not go out.
"""

from __future__ import annotations

import hashlib
import logging
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING

from handover.errors import RenderingFailed

if TYPE_CHECKING:
    from collections.abc import Iterator

ENGINE_LOGS = ("weasyprint", "fontTools")
ALLOWED = ("data",)
"""Schemes of addresses that a document may load: its own parts, written into it."""


class _Complaints(logging.Handler):
    """Keeps what the engine complains about."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.said.append(record.getMessage())


@contextmanager
def _listening() -> Iterator[_Complaints]:
    complaints = _Complaints()
    loggers = [logging.getLogger(name) for name in ENGINE_LOGS]
    for logger in loggers:
        logger.addHandler(complaints)
    try:
        yield complaints
    finally:
        for logger in loggers:
            logger.removeHandler(complaints)


@cache
def _fetcher() -> object:
    from weasyprint.urls import URLFetcher  # noqa: PLC0415 - heavy

    return URLFetcher(allowed_protocols=ALLOWED, allow_redirects=False)


def render_pdf(html: str) -> bytes:
    """Return finished HTML as a tagged PDF; the same HTML gives the same bytes.

    Args:
        html: A whole document. What it shows is written into it; it may load nothing from anywhere. Title,
            language, author and dates of the PDF are those of its head.

    Raises:
        RenderingFailed: The engine warned or failed; the message is what it said.
    """
    from weasyprint import HTML  # noqa: PLC0415 - heavy
    from weasyprint.urls import FatalURLFetchingError  # noqa: PLC0415

    identifier = hashlib.sha256(html.encode()).digest()[:16]
    with _listening() as complaints:
        try:
            document = HTML(string=html, base_url=None, url_fetcher=_fetcher())
            pdf = document.write_pdf(pdf_tags=True, pdf_identifier=identifier, custom_metadata=False)
        except FatalURLFetchingError as refused:  # derives from BaseException
            raise RenderingFailed(str(refused)) from refused
        except Exception as failure:
            raise RenderingFailed(f"the PDF engine failed: {type(failure).__name__}: {failure}") from failure
    if complaints.said:
        raise RenderingFailed("; ".join(dict.fromkeys(complaints.said)))
    return bytes(pdf)
