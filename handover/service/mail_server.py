"""The mail server that messages go through, as the settings file tells it. A password stands in no file.

[mail]
host = "smtp.example.com"
port = 587                                   # 587 with starttls, 465 with tls
security = "starttls"                        # or "tls"; never in the open
user = "office@example.com"                  # where the server asks for one
password_env = "HANDOVER_MAIL_PASSWORD"      # the environment variable that holds the password
from = "office@example.com"                  # whose account sends; else the contractor of the message
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import platformdirs

from handover.base.text import EMAIL_ADDRESS
from handover.errors import Finding, UnusableInput
from handover.jobs.fields import nearest_word
from handover.jobs.parse import decode_utf8, language_of, parse_text, read_record_bytes
from handover.jobs.source_map import find_lines

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

Security = Literal["starttls", "tls"]

PORTS: Mapping[str, int] = {"starttls": 587, "tls": 465}
"""Of message submission: RFC 6409, RFC 8314."""

PASSWORD_ENV = "HANDOVER_MAIL_PASSWORD"  # noqa: S105  the name of a variable, no password

EXAMPLE_SETTINGS = '[mail] host = "smtp.example.com", security = "starttls", user = "office@example.com"'


@dataclass(frozen=True)
class MailServer:
    """Where messages go out, and how to log in there.

    Attributes:
        host: Its name, for which its certificate must speak.
        port: Of message submission.
        security: TLS from the first byte, or asked for by STARTTLS before anything else is said.
        user: None where the server asks for no login.
        password_env: The environment variable that holds the password.
        sender: Whose account sends; None for the contractor of each message.
    """

    host: str
    port: int
    security: Security
    user: str | None = None
    password_env: str = PASSWORD_ENV
    sender: str | None = None

    def password(self, environ: Mapping[str, str]) -> str:
        """Return the password, empty where none is asked for.

        Raises:
            UnusableInput: It is not in the environment, or cannot be told to a server.
        """
        if self.user is None:
            return ""
        password = environ.get(self.password_env, "")
        if password and password.isascii():
            return password
        problem = "holds letters that a mail server does not take" if password else "holds no password"
        finding = Finding(
            problem,
            field=self.password_env,
            expected=f"the password of {self.user} in this environment variable",
            example=f"read -rs {self.password_env} && export {self.password_env}",
        )
        raise UnusableInput([finding])


def settings_file() -> Path:
    """Return where the settings are kept when no file is named."""
    return Path(platformdirs.user_config_dir("handover", appauthor=False)) / "settings.toml"


def read_mail_server(file: Path) -> MailServer:
    """Return the mail server that a settings file tells of.

    Raises:
        UnusableInput: All that is wrong with the file.
    """
    data = read_record_bytes(file)
    text = data if isinstance(data, Finding) else decode_utf8(data)
    if isinstance(text, Finding):
        raise UnusableInput([_settings_finding(text, file)])
    tables = parse_text(text)
    if isinstance(tables, list):
        raise UnusableInput([_settings_finding(each, file) for each in tables])
    mail = tables.get("mail")
    lines = find_lines(text, language_of(text))
    if not isinstance(mail, dict):
        problem = "has no table [mail]"
        raise UnusableInput(
            [Finding(problem, file=str(file), expected="the mail server", example=EXAMPLE_SETTINGS)]
        )
    findings = [
        Finding(
            problem,
            file=str(file),
            line=lines.line_of(("mail", key)),
            field=f"mail.{key}",
            expected=expected,
            example=example,
        )
        for key, problem, expected, example in _faults(mail)
    ]
    if findings:
        raise UnusableInput(findings)
    security: Security = mail.get("security", "starttls")
    return MailServer(
        host=mail["host"],
        port=mail.get("port", PORTS[security]),
        security=security,
        user=mail.get("user"),
        password_env=mail.get("password_env", PASSWORD_ENV),
        sender=mail.get("from"),
    )


def _settings_finding(finding: Finding, file: Path) -> Finding:
    """Return a finding about a file of TOML as one about the settings."""
    return Finding(
        finding.problem,
        file=str(file),
        line=finding.line,
        field=finding.field,
        expected="the settings, a text file in TOML",
        example=EXAMPLE_SETTINGS,
    )


FaultRow = tuple[str, str, str, str]
"""Key, problem, what was expected, an example."""


def _matches(pattern: str | re.Pattern[str]) -> Callable[[object], bool]:
    return lambda value: isinstance(value, str) and bool(re.fullmatch(pattern, value))


def _is_port(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 < value < 1 << 16


KEYS: Mapping[str, tuple[Callable[[object], bool], str, str]] = {
    "host": (_matches(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,252}[A-Za-z0-9])?"), "the name of the mail server",
             'host = "smtp.example.com"'),
    "port": (_is_port, "a number from 1 to 65535", "port = 587"),
    "security": (_matches("starttls|tls"), '"starttls" or "tls": nothing is sent in the open',
                 'security = "starttls"'),
    "user": (_matches(r"[!-~]([ -~]{0,252}[!-~])?"), "the name of the account, in plain letters",
             'user = "office@example.com"'),
    "password_env": (_matches(r"[A-Za-z_][A-Za-z0-9_]*"), "the name of an environment variable",
                     f'password_env = "{PASSWORD_ENV}"'),
    "from": (_matches(EMAIL_ADDRESS), "an email address", 'from = "office@example.com"'),
}  # fmt: skip
"""Of each key: whether a value is good, what is expected, an example."""


def _faults(mail: Mapping[str, Any]) -> Iterator[FaultRow]:
    if "host" not in mail:
        yield ("host", "is missing", *KEYS["host"][1:])
    for key, value in mail.items():
        if key == "password":
            problem = "is a password; it has no place in a file that others may read"
            yield (key, problem, "password_env, and the password in that variable", KEYS["password_env"][2])
        elif key not in KEYS:
            yield (
                key,
                "is not a setting of the mail server",
                f"one of {', '.join(KEYS)}",
                nearest_word(key, KEYS) or "host",
            )
        elif not KEYS[key][0](value):
            yield (key, "cannot be used", *KEYS[key][1:])
