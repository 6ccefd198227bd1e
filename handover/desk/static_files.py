"""Styles, scripts and fonts, from memory, by names with the hash of their content: a copy is never old."""

from __future__ import annotations

import gzip
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.responses import Response

from handover.desk.page_style import FONT_WEIGHTS, icon_style, page_style
from handover.documents.fonts import western_font
from handover.documents.templating import search_path

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from starlette.requests import Request

MEDIA = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".woff": "font/woff",
}
FOREVER = "public, max-age=31536000, immutable"
HASH_LETTERS = 16


@dataclass(frozen=True)
class StaticFile:
    """A file as it is sent.

    Attributes:
        address: Its address.
        content: Its bytes.
        packed: The same by gzip; None where that is no shorter.
        media: Its media type.
    """

    address: str
    content: bytes
    packed: bytes | None
    media: str


@cache
def static_files() -> Mapping[str, StaticFile]:
    """Return the files by their names: those beside the templates of the desk, the style, the fonts."""
    return {name: _static_file(name, content) for name, content in _contents()}


def static(name: str) -> str:
    """Return the address of a file."""
    return static_files()[name].address


def send_static(request: Request) -> Response:
    """Return a file by its address."""
    found = _by_address().get(request.url.path)
    if found is None:
        raise HTTPException(404)
    headers = {"Cache-Control": FOREVER, "Vary": "Accept-Encoding"}
    content = found.content
    if found.packed is not None and "gzip" in request.headers.get("accept-encoding", ""):
        headers["Content-Encoding"], content = "gzip", found.packed
    return Response(content, media_type=found.media, headers=headers)


@cache
def _by_address() -> Mapping[str, StaticFile]:
    return {each.address: each for each in static_files().values()}


def _contents() -> Iterator[tuple[str, bytes]]:
    for folder in search_path():
        for file in sorted((folder / "desk").iterdir()):
            if file.suffix in MEDIA:
                yield file.name, file.read_bytes()
    fonts = {
        name: _static_file(f"{name}.woff", western_font(weight)) for name, weight in FONT_WEIGHTS.items()
    }
    for name, each in fonts.items():
        yield f"{name}.woff", each.content
    yield "page.css", page_style({name: each.address for name, each in fonts.items()}).encode()
    yield "icons.css", icon_style().encode()


def _static_file(name: str, content: bytes) -> StaticFile:
    path = PurePosixPath(name)
    digest = sha256(content).hexdigest()[:HASH_LETTERS]
    packed = gzip.compress(content, 9, mtime=0)
    return StaticFile(
        f"/static/{path.stem}.{digest}{path.suffix}",
        content,
        packed if len(packed) < len(content) else None,
        MEDIA[path.suffix],
    )
