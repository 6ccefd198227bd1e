"""The PDF engine, used only here and in `pdf_structure`: finished HTML in, always the same bytes out.

The engine may read only what the document contains. Every warning of the engine is a failure, so that no
doubtful document is issued.
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
    from collections.abc import Callable, Iterator, Sequence
    from datetime import datetime

    from weasyprint import CSS, Document
    from weasyprint.text.fonts import FontConfiguration

ENGINE_LOGGERS = ("weasyprint", "fontTools")
ALLOWED_SCHEMES = ("data",)
"""Schemes of URLs that a document may load: only its own embedded parts."""

VARIANT = "pdf/a-3a"
"""ISO 19005-3, level A: archivable, accessible to screen readers, and with embedded files."""

FONT_FACE = re.compile(r"@font-face\s*\{[^}]*\}")

PAGES_WANTED = re.compile(r'<body class="[^"]*" data-pages="(?P<pages>\d+)">')
"""How a document says how many pages it should have at most."""

FIRST_PAGE_ENDS = "<!-- first page ends -->"
"""How a document says up to where its first page must hold it."""

LEAST_SPACE = "dense full"
"""Class of the body in which the first page has the least space around its lines, the same type."""

FIRST_PAGE_CLASSES = ("", "dense", LEAST_SPACE, f"{LEAST_SPACE} plain-front")
"""Classes in which the first page takes ever less room; in the last one without the picture of its dates."""

LAST_PART = "last-part"
"""Id of the element that ends a document, by whose place the space below it is measured."""

FREE_BELOW = 0.62
"""Share of its page above which the last part begins where a document may have as many pages with more space:
that makes it about a tenth longer."""

STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)

PLAIN_PIXELS = "html { image-rendering: crisp-edges }"
"""Pictures without interpolation: ISO 19005-3, 6.2.8 forbids the viewer to smooth them."""


@dataclass(frozen=True)
class Attachment:
    """A file inside the PDF.

    Attributes:
        name: Its file name, in ASCII.
        content: Its bytes; no two files of one document may be equal.
        media_type: Such as "text/calendar".
        description: Its description in a PDF viewer.
        relation: Its relation to the document: source, data or supplement (AFRelationship of ISO 19005-3).
        dated: When it was made, aware.
    """

    name: str
    content: bytes
    media_type: str
    description: str
    relation: Literal["Source", "Data", "Supplement"]
    dated: datetime


class _ComplaintHandler(logging.Handler):
    """Collects the warnings of the engine."""

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
        logger.disabled = False  # a program that imports this one may have disabled it with the rest
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
    """Return the engine's font configuration, one for all documents of a typeface: it leaks memory."""
    from weasyprint.text.fonts import FontConfiguration  # noqa: PLC0415 - heavy

    configuration = FontConfiguration()
    _FONTS.add(configuration)
    return configuration


_FONTS: WeakSet[FontConfiguration] = WeakSet()


@atexit.register
def close_fonts() -> None:
    """Remove the engine's font files, at the end of the process.

    The engine removes them when Python frees its object. A document may keep it alive in a reference cycle,
    and at the end of a process Python does not collect cycles.
    """
    for each in _FONTS:
        each.__del__()
    _fonts.cache_clear()


def render_pdf(
    html: str, attachments: Sequence[Attachment] | Callable[[], Sequence[Attachment]] = ()
) -> bytes:
    """Return finished HTML as PDF/A-3a and PDF/UA-1; the same HTML and attachments give the same bytes.

    Args:
        html: A whole, self-contained document: it may load nothing. Title, language, author and dates of the
            PDF are those of its head.
        attachments: Files to embed, or a function that waits for them: it is called after the layout.

    Raises:
        MissingLibraries: The engine cannot start on this machine.
        RenderingFailed: The engine warned or failed; the message has its words.
    """
    load_engine()
    from weasyprint.urls import FatalURLFetchingError  # noqa: PLC0415 - heavy

    with _capture_complaints() as complaints, warnings.catch_warnings():
        # The engine does not close the file of its colour profile.
        warnings.filterwarnings("ignore", "unclosed file.*icc", ResourceWarning)
        try:
            document = _layout(html)
            files = attachments() if callable(attachments) else attachments
            pdf = document.write_pdf(
                pdf_variant=VARIANT,
                pdf_identifier=_identifier(html, files),
                custom_metadata=False,
                attachments=_files(files),
                finisher=complete,
            )
        except RenderingFailed:
            raise
        except FatalURLFetchingError as refused:  # derives from BaseException
            raise RenderingFailed(str(refused)) from refused
        except Exception as failure:
            raise RenderingFailed(f"the PDF engine failed: {type(failure).__name__}: {failure}") from failure
    if complaints.said:
        raise RenderingFailed("; ".join(dict.fromkeys(complaints.said)))
    return end_streams_clearly(bytes(pdf))


