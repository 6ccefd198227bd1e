"""Servers that do not answer as a weather service does: a forecast comes out, or a failure in words."""

from __future__ import annotations

import gzip
import json
import socketserver
import threading
import zlib
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from campaign import Case, campaign
from mutations import spoil_bytes, spoil_text, spoil_tree
from program import assert_clean, suite
from weather_files import SITE

from handover.errors import DownloadFailed
from handover.weather.download import Endpoints, RetryPolicy, download_forecast

if TYPE_CHECKING:
    from collections.abc import Iterator
    from random import Random

NOW = datetime(2026, 7, 14, 17, 5, tzinfo=UTC)
POUR = datetime(2026, 7, 14, 10, 40, tzinfo=UTC)
STATUSES = (
    100,
    101,
    199,
    200,
    203,
    204,
    206,
    301,
    302,
    304,
    307,
    401,
    404,
    418,
    429,
    500,
    503,
    599,
    0,
    99999,
)
PLACES = (
    "/",
    "//",
    "http://127.0.0.1:1/",
    "file:///etc/passwd",
    "http://[::1",
    "https://localhost/",
    "\u00e9",
    "x" * 9000,
)


def _body(random: Random) -> bytes:
    """Return a document of a service, or of none."""
    files = suite("weather/conftest.py").Files()
    tree: Any = random.choice([files.open_meteo(14 * 24), files.nws(), files.met_norway(), [], {}, None])
    if random.random() < 0.5:
        spoil_tree(random, tree)
    text = json.dumps(tree)
    return (
        text.encode()
        if random.random() < 0.7
        else spoil_bytes(random, spoil_text(random, text).encode("utf-8", "ignore"))
    )


def _coded(random: Random, body: bytes) -> tuple[str, bytes]:
    """Return a content coding and a body that has it, or does not."""
    code = random.choice(["identity", "gzip", "deflate", "br", "gzip, gzip", "x", ""])
    made = random.choice([body, gzip.compress(body), gzip.compress(gzip.compress(body)), zlib.compress(body)])
    return code, made if random.random() < 0.8 else gzip.compress(b"0" * 3_000_000)


def draw_answer(random: Random) -> bytes:
    """Return the bytes of an answer over HTTP/1.1, headers and all."""
    body, headers = (
        _body(random),
        {"Content-Type": random.choice(["application/json", "application/geo+json", "text/html"])},
    )
    if random.random() < 0.3:
        headers["Content-Encoding"], body = _coded(random, body)
    kind = random.random()
    if kind < 0.6:
        headers["Content-Length"] = str(len(body))
    elif kind < 0.8:
        headers["Content-Length"] = random.choice(["-1", "x", str(len(body) + 9), "1", "9" * 30, "", "5, 5"])
    else:
        headers["Transfer-Encoding"] = random.choice(["chunked", "gzip, chunked", "x"])
        body = b"%x\r\n%b\r\n0\r\n\r\n" % (random.choice([len(body), 2**40, 3]), body)
    status = 200 if random.random() < 0.6 else random.choice(STATUSES)
    for name in ("Location", "Retry-After", "Cache-Control", "Expires", "Last-Modified", "Set-Cookie"):
        if random.random() < (0.9 if name == "Location" and 300 <= status < 400 else 0.15):
            headers[name] = random.choice(
                [*PLACES, "max-age=9999999999", "-1", "Tue, 99 Foo 9999 25:61:61 GMT", "1e9"]
            )
    if random.random() < 0.05:
        headers |= {f"X-{number}": "x" * 500 for number in range(random.choice([5, 200]))}
    head = f"HTTP/1.1 {status} OK\r\n" + "".join(f"{name}: {each}\r\n" for name, each in headers.items())
    answer = head.encode() + b"\r\n" + body
    return spoil_bytes(random, answer[:2000]) + answer[2000:] if random.random() < 0.15 else answer


class _Server(socketserver.ThreadingTCPServer):
    daemon_threads = allow_reuse_address = True
    answer = b""
    drips = False
    over: threading.Event


class _Handler(socketserver.StreamRequestHandler):
    def handle(self) -> None:
        """Read one request; send the answer, whole or in drops."""
        server = self.server
        assert isinstance(server, _Server)
        while self.rfile.readline().strip():
            pass
        with suppress(OSError):
            for at in range(0, len(server.answer), 7) if server.drips else ():
                self.wfile.write(server.answer[at : at + 7])
                if server.over.wait(0.02):
                    return
            if not server.drips:
                self.wfile.write(server.answer)


@contextmanager
def _serving(answer: bytes, *, drips: bool) -> Iterator[str]:
    """Serve an answer to whoever asks; give the address."""
    with _Server(("127.0.0.1", 0), _Handler) as server:
        server.answer, server.drips, server.over = answer, drips, threading.Event()
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_address[1]}"
        finally:
            server.over.set()
            server.shutdown()
            thread.join()


@campaign(in_suite=8)
def servers(case: Case) -> None:
    """Whatever a server sends, a forecast that a reader accepts comes out, or a failure on one line each."""
    random = case.random
    answer = case.keep("answer", draw_answer(random)).read_bytes()
    service = random.choice(["auto", "open-meteo", "nws", "met-norway"])
    manners = RetryPolicy(
        timeout_s=5.0, deadline_s=1.0, attempts=2, largest_bytes=1_000_000, sleep=lambda _: None
    )
    cache = case.folder / "cache"
    with _serving(answer, drips=random.random() < 0.05) as url:
        for _ in range(2):  # the second time with what is kept
            try:
                got = download_forecast(
                    SITE, POUR, POUR + timedelta(days=10), now=NOW, contact="office@example.com",
                    service=service, cache=cache, endpoints=Endpoints(*[url] * 7), manners=manners,
                )  # fmt: skip
            except DownloadFailed as failed:
                assert_clean(str(failed))
                continue
            assert got.url.startswith(url)
            json.loads(got.data)
