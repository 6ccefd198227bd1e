"""message.eml, read back with the standard library's strict reader."""

from __future__ import annotations

import email
import email.policy
from dataclasses import replace
from email.header import decode_header, make_header
from email.utils import getaddresses
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.calendars import owner_calendar
from handover.documents.care_sheet import CareSheet
from handover.documents.message import compose_message
from handover.documents.wording import Wording
from handover.errors import UnusableInput
from handover.schedule.model import MilestoneKind as Kind

if TYPE_CHECKING:
    from email.message import EmailMessage

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

NASTY = "Eve\r\nBcc: all@example.org\n\n<script>alert(1)</script>\x00\x1b\u2028- [x](http://example.org) & Co"
NASTY_LINE = "Eve Bcc: all@example.org <script>alert(1)</script> - [x](http://example.org) & Co"

ATTACHMENTS = {
    "care-sheet.pdf": b"%PDF-1.7\r\n\x00\xff\n.\n\r\n--=_0_\n",
    "care-page.html": "<!DOCTYPE html><p>Gr\u00fc\u00dfe</p>".encode(),
    "owner.ics": b"",
    "schedule.json": b'{"job": "x"}\n',
}


class Text(HTMLParser):
    """Gathers what a reader of the HTML sees, and the tags that make it."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: set[str] = set()
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: object) -> None:  # noqa: ARG002 - the base class gives it
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        self.words += data.split()


def compose(job: JobRecord, schedule: CureSchedule, attachments: dict[str, bytes] | None = None) -> bytes:
    return compose_message(Wording(job, schedule), attachments or {})


def read(content: bytes) -> EmailMessage:
    message = email.message_from_bytes(content, policy=email.policy.default)
    for part in message.walk():
        assert not part.defects
        assert not any(value.defects for value in part.values() if hasattr(value, "defects"))
    return message


def mailbox(content: bytes, field: str) -> tuple[str, str]:
    """Read by the library's older reader; its newer one puts blanks between encoded words."""
    [(name, address)] = getaddresses(email.message_from_bytes(content).get_all(field))
    return str(make_header(decode_header(name))), address


def body(message: EmailMessage, kind: str) -> str:
    part = message.get_body((kind,))
    assert part is not None
    text: str = part.get_content()
    return text


@pytest.fixture
def attachments(job: JobRecord, schedule: CureSchedule) -> dict[str, bytes]:
    return ATTACHMENTS | {"owner.ics": owner_calendar(Wording(job, schedule))}


def test_its_parts(job: JobRecord, schedule: CureSchedule, attachments: dict[str, bytes]) -> None:
    message = read(compose(job, schedule, attachments))
    assert message.get_content_type() == "multipart/mixed"
    letter, *attached = message.iter_parts()
    assert letter.get_content_type() == "multipart/alternative"
    assert [each.get_content_type() for each in letter.iter_parts()] == ["text/plain", "text/html"]
    assert [(each.get_filename(), each.get_content_type()) for each in attached] == [
        ("care-sheet.pdf", "application/pdf"),
        ("care-page.html", "text/html"),
        ("owner.ics", "text/calendar"),
        ("schedule.json", "application/json"),
    ]
    assert all(each.is_attachment() for each in attached)
    assert attached[2]["Content-Type"].params["method"] == "PUBLISH"


def test_attachments_come_out_as_they_went_in(
    job: JobRecord, schedule: CureSchedule, attachments: dict[str, bytes]
) -> None:
    message = read(compose(job, schedule, attachments))
    found = {each.get_filename(): each.get_payload(decode=True) for each in message.iter_attachments()}
    assert found == attachments


def test_its_head(job: JobRecord, schedule: CureSchedule) -> None:
    message = read(compose(job, schedule))
    assert message["From"].addresses[0].addr_spec == job.contractor.email
    assert message["From"].addresses[0].display_name == job.contractor.name
    assert message["To"].addresses[0].addr_spec == job.owner.email
    assert message["To"].addresses[0].display_name == job.owner.name
    assert message["Date"].datetime == schedule.issued_at
    assert job.site.name in message["Subject"]
    assert message["X-Unsent"] == "1"
    assert message["Content-Language"] == "en"
    assert message["Message-ID"].endswith("@example.net>")


