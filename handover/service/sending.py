"""Sends the messages of issued folders to their owners, through the contractor's own mail server.

Over TLS only, with the server's certificate checked; each message is tried once; a failure stops none of the
others.

Source: RFC 5321 (SMTP), RFC 6409 (submission), RFC 3207 (STARTTLS), RFC 4954 (login), RFC 8314 (TLS).
"""

from __future__ import annotations

import smtplib
import ssl
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from socket import gaierror
from typing import TYPE_CHECKING, Literal

from handover.base.interruption import raise_if_requested
from handover.errors import UnusableInput, fault_text
from handover.service.message_stores import FolderMessages
from handover.service.send_log import Delivery, NotSent, message_to_send

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import datetime

    from handover.service.mail_server import MailServer
    from handover.service.message_stores import DraftStore
    from handover.service.send_log import DeliveryLog, MessageDraft

SMTP_TIMEOUT_S = 30.0
"""Longest wait for a reply of the server, in s."""

EHLO_NAME = "[127.0.0.1]"
"""Name in the greeting: RFC 5321 section 4.1.3. The machine's own name stays private."""

SMTP_OK = 250
SMTP_FORWARDED = 251

SendState = Literal["sent", "already sent", "ready", "not sent"]


class LoginRefused(NotSent):
    """The server refused user or password; another try could lock the account."""


@dataclass(frozen=True)
class SendOutcome:
    """The outcome of one job.

    Attributes:
        job: The job as requested.
        state: "ready" is the outcome of a dry run.
        words: To whom, or why not.
        draft: The message, where there is one.
    """

    job: Path | str
    state: SendState
    words: str
    draft: MessageDraft | None = None


def dry_run(jobs: Iterable[Path | DraftStore], *, again: bool = False) -> Iterator[SendOutcome]:
    """Yield for each job what would be sent to whom. Nothing is sent or written; no server is contacted."""
    for each in jobs:
        store = _store_of(each)
        job = store.name
        try:
            draft = store.read()
            with store.open_log() as record:
                pending = _pending(draft, record, again=again)
            yield SendOutcome(
                job, "ready" if pending else "already sent", _deliveries_in_words(draft, record), draft
            )
        except Exception as fault:  # noqa: BLE001 - whatever it is, the others go on
            yield SendOutcome(job, "not sent", fault_text(fault))


def send_messages(
    jobs: Iterable[Path | DraftStore], server: MailServer, password: str, at: datetime, *, again: bool = False
) -> Iterator[SendOutcome]:
    """Send the message of each job, and yield its outcome.

    Args:
        jobs: Issued folders, or the messages in them; or other stores of messages.
        server: The mail server.
        password: Of its user; empty if it requires no login.
        at: Time of sending, aware.
        again: Also send messages that were sent before.
    """
    locked_out: LoginRefused | None = None
    for each in jobs:
        raise_if_requested()
        store = _store_of(each)
        job = store.name
        if locked_out:
            yield SendOutcome(job, "not sent", str(locked_out))
            continue
        try:
            yield _send(store, server, password, at, again=again)
        except LoginRefused as fault:
            locked_out = fault
            yield SendOutcome(job, "not sent", str(fault))
        except (UnusableInput, NotSent) as fault:
            yield SendOutcome(job, "not sent", str(fault))
        except (smtplib.SMTPException, OSError) as fault:
            yield SendOutcome(job, "not sent", _describe_fault(fault, server))
        except Exception as fault:  # noqa: BLE001 - whatever it is, the others go on
            yield SendOutcome(job, "not sent", fault_text(fault))


def _store_of(job: Path | DraftStore) -> DraftStore:
    return FolderMessages(job) if isinstance(job, Path) else job


def _send(store: DraftStore, server: MailServer, password: str, at: datetime, *, again: bool) -> SendOutcome:
    draft, job = store.read(), store.name
    with store.open_log() as record:
        pending = _pending(draft, record, again=again)
        if not pending:
            return SendOutcome(job, "already sent", _deliveries_in_words(draft, record), draft)
        with _connection(server, password) as smtp:
            account = server.sender or draft.sender
            taken, refused = _announce(smtp, account, pending)
            if taken:
                content = message_to_send(draft, at, account, len(record.of(draft)) if again else 0)
                entry = Delivery(draft.message_id, taken, at.isoformat(), "unsure")
                _transmit(smtp, content, entry, record)
    if refused:
        delivered_to = f" It went to {', '.join(taken)}." if taken else ""
        raise NotSent(f"The server refuses {'; '.join(refused)}.{delivered_to}")
    return SendOutcome(job, "sent", ", ".join(taken), draft)


def _pending(draft: MessageDraft, record: DeliveryLog, *, again: bool) -> tuple[str, ...]:
    """Return the receivers to whom a draft has not been sent.

    Raises:
        NotSent: A run was interrupted, so it is unknown whether the message was sent.
    """
    deliveries = record.of(draft)
    if again:
        return draft.receivers
    if unsure := [each for each in deliveries if each.state == "unsure"]:
        raise NotSent(
            f"The attempt of {unsure[-1].at} was interrupted: ask {', '.join(unsure[-1].to)} whether it "
            "arrived. If not, --again sends it again."
        )
    had = {address for each in deliveries for address in each.to}
    return tuple(each for each in draft.receivers if each not in had)


