"""Drafts to send, and the log of deliveries, so that nothing is sent twice.

A draft is the `message.eml` of an issued folder. Beside it, `sent.json` records each delivery, its receivers
and its time. An entry is written as "unsure" before the message is sent and as "sent" once the server has
accepted it. So an interrupted run does not look like a message that was never sent.
"""

from __future__ import annotations

import json
import re
from abc import ABC, abstractmethod
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass
from email import message_from_bytes
from email.errors import HeaderParseError, MessageError
from email.header import decode_header, make_header
from email.utils import format_datetime, formataddr, getaddresses
from typing import TYPE_CHECKING, Any, Literal

from handover.base.atomic import lock_path, private_mode, write_file
from handover.base.regular_files import read_regular
from handover.base.text import is_email_address, one_line, short_line
from handover.errors import Finding, HandoverError, UnusableInput
from handover.service.publish import MESSAGE_FILE

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import datetime
    from email.message import Message
    from pathlib import Path

LOG_FILE = "sent.json"
WITHDRAWN = "withdrawn"
"""State in an archived log of a delivery that did not take place."""

MAX_MESSAGE_BYTES = 50_000_000
"""Maximum bytes of a message; more than most servers accept."""

STRIPPED_HEADERS = {b"x-unsent", b"bcc", b"date", b"message-id", b"sender", b"return-path"}
"""Header fields of a draft that are left out or replaced."""


class NotSent(HandoverError):
    """A message was not sent, or perhaps not; the text says why and what to do."""


@dataclass(frozen=True)
class MessageDraft:
    """A message that is ready to be sent.

    Attributes:
        content: Its bytes, with the line ends of mail.
        sender: Address of the contractor.
        receivers: Addresses of the receivers, each once.
        message_id: With its angle brackets.
        shown_from: The sender as shown to people; `shown_to` likewise.
        subject: The subject as shown to people.
        attached: Names of the attachments.
    """

    content: bytes
    sender: str
    receivers: tuple[str, ...]
    message_id: str
    shown_from: str
    shown_to: str
    subject: str
    attached: tuple[str, ...]


def read_draft(job: Path) -> MessageDraft:
    """Return the message of an issued folder.

    Args:
        job: The folder, or its message.

    Raises:
        UnusableInput: It is missing, not a message, or has no sender or receiver.
    """
    file = message_file(job)
    _refuse_archived(file)
    return parse_draft(_read(file), str(file))


def message_file(job: Path) -> Path:
    """Return the file of the message of an issued folder; the path may already be that of the file."""
    return job / MESSAGE_FILE if job.is_dir() else job


def parse_draft(content: bytes, where: str) -> MessageDraft:
    """Return the draft in the bytes of a message.

    Raises:
        UnusableInput: It is not a message, or has no sender or receiver.
    """
    content = _mail_line_ends(content)
    try:
        return _draft(content, message_from_bytes(content), where)
    except (MessageError, ValueError, TypeError, LookupError, AttributeError, RecursionError) as fault:
        problem = f"cannot be read as a message: {short_line(fault)}"
        raise UnusableInput([Finding(problem, file=where, expected="a message as issued")]) from None


def _draft(content: bytes, message: Message, where: str) -> MessageDraft:
    """Return the draft of a message. Raises as `parse_draft`; a header that is odd, anything."""
    senders, receivers = _addresses(message, "From"), _addresses(message, "To", "Cc", "Bcc")
    message_id = one_line(str(message.get("Message-ID", "")))
    if findings := list(_findings(content, senders, receivers, message_id)):
        raise UnusableInput([_finding_in(where, each) for each in findings])
    return MessageDraft(
        content=content,
        sender=senders[0][1],
        receivers=tuple(dict.fromkeys(address for _, address in receivers)),
        message_id=message_id,
        shown_from=_format_addresses(senders),
        shown_to=_format_addresses(receivers),
        subject=_decode(str(message.get("Subject", ""))),
        attached=tuple(name for part in message.walk() if (name := part.get_filename())),
    )