def test_nobody_is_named_where_no_address_is_given(job_with: Any, schedule: CureSchedule) -> None:
    message = read(compose(job_with(owner={"name": "Rosa"}, contractor={"phone": "336-555-0117"}), schedule))
    assert message["From"] is None
    assert message["To"] is None


def test_both_texts_say_the_same(
    job: JobRecord, schedule: CureSchedule, attachments: dict[str, bytes]
) -> None:
    message = read(compose(job, schedule, attachments))
    seen = Text(body(message, "html")).words
    subject = str(message["Subject"]).split()
    assert seen[: len(subject)] == subject  # the title of the page
    assert seen[len(subject) :] == [word for word in body(message, "plain").split() if word != "-"]


def test_it_shows_the_dates_and_the_documents(
    job: JobRecord, schedule: CureSchedule, attachments: dict[str, bytes]
) -> None:
    wording = Wording(job, schedule)
    plain = body(read(compose(job, schedule, attachments)), "plain")
    for kind in ("first-water", "foot-traffic", "light-vehicles", "curing-ends"):
        words = next(each for each in wording.owner_milestones if each.kind == kind)
        assert f"- {words.title}: {words.when_text}." in plain
    for name in attachments:
        assert f"- {name}: " in plain
    assert wording.caller in plain


def test_new_dates_are_printed_as_new(job: JobRecord, schedule: CureSchedule) -> None:
    first, again = (read(compose(job, replace(schedule, revision=number))) for number in (1, 2))
    assert first["Subject"] != again["Subject"]
    assert first["Message-ID"] != again["Message-ID"]
    old = Wording(job, schedule).events.calendar_name("owner", 1)
    assert old in body(again, "plain")
    assert old not in body(first, "plain")


@pytest.mark.parametrize(
    "name",
    [
        "José Ñúñez",
        'O\'Brien, "Red" <x>',
        "Łukasz Żółć, Jr.",
        "王小明",
        "Иван Петрович Сидоров-Длиннофамильный и сыновья, строительная компания",
        "a" * 300,
        "é" * 200,
        "Müller, Söhne & Töchter <bau@example.org>; Beton",
        'Eve" <eve@example.org>, "Bob and a name that is too long for a single line of the head',
        "=?utf-8?q?Eve=0D=0ABcc=3A_all=40example=2Eorg?=",
    ],
)
def test_names_come_through(job_with: Any, schedule: CureSchedule, name: str) -> None:
    job = job_with(
        owner={"name": name, "email": "owner@example.com"},
        contractor={"name": name, "email": "office@example.net"},
        site={"name": name, "timezone": "America/New_York"},
    )
    content = compose(job, schedule)
    assert content.isascii()
    message = read(content)
    for field, address in (("From", "office@example.net"), ("To", "owner@example.com")):
        assert mailbox(content, field) == (name, address)
        assert [each.addr_spec for each in message[field].addresses] == [address]
    assert name in message["Subject"]
    assert name in body(message, "plain")


def test_text_from_outside_never_becomes_a_header(job_with: Any, schedule: CureSchedule) -> None:
    names = [
        "From",
        "To",
        "Subject",
        "Date",
        "Message-ID",
        "X-Unsent",
        "MIME-Version",
        "Content-Type",
        "Content-Language",
    ]
    job = job_with(
        id=NASTY,
        site={"name": NASTY, "address": NASTY, "timezone": "America/New_York"},
        owner={"name": NASTY, "email": "owner@example.com"},
        contractor={"name": NASTY, "email": "office@example.net", "phone": NASTY},
    )
    content = compose(job, schedule, {"care-sheet.pdf": b"%PDF"})
    message = read(content)
    assert sorted(message.keys()) == sorted(names)
    assert [each.addr_spec for each in message["To"].addresses] == ["owner@example.com"]
    assert mailbox(content, "To") == (NASTY_LINE, "owner@example.com")
    head = content.split(b"\r\n\r\n", 1)[0]
    assert b"\r\nBcc" not in head
    assert len(list(message.iter_attachments())) == 1


