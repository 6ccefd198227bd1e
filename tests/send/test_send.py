"""Messages through a mail server on this machine: over TLS or not at all, once, and one by one."""

from __future__ import annotations

import asyncio
import email
import email.policy
import json
import smtplib
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from email.message import EmailMessage
from typing import TYPE_CHECKING, Any

import pytest

from handover.errors import UnusableInput
from handover.service.mail_server import MailServer
from handover.service.send_log import parse_draft
from handover.service.sending import dry_run, send_messages

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    Serve = Callable[..., MailServer]
    Issued = Callable[..., Path]

AT = datetime(2026, 7, 15, 13, 5, tzinfo=UTC)
PASSWORD = "correct horse"  # noqa: S105


pytestmark = pytest.mark.usefixtures("trusted")


def sent(folder: Path) -> list[dict[str, Any]]:
    entries: list[dict[str, Any]] = json.loads((folder / "sent.json").read_text())["sent"]
    return entries


def read(content: bytes) -> EmailMessage:
    message = email.message_from_bytes(content, policy=email.policy.default)
    assert isinstance(message, EmailMessage)
    return message


def one(outcomes: Any) -> tuple[str, str]:
    [outcome] = outcomes
    return outcome.state, outcome.words


# ---- what goes over the wire


@pytest.mark.parametrize("security", ["starttls", "tls"])
@pytest.mark.parametrize("login", [True, False])
def test_a_message_goes_out_over_tls(
    serve: Serve, issued: Issued, postbox: Any, security: str, login: bool
) -> None:
    folder = issued()
    server = serve(security, login=login)
    assert one(send_messages([folder], server, PASSWORD, AT)) == ("sent", "ana@example.org")
    [envelope] = postbox.taken
    assert (envelope.mail_from, envelope.rcpt_tos) == ("office@example.com", ["ana@example.org"])
    assert postbox.logins == ([("office@example.com", PASSWORD)] if login else [])


@pytest.mark.parametrize("other", ["PLAIN", "LOGIN"])
def test_either_way_to_log_in_will_do(serve: Serve, issued: Issued, postbox: Any, other: str) -> None:
    server = serve(without=other)
    assert one(send_messages([issued()], server, PASSWORD, AT))[0] == "sent"
    assert postbox.logins == [("office@example.com", PASSWORD)]


def test_it_is_no_draft_any_more_and_dated_when_it_is_sent(
    serve: Serve, issued: Issued, postbox: Any, message: str
) -> None:
    one(send_messages([issued()], serve(), PASSWORD, AT))
    [envelope] = postbox.taken
    before, after = read(message.encode()), read(envelope.content)
    assert after["X-Unsent"] is None
    assert after["Date"].datetime == AT
    assert after["Message-ID"] == before["Message-ID"]
    for field in ("From", "To", "Subject", "Content-Language", "Content-Type"):
        assert after[field] == before[field]
        assert len(after.get_all(field)) == 1
    assert [each.get_payload(decode=True) for each in after.walk() if not each.is_multipart()] == [
        each.get_payload(decode=True) for each in before.walk() if not each.is_multipart()
    ]


def test_a_draft_that_was_saved_with_other_line_ends_goes_out_with_those_of_mail(
    serve: Serve, issued: Issued, postbox: Any, message: str
) -> None:
    one(send_messages([issued(text=message.replace("\r\n", "\n"))], serve(), PASSWORD, AT))
    content = postbox.taken[0].content
    assert content.count(b"\n") == content.count(b"\r") == content.count(b"\r\n")


def test_the_message_itself_may_be_named(serve: Serve, issued: Issued) -> None:
    folder = issued()
    assert one(send_messages([folder / "message.eml"], serve(), PASSWORD, AT))[0] == "sent"
    assert (folder / "sent.json").is_file()


def test_an_account_that_is_not_the_contractor_s_is_reported(
    serve: Serve, issued: Issued, postbox: Any
) -> None:
    server = serve()
    other = MailServer(server.host, server.port, server.security, server.user, sender="desk@example.net")
    one(send_messages([issued()], other, PASSWORD, AT))
    [envelope] = postbox.taken
    assert envelope.mail_from == "desk@example.net"
    result = read(envelope.content)
    assert (result["Sender"].address.addr_spec, result["From"].addresses[0].addr_spec) == (
        "desk@example.net",
        "office@example.com",
    )


