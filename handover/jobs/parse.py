"""Parses the bytes of a file to tables of TOML or JSON, with findings about its syntax."""

from __future__ import annotations

import json
import re
import stat
import tomllib
from functools import partial
from typing import TYPE_CHECKING, Any

from handover.base.text import quoted_text
from handover.errors import Finding
from handover.jobs.list_mistakes import find_list_mistakes, lines_of_items
from handover.jobs.source_map import MAX_DEPTH, Language, find_lines, join_path

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path as FilePath

MAX_RECORD_BYTES = 1_000_000  # bytes; a record is a few thousand

_WHAT = "a job record: a plain text file such as `handover new` writes (in TOML; JSON is read, too)"
_SAVE_AGAIN = "in Notepad: File, Save as, Encoding: UTF-8"
_SAVE_PLAIN = "in the program that wrote it: File, Save as, Plain text (.txt), UTF-8"
_HOW = "handover new job.toml writes one to fill in"
_TOO_DEEP = Finding("is nested more deeply than any job record", expected=_WHAT, example=_HOW)


def read_record_bytes(path: FilePath) -> bytes | Finding:
    """Return the bytes of a record, or a finding. Nothing larger than `MAX_RECORD_BYTES` is read."""
    fault = partial(Finding, expected=_WHAT, example=_HOW)
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            return fault("is a folder, not a file")
        if not stat.S_ISREG(found.st_mode):
            return fault("is not an ordinary file")
        if found.st_size > MAX_RECORD_BYTES:
            return fault(f"has {found.st_size:,} bytes; a job record has at most {MAX_RECORD_BYTES:,}")
        with path.open("rb") as file:
            data = file.read(MAX_RECORD_BYTES + 1)
    except FileNotFoundError:
        return fault("does not exist")
    except (OSError, ValueError) as error:  # a name with a zero byte raises ValueError
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        return fault(f"cannot be read ({reason})")
    return data if len(data) <= MAX_RECORD_BYTES else fault(f"has more than {MAX_RECORD_BYTES:,} bytes")