def test_text_from_outside_never_becomes_markup(job_with: Any, schedule: CureSchedule) -> None:
    job = job_with(
        site={"name": NASTY, "timezone": "America/New_York"},
        owner={"name": NASTY},
        contractor={"name": NASTY, "phone": NASTY},
    )
    message = read(compose(job, schedule))
    page = Text(body(message, "html"))
    assert page.tags == {"html", "head", "meta", "title", "body", "p", "br", "ul", "li"}
    assert " ".join(page.words).count(NASTY_LINE) >= 3
    assert NASTY_LINE in body(message, "plain")


@pytest.mark.parametrize("field", ["owner", "contractor"])
@pytest.mark.parametrize(
    "address",
    ["nobody", "a@", "@b.example", "a@example.com, b@example.com", "a b@example.com", "<a@example.com>",
     "a@example.com\r\nBcc: b@example.com", "ä@example.com", "a@exämple.com", "\x00@example.com"],
)  # fmt: skip
def test_no_header_holds_an_address_that_the_record_would_refuse(
    job_with: Any, schedule: CureSchedule, field: str, address: str
) -> None:
    with pytest.raises(ValueError, match="not an email address"):
        compose(job_with(**{field: {"email": address}}), schedule)


def test_every_fault_is_found_at_once(job: JobRecord, schedule: CureSchedule) -> None:
    with pytest.raises(UnusableInput) as refused:
        compose(job, schedule, {"a.exe": b"", "b": b""})
    assert len(refused.value.findings) == 2


def test_the_same_inputs_give_the_same_bytes_and_others_another_id(
    job: JobRecord, schedule: CureSchedule, attachments: dict[str, bytes]
) -> None:
    content = compose(job, schedule, attachments)
    assert compose(job, schedule, dict(attachments)) == content
    other = compose(job, schedule, attachments | {"care-sheet.pdf": b"%PDF-2.0"})
    assert read(other)["Message-ID"] != read(content)["Message-ID"]


def test_lines_are_as_mail_wants_them(
    job: JobRecord, schedule: CureSchedule, attachments: dict[str, bytes]
) -> None:
    # RFC 5322 section 2.1.1: no more than 998 characters, CRLF apart; section 2.3: CR and LF only together.
    content = compose(job, schedule, attachments)
    assert content.count(b"\n") == content.count(b"\r") == content.count(b"\r\n")
    assert max(map(len, content.split(b"\r\n"))) <= 998


def test_it_leads_with_no_date_that_is_past(job: JobRecord, schedule: CureSchedule) -> None:
    wording = Wording(job, schedule)
    words = {each.kind: each for each in wording.milestones}
    first, walk = words[Kind.FIRST_WATER], words[Kind.FOOT_TRAFFIC]
    assert first.when is not None
    assert first.when_text in body(read(compose(job, schedule)), "plain")
    plain = body(read(compose(job, replace(schedule, issued_at=first.when.instant))), "plain")
    assert first.when_text not in plain
    assert walk.when_text in plain


def test_pets_wait_for_the_date_of_the_care_sheet(job: JobRecord, schedule: CureSchedule) -> None:
    wording = Wording(job, schedule)
    [row] = [each for each in CareSheet(wording, {}).main if each.kind == Kind.FOOT_TRAFFIC]
    assert "pets" in row.sentence
    [words] = [each for each in wording.milestones if each.kind == Kind.FOOT_TRAFFIC]
    assert words.when is not None
    plain = " ".join(body(read(compose(job, schedule)), "plain").split())
    assert wording.say("message.keep-off", when=words.when.text) in plain