def test_who_is_hidden_gets_it_and_stays_hidden(
    serve: Serve, issued: Issued, postbox: Any, message: str
) -> None:
    text = message.replace("X-Unsent: 1", "Cc: bo@example.org\r\nBcc: cy@example.net,\r\n di@example.net")
    one(send_messages([issued(text=text)], serve(), PASSWORD, AT))
    [envelope] = postbox.taken
    assert envelope.rcpt_tos == ["ana@example.org", "bo@example.org", "cy@example.net", "di@example.net"]
    assert b"example.net" not in envelope.content


# ---- once


@pytest.mark.usefixtures("trusted")
def test_the_log_of_what_was_sent_is_private_and_keeps_the_rights_that_it_has(
    serve: Serve, issued: Issued
) -> None:
    log = issued() / "sent.json"
    list(send_messages([log.parent], serve(), PASSWORD, AT))
    assert log.stat().st_mode & 0o777 == 0o600
    log.chmod(0o640)
    list(send_messages([log.parent], serve(), PASSWORD, AT, again=True))
    assert log.stat().st_mode & 0o777 == 0o640


def test_nothing_is_sent_twice(serve: Serve, issued: Issued, postbox: Any) -> None:
    folder, server = issued(), serve()
    one(send_messages([folder], server, PASSWORD, AT))
    state, words = one(send_messages([folder], server, PASSWORD, AT))
    assert state == "already sent"
    assert "2026-07-15" in words
    assert len(postbox.taken) == 1
    assert sent(folder) == [
        {
            "message_id": "<0123456789abcdef@example.com>",
            "to": ["ana@example.org"],
            "at": AT.isoformat(),
            "state": "sent",
        }
    ]


def test_again_sends_it_once_more_under_another_id(serve: Serve, issued: Issued, postbox: Any) -> None:
    folder, server = issued(), serve()
    for again in (False, True, True):
        assert one(send_messages([folder], server, PASSWORD, AT, again=again))[0] == "sent"
    ids = [read(each.content)["Message-ID"] for each in postbox.taken]
    assert len(set(ids)) == 3
    assert len(sent(folder)) == 3
    assert one(send_messages([folder], server, PASSWORD, AT))[0] == "already sent"


def test_a_new_issue_is_a_new_message(serve: Serve, issued: Issued, postbox: Any, message: str) -> None:
    folder, server = issued(), serve()
    one(send_messages([folder], server, PASSWORD, AT))
    (folder / "message.eml").write_bytes(message.replace("0123456789", "1123456789").encode())
    assert one(send_messages([folder], server, PASSWORD, AT))[0] == "sent"
    assert len(postbox.taken) == 2


def test_who_was_refused_gets_it_the_next_time_and_nobody_else(
    serve: Serve, issued: Issued, postbox: Any, message: str
) -> None:
    folder = issued(text=message.replace("X-Unsent: 1", "Cc: bo@example.org"))
    server = serve()
    postbox.refused = {"bo@example.org"}
    state, words = one(send_messages([folder], server, PASSWORD, AT))
    assert state == "not sent"
    assert "bo@example.org" in words
    assert "It went to ana@example.org" in words
    postbox.refused = set()
    assert one(send_messages([folder], server, PASSWORD, AT)) == ("sent", "bo@example.org")
    assert [each.rcpt_tos for each in postbox.taken] == [["ana@example.org"], ["bo@example.org"]]


