"""The settings of the program, read once: defaults, a file, the environment, options; later ones override.

A setting is declared once, as a field of `Config`: its default, its key in the file, what it is, what is
expected. Its environment variable is `HANDOVER_` and the name of the field in capitals. The findings,
`handover config` and the manual page follow from that; a test compares the table in the README. A secret is
not allowed in the file. It comes from the environment alone and is never printed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from handover.base.text import EMAIL_ADDRESS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

PREFIX = "HANDOVER_"
"""The prefix of every environment variable."""

MailSecurity = Literal["starttls", "tls"]


def _matches(pattern: str) -> Callable[[object], bool]:
    return lambda value: isinstance(value, str) and bool(re.fullmatch(pattern, value))


def _is_between(low: int, high: int) -> Callable[[object], bool]:
    return lambda value: isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


@dataclass(frozen=True)
class Setting:
    """The declaration of a setting.

    Attributes:
        key: Its key in the file, with the table; none for a secret.
        about: What it is, in a few words.
        unset: What happens without a value, in words.
        expected: What a value has to be.
        example: An example of a value, as in the file.
        is_valid: Returns whether a value is as expected.
        convert: Converts the value as written to that of the field.
        option: Its option on the command line.
        secret: Whether the value is never printed.
    """

    key: str
    about: str
    expected: str
    example: str
    is_valid: Callable[[object], bool]
    unset: str = ""
    convert: Callable[[Any], object] | None = None
    option: str | None = None
    secret: bool = False

    @property
    def line(self) -> str:
        """The example as a line of the file."""
        return f"{self.key.partition('.')[2]} = {self.example}"


def _setting(
    key: str,
    about: str,
    expected: str,
    example: str,
    is_valid: Callable[[object], bool],
    **details: Any,
) -> Mapping[str, Setting]:
    return {"setting": Setting(key, about, expected, example, is_valid, **details)}


def _split(text: str) -> tuple[str, ...]:
    return tuple(re.split(r"\s*,\s*", text.strip()))


_PATH = _matches(r"[^\0\n]*\S[^\0\n]*")
_WORD = _matches(r"[!-~]+")


@dataclass(frozen=True)
class Config:
    """The settings.

    Attributes:
        file: The settings file; it may be missing unless it was named.
        origins: The origin of the value of each setting: "default", "settings.toml:12",
            "environment HANDOVER_ARCHIVE", "option --in".
    """

    archive: Path | None = field(
        default=None,
        metadata=_setting(
            "archive.folder", "the folder of the archive", "the name of a folder", '"/srv/archive"',
            _PATH, unset="none", convert=Path, option="--in",
        ),
    )  # fmt: skip
    catalog: str | None = field(
        default=None,
        repr=False,
        metadata=_setting(
            "archive.catalog", "the PostgreSQL database of the catalog", "the URL of a database",
            '"postgresql://office@db.example.com/handover"', _matches(r"[a-z][a-z0-9+]*://[^\s]*"),
            unset="a file in the archive", option="--catalog",
        ),
    )  # fmt: skip
    archive_group: str | None = field(
        default=None,
        metadata=_setting(
            "archive.group", "the group that may read and write a new archive", "the name of a group",
            '"office"', _WORD, unset="a new archive is its owner's alone",
        ),
    )  # fmt: skip
    open_meteo_key: str | None = field(
        default=None,
        repr=False,
        metadata=_setting(
            "weather.open_meteo_key", "the key of a customer of Open-Meteo", "a key, in plain letters",
            '"..."', _WORD, unset="the address for non-commercial use", secret=True,
        ),
    )  # fmt: skip
    typical: Path | None = field(
        default=None,
        metadata=_setting(
            "weather.typical", "a typical year (TMY3, EPW), for the hours past the forecast",
            "the name of a file", '"greensboro.epw"', _PATH, unset="none", convert=Path, option="--typical",
        ),
    )  # fmt: skip
    language: tuple[str, ...] | None = field(
        default=None,
        metadata=_setting(
            "sheets.language", "the languages of the documents", "codes of languages, with commas between",
            '"en,es"', _matches(r"\s*[A-Za-z]{2,3}([-_]\w+)*(\s*,\s*[A-Za-z]{2,3}([-_]\w+)*)*\s*"),
            unset="the owner's", convert=_split, option="--language",
        ),
    )  # fmt: skip
    firm_language: str | None = field(
        default=None,
        metadata=_setting(
            "sheets.firm_language", "the language of crew and office", "the code of a language", '"es"',
            _matches(r"[A-Za-z]{2,3}([-_]\w+)*"), unset="the first of `--language`, else English",
            option="--firm-language",
        ),
    )  # fmt: skip
    units: Literal["us", "si"] | None = field(
        default=None,
        metadata=_setting(
            "sheets.units", "the units of the reader", '"us" or "si"', '"us"', _matches("us|si"),
            unset="those of most quantities in the record", option="--units",
        ),
    )  # fmt: skip
    paper: Literal["letter", "a4"] = field(
        default="letter",
        metadata=_setting(
            "sheets.paper", "the size of the sheets", '"letter" or "a4"', '"a4"', _matches("letter|a4"),
            option="--paper",
        ),
    )  # fmt: skip
    templates: Path | None = field(
        default=None,
        metadata=_setting(
            "sheets.templates", "a folder of texts and pages that replace those of the program",
            "the name of a folder", '"our-templates"', _PATH, unset="none", convert=Path,
            option="--templates",
        ),
    )  # fmt: skip
    workers: int | None = field(
        default=None,
        metadata=_setting(
            "batch.workers", "processes of a batch", "a number from 1 to 1000", "4", _is_between(1, 1000),
            unset="one per core", option="--workers",
        ),
    )  # fmt: skip
    worker_memory_mb: int = field(
        default=2000,
        metadata=_setting(
            "workers.memory_mb", "the memory that a worker may have, in MB", "a number from 500 to 1000000",
            "2000", _is_between(500, 1_000_000),
        ),
    )  # fmt: skip
    worker_time_s: int = field(
        default=600,
        metadata=_setting(
            "workers.time_s", "the seconds that a job may take in a worker", "a number from 10 to 86400",
            "600", _is_between(10, 86_400),
        ),
    )  # fmt: skip
    mail_host: str | None = field(
        default=None,
        metadata=_setting(
            "mail.host", "the mail server", "the name of the mail server", '"smtp.example.com"',
            _matches(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,252}[A-Za-z0-9])?"), unset="none",
        ),
    )  # fmt: skip
    mail_port: int | None = field(
        default=None,
        metadata=_setting(
            "mail.port", "the port of the mail server", "a number from 1 to 65535", "587",
            _is_between(1, 65535), unset="587 with starttls, 465 with tls",
        ),
    )  # fmt: skip
    mail_security: MailSecurity = field(
        default="starttls",
        metadata=_setting(
            "mail.security", "how the connection is encrypted",
            '"starttls" or "tls": nothing is sent unencrypted', '"starttls"', _matches("starttls|tls"),
        ),
    )  # fmt: skip
    mail_user: str | None = field(
        default=None,
        metadata=_setting(
            "mail.user", "the account, if the server requires one",
            "the name of the account, in plain letters", '"office@example.com"',
            _matches(r"[!-~]([ -~]{0,252}[!-~])?"), unset="none",
        ),
    )  # fmt: skip
    mail_password_env: str = field(
        default="HANDOVER_MAIL_PASSWORD",
        metadata=_setting(
            "mail.password_env", "the environment variable that holds the password",
            "the name of an environment variable", '"HANDOVER_MAIL_PASSWORD"',
            _matches(r"[A-Za-z_][A-Za-z0-9_]*"),
        ),
    )  # fmt: skip
    mail_from: str | None = field(
        default=None,
        metadata=_setting(
            "mail.from", "the address that sends", "an email address", '"office@example.com"',
            _matches(EMAIL_ADDRESS), unset="the contractor of the message",
        ),
    )  # fmt: skip
    mail_password: str | None = field(
        default=None,
        repr=False,
        metadata=_setting(
            "mail.password", "the password of the account", "the password, in plain letters", '"..."',
            lambda value: isinstance(value, str), unset="none", secret=True,
        ),
    )  # fmt: skip
    file: Path = Path()
    origins: Mapping[str, str] = field(default_factory=dict)

    def origin(self, name: str) -> str:
        """Return the origin of the value of a setting."""
        return self.origins.get(name, DEFAULT)


DEFAULT = "default"
"""The origin of a default value."""

SETTINGS: Mapping[str, Setting] = {
    each.name: each.metadata["setting"] for each in fields(Config) if "setting" in each.metadata
}
"""Every setting by the name of its field, in the order in which they are printed."""


def variable_of(name: str) -> str:
    """Return the environment variable of a setting."""
    return PREFIX + name.upper()


def default_text(name: str) -> str:
    """Return the default of a setting in words."""
    default = next(each.default for each in fields(Config) if each.name == name)
    return SETTINGS[name].unset if default is None else str(default)


@dataclass(frozen=True)
class SettingRow:
    """A setting as it is printed.

    Attributes:
        value: None if there is none; "(set)" for a secret.
        origin: Where the value comes from.
    """

    name: str
    value: str | int | None
    origin: str

    @property
    def key(self) -> str:
        """The key in the file; for a secret its environment variable."""
        return self.variable if SETTINGS[self.name].secret else SETTINGS[self.name].key

    @property
    def variable(self) -> str:
        """The environment variable."""
        return variable_of(self.name)

    @property
    def about(self) -> str:
        """What the setting is."""
        return SETTINGS[self.name].about

    @property
    def value_text(self) -> str:
        """The value, or what happens without one, in words."""
        return f"({default_text(self.name)})" if self.value is None else str(self.value)

    def as_json(self) -> Mapping[str, str | int | None]:
        """Return the row as JSON data."""
        setting = SETTINGS[self.name]
        return {
            "setting": self.name,
            "value": self.value,
            "from": self.origin,
            "key": None if setting.secret else setting.key,
            "variable": self.variable,
            "option": setting.option,
            "about": setting.about,
        }


def describe_settings(config: Config) -> list[SettingRow]:
    """Return every setting with its value and origin, without secrets."""
    return [SettingRow(name, _shown_value(config, name), config.origin(name)) for name in SETTINGS]


def _shown_value(config: Config, name: str) -> str | int | None:
    value = getattr(config, name)
    if value is None or isinstance(value, int):
        return value
    if SETTINGS[name].secret:
        return "(set)"
    return hide_password(",".join(value) if isinstance(value, tuple) else str(value))


def hide_password(text: str) -> str:
    """Return a URL with its password replaced by asterisks."""
    text = re.sub(r"(://[^:@/]*:).*(@)", r"\1***\2", text)
    return re.sub(r"(?i)(\b[a-z]*pass[a-z]*=)[^&\s]*", r"\1***", text)
