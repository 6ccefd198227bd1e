"""The PDF engine, known to this module and `pdf_structure` only: finished HTML in, always the same bytes out.

The engine may read nothing but what the document carries in itself, and whatever it has to complain about
is a failure: a document that the engine is not sure of does not go out.
"""

from __future__ import annotations

import atexit
import hashlib
import logging
import re
import warnings
from base64 import b64encode
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Literal
from weakref import WeakSet

from handover.documents.engine import load_engine
from handover.documents.pdf_structure import complete, end_streams_clearly
from handover.errors import RenderingFailed

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from weasyprint.text.fonts import FontConfiguration

ENGINE_LOGGERS = ("weasyprint", "fontTools")
ALLOWED_SCHEMES = ("data",)
"""Schemes of addresses that a document may load: its own parts, written into it."""

VARIANT = "pdf/a-3a"
"""ISO 19005-3, level A: keeps for decades, tells a screen reader all it shows, and may carry files inside."""

FONT_FACE = re.compile(r"@font-face\s*\{[^}]*\}")

PLAIN_PIXELS = "html { image-rendering: crisp-edges }"
"""Pictures as they are: ISO 19005-3, 6.2.8 forbids the viewer to smooth them."""


@dataclass(frozen=True)
class Attachment:
    """A file inside the PDF.

    Attributes:
        name: Its file name, plain letters.
        content: Its bytes; no two files of one document may be alike.
        media_type: Such as "text/calendar".
        description: What a reader's program says of it.
        relation: What it is to the document: what it was made from, its figures, or something beside it
            (AFRelationship of ISO 19005-3).
        dated: When it was made, aware.
    """

    name: str
    content: bytes
    media_type: str
    description: str
    relation: Literal["Source", "Data", "Supplement"]
    dated: datetime


class _ComplaintHandler(logging.Handler):
    """Keeps what the engine complains about."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.said.append(record.getMessage())


@contextmanager
def _capture_complaints() -> Iterator[_ComplaintHandler]:
    complaints = _ComplaintHandler()
    loggers = {logging.getLogger(name): logging.getLogger(name).disabled for name in ENGINE_LOGGERS}
    for logger in loggers:
        logger.addHandler(complaints)
        logger.disabled = False  # a program around this one may have disabled it with the rest
    try:
        yield complaints
    finally:
        for logger, disabled in loggers.items():
            logger.removeHandler(complaints)
            logger.disabled = disabled


@cache
def _fetcher() -> object:
    from weasyprint.urls import URLFetcher  # noqa: PLC0415 - heavy

    return URLFetcher(allowed_protocols=ALLOWED_SCHEMES, allow_redirects=False)


@lru_cache(maxsize=4)
def _fonts(_faces: tuple[str, ...]) -> FontConfiguration:
    """Return what the engine knows of fonts, for all documents of the same faces: it gives little back."""
    from weasyprint.text.fonts import FontConfiguration  # noqa: PLC0415 - heavy

    configuration = FontConfiguration()
    _FONTS.add(configuration)
    return configuration


_FONTS: WeakSet[FontConfiguration] = WeakSet()


@atexit.register
def close_fonts() -> None:
    """Remove the files that the engine keeps of fonts, at the end of the process.

    The engine removes them when Python frees its object. A document may keep that alive in a circle, and at
    the end of a process Python does not look for circles.
    """
    for each in _FONTS:
        each.__del__()
    _fonts.cache_clear()


def render_pdf(html: str, attachments: Sequence[Attachment] = ()) -> bytes:
    """Return finished HTML as PDF/A-3a and PDF/UA-1; the same HTML and attachments give the same bytes.

    Args:
        html: A whole document. What it shows is written into it; it may load nothing from anywhere. Title,
            language, author and dates of the PDF are those of its head.
        attachments: Files to lay inside.

    Raises:
        MissingLibraries: The engine cannot begin on this machine.
        RenderingFailed: The engine warned or failed; the message is what it said.
    """
    load_engine()
    from weasyprint import CSS, HTML  # noqa: PLC0415 - heavy
    from weasyprint.urls import FatalURLFetchingError  # noqa: PLC0415

    with _capture_complaints() as complaints, warnings.catch_warnings():
        # The engine leaves the file of its colour profile to be closed by whoever comes by.
        warnings.filterwarnings("ignore", "unclosed file.*icc", ResourceWarning)
        try:
            document = HTML(string=html, base_url=None, url_fetcher=_fetcher())
            pdf = document.write_pdf(
                pdf_variant=VARIANT,
                pdf_identifier=_identifier(html, attachments),
                custom_metadata=False,
                attachments=_files(attachments),
                stylesheets=[CSS(string=PLAIN_PIXELS)],
                font_config=_fonts(tuple(FONT_FACE.findall(html))),
                finisher=complete,
            )
        except FatalURLFetchingError as refused:  # derives from BaseException
            raise RenderingFailed(str(refused)) from refused
        except Exception as failure:
            raise RenderingFailed(f"the PDF engine failed: {type(failure).__name__}: {failure}") from failure
    if complaints.said:
        raise RenderingFailed("; ".join(dict.fromkeys(complaints.said)))
    return end_streams_clearly(bytes(pdf))


def _identifier(html: str, attachments: Sequence[Attachment]) -> bytes:
    """Return the identifier of the file: one for each content."""
    digest = hashlib.sha256(html.encode())
    for each in attachments:
        digest.update(hashlib.sha256(each.content).digest())
    return digest.digest()[:16]


def _files(attachments: Sequence[Attachment]) -> list[object]:
    """Return files as the engine takes them, in the order of their names, as a tree of names must be.

    Raises:
        RenderingFailed: Two are alike: the engine knows files by their bytes and would mix them up.
    """
    from weasyprint import Attachment as EngineAttachment  # noqa: PLC0415 - heavy

    if len({each.content for each in attachments}) < len(attachments):
        raise RenderingFailed("two files to lay into the PDF are alike")
    return [
        EngineAttachment(
            # An address that tells the type: by the name alone, each machine would guess its own.
            url=f"data:{each.media_type};base64,{b64encode(each.content).decode()}",
            url_fetcher=_fetcher(),
            name=each.name,
            description=each.description,
            created=each.dated.astimezone(UTC),
            modified=each.dated.astimezone(UTC),
            relationship=each.relation,
        )
        for each in sorted(attachments, key=lambda each: each.name)
    ]
