"""Names and addresses in messages, and drafts of records: nothing typed adds a line, a reader or a path."""

from __future__ import annotations

import json
import tomllib
from datetime import UTC, datetime, timedelta
from email import message_from_bytes
from email.policy import SMTP
from functools import cache
from typing import TYPE_CHECKING

from campaign import Case, campaign
from mutations import TEXTS, spoil, spoil_text
from program import GARAGE, contents, office
from records import check_findings, draw_record

from handover.base.text import is_email_address
from handover.documents.message import compose_message
from handover.documents.schedule_json import read_schedule
from handover.documents.wording import Wording
from handover.errors import UnusableInput
from handover.jobs.attached_files import MemoryFiles
from handover.jobs.reading import RecordSource, examine_source
from handover.service.drafts import Drafts
from handover.service.send_log import message_to_send, read_draft

if TYPE_CHECKING:
    from random import Random

AT = datetime(2026, 7, 14, 16, 30, tzinfo=UTC)
ADDRESSES = (
    "ana@example.org",
    "a.b+c@mail.example.co",
    "x@y.zz",
    "ana@example.org, b@example.org",
    "Ana <a@b.cc>",
)


@cache
def _record() -> str:
    return (GARAGE / "job.toml").read_text("utf-8")


def _draw_person(random: Random) -> dict[str, str]:
    """Return a name and an address, one of them odd."""
    name, address = random.choice(["Ana Prueba", "Núñez, Ana", *TEXTS]), random.choice(ADDRESSES)
    return {"name": spoil_text(random, name) if random.random() < 0.7 else name,
            "email": spoil_text(random, address) if random.random() < 0.6 else address}  # fmt: skip


@campaign(in_suite=25)
def messages(case: Case) -> None:
    """A message goes to the one address of the record, from the other, with no header that nobody wrote."""
    record = tomllib.loads(_record())
    for party in ("owner", "contractor"):
        record[party] = record[party] | _draw_person(case.random)
    record["site"]["name"] = spoil_text(case.random, record["site"]["name"])
    data = json.dumps(record, default=datetime.isoformat).encode()
    examined = examine_source(
        RecordSource("job.json", case.keep("job.json", data).read_bytes(), MemoryFiles({}))
    )
    check_findings(examined.findings)
    if examined.record is None:
        return
    root = office(case.folder)
    schedule = read_schedule((root / "one" / "schedule.json").read_bytes())
    job = examined.record
    file = case.keep("message.eml", compose_message(Wording(job, schedule), {}))
    parsed = message_from_bytes(file.read_bytes(), policy=SMTP)
    assert len({each.lower() for each in parsed}) == len(parsed)
    assert not {"Bcc", "Cc"} & {*parsed}
    for header, address in (("To", job.owner.email), ("From", job.contractor.email)):
        found = [each.addr_spec for each in parsed[header].addresses] if parsed[header] else []
        assert found == ([address] if address else []), (found, address)
    if job.owner.email and job.contractor.email:
        draft = read_draft(file)
        assert draft.receivers == (job.owner.email,)
        assert draft.sender == job.contractor.email


@campaign(in_suite=6)
def spoilt_messages(case: Case) -> None:
    """A spoilt message is refused in words, or goes to addresses that are addresses."""
    file = office(case.folder) / "one" / "message.eml"
    head, gap, body = file.read_bytes().partition(b"\r\n\r\n")
    mail = case.keep("message.eml", spoil(case.random, head.decode()) + gap + body)
    try:
        draft = read_draft(mail)
    except UnusableInput as refused:
        check_findings(refused.findings)
        return
    assert draft.receivers
    assert all(map(is_email_address, (draft.sender, *draft.receivers)))
    sent = message_from_bytes(message_to_send(draft, AT, "office@example.com", 1))
    assert "Bcc" not in sent


@campaign(in_suite=15)
def drafts(case: Case) -> None:
    """Whatever is typed is kept as it is, below the folder of the drafts, or refused in words."""
    random, root = case.random, case.folder / "drafts"
    kept = Drafts(root)
    name, data = spoil_text(random, random.choice([*TEXTS, "2026-07-14-alder"])), draw_record(random)
    names = {
        spoil_text(random, random.choice(["photos/edge.jpg", "log.csv", *TEXTS])): b"x" for _ in range(2)
    }
    case.keep("asked", repr((name, list(names))).encode())
    for number, files in enumerate(({}, names), 1):
        try:
            saved = kept.save(name, data + b"\n" * number, AT + timedelta(hours=number), files=files)
        except UnusableInput as refused:
            check_findings(refused.findings)
            continue
        assert saved.source.data == data + b"\n" * number
        assert kept.read(name).source.data == saved.source.data
        assert [each.number for each in kept.history(name)] == list(range(1, saved.number + 1))
        assert set(kept.names()) == {saved.name}
    outside = {each for each in contents(case.folder) if not each.startswith("drafts/")}
    assert outside == {"asked"}
