"""`handover send`, from the issue of a job to what the owner's mail program gets."""

from __future__ import annotations

import email
import email.policy
from typing import TYPE_CHECKING, Any

import pytest

from handover.service.sending import SendOutcome

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

PASSWORD = "correct horse"  # noqa: S105


@pytest.fixture
def settings(tmp_path: Path, serve: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> Path:
    server = serve()
    file = tmp_path / "settings.toml"
    file.write_text(f'[mail]\nhost = "{server.host}"\nport = {server.port}\nuser = "{server.user}"\n')
    monkeypatch.setenv("HANDOVER_MAIL_PASSWORD", PASSWORD)
    return file


@pytest.mark.usefixtures("trusted", "stand_in_pdf", "few_members")
def test_the_documents_of_a_job_reach_its_owner(
    run: Any, record: Path, weather: Path, as_of: str, tmp_path: Path, settings: Path, postbox: Any
) -> None:
    folder = tmp_path / "out"
    assert run("issue", record, "-w", weather, "--as-of", as_of, "-o", folder).status == 0
    result = run("send", folder, "--settings", settings)
    assert (result.status, result.out) == (0, f"{folder}: sent: ana@example.org\n")
    [envelope] = postbox.taken
    message = email.message_from_bytes(envelope.content, policy=email.policy.default)
    attached = {each.get_filename(): each.get_payload(decode=True) for each in message.iter_attachments()}
    assert attached == {name: (folder / name).read_bytes() for name in attached}
    assert {"care-sheet.pdf", "care-page.html", "owner.ics"} <= set(attached)
    again = run("send", folder, "--settings", settings)
    assert again.status == 0
    assert "already sent" in again.out
    assert len(postbox.taken) == 1
    # What was sent is remembered when new dates take the place of the old ones.
    later = as_of.replace("T12", "T13")
    assert run("issue", record, "-w", weather, "--as-of", later, "-o", folder).status == 0
    assert (folder / "sent.json").is_file()
    assert "sent: ana@example.org" in run("send", folder, "--settings", settings).out
    assert len(postbox.taken) == 2


@pytest.mark.usefixtures("trusted")
def test_a_failure_is_reported_and_counts(
    run: Any, issued: Callable[..., Path], settings: Path, tmp_path: Path, postbox: Any, message: str
) -> None:
    postbox.refused = {"eve@example.org"}
    jobs = [tmp_path / "nowhere", issued("eve", message.replace("ana@", "eve@")), issued("good")]
    result = run("send", *jobs, "--settings", settings)
    assert result.status == 1
    assert "2 of 3 not sent" in result.err
    assert "nowhere: not sent" in result.err
    assert "\\x1b[31m" in result.err  # what a server says is shown, not obeyed
    assert result.out.startswith(f"{jobs[2]}: sent")
    assert PASSWORD not in result.out + result.err


def test_stopped_by_hand_what_went_out_is_not_denied(
    run: Any, issued: Callable[..., Path], settings: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(jobs: Any, *_: object, **__: object) -> Any:
        yield SendOutcome(jobs[0], "sent", "ana@example.org")
        raise KeyboardInterrupt

    monkeypatch.setattr("handover.service.sending.send_messages", stopped)
    result = run("send", issued(), "--settings", settings)
    assert result.status == 1
    assert "sent: ana@example.org" in result.out
    assert result.err == "Stopped. What was sent is noted and will not be sent twice.\n"


def test_a_dry_run_lists_messages_and_receivers(
    run: Any,
    issued: Callable[..., Path],
    settings: Path,
    postbox: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("HANDOVER_MAIL_PASSWORD")
    result = run("send", "--dry-run", issued(), "--settings", settings)
    assert result.status == 0
    for said in ("ready", "Ana Muñoz <ana@example.org>", "Caring for your new", "care-sheet.pdf", "starttls"):
        assert said in result.out
    assert not postbox.logins
    assert not postbox.said


SPOILT = [
    *(("message.eml", data) for data in (b"", b"From: =?no-such?b?!?= <a@example.com>\n\n", b"\xff")),
    *(("sent.json", data) for data in (b"[" * 100_000, b"{}", b'{"sent": [5]}', b"\xff")),
    ("sent.json", b'{"sent": [{"message_id": 1, "to": [], "at": "", "state": "sent"}]}'),
    ("sent.json", b'{"sent": [{"message_id": "1", "to": [], "at": "", "state": "lost"}]}'),
]


@pytest.mark.usefixtures("trusted")
@pytest.mark.parametrize("way", ["--dry-run", "--again"])
def test_a_spoilt_message_ends_the_sending_of_no_other(
    run: Any, issued: Callable[..., Path], settings: Path, way: str
) -> None:
    folders = [issued(f"spoilt-{number}") for number, _ in enumerate(SPOILT)]
    for folder, (name, data) in zip(folders, SPOILT, strict=True):
        (folder / name).write_bytes(data)
    result = run("send", way, *folders, issued("good"), "--settings", settings)
    assert result.status == 1
    assert result.err.count(": not sent:") == len(folders)
    assert result.out.count(": ready" if way == "--dry-run" else ": sent:") == 1
    assert "program itself" not in result.err


def test_without_a_password_nothing_is_tried(
    run: Any, issued: Callable[..., Path], settings: Path, postbox: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("HANDOVER_MAIL_PASSWORD")
    result = run("send", issued(), "--settings", settings)
    assert result.status == 2
    assert "HANDOVER_MAIL_PASSWORD" in result.err
    assert not postbox.logins


def test_without_settings_it_says_how_to_write_them(
    run: Any, issued: Callable[..., Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    result = run("send", issued())
    assert result.status == 2
    assert "[mail]" in result.err
    assert str(tmp_path / "handover" / "settings.toml") in result.err


def test_a_dry_run_needs_no_mail_server(
    run: Any, issued: Callable[..., Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    result = run("send", "--dry-run", issued())
    assert (result.status, result.err) == (0, "")
    for expected in ("ready", "Ana Muñoz <ana@example.org>", "Caring for your new", "care-sheet.pdf"):
        assert expected in result.out
    assert str(tmp_path / "handover" / "settings.toml") in result.out
