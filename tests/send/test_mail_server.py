"""The settings of the mail server: all faults at once, and no password in them."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

import pytest

from handover.errors import UnusableInput
from handover.service.config_sources import read_config, user_file
from handover.service.mail_server import MailServer, mail_server

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

WHOLE = """\
[archive]
folder = "elsewhere"

[mail]
host = "smtp.example.com"
port = 2525
security = "tls"
user = "office@example.com"
password_env = "OFFICE_MAIL"
from = "desk@example.com"
"""


def read(tmp_path: Path, text: str | bytes, environ: Mapping[str, str] | None = None) -> MailServer:
    file = tmp_path / "settings.toml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return mail_server(read_config(file, environ or {}, {}))


def test_all_of_it(tmp_path: Path) -> None:
    assert read(tmp_path, WHOLE) == MailServer(
        "smtp.example.com", 2525, "tls", "office@example.com", "desk@example.com", "OFFICE_MAIL"
    )


def test_what_is_left_out_is_the_usual(tmp_path: Path) -> None:
    # Ports of message submission: RFC 6409 section 3.1 and RFC 8314 section 3.3.
    server = read(tmp_path, '[mail]\nhost = "a.example"')
    assert (server.host, server.port, server.security, server.user) == ("a.example", 587, "starttls", None)
    assert server.password_env == "HANDOVER_MAIL_PASSWORD"  # noqa: S105  the name of a variable
    assert read(tmp_path, '[mail]\nhost = "a.example"\nsecurity = "tls"').port == 465


@pytest.mark.parametrize(
    ("line", "field"),
    [
        ("host = 7", "mail.host"),
        ('host = "a b"', "mail.host"),
        ('host = ""', "mail.host"),
        ('host = "-oX"', "mail.host"),
        ('port = "587"', "mail.port"),
        ("port = 0", "mail.port"),
        ("port = 70000", "mail.port"),
        ("port = true", "mail.port"),
        ('security = "none"', "mail.security"),
        ('security = "STARTTLS"', "mail.security"),
        ("security = false", "mail.security"),
        ('user = "a\\r\\nb"', "mail.user"),
        ('user = ""', "mail.user"),
        ('password_env = "A B"', "mail.password_env"),
        ('from = "nobody"', "mail.from"),
        ('from = "a@example.com\\r\\nRCPT TO:<b@example.com>"', "mail.from"),
        ('password = "x"', "mail.password"),
        ('usr = "x"', "mail.usr"),
    ],
)
def test_a_line_that_is_wrong_is_named(tmp_path: Path, line: str, field: str) -> None:
    text = line if line.startswith("host") else f'host = "smtp.example.com"\n{line}'
    with pytest.raises(UnusableInput) as refused:
        read(tmp_path, f"[mail]\n{text}\n")
    [finding] = refused.value.findings
    assert finding.field == field
    assert finding.line == 1 + len(text.splitlines())
    assert finding.file
    assert finding.expected
    assert finding.example


def test_every_fault_is_found_at_once(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput) as refused:
        read(tmp_path, '[mail]\nport = 0\nsecurity = "none"\npassword = "x"')
    assert {each.field for each in refused.value.findings} == {
        "mail.host",
        "mail.port",
        "mail.security",
        "mail.password",
    }


@pytest.mark.parametrize("text", ["", "mail = 7", "[mial]", "[mail", b"\x00\xff", "{", "[]"])
def test_what_is_not_a_record_gets_an_example(tmp_path: Path, text: str | bytes) -> None:
    with pytest.raises(UnusableInput) as refused:
        read(tmp_path, text)
    assert all("host" in tomllib.loads(each.example or "")["mail"] for each in refused.value.findings)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match=r"settings\.toml"):
        read_config(tmp_path / "settings.toml", {}, {})


def test_the_password_comes_from_the_environment(tmp_path: Path) -> None:
    server = read(tmp_path, WHOLE, {"OFFICE_MAIL": "s3cret", "HANDOVER_MAIL_PASSWORD": "another"})
    assert server.password() == "s3cret"
    assert "s3cret" not in repr(server)
    for environ in ({}, {"OFFICE_MAIL": ""}, {"OFFICE_MAIL": "gehe\u00efm"}):
        with pytest.raises(UnusableInput) as refused:
            read(tmp_path, WHOLE, environ).password()
        [finding] = refused.value.findings
        assert finding.field == "OFFICE_MAIL"
        assert "gehe" not in str(finding)


def test_a_server_without_user_asks_for_no_password() -> None:
    assert MailServer("a.example", 587, "starttls").password() == ""


def test_the_settings_have_a_place_of_their_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert user_file().name == "settings.toml"
    assert user_file().parent.name == "handover"
