"""Reads the settings from a file, the environment and options, and reports all faults at once."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handover.errors import Finding, UnusableInput
from handover.jobs.parse import decode_utf8, language_of, parse_text, read_record_bytes
from handover.jobs.source_map import SourceMap, find_lines
from handover.service.config import PREFIX, SETTINGS, Config, hide_password, variable_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

FILE_VARIABLE = f"{PREFIX}SETTINGS"
"""The environment variable that names the settings file."""

EXAMPLE_SETTINGS = 'mail = { host = "smtp.example.com", security = "starttls", user = "office@example.com" }'

Raw = str | int | None
"""The value of an option; None or blank if it is left out."""

_NAMES = {setting.key: name for name, setting in SETTINGS.items()}
_TABLES = tuple(dict.fromkeys(key.partition(".")[0] for key in _NAMES))


def user_file() -> Path:
    """Return the settings file that is read if none is named."""
    import platformdirs  # noqa: PLC0415  needless where a file is named

    return Path(platformdirs.user_config_dir("handover", appauthor=False)) / "settings.toml"


def read_config(file: Path | None, environ: Mapping[str, str], options: Mapping[str, Raw]) -> Config:
    """Return the settings.

    Args:
        file: The settings file; None for the one that HANDOVER_SETTINGS names, else the user's own, which
            may be missing.
        environ: The environment variables.
        options: The options of the command line, by the name of the setting.

    Raises:
        UnusableInput: All faults of the file, the environment and the options.
    """
    named = file or (_expand_user(Path(environ[FILE_VARIABLE])) if environ.get(FILE_VARIABLE) else None)
    used = named or user_file()
    written = (
        *_file_entries(used, must_exist=named is not None),
        *_environment_entries(environ),
        *_option_entries(options),
    )
    entries = [each for each in written if isinstance(each, _Entry)]
    findings = [each for each in written if isinstance(each, Finding)]
    findings += [each.fault("cannot be used") for each in entries if not each.is_valid]
    findings += _missing_host(entries)
    if findings:
        raise UnusableInput(findings)
    values = {each.name: each.convert() for each in entries}
    origins = {each.name: each.origin for each in entries}
    config = Config(**values, file=used, origins=origins)
    return _with_password(config, environ)


def _with_password(config: Config, environ: Mapping[str, str]) -> Config:
    """Return the settings with the password, whose variable is itself a setting."""
    variable = config.mail_password_env
    if not environ.get(variable):
        return config
    origins = {**config.origins, "mail_password": f"environment {variable}"}
    return replace(config, mail_password=environ[variable], origins=origins)


@dataclass(frozen=True)
class _Entry:
    """A value as written, and where it is written."""

    name: str
    value: object
    origin: str
    field: str
    file: Path | None = None
    line: int | None = None

    @property
    def is_valid(self) -> bool:
        """Whether the value is as the setting expects."""
        return SETTINGS[self.name].is_valid(self.value)

    def convert(self) -> Any:
        """Return the value in the type of its field. A path in the file is relative to the file."""
        to_field = SETTINGS[self.name].convert
        value = to_field(self.value) if to_field else self.value
        if not isinstance(value, Path) or self.origin.startswith("option "):  # the shell has expanded these
            return value
        return _expand_user(value) if self.file is None else self.file.parent / _expand_user(value)

    def fault(self, problem: str) -> Finding:
        """Return a finding with an example that can be copied."""
        setting = SETTINGS[self.name]
        example = setting.example.strip('"')
        if self.file is not None:
            example = setting.line
        elif self.field.startswith(PREFIX):
            example = f"{self.field}={example}"
        else:
            example = f"{self.field} {example}"
        file = str(self.file) if self.file else None
        return Finding(problem, file, self.line, self.field, setting.expected, example)


def _expand_user(path: Path) -> Path:
    """Return a path with "~" replaced by the home folder; unchanged if there is no such user."""
    with suppress(RuntimeError):
        return path.expanduser()
    return path


def _environment_entries(environ: Mapping[str, str]) -> Iterator[_Entry]:
    for name in SETTINGS:
        variable = variable_of(name)
        text = environ.get(variable, "").strip()
        if text and name != "mail_password":
            yield _Entry(name, _number_or_text(name, text), f"environment {variable}", variable)


def _number_or_text(name: str, text: str) -> int | str:
    """Return a text of the environment in its type in the file: a number if the setting is one."""
    is_number = SETTINGS[name].example.isdigit() and text.isascii() and text.isdigit()
    return int(text) if is_number and len(text) < 10 else text  # noqa: PLR2004  longer ones are out of range


def _option_entries(options: Mapping[str, Raw]) -> Iterator[_Entry]:
    for name, value in options.items():
        if value is not None and value != "":
            option = SETTINGS[name].option or name
            yield _Entry(name, value, f"option {option}", option)


def _file_entries(file: Path, *, must_exist: bool) -> Iterator[_Entry | Finding]:
    """Yield the entries of a settings file, with a finding for each unknown key."""
    if not must_exist and not _is_there(file):
        return
    data = read_record_bytes(file)
    if data == b"":
        return
    text = data if isinstance(data, Finding) else decode_utf8(data)
    if isinstance(text, Finding):
        yield _file_finding(text, file)
        return
    tables = parse_text(text)
    if isinstance(tables, list):
        yield from (_file_finding(each, file) for each in tables)
        return
    lines = find_lines(text, language_of(text))
    for name, table in tables.items() if isinstance(tables, dict) else ():
        if name not in _TABLES or not isinstance(table, dict):
            yield _unknown_table(name, file, lines)
            continue
        for key, value in table.items():
            yield _file_entry(f"{name}.{key}", value, file, lines.line_of((name, key)))


def _is_there(file: Path) -> bool:
    """Return whether there is a settings file to read; a folder without access has none."""
    try:
        return file.exists()
    except PermissionError:
        return False


def _file_entry(key: str, value: object, file: Path, line: int | None) -> _Entry | Finding:
    place: dict[str, Any] = {"file": str(file), "line": line, "field": key}
    name = _NAMES.get(key)
    if name is None:
        return _unknown_key(key, place)
    if SETTINGS[name].secret:
        problem = "is a secret and does not belong in a file that others may read"
        return Finding(problem, **place, **_secret_hint(name))
    if isinstance(value, str) and hide_password(value) != value:
        problem = "has a password, which does not belong in a file that others may read"
        expected = f"the URL without it, or the whole URL in the environment variable {variable_of(name)}"
        return Finding(problem, **place, expected=expected, example=SETTINGS[name].line)
    return _Entry(name, value, f"{file.name}:{line}", key, file, line)


def _secret_hint(name: str) -> dict[str, Any]:
    """Return where a secret belongs, and how to set it."""
    if name == "mail_password":
        expected = "password_env, and the password in that variable"
        return {"expected": expected, "example": SETTINGS["mail_password_env"].line}
    variable = variable_of(name)
    return {
        "expected": f"the environment variable {variable}",
        "example": f"read -rs {variable} && export {variable}",
    }


def _unknown_key(key: str, place: Mapping[str, Any]) -> Finding:
    """Return a finding about an unknown key, with the nearest key of its table, else of any table."""
    from handover.jobs.fields import nearest_word  # noqa: PLC0415  only for a finding; pydantic is slow to import

    table, _, word = key.partition(".")
    known = {each.partition(".")[2]: each for each, name in _NAMES.items() if not SETTINGS[name].secret}
    own = [each for each, whole in known.items() if whole.startswith(f"{table}.")]
    likely = known[nearest_word(word, own) or nearest_word(word, known) or own[0]]
    line = SETTINGS[_NAMES[likely]].line
    here = likely.startswith(f"{table}.")
    example = line if here else f"{likely.partition('.')[0]} = {{ {line} }}"
    return Finding("is not a setting", **place, expected=f"one of {', '.join(own)}", example=example)


def _unknown_table(name: str, file: Path, lines: SourceMap) -> Finding:
    from handover.jobs.fields import nearest_word  # noqa: PLC0415  only for a finding; pydantic is slow to import

    likely = name if name in _TABLES else nearest_word(name, _TABLES) or "mail"
    setting = next(each for each in SETTINGS.values() if each.key.startswith(f"{likely}."))
    return Finding(
        "is not a table" if name in _TABLES else "is not a table of the settings",
        file=str(file),
        line=lines.line_of((name,)),
        field=name,
        expected=f"one of {', '.join(f'[{each}]' for each in _TABLES)}",
        example=f"{likely} = {{ {setting.line} }}",
    )


def _file_finding(finding: Finding, file: Path) -> Finding:
    """Return a finding about a TOML file as one about the settings."""
    return Finding(
        finding.problem,
        file=str(file),
        line=finding.line,
        field=finding.field,
        expected="the settings: plain text (TOML) with lines of the form name = value, saved as UTF-8 (in "
        "Notepad with File, Save as, Encoding: UTF-8)",
        example=EXAMPLE_SETTINGS,
    )


def _missing_host(entries: Sequence[_Entry]) -> Iterator[Finding]:
    """Yield a finding where the file describes a mail server without its name."""
    in_file = [each for each in entries if each.file and each.name.startswith("mail_")]
    if in_file and not any(each.name == "mail_host" for each in entries):
        host = SETTINGS["mail_host"]
        yield Finding("is missing", str(in_file[0].file), in_file[0].line, host.key, host.expected, host.line)


def misspelt_variables(environ: Mapping[str, str], config: Config) -> list[Finding]:
    """Return a caution for each environment variable whose name is similar to that of a setting.

    Args:
        environ: The environment variables.
        config: The settings, one of which names a variable itself.
    """
    from handover.jobs.fields import nearest_word  # noqa: PLC0415  only for a finding; pydantic is slow to import

    known = {variable_of(name).removeprefix(PREFIX).casefold() for name in SETTINGS} | {"settings"}
    findings = []
    for variable in sorted(environ.keys() - {config.mail_password_env}):
        word = variable.removeprefix(PREFIX).casefold()
        if variable.startswith(PREFIX) and word not in known and (likely := nearest_word(word, known)):
            example = PREFIX + likely.upper()
            expected = "the environment variable of a setting"
            findings.append(
                Finding("is not a setting", None, None, variable, expected, example, severity="caution")
            )
    return findings