def _refuse_archived(file: Path) -> None:
    """Refuse a message in a bag (RFC 8493): the delivery log would break its seal."""
    if any((above / "bagit.txt").exists() for above in file.resolve().parents):
        finding = Finding(
            "is in an archive, where nothing may change",
            file=str(file),
            expected="the issued folder, or a copy of it",
        )
        raise UnusableInput([finding])


def _read(file: Path) -> bytes:
    try:
        if file.stat().st_size > MAX_MESSAGE_BYTES:
            raise UnusableInput([Finding("is larger than any mail server accepts", file=str(file))])
        content = read_regular(file, follow=True)
    except OSError as fault:
        finding = Finding(
            f"cannot be read: {fault.strerror}",
            file=str(file),
            expected="an issued folder, or the message in it",
            example="handover issue job.toml -o out/job, then handover send out/job",
        )
        raise UnusableInput([finding]) from None
    return content


def _mail_line_ends(content: bytes) -> bytes:
    return re.sub(rb"\r\n|\r|\n", b"\r\n", content)


def _addresses(message: Message, *fields: str) -> list[tuple[str, str]]:
    """Return the addresses in a message, as (name, address)."""
    lines = [str(line) for field in fields for line in message.get_all(field, [])]
    return [(_decode(name), address) for name, address in getaddresses(lines) if name or address]


def _decode(text: str) -> str:
    """Return what a header says in words; one whose encoding is not known as it is written."""
    try:
        return one_line(str(make_header(decode_header(text))))
    except (LookupError, ValueError, HeaderParseError):
        return one_line(str(text))


def _format_addresses(addresses: Iterable[tuple[str, str]]) -> str:
    return ", ".join(f"{name} <{address}>" if name else address for name, address in addresses)


def _findings(
    content: bytes, senders: list[tuple[str, str]], receivers: list[tuple[str, str]], message_id: str
) -> Iterator[Finding]:
    if not content.isascii():
        yield Finding("has characters that not every mail server accepts", expected="a message as issued")
    if len(senders) != 1:
        yield Finding(
            "has no sender",
            field="From",
            expected="the contractor's address: contractor.email in the record, then issue it again",
            example='[contractor] email = "office@example.com"',
        )
    if not receivers:
        yield Finding(
            "has no receiver",
            field="To",
            expected="the owner's address: owner.email in the record, then issue it again",
            example='[owner] email = "owner@example.org"',
        )
    for name, address in (*senders, *receivers):
        if not is_email_address(address):
            shown = short_line(f"{name} <{address}>")
            yield Finding(
                f'"{shown}" is not an email address', expected="name@domain", example="a@example.org"
            )
    if not re.fullmatch(r"<[!-;=?-~]+>", message_id):
        yield Finding("has no Message-ID, which identifies it", expected="a message as issued")


def _finding_in(where: str, finding: Finding) -> Finding:
    return Finding(finding.problem, where, None, finding.field, finding.expected, finding.example)


# ---- the message to send


def message_to_send(draft: MessageDraft, at: datetime, account: str, time_before: int) -> bytes:
    """Return a draft as it is sent: without draft marks, dated, and with a new id if it is sent again.

    Args:
        draft: The message.
        at: When it is sent, aware.
        account: The account that sends it.
        time_before: How often it was sent before. Mail programs hide a second message with the same id.
    """
    head, _, body = draft.content.partition(b"\r\n\r\n")
    kept = [
        line
        for line in re.split(rb"\r\n(?![ \t])", head)
        if line.partition(b":")[0].strip().lower() not in STRIPPED_HEADERS
    ]
    written = [
        f"Date: {format_datetime(at)}",
        f"Message-ID: {_new_message_id(draft.message_id, time_before)}",
    ]
    if account != draft.sender:
        written.append(f"Sender: {formataddr(('', account))}")
    return b"\r\n".join([*(line.encode("ascii") for line in written), *kept, b"", body])


