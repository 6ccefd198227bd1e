"""message.eml: the message to the owner with the documents, a draft for the contractor to review.

Nothing in it depends on the clock or on a random source: the date is that of issue; the Message-ID and the
boundaries between the parts are derived from the contents.

Source: RFC 5322 (message), RFC 2046 (multipart), RFC 5545 section 8.1 (text/calendar).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from email.header import Header
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from hashlib import sha256
from math import inf
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from handover.base.text import is_email_address, one_line, quoted_text
from handover.documents.care_sheet import CareSheet
from handover.documents.change_sentences import change_sentences
from handover.documents.crew_visits import cover_visits
from handover.documents.templating import environment, plain_environment, read_text
from handover.errors import Finding, UnusableInput
from handover.schedule.model import MilestoneKind
from handover.schedule.tasks import is_pond

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from handover.documents.wording import Wording
    from handover.documents.words.dates import MilestoneWords

MIME_TYPES: dict[str, tuple[str, str, dict[str, str]]] = {
    ".pdf": ("application", "pdf", {}),
    ".html": ("text", "html", {"charset": "utf-8"}),
    ".ics": ("text", "calendar", {"charset": "utf-8", "method": "PUBLISH"}),
    ".json": ("application", "json", {}),
}
"""Media type of an attachment and its parameters, by the ending of its name."""

REPORTED_KINDS = (
    MilestoneKind.FIRST_WATER,
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.PROTECTION_ENDS,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.CURING_ENDS,
)
"""The dates in the text of the message; the sheet has all of them."""

NO_DOMAIN = "handover.invalid"
"""Domain of the Message-ID if the contractor has no address. RFC 2606: it belongs to nobody."""

MAX_LINE = 76
"""Longest line with an encoded word: RFC 2047 section 2."""

VERBATIM = re.compile(rf"(?!.*=\?)[ -~]{{1,{MAX_LINE - len('Subject: ')}}}")
"""A text that a header can have unchanged, without folding or encoding."""

PHRASE = re.compile(r"[\w !#$%&'*+/=?^`{|}~-]*", re.ASCII)
"""A name that needs no quotes: RFC 5322 section 3.2.3."""


@dataclass(frozen=True)
class Block:
    """A block of the message: lines of a paragraph, then the items of a list; either may be empty."""

    lines: tuple[str, ...]
    items: tuple[str, ...]


def compose_message(words: Wording, attachments: Mapping[str, bytes]) -> bytes:
    """Return a draft message to the owner: plain and HTML text in the owner's language, documents attached.

    Args:
        words: In the owner's language. The contractor of the job is the sender and its owner the receiver, if
            the record has their addresses.
        attachments: The documents by file name, in the order in which they are shown.

    Raises:
        ValueError: An address that a job record cannot have.
        UnusableInput: An attachment of a kind that a message cannot have.
    """
    return compose_text(words, _plain(words, attachments), attachments)


def compose_text(words: Wording, plain: str, attachments: Mapping[str, bytes]) -> bytes:
    """Return a message with a text, as plain text and as HTML. Arguments and errors as `compose_message`."""
    if findings := list(_unknown_kinds(attachments)):
        raise UnusableInput(findings)
    digest = _digest(words, plain, attachments)
    message = EmailMessage(policy=SMTP)
    message.set_content(plain, cte="quoted-printable")
    message.add_alternative(_html(plain, words), subtype="html", cte="quoted-printable")
    for name, content in attachments.items():
        maintype, subtype, params = MIME_TYPES[PurePosixPath(name).suffix]
        message.add_attachment(content, maintype=maintype, subtype=subtype, filename=name, params=params)
    for number, part in enumerate(each for each in message.walk() if each.is_multipart()):
        part.set_boundary(f"=_{number}_{digest}")
    return _head(words, digest) + message.as_bytes()


# ---- the head


def _head(words: Wording, digest: str) -> bytes:
    """Return the lines above those of the library.

    They are written here because the library drops the quotes around a long name when it folds it, so that
    parts of the name are read as an address.
    """
    sender, reader = words.job.contractor, words.job.owner
    domain = sender.email.partition("@")[2] if sender.email else NO_DOMAIN
    subject = _subject(words)
    lines = [
        f"Subject: {subject if VERBATIM.fullmatch(subject) else _encode_header(subject)}",
        f"Date: {format_datetime(words.schedule.issued_at)}",
        f"Message-ID: <{digest}@{domain}>",
        f"Content-Language: {words.language}",
        "X-Unsent: 1",
    ]
    if reader.email:
        lines.insert(0, f"To: {_mailbox(reader.name, reader.email)}")
    if sender.email:
        lines.insert(0, f"From: {_mailbox(sender.name, sender.email)}")
    return "".join(f"{line}\r\n" for line in lines).encode("ascii")


def _subject(words: Wording) -> str:
    key = "message.subject-again" if words.schedule.revision > 1 else "message.subject"
    return one_line(words.say(key, site=words.job.site.name))


def _mailbox(name: str | None, address: str) -> str:
    if not is_email_address(address):
        raise ValueError(f"{quoted_text(address)} is not an email address; the record refuses it")
    phrase = one_line(name or "")
    if not phrase:
        return address
    if VERBATIM.fullmatch(phrase) and PHRASE.fullmatch(phrase):
        return f"{phrase}\r\n <{address}>"
    return f"{_encode_header(phrase)}\r\n <{address}>"


def _encode_header(text: str) -> str:
    """Return a text as encoded words, which no program reads as anything but text (RFC 2047)."""
    return Header(text, "utf-8", maxlinelen=MAX_LINE, header_name="Subject").encode(linesep="\r\n")


def _digest(words: Wording, plain: str, attachments: Mapping[str, bytes]) -> str:
    """Return a digest of the whole content of the message, in 32 hexadecimal digits."""
    contents = [(name, sha256(content).hexdigest()) for name, content in attachments.items()]
    schedule = words.schedule
    whole = (words.job.id, schedule.revision, schedule.issued_at.isoformat(), plain, contents)
    return sha256(repr(whole).encode()).hexdigest()[:32]


def _unknown_kinds(names: Iterable[str]) -> Iterator[Finding]:
    for name in names:
        if PurePosixPath(name).suffix not in MIME_TYPES:
            yield Finding(
                problem="cannot be attached to the message", file=name, expected=", ".join(MIME_TYPES)
            )


# ---- the text


def fill_plain_text(words: Wording, name: str, **values: object) -> str:
    """Return a template of the reader's language as plain text; no value adds a line break."""
    texts = plain_environment(words.templates)
    name = f"{words.language}/{name}"
    source = read_text(name, words.templates)
    # The words of a country are put into the template, so that no name of the record is changed.
    local = words.reader.local(source)
    template = texts.get_template(name) if local == source else texts.from_string(local)
    return template.render(
        job=words.job,
        wording=words,
        again=words.schedule.revision > 1,
        earlier=words.schedule.revision - 1,
        old_calendar=words.events.calendar_name("owner", words.schedule.revision - 1),
        **values,
    )