def test_a_server_that_falls_silent_over_the_message_leaves_it_open(
    serve: Serve, issued: Issued, postbox: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, server = issued(), serve()

    over = threading.Event()

    async def silent(*_: object) -> str:
        while not over.is_set():  # noqa: ASYNC110 - of another thread
            await asyncio.sleep(0.05)
        return "250 taken"

    data = smtplib.SMTP.data

    def impatient(smtp: smtplib.SMTP, message: bytes) -> tuple[int, bytes]:
        smtp.sock.settimeout(0.5)
        return data(smtp, message)

    monkeypatch.setattr(postbox, "handle_DATA", silent)
    monkeypatch.setattr(smtplib.SMTP, "data", impatient)
    state, words = one(send_messages([folder], server, PASSWORD, AT))
    over.set()
    assert state == "not sent"
    assert "may or may not have been sent" in words
    assert [each["state"] for each in sent(folder)] == ["unsure"]
    monkeypatch.undo()
    state, words = one(dry_run([folder]))
    assert (state, "--again" in words) == ("not sent", True)


def test_two_runs_at_once_send_it_once(serve: Serve, issued: Issued, postbox: Any) -> None:
    folder, server = issued(), serve()

    def run(_: int) -> str:
        return one(send_messages([folder], server, PASSWORD, AT))[0]

    with ThreadPoolExecutor(4) as runs:
        assert sorted(runs.map(run, range(4))) == ["already sent"] * 3 + ["sent"]
    assert len(postbox.taken) == 1


def test_a_message_in_an_archive_stays_as_it_is(issued: Issued, tmp_path: Path) -> None:
    folder = issued()
    (tmp_path / "bagit.txt").write_text("BagIt-Version: 1.0\n")
    state, words = one(dry_run([folder]))
    assert (state, "archive" in words) == ("not sent", True)


def test_a_record_that_cannot_be_read_stops_the_message(serve: Serve, issued: Issued, postbox: Any) -> None:
    folder = issued()
    (folder / "sent.json").write_text("{")
    state, words = one(send_messages([folder], serve(), PASSWORD, AT))
    assert state == "not sent"
    assert "sent.json" in words
    assert not postbox.said


def test_a_record_that_cannot_be_kept_stops_the_message(
    serve: Serve, issued: Issued, postbox: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = issued()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("handover.service.send_log.write_file", full)
    state, words = one(send_messages([folder], serve(), PASSWORD, AT))
    assert state == "not sent"
    assert "cannot be written" in words
    assert not postbox.taken


# ---- refused


def test_a_refused_receiver_is_reported_and_may_be_tried_again(
    serve: Serve, issued: Issued, postbox: Any
) -> None:
    folder, server = issued(), serve()
    postbox.refused = {"ana@example.org"}
    state, words = one(send_messages([folder], server, PASSWORD, AT))
    assert state == "not sent"
    assert "ana@example.org (550 nobody of that name" in words
    assert not (folder / "sent.json").exists()
    postbox.refused = set()
    assert one(send_messages([folder], server, PASSWORD, AT))[0] == "sent"


def test_a_refused_message_may_be_tried_again(serve: Serve, issued: Issued, postbox: Any) -> None:
    folder, server = issued(), serve()
    postbox.answer = "552 too large"
    state, words = one(send_messages([folder], server, PASSWORD, AT))
    assert (state, "552 too large" in words) == ("not sent", True)
    assert sent(folder) == []
    postbox.answer = "250 taken"
    assert one(send_messages([folder], server, PASSWORD, AT))[0] == "sent"


def test_a_long_address_is_named_in_short() -> None:
    """Seen: a finding of sixty thousand letters."""
    letter = f"From: a@example.com\r\nTo: <{'x' * 60_000}>\r\nMessage-ID: <1@example.com>\r\n\r\nText\r\n"
    with pytest.raises(UnusableInput) as refused:
        parse_draft(letter.encode(), "message.eml")
    assert any("is not an email address" in str(each) for each in refused.value.findings)
    assert all(len(str(each)) < 500 for each in refused.value.findings)


def test_what_a_server_says_to_a_failed_sign_in_is_not_repeated(
    serve: Serve, issued: Issued, postbox: Any
) -> None:
    postbox.refusal = "535 office@example.com with the password hunter2 is unknown"
    state, words = one(send_messages([issued()], serve(), "hunter2", AT))
    assert state == "not sent"
    assert words == "The server refuses the user or the password (535)."


def test_a_wrong_password_is_tried_once_for_all_jobs(serve: Serve, issued: Issued, postbox: Any) -> None:
    jobs = [issued("a"), issued("b"), issued("c")]
    outcomes = list(send_messages(jobs, serve(), "wrong", AT))
    assert [each.state for each in outcomes] == ["not sent"] * 3
    assert all("user or the password" in each.words for each in outcomes)
    assert not any("wrong" in each.words for each in outcomes)
    assert len(postbox.logins) == 1
    assert not postbox.said


def test_a_server_without_login_gets_no_password(serve: Serve, issued: Issued, postbox: Any) -> None:
    bare = serve(login=False)
    server = MailServer(bare.host, bare.port, bare.security, user="office@example.com")
    state, words = one(send_messages([issued()], server, PASSWORD, AT))
    assert (state, "no supported way to log in" in words) == ("not sent", True)
    assert not postbox.said


# ---- over TLS or not at all


def test_a_server_without_tls_gets_nothing(serve: Serve, issued: Issued, postbox: Any) -> None:
    folder = issued()
    state, words = one(send_messages([folder], serve(None, login=False), "", AT))
    assert (state, "no TLS" in words) == ("not sent", True)
    assert not postbox.said
    assert not (folder / "sent.json").exists()


def test_a_server_that_speaks_in_the_open_where_tls_is_due_gets_nothing(
    serve: Serve, issued: Issued, postbox: Any
) -> None:
    plain = serve(None, login=False)
    state, words = one(send_messages([issued()], MailServer(plain.host, plain.port, "tls"), "", AT))
    assert (state, "TLS" in words) == ("not sent", True)
    assert not postbox.said


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_certificate_that_nobody_vouches_for_is_refused(
    serve: Serve, issued: Issued, postbox: Any, security: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("SSL_CERT_FILE")
    state, words = one(send_messages([issued()], serve(security), PASSWORD, AT))
    assert (state, "cannot be trusted" in words) == ("not sent", True)
    assert not postbox.said
    assert not postbox.logins


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_certificate_of_another_name_is_refused(
    serve: Serve, issued: Issued, postbox: Any, security: str
) -> None:
    server = serve(security, name="mail.example.org")
    state, words = one(send_messages([issued()], server, PASSWORD, AT))
    assert (state, "cannot be trusted" in words) == ("not sent", True)
    assert not postbox.said
    assert not postbox.logins


# ---- servers that are not there


@pytest.mark.usefixtures("impatient")
def test_a_server_that_says_nothing_is_given_up(mute: MailServer, issued: Issued) -> None:
    folder = issued()
    state, words = one(send_messages([folder], mute, "", AT))
    assert (state, "did not answer" in words) == ("not sent", True)
    assert not (folder / "sent.json").exists()


def test_a_server_that_is_not_there_is_reported(issued: Issued) -> None:
    server = MailServer("localhost", 1, "starttls")  # tcpmux: nobody has it
    state, words = one(send_messages([issued()], server, "", AT))
    assert (state, "cannot be reached" in words) == ("not sent", True)


# ---- one by one


def test_one_failure_does_not_stop_the_others(
    serve: Serve, issued: Issued, postbox: Any, message: str, tmp_path: Path
) -> None:
    (tmp_path / "empty").mkdir()
    jobs = [
        issued("good"),
        tmp_path / "nowhere",
        tmp_path / "empty",
        issued("nobody", message.replace("To: ", "X-To: ")),
        issued("unsigned", message.replace("From: ", "X-From: ")),
        issued("refused", message.replace("ana@", "eve@").replace("<0", "<1")),
        issued("last", message.replace("<0", "<2")),
    ]
    postbox.refused = {"eve@example.org"}
    outcomes = list(send_messages(jobs, serve(), PASSWORD, AT))
    assert [each.state for each in outcomes] == ["sent", *["not sent"] * 5, "sent"]
    assert [each.job for each in outcomes] == jobs
    assert "owner.email" in outcomes[3].words
    assert "contractor.email" in outcomes[4].words
    assert len(postbox.taken) == 2


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("<ana@example.org>", "<ana@example.org>, nobody"),
        ("<ana@example.org>", "<ana@localhost>"),
        ("<ana@example.org>", "<-oProxy@>"),
        ("<office@example.com>", "<office@example.com>, <bo@example.com>"),
        ("<0123456789abcdef@example.com>", ""),
        ("Hello Ana", "Hola Añá"),
    ],
)
def test_a_message_that_was_spoilt_does_not_go_out(issued: Issued, message: str, old: str, new: str) -> None:
    assert old in message
    state, words = one(dry_run([issued(text=message.replace(old, new))]))
    assert state == "not sent"
    assert "message.eml" in words


def test_a_rehearsal_leaves_no_trace(issued: Issued) -> None:
    folder = issued()
    [outcome] = dry_run([folder])
    assert outcome.state == "ready"
    assert outcome.draft.shown_to == "Ana Muñoz <ana@example.org>"
    assert outcome.draft.shown_from == "Example Flatwork <office@example.com>"
    assert outcome.draft.attached == ("care-sheet.pdf",)
    assert [each.name for each in folder.iterdir()] == ["message.eml"]