def _new_message_id(message_id: str, time_before: int) -> str:
    local, at, domain = message_id.partition("@")
    return f"{local}.{time_before + 1}{at}{domain}" if time_before else message_id


# ---- deliveries


@dataclass(frozen=True)
class Delivery:
    """One message that was sent, or perhaps sent: its id in the draft, to whom, when, and its state."""

    message_id: str
    to: tuple[str, ...]
    at: str
    state: Literal["sent", "unsure"]


class DeliveryLog(ABC):
    """The deliveries of one job, locked while it is open."""

    def __init__(self, deliveries: Iterable[Delivery]) -> None:
        self.deliveries = tuple(deliveries)

    @abstractmethod
    def _save(self, entry: Delivery, *, withdrawn: bool) -> None:
        """Store that an entry was written or withdrawn, on the disk before this returns."""

    def of(self, draft: MessageDraft) -> tuple[Delivery, ...]:
        """Return the deliveries of a draft so far."""
        return tuple(each for each in self.deliveries if each.message_id == draft.message_id)

    def put(self, entry: Delivery, *, replaces: Delivery | None = None) -> None:
        """Store an entry, on the disk before this returns."""
        self.deliveries = (*(each for each in self.deliveries if each is not replaces), entry)
        self._save(entry, withdrawn=False)

    def discard(self, entry: Delivery) -> None:
        """Remove an entry: the message was not sent."""
        self.deliveries = tuple(each for each in self.deliveries if each is not entry)
        self._save(entry, withdrawn=True)


class SendLog(DeliveryLog):
    """The deliveries of one folder. Use `open_send_log`, which locks it."""

    def __init__(self, file: Path) -> None:
        super().__init__(_read_deliveries(file))
        self.file = file

    def _save(self, entry: Delivery, *, withdrawn: bool) -> None:  # noqa: ARG002 - the whole log is written
        self._write()

    def _write(self) -> None:
        text = json.dumps({"sent": [asdict(each) for each in self.deliveries]}, indent=2) + "\n"
        try:
            write_file(self.file, text.encode(), private_mode(self.file.parent))
        except OSError as fault:
            raise NotSent(
                f"{self.file}, the log of what was sent, cannot be written: {fault.strerror}."
            ) from None


@contextmanager
def open_send_log(folder: Path) -> Iterator[SendLog]:
    """Open the delivery log of a folder; a second run waits until the first is done.

    Raises:
        NotSent: The folder cannot be opened, or the log cannot be read.
    """
    with ExitStack() as held:
        try:
            held.enter_context(lock_path(folder))
        except OSError as fault:
            raise NotSent(f"{folder} cannot be opened: {fault.strerror}.") from None
        yield SendLog(folder / LOG_FILE)


def read_deliveries(entries: Iterable[Any]) -> tuple[Delivery, ...]:
    """Return the deliveries in the entries of a log.

    Raises:
        ValueError, TypeError, LookupError: An entry is not one of a log.
    """
    read = tuple(
        Delivery(each["message_id"], tuple(each["to"]), each["at"], each["state"]) for each in entries
    )
    for each in read:
        if each.state not in {"sent", "unsure", WITHDRAWN} or not all(
            isinstance(text, str) for text in (each.message_id, each.at, *each.to)
        ):
            raise ValueError("is not an entry of a log")
    return read


def _read_deliveries(file: Path) -> tuple[Delivery, ...]:
    try:
        return read_deliveries(json.loads(read_regular(file))["sent"])
    except FileNotFoundError:
        return ()
    except (OSError, ValueError, TypeError, LookupError, RecursionError):
        raise NotSent(
            f"{file} cannot be read, so it is not known what was sent. Repair or remove it."
        ) from None