def _plain(words: Wording, attachments: Mapping[str, bytes]) -> str:
    """Return the message as plain text."""
    return fill_plain_text(
        words,
        "message.txt",
        part=_part(words),
        lines=_dated_lines(words),
        withheld=[each for each in words.dates.withheld if each.kind in REPORTED_KINDS],
        warnings=[
            *(each for each in words.warnings.notices if each.code == "tendons"),
            *filter(None, [words.warnings.bare_frost]),
        ],
        keep_off=keep_off(words),
        room=CareSheet(words, {}).room,
        changes=change_sentences(words),
        attached=list(_attachment_list(words, attachments)),
    )


def _part(words: Wording) -> str:
    """Return the owner's part now, as the care sheet has it.

    Empty where it is the first water, of which the dates say enough; not where that fills a pond.
    """
    sheet = CareSheet(words, {})
    part = sheet.job_now if is_pond(words.schedule) else sheet.ongoing
    if part is None:
        return ""
    return f"{part.eyebrow}: {part.heading} {part.when.removesuffix('.')}. {part.sentence}"


def _dated_lines(words: Wording) -> list[str]:
    """Return the dates, and the covers that the crew lays, in order of time; what has none comes last."""
    lines = [
        (each.when.instant.timestamp() if each.when else inf, _dated_line(words, each))
        for each in _to_come(words)
        if each.kind in REPORTED_KINDS
    ]
    lines += [(start.timestamp(), line) for start, line in cover_visits(words, after_first=True)]
    if words.cover and words.visits.missed_water:
        lines.append((words.cover.start.timestamp(), f"{words.cover.title}: {words.cover.when}."))
    return [line for _, line in sorted(lines, key=lambda each: each[0])]


