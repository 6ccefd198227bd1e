"""Mistakes in the lists of a record in TOML, each with the line as it should be.

A list may be on one line, or have its items on lines of their own:

    available = ["06:30-08:00", "17:00-21:00"]
"""

from __future__ import annotations

import json
import re
import tomllib
from typing import TYPE_CHECKING, NamedTuple

from handover.errors import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

NumberedLine = tuple[int, str]

_FORM = 'name = ["first", "second"]; each between straight quotes "...", with commas between them'
_LONGEST = 400  # characters of a line that are read
_CURLY = "\u201c\u201d\u201e\u2018\u2019\u00ab\u00bb"

_OPENS = re.compile(r"^\s*(?P<key>[\w-]+)\s*=\s*(?P<value>\[.*)$")
_SEVERAL = re.compile(r"^\s*(?P<key>[\w-]+)\s*=\s*(?P<value>([\"'])[^\"']*\3\s*,\s*[\"'].*)$")
_OTHER_LINE = re.compile(r"^\s*(?:[\w-]+\s*=|\[{1,2}[a-z_]+\]{1,2}\s*(?:#.*)?$)")
_COMMENT = re.compile(r"(?:^|(?<=[\],]))\s*#.*$")
_BETWEEN = re.compile(r"[,;]|(?<=[\"'])\s+(?=[\"'])")


class _Part(NamedTuple):
    """What one line has of a list: its number, what is before its items, its items, and what ends it."""

    number: int
    before: str
    items: str
    end: str


def find_list_mistakes(lines: Sequence[NumberedLine]) -> Iterator[Finding]:
    """Yield the mistakes in the lists of a record that cannot be parsed.

    Args:
        lines: Those outside of texts of several lines, with their numbers.
    """
    for index, (number, line) in enumerate(lines):
        if opens := _OPENS.match(line[:_LONGEST]):
            yield from _find_in_list(opens["key"], _parts(lines[index:], opens["key"]))
        elif several := _SEVERAL.match(line[:_LONGEST]):
            yield _finding(
                "has several values; write them between [ and ]",
                _Part(number, f"{several['key']} = [", _COMMENT.sub("", several["value"]), "]"),
                several["key"],
            )


def lines_of_items(lines: Sequence[NumberedLine]) -> set[int]:
    """Return the numbers of the lines that have items of a list, and not its key."""
    opened = ((index, _OPENS.match(line[:_LONGEST])) for index, (_, line) in enumerate(lines))
    return {
        part.number
        for index, opens in opened
        if opens is not None
        for part in _parts(lines[index:], opens["key"])[1:]
    }


def _parts(lines: Sequence[NumberedLine], key: str) -> list[_Part]:
    """Return what each line has of the list that begins in the first of them."""
    parts: list[_Part] = []
    for number, whole in lines:
        line = whole[:_LONGEST]
        if parts and _OTHER_LINE.match(line):
            break
        before = "" if parts else f"{key} = ["
        items = _COMMENT.sub("", line if parts else _OPENS.sub(r"\g<value>", line)[1:]).strip()
        is_last = items.endswith("]")
        end = "]" if is_last else "," if items.endswith(",") else ""
        parts.append(_Part(number, before, items.removesuffix(end).rstrip(", "), end))
        if is_last:
            break
    while len(parts) > 1 and not (parts[-1].items or parts[-1].end):
        parts.pop()
    return parts


def _find_in_list(key: str, parts: Sequence[_Part]) -> Iterator[Finding]:
    """Yield the mistakes in one list."""
    last = max((part.number for part in parts if part.items), default=0)
    for part in parts:
        if not _is_list(f"[{part.items}]"):
            yield _finding(_problem(part.items), part, key)
        elif part.items and not part.end and part.number < last:
            yield _finding("has no comma at its end", part._replace(end=","), key)
    if parts[-1].end != "]" and not (len(parts) == 1 and not _is_list(f"[{parts[0].items}]")):
        yield _finding("has a [ that is not closed", parts[-1]._replace(end="]"), key)


def _problem(items: str) -> str:
    """Return what is wrong with the items of a list that cannot be parsed."""
    if any(each in items for each in _CURLY):
        return 'has curly quotes; write straight ones "'
    if items.count('"') % 2 or ('"' not in items and items.count("'") % 2):
        return "has quotes that are not closed"
    if re.search(r"[\"']\s+[\"']", items):
        return "has no comma between its values"
    if not re.search(r"[\"']", items):
        return "has no quotes around its text"
    return "has a value without quotes, or a quote too many"


def _finding(problem: str, part: _Part, key: str) -> Finding:
    """Return the finding, with the line to paste."""
    end = part.end or ("]" if part.before else "")
    right = f"{part.before}{', '.join(_quote(part.items))}{end}"
    return Finding(problem, line=part.number, field=key, expected=_FORM, example=right)


def _quote(items: str) -> Iterator[str]:
    """Yield each item as it should be written, in straight quotes."""
    straight = items.translate(dict.fromkeys(map(ord, _CURLY), '"'))
    for each in _BETWEEN.split(straight):
        text = " ".join(each.replace('"', " ").strip().strip("'[]").split())
        if text:
            yield json.dumps(text, ensure_ascii=False)


def _is_list(text: str) -> bool:
    """Return whether a text is a list of TOML as it is."""
    try:
        tomllib.loads(f"x = {text}")
    except ValueError:
        return False
    return True