def decode_utf8(data: bytes) -> str | Finding:
    """Return the text of a record, or a finding. A byte order mark of UTF-8 is dropped."""
    fault = partial(Finding, expected="the same text, saved again as UTF-8", example=_SAVE_AGAIN)
    not_plain = partial(Finding, expected="the same in plain text", example=_SAVE_PLAIN)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return fault('is saved in the encoding "Unicode" (UTF-16), and this program reads UTF-8')
    if data.startswith(b"{\\rtf"):
        return not_plain("is a document with fonts and layout (rich text), not plain text")
    if b"\0" in data:
        kind = "a document of an office program, " if data.startswith(b"PK") else ""
        return not_plain(f"holds binary data, not text: {kind}not a plain text file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        letter = data[error.start : error.start + 1].decode("cp1252", "replace")
        return fault(
            f"is saved in an older encoding: the letter {quoted_text(letter)}, byte "
            f"0x{data[error.start]:02x}, is not UTF-8",
            line=line,
        )
    if "\n" not in text:  # lines end as on an old Macintosh
        text = text.replace("\r", "\n")
    if not text.strip():
        return Finding("is empty", expected=_WHAT, example=_HOW)
    return text


def language_of(text: str) -> Language:
    """Return the language of a text by its content: JSON begins with a brace, TOML cannot."""
    return "json" if text.lstrip().startswith("{") else "toml"


def parse_text(text: str) -> dict[str, Any] | list[Finding]:
    """Return the tables of a text, or findings about its syntax."""
    try:
        tables: dict[str, Any] = json.loads(text) if language_of(text) == "json" else tomllib.loads(text)
    except RecursionError:
        return [_TOO_DEEP]
    except json.JSONDecodeError as error:
        return _find_duplicates(text) or [_json_fault(error)]
    except ValueError as error:  # TOMLDecodeError, and integers of thousands of digits
        return _find_duplicates(text) or _toml_faults(text, str(error))
    if _is_too_deep(tables):
        return [_TOO_DEEP]
    return _find_duplicates(text) or _plain_tables(tables)


def _is_too_deep(tables: Any) -> bool:
    """Return whether tables are nested more deeply than in any record; those could exhaust the stack."""
    level = [tables]
    for _ in range(MAX_DEPTH):
        level = [
            item
            for value in level
            if isinstance(value, dict | list)
            for item in (value.values() if isinstance(value, dict) else value)
        ]
    return any(isinstance(value, dict | list) for value in level)


def _plain_tables(value: Any) -> Any:
    """Return tables without nulls: other programs write null for a field that is left out.

    Half of a surrogate pair in a key is shown by its code: no table can have such a key.
    """
    if isinstance(value, dict):
        return {_plain_key(key): _plain_tables(each) for key, each in value.items() if each is not None}
    return [_plain_tables(each) for each in value] if isinstance(value, list) else value


def _plain_key(key: str) -> str:
    return key.encode(errors="backslashreplace").decode()


def _find_duplicates(text: str) -> list[Finding]:
    twice = find_lines(text, language_of(text)).duplicates
    tables = {path for path, _, _ in twice}
    return [
        Finding(
            f"is written twice, first on line {first}",
            line=again,
            field=join_path(path),
            expected="each key once",
            example="remove one of the two",
        )
        for path, first, again in twice
        if not any(path[:end] in tables for end in range(1, len(path)))
    ]


def _json_fault(error: json.JSONDecodeError) -> Finding:
    hints = {
        "Expecting property name enclosed in double quotes": "one comma too many, or a key without quotes",
        "Illegal trailing comma before end of object": "one comma too many before }",
        "Expecting value": "a value is missing, or text has no quotes",
        "Expecting ',' delimiter": "a comma is missing, or text has no quotes",
        "Extra data": "there is text after the closing brace",
        "Unterminated string starting at": "quotes are not closed",
    }
    hint = hints.get(error.msg, error.msg)
    return Finding(
        f"cannot be read as JSON at column {error.colno}: {hint}",
        line=error.lineno,
        expected="JSON",
        example='"thickness": "4 in"',
    )


# Usual mistakes in TOML: a pattern for the line after its key, the problem, the right value.
_KEY = r"^\s*(?P<key>[\w.-]+)\s*"
_NUMBER = r"[-+]?\d+(?:\.\d+)?"
_MISTAKES = tuple(
    (re.compile(_KEY + pattern), problem, example)
    for pattern, problem, example in (
        (r":\s*(?P<value>\S.*)$", "has a colon; write =", "{value}"),
        (r"=\s*(#.*)?$", "has nothing after the =; leave the line out or write a value", '"..."'),
        (
            r"=\s*(?P<value>[\u201c\u201d\u201e\u2018\u2019\u00ab].*)$",
            'has curly quotes; write straight ones "',
            "{value}",
        ),
        (
            r"=\s*(?P<plain>\d{4}-\d\d-\d\d[T ]\d\d:\d\d)\s*(#.*)?$",
            "is a time without seconds",
            "{plain}:00",
        ),
        (
            rf"=\s*(?P<value>{_NUMBER}\s*,\s*{_NUMBER})\s*(#.*)?$",
            "has two numbers; write a place in quotes",
            "{value}",
        ),
        (
            r"=\s*(?P<value>True|TRUE|False|FALSE|[Yy]es|YES|[Nn]o|NO)\s*(#.*)?$",
            "is neither true nor false; write one of them in lower case",
            "{flag}",
        ),
        (r'=\s*"(?P<value>[^"]*)$', "has quotes that are not closed", "{value}"),
    )
)
_WITHOUT_QUOTES = re.compile(_KEY + r"=\s*(?P<value>[^\s\"'\[{#][^#]*?)\s*(#.*)?$")
_DECIMAL_COMMA = re.compile(_KEY + r"=\s*(?P<whole>[-+]?\d+),(?P<rest>\d+)\s*(#.*)?$")
_TRIPLE_QUOTES = re.compile('"""|' + "'''")
_FORM = 'name = value; words, measures and times between straight quotes "..."'


def _toml_faults(text: str, message: str) -> list[Finding]:
    """Return the usual mistakes, line by line, and the parser's own message where they do not explain it."""
    code = _code_lines(text)
    items = lines_of_items(code)
    usual = (_mistake(line, words) for line, words in code if line not in items)
    of_lists = list(find_list_mistakes(code))
    findings = [*filter(None, usual), *of_lists]
    findings.sort(key=lambda each: each.line or 0)
    if "at end of document" in message and (opened := _unclosed_text(text)) is not None:
        return [*findings, opened]
    place = re.search(r"line (\d+), column (\d+)", message)
    line = int(place[1]) if place else text.rstrip().count("\n") + 1
    # The parser stops at the first fault, sometimes at the beginning of the next line, or past a list.
    near = {line, line - 1} | ({each.line for each in of_lists} if "array" in message else set())
    if any(finding.line in near for finding in findings):
        return findings
    reason = re.sub(r"\s*\(at .*\)$", "", message).splitlines()[0][:120]
    own = Finding(
        f"is not written as a record must be (in TOML): {reason}"
        + (f" at column {place[2]}" if place else ""),
        expected=f"lines of the form {_FORM}; below headings such as [slab]",
        example='thickness = "4 in"',
        line=line,
    )
    return sorted([own, *findings], key=lambda finding: finding.line or 0)


def _unclosed_text(text: str) -> Finding | None:
    """Return the finding for a text of several lines that is never closed, at the line where it opens."""
    opened: tuple[int, str] | None = None
    for number, line in enumerate(text.split("\n"), start=1):
        for quotes in _TRIPLE_QUOTES.findall(line):
            if opened is None:
                opened = number, quotes
            elif opened[1] == quotes:
                opened = None
    if opened is None:
        return None
    begins, quotes = opened
    problem = f"opens a text with {quotes} that is never closed"
    return Finding(problem, line=begins, expected=f"{quotes} at its end", example=f"{quotes}A text{quotes}")


def _code_lines(text: str) -> list[tuple[int, str]]:
    """Return the lines outside multi-line text, with their numbers."""
    lines, inside = [], False
    for number, line in enumerate(text.split("\n"), start=1):
        toggles = line.count('"""') + line.count("'''")
        if not inside and not toggles:
            lines.append((number, line))
        inside ^= toggles % 2 == 1
    return lines


def _mistake(line: int, words: str) -> Finding | None:
    """Return the usual mistake in a line, with the whole line as it should be, or None."""
    words = words[:400]
    if comma := _DECIMAL_COMMA.match(words):
        group = len(comma["rest"]) == 3 and not comma["whole"].startswith("0")  # noqa: PLR2004 - thousands
        number = f"{comma['whole']}{'' if group else '.'}{comma['rest']}"
        problem = "has a comma; decimals have a point" + (", and thousands nothing" if group else "")
        return Finding(
            problem, line=line, field=comma["key"], expected=_FORM, example=f"{comma['key']} = {number}"
        )
    for pattern, problem, example in _MISTAKES:
        if match := pattern.match(words):
            parts = match.groupdict()
            value = _in_quotes(parts.get("value") or "...")
            flag = "true" if (parts.get("value") or "").casefold() in {"true", "yes"} else "false"
            right = example.format(value=value, plain=parts.get("plain"), flag=flag)
            key = match["key"]
            return Finding(problem, line=line, field=key, expected=_FORM, example=f"{key} = {right}")
    if (name := words.strip().rstrip(":")).isidentifier() and name.lower() in (headings := _headings()):
        right = headings[name.lower()]
        return Finding("has no brackets", line=line, field=name, expected="a heading", example=right)
    bare = _WITHOUT_QUOTES.match(words)
    if bare is None or _is_value(bare["value"]):
        return None
    right = f"{bare['key']} = {_in_quotes(bare['value'])}"
    problem = "has no quotes around its text"
    return Finding(problem, line=line, field=bare["key"], expected=_FORM, example=right)


def _headings() -> dict[str, str]:
    """Return the headings of a record's tables by their names: "[site]", "[[ticket]]"."""
    from handover.jobs.record import headings  # noqa: PLC0415 - slow to load, and only for a finding

    return headings()


def _is_value(text: str) -> bool:
    """Return whether a text is a value of TOML as it is."""
    try:
        tomllib.loads(f"x = {text}")
    except ValueError:
        return False
    return True


def _in_quotes(value: str) -> str:
    """Return a value as it should be written: in straight quotes, feet and inches by their letters."""
    text = re.sub(r"\s+#.*$", "", value).strip()
    if re.fullmatch(r"true|false|[-+]?\d+(?:\.\d+)?|\[.*\]", text):
        return text
    text = re.sub(r"(?<=[0-9½¼¾])\s*\"$", " in", re.sub(r"(?<=[0-9½¼¾])\s*'(?=\s|$|[0-9])", " ft ", text))
    text = re.sub('["\\\\\u201c\u201d\u201e\u2018\u2019\u00ab\u00bb]', "", text)
    return f'"{" ".join(text.split())[:120]}"'


def with_mistakes_corrected(text: str, faults: Iterable[Finding]) -> str:
    """Return a text with its faulty lines written as the findings show.

    It is for further findings only, so that all come at once; no record is read from it.
    """
    right = {each.line: each.example or "" for each in faults if each.field and each.example}
    lines = [right.get(number, line) for number, line in enumerate(text.split("\n"), start=1)]
    return "\n".join(lines)