def _dated_line(words: Wording, date: MilestoneWords) -> str:
    """Return a date in a line; a use that waits for the crew to lift the blankets says so."""
    lifted = words.dates.once_lifted(date.kind)
    return " ".join(filter(None, (f"{date.title}: {date.when_text}.", lifted)))


def _to_come(words: Wording) -> list[MilestoneWords]:
    """Return the owner's dates that are not past at the time of issue."""
    issued = words.schedule.issued_at
    return [each for each in words.dates.owner_milestones if each.when is None or each.when.instant > issued]


def keep_off(words: Wording) -> str:
    """Return until when children and pets stay off, as the care sheet says, and off its cover.

    Empty if that is past. Boards with nails keep them away longer. Off a pond they stay until it is drained.
    """
    if pond := _off_pond(words):
        return pond
    if not any(each.kind == MilestoneKind.FOOT_TRAFFIC for each in words.dates.owner_milestones):
        return words.say("message.keep-off-unknown")
    ahead = [each for each in _to_come(words) if each.kind == MilestoneKind.FOOT_TRAFFIC]
    for date in ahead:
        if date.when is not None:
            off = words.say("message.keep-off", when=date.when.text)
            nails = words.say("message.keep-off-nails") if words.dates.nails else ""
            return " ".join(filter(None, (off, words.dates.no_step(date.kind), nails)))
    return words.say("message.keep-off-unknown") if ahead else ""


def _off_pond(words: Wording) -> str:
    """Return that nobody goes near a pond until it is drained; empty where none stands until then."""
    if not is_pond(words.schedule):
        return ""
    bars = (MilestoneKind.FOOT_TRAFFIC, MilestoneKind.CURING_ENDS)
    ahead = [each for each in _to_come(words) if each.kind in bars]
    if not any(each.kind == MilestoneKind.CURING_ENDS for each in ahead):
        return ""
    dates = [each.when for each in ahead if each.when is not None]
    if len(dates) < len(ahead):
        return words.say("message.keep-off-unknown")
    return words.say("message.keep-off-pond", when=max(dates, key=lambda each: each.instant).text)


def _attachment_list(words: Wording, names: Iterable[str]) -> Iterator[str]:
    """Return the list of attachments, each with its purpose."""
    for name in names:
        key = f"message.attached.{name.split('.')[0]}"
        if name.startswith("care-sheet"):
            key += _what_is_ticked(words)
        yield words.say(key, name=name) if words.reader.has(key) else name


def _what_is_ticked(words: Wording) -> str:
    """Return which words of the care sheet hold, by what its table has boxes for: no run of a timer."""
    days = words.visits.days
    if words.visits.by_timer or not any(day.visits for day in days):
        return "--plain"
    return "" if any(day.amount for day in days) else "--looking"


def _html(plain: str, words: Wording) -> str:
    """Return the same message as HTML, from the same text, so that the two never differ."""
    template = environment(words.templates).get_template("message.html")
    blocks = [_block(each.splitlines()) for each in re.split(r"\n{2,}", plain.strip())]
    return template.render(language=words.language, subject=_subject(words), blocks=blocks)


def _block(lines: list[str]) -> Block:
    items = tuple(line.removeprefix("- ") for line in lines if line.startswith("- "))
    return Block(tuple(line for line in lines if not line.startswith("- ")), items)
