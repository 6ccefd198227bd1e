"""A mail server of our own on this machine, with a certificate of its own making, and a message to send."""

from __future__ import annotations

import socket
import ssl
from typing import TYPE_CHECKING, Any

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

from handover.service import sending
from handover.service.mail_server import MailServer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

LIMIT_S = 600.0
"""How long a server may take that is to answer: the machine may be busy."""

USER, PASSWORD = "office@example.com", "correct horse"

MESSAGE = """\
From: Example Flatwork\r
 <office@example.com>\r
To: =?utf-8?q?Ana_Mu=C3=B1oz?=\r
 <ana@example.org>\r
Subject: Caring for your new concrete: Test slab\r
Date: Tue, 14 Jul 2026 12:30:00 -0400\r
Message-ID: <0123456789abcdef@example.com>\r
Content-Language: en\r
X-Unsent: 1\r
MIME-Version: 1.0\r
Content-Type: multipart/mixed; boundary="=_0"\r
\r
--=_0\r
Content-Type: text/plain; charset="utf-8"\r
\r
Hello Ana,\r
.\r
.. and dots that stand alone\r
--=_0\r
Content-Type: application/pdf\r
Content-Disposition: attachment; filename="care-sheet.pdf"\r
Content-Transfer-Encoding: base64\r
\r
JVBERg==\r
--=_0--\r
"""


class Postbox:
    """What the server accepted, and what it refuses."""

    def __init__(self) -> None:
        self.taken: list[Any] = []
        self.logins: list[tuple[str, str]] = []
        self.refused: set[str] = set()
        self.answer = "250 taken"
        self.said: list[str] = []
        self.refusal: str | None = None

    async def handle_MAIL(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:  # noqa: N802, ARG002
        self.said.append(f"MAIL {address}")
        envelope.mail_from = address
        return "250 go on"

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:  # noqa: N802, ARG002
        if address in self.refused:
            return "550 nobody of that name\x1b[31m"
        envelope.rcpt_tos.append(address)
        return "250 known"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802, ARG002
        if self.answer.startswith("250"):
            self.taken.append(envelope)
        return self.answer

    def log_in(self, server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:  # noqa: ARG002
        result = data.login.decode(), data.password.decode()
        self.logins.append(result)
        success = result == (USER, PASSWORD)
        return AuthResult(success=success, handled=False, message=None if success else self.refusal)


@pytest.fixture
def postbox() -> Postbox:
    return Postbox()


@pytest.fixture(scope="session")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def trusted(authority: trustme.CA, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have this machine trust the authority that made the server's certificate."""
    file = tmp_path / "authority.pem"
    authority.cert_pem.write_to_path(str(file))
    monkeypatch.setenv("SSL_CERT_FILE", str(file))


class AtAnyPort(Controller):
    """A server at a port that the system chooses and nobody takes before it listens."""

    def __init__(self, postbox: Postbox, **more: Any) -> None:
        self._bound = socket.create_server(("127.0.0.1", 0))
        port = self._bound.getsockname()[1]
        super().__init__(postbox, hostname="127.0.0.1", port=port, ready_timeout=LIMIT_S, **more)

    def _create_server(self) -> Any:
        return self.loop.create_server(self._factory_invoker, sock=self._bound, ssl=self.ssl_context)


@pytest.fixture
def serve(postbox: Postbox, authority: trustme.CA) -> Iterator[Callable[..., MailServer]]:
    """Give the maker of servers: by which security, with login or none, whose certificate."""
    running: list[Controller] = []

    def start(
        security: str | None = "starttls", *, login: bool = True, name: str = "localhost", without: str = ""
    ) -> MailServer:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        authority.issue_cert(name).configure_cert(context)
        more: dict[str, Any] = {}
        if security == "starttls":
            more = {"tls_context": context, "require_starttls": True}
        elif security == "tls":
            more = {"ssl_context": context}
        if login:
            # It does not know that a connection is safe from its first byte, and warns if it requires login.
            asked_for_tls = security == "starttls"
            more |= {"authenticator": postbox.log_in}
            more |= {"auth_required": asked_for_tls, "auth_require_tls": asked_for_tls}
        else:
            more["auth_exclude_mechanism"] = ["LOGIN", "PLAIN"]
        if without:
            more["auth_exclude_mechanism"] = [without]
        controller = AtAnyPort(postbox, **more)
        controller.start()
        running.append(controller)
        asked = "tls" if security == "tls" else "starttls"
        return MailServer("localhost", controller.port, asked, user=USER if login else None)

    yield start
    for controller in running:
        controller.stop()


@pytest.fixture
def mute() -> Iterator[MailServer]:
    """A server that takes the call and says nothing."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        found.listen()
        yield MailServer("localhost", found.getsockname()[1], "starttls")


@pytest.fixture(autouse=True)
def _patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait as long as a busy machine takes."""
    monkeypatch.setattr(sending, "SMTP_TIMEOUT_S", LIMIT_S)


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait for no answer longer than half a second."""
    monkeypatch.setattr(sending, "SMTP_TIMEOUT_S", 0.5)


@pytest.fixture
def message() -> str:
    return MESSAGE


@pytest.fixture
def issued(tmp_path: Path) -> Callable[..., Path]:
    """Give the maker of issued folders: by name and text of the message."""

    def make(name: str = "job", text: str = MESSAGE) -> Path:
        folder = tmp_path / name
        folder.mkdir()
        (folder / "message.eml").write_bytes(text.encode())
        return folder

    return make
