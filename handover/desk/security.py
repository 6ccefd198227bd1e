"""What stands before every route: headers, the origin of unsafe requests, the size of a body.

Source: W3C Fetch Metadata Request Headers; RFC 6454 (Origin); W3C Content Security Policy Level 3.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; form-action 'self'; manifest-src 'self'; worker-src 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)

HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(self), microphone=()",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Robots-Tag": "noindex, nofollow",
}
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
MAX_BODY_BYTES = 64_000_000
"""Bytes of a request: a record with its photos."""

API = "/api/"
"""Addresses below it have a token, and no cookie."""


class SecurityHeaders:
    """Adds the headers to every response; a route may have set one before."""

    def __init__(self, app: ASGIApp, *, is_secure: bool) -> None:
        self._app = app
        self._headers = {
            **HEADERS,
            **({"Strict-Transport-Security": "max-age=31536000"} if is_secure else {}),
        }

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers.setdefault(name, value)
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        await self._app(scope, receive, send_with_headers)


class OriginCheck:
    """Refuses unsafe requests that another site makes a browser send.

    A browser says where a request comes from: `Sec-Fetch-Site`, or `Origin` in an old one. A page without
    referrer makes a form's `Origin` "null": then `Sec-Fetch-Site` alone says it. A request with neither is
    not from a browser, and has no cookie that a site could misuse.
    """

    def __init__(self, app: ASGIApp, *, origin: str | None) -> None:
        self._app = app
        self._origin = origin

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "http" and not self._is_allowed(scope):
            await PlainTextResponse("This came from another site.\n", 403)(scope, receive, send)
            return
        await self._app(scope, receive, send)

    def _is_allowed(self, scope: Scope) -> bool:
        if scope["method"] in SAFE_METHODS:
            return True
        headers = Headers(scope=scope)
        site, origin = headers.get("sec-fetch-site"), headers.get("origin")
        if site is not None and site not in ("same-origin", "none"):
            return False
        if origin is None or (origin == "null" and site is not None):
            return True
        own = self._origin or f"{scope['scheme']}://{headers.get('host', '')}"
        return _origin_of(origin) is not None and _origin_of(origin) == _origin_of(own)


def _origin_of(text: str) -> tuple[str, str, int] | None:
    """Return scheme, host and port of an origin; None of what is none, such as "null"."""
    try:
        parts = urlsplit(text)
        port = parts.port or {"http": 80, "https": 443}.get(parts.scheme)
    except ValueError:
        return None
    if not parts.hostname or port is None or parts.path not in ("", "/") or parts.query or parts.username:
        return None
    return parts.scheme, parts.hostname.lower(), port


class BodyLimit:
    """Ends requests whose body is too large: before it is read where they say so, else in the middle."""

    def __init__(self, app: ASGIApp, *, most: int = MAX_BODY_BYTES) -> None:
        self._app = app
        self._most = most

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        length = Headers(scope=scope).get("content-length", "0")
        if not length.isascii() or not length.isdigit() or int(length) > self._most:
            await PlainTextResponse("This is too large.\n", 413)(scope, receive, send)
            return
        came, begun = 0, False

        async def receive_some() -> Message:
            nonlocal came
            message = await receive()
            came += len(message.get("body", b""))
            if came > self._most:
                raise BodyTooLarge
            return message

        async def send_and_note(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self._app(scope, receive_some, send_and_note)
        except BodyTooLarge:
            if begun:
                raise
            await PlainTextResponse("This is too large.\n", 413)(scope, receive, send)


class BodyTooLarge(Exception):
    """A body is larger than it may be."""