def _deliveries_in_words(draft: MessageDraft, record: DeliveryLog) -> str:
    """Return when a draft was sent and to whom, or nothing."""
    return "; ".join(f"{each.at} to {', '.join(each.to)}" for each in record.of(draft))


# ---- the SMTP session


@contextmanager
def _connection(server: MailServer, password: str) -> Iterator[smtplib.SMTP]:
    """Yield a secure connection, logged in if the server requires it."""
    context = ssl.create_default_context()
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    smtp: smtplib.SMTP
    if server.security == "tls":
        smtp = smtplib.SMTP_SSL(server.host, server.port, EHLO_NAME, timeout=SMTP_TIMEOUT_S, context=context)
    else:
        smtp = smtplib.SMTP(server.host, server.port, EHLO_NAME, timeout=SMTP_TIMEOUT_S)
    try:
        if server.security == "starttls":
            smtp.starttls(context=context)
        smtp.ehlo_or_helo_if_needed()
        if server.user is not None:
            _log_in(smtp, server.user, password)
        yield smtp
        with suppress(smtplib.SMTPException, OSError):  # everything is already done
            smtp.quit()
    finally:
        smtp.close()


def _log_in(smtp: smtplib.SMTP, user: str, password: str) -> None:
    """Log in by one method only: each further one would count as another wrong password."""
    smtp.user, smtp.password = user, password
    ways = {"PLAIN": smtp.auth_plain, "LOGIN": smtp.auth_login}
    offered = str(smtp.esmtp_features.get("auth", "")).upper().split()
    way = next((each for each in ways if each in offered), None)
    if way is None:
        raise LoginRefused("The server offers no supported way to log in (PLAIN, LOGIN).")
    try:
        smtp.auth(way, ways[way])
    except smtplib.SMTPAuthenticationError as fault:
        # Its words are not repeated: a server may send back what was typed.
        raise LoginRefused(f"The server refuses the user or the password ({fault.smtp_code}).") from None


def _announce(
    smtp: smtplib.SMTP, account: str, pending: Iterable[str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Send the addresses to the server; return the accepted receivers, and the refused with the reason."""
    code, answer = smtp.mail(account)
    if code != SMTP_OK:
        raise smtplib.SMTPSenderRefused(code, answer, account)
    answers = {each: smtp.rcpt(each) for each in pending}
    taken = tuple(each for each, (code, _) in answers.items() if code in {SMTP_OK, SMTP_FORWARDED})
    refused = tuple(
        f"{each} ({code} {_text(reply)})" for each, (code, reply) in answers.items() if each not in taken
    )
    return taken, refused


def _transmit(smtp: smtplib.SMTP, content: bytes, entry: Delivery, record: DeliveryLog) -> None:
    """Send the message to the server, and log the progress."""
    record.put(entry)
    try:
        code, answer = smtp.data(content)
    except smtplib.SMTPDataError:
        record.discard(entry)
        raise
    except (smtplib.SMTPServerDisconnected, OSError) as fault:
        raise NotSent(
            "The server stopped responding during the message, so it may or may not have been sent. "
            f"Ask {', '.join(entry.to)}; if it did not arrive, --again sends it again."
        ) from fault
    if code != SMTP_OK:
        record.discard(entry)
        raise smtplib.SMTPDataError(code, answer)
    record.put(Delivery(entry.message_id, entry.to, entry.at, "sent"), replaces=entry)


# ---- errors


def _describe_fault(fault: smtplib.SMTPException | OSError, server: MailServer) -> str:
    """Return in words why a message was not sent."""
    where = f"{server.host}, port {server.port},"
    problem = f"{where} does not reply as a mail server does"
    if isinstance(fault, TimeoutError) or isinstance(fault.__context__, TimeoutError):
        problem = f"{where} did not answer within {SMTP_TIMEOUT_S:g} s"
    elif isinstance(fault, smtplib.SMTPNotSupportedError):
        problem = f"{where} offers no TLS, and nothing is sent unencrypted"
    elif isinstance(fault, smtplib.SMTPResponseException):
        problem = f"The server refuses the message: {_server_reply(fault)}"
    elif isinstance(fault, ssl.SSLCertVerificationError):
        problem = f"The certificate of {where} cannot be trusted: {fault.verify_message}"
    elif isinstance(fault, ssl.SSLError):
        problem = f"{where} has a fault in its TLS: {fault.reason}"
    elif isinstance(fault, gaierror):
        problem = f"{where} is not found: check the name and the network"
    elif isinstance(fault, smtplib.SMTPServerDisconnected):
        problem = f"{where} broke the connection"
    elif isinstance(fault, OSError) and fault.strerror:
        problem = f"{where} cannot be reached: {fault.strerror}"
    return f"{problem}. Nothing was sent."


def _server_reply(fault: smtplib.SMTPResponseException) -> str:
    return f"{fault.smtp_code} {_text(fault.smtp_error)}"


def _text(answer: bytes | str) -> str:
    text = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
    return " ".join(text.split())[:300].rstrip(".")