class _Source:
    """A document that is parsed once, to be laid out in several classes of its body."""

    def __init__(self, html: str) -> None:
        from weasyprint import HTML  # noqa: PLC0415 - heavy

        styles: list[str] = STYLE.findall(html)
        self._source = HTML(string=STYLE.sub("", html), base_url=None, url_fetcher=_fetcher())
        self._body = self._source.etree_element.find("body")
        self._classes = self._body.get("class", "")
        self._sheets = [_style_sheet(each) for each in (*styles, PLAIN_PIXELS)]
        self._fonts = _fonts(tuple(FONT_FACE.findall("".join(styles))))

    def layout(self, classes: str = "") -> Document:
        """Return the document as laid out in further classes of its body."""
        self._body.set("class", f"{classes} {self._classes}".strip())
        return self._source.render(font_config=self._fonts, stylesheets=self._sheets, pdf_variant=VARIANT)


@lru_cache(maxsize=16)
def _style_sheet(text: str) -> CSS:
    """Return a style sheet, parsed once a process; one with a fault is parsed again, and heard, each time.

    Raises:
        RenderingFailed: The engine warned.
    """
    from weasyprint import CSS  # noqa: PLC0415 - heavy

    faces = tuple(FONT_FACE.findall(text))
    with _capture_complaints() as complaints:
        sheet = CSS(string=text, url_fetcher=_fetcher(), font_config=_fonts(faces) if faces else None)
    if complaints.said:
        raise RenderingFailed("; ".join(dict.fromkeys(complaints.said)))
    return sheet


def _layout(html: str) -> Document:
    """Return a document as laid out: with as much space as its first page and its number of pages allow.

    Where it may have more pages than it wants, it is laid out in its class "tight", and if that is not
    enough, with the least space on its first page too. Where neither saves a page, it has its usual space,
    which never takes fewer pages than less space does.
    """
    source, front, wanted = _Source(html), _front_class(html), PAGES_WANTED.search(html)
    if wanted is None:
        return source.layout(front)
    most = int(wanted["pages"])
    tight = source.layout(f"tight {front}")
    if len(tight.pages) == most and not _is_free_below(tight):
        return tight
    if len(tight.pages) > most and front != LEAST_SPACE:
        least = source.layout(f"tight {LEAST_SPACE}")
        if len(least.pages) < len(tight.pages):
            return least
    usual = source.layout(front)
    return usual if len(usual.pages) <= max(most, len(tight.pages)) else tight


def _is_free_below(document: Document) -> bool:
    """Return whether the last part of a document begins so high that more space may add no page."""
    last = document.pages[-1]
    return LAST_PART in last.anchors and last.anchors[LAST_PART][1] < FREE_BELOW * last.height


def _front_class(html: str) -> str:
    """Return the first of the classes in which the first page holds what it must.

    Where it does in none, it has the least space and all of its parts. Only that part is laid out for it,
    which is quick.
    """
    front, ends, _ = html.partition(FIRST_PAGE_ENDS)
    if not ends:
        return ""
    source = _Source(front)
    fits = (each for each in FIRST_PAGE_CLASSES if len(source.layout(each).pages) == 1)
    return next(fits, LEAST_SPACE)


def _identifier(html: str, attachments: Sequence[Attachment]) -> bytes:
    """Return the identifier of the file, derived from its content."""
    digest = hashlib.sha256(html.encode())
    for each in attachments:
        digest.update(hashlib.sha256(each.content).digest())
    return digest.digest()[:16]


def _files(attachments: Sequence[Attachment]) -> list[object]:
    """Return files in the engine's form, in the order of their names, as a name tree requires.

    Raises:
        RenderingFailed: Two files are equal: the engine identifies files by their bytes and would confuse
            them.
    """
    from weasyprint import Attachment as EngineAttachment  # noqa: PLC0415 - heavy

    if len({each.content for each in attachments}) < len(attachments):
        raise RenderingFailed("two files to embed in the PDF are equal")
    return [
        EngineAttachment(
            # A URL with the media type: by the name alone, each machine would guess another type.
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
