"""File names that every system accepts and none interprets (RFC 8493, sections 5 and 6).

A name is brought to normal form C. A character that some system forbids becomes "-". A name that differs from
another only by case or by normal form gets a number, because on some systems the two would be one file.
"""

from __future__ import annotations

import re
import unicodedata
from hashlib import sha256
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from handover.errors import Finding, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Mapping

MAX_NAME_BYTES = 120
"""Longest part of a path in bytes of UTF-8: half of what most systems accept."""

# Forbidden by Windows; "%" is allowed everywhere, but readers of manifests disagree on how it is written.
_FORBIDDEN = re.compile(r'[<>:"/\\|?*%]')
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(\.|$)", re.IGNORECASE)


def safe_name(name: str) -> str:
    """Return one part of a path in a form that every system accepts."""
    name = "".join("-" if _is_unprintable(each) else each for each in unicodedata.normalize("NFC", name))
    name = _FORBIDDEN.sub("-", name).strip(" ").rstrip(". ")
    if not name or name.startswith((".", "~")) or _RESERVED.match(name):
        name = f"_{name}"
    return name if len(name.encode()) <= MAX_NAME_BYTES else _shorten(name)


def safe_path(path: str) -> str:
    """Return a path, "/" between its parts, in a form that every system accepts.

    Raises:
        UnusableInput: It leads out of its folder.
    """
    parts = path.split("/")
    if any(part in {"", ".", ".."} for part in parts):
        raise UnusableInput(
            [
                Finding(
                    f"the name {path!r} leads out of the bag",
                    expected="a path below the bag's folder",
                    example="photos/edge.jpg",
                )
            ]
        )
    return "/".join(map(safe_name, parts))


def casefold_path(path: str) -> str:
    """Return a path folded for comparison: on some systems, two paths that fold alike are one file."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


class NameAllocator:
    """The names in a bag, each with the digests of its file; allocates names for new files."""

    def __init__(self, taken: Mapping[str, object]) -> None:
        self._spelled: dict[str, str] = {}  # every file and folder, by its folded path
        self._marks: dict[str, object] = {}  # every file
        for path, mark in taken.items():
            self._take(path, mark)

    def allocate(self, wanted: str, mark: object) -> str:
        """Return the path for a file: the one wanted, or the next one with a number.

        The next number is the first that is free, or that has a file of the same mark already.

        Args:
            wanted: A path, see `safe_path`.
            mark: Identifies the contents of the file: its digests.

        Raises:
            UnusableInput: A folder on the way is a file.
        """
        path = PurePosixPath(self._folder(safe_path(wanted)))
        candidate, number = str(path), 1
        while (key := casefold_path(candidate)) in self._spelled:
            if self._marks.get(key) == mark:
                return self._spelled[key]
            number += 1
            candidate = str(path.with_name(f"{path.stem}-{number}{path.suffix}"))
        self._take(candidate, mark)
        return candidate

    def _take(self, path: str, mark: object) -> None:
        self._marks[casefold_path(path)] = mark
        for each in (path, *map(str, PurePosixPath(path).parents[:-1])):
            self._spelled.setdefault(casefold_path(each), each)

    def _folder(self, path: str) -> str:
        """Return a path with its folder spelled as in the bag."""
        *parts, name = path.split("/")
        folder = ""
        for part in parts:
            folder = f"{folder}/{part}" if folder else part
            if casefold_path(folder) in self._marks:
                raise UnusableInput(
                    [Finding(f"the name {path!r} asks for a folder where the bag has a file, {folder!r}")]
                )
            folder = self._spelled.get(casefold_path(folder), folder)
        return f"{folder}/{name}" if folder else name


def _is_unprintable(character: str) -> bool:
    """Return whether a character is a control, invisible, or unknown to Unicode."""
    return unicodedata.category(character)[0] == "C" or unicodedata.category(character) in {"Zl", "Zp"}


def _shorten(name: str) -> str:
    """Shorten a name; a digest keeps it distinct."""
    stem, suffix = PurePosixPath(name).stem, PurePosixPath(name).suffix
    if len(suffix.encode()) > MAX_NAME_BYTES // 4:
        stem, suffix = name, ""
    tail = f"-{sha256(name.encode()).hexdigest()[:8]}{suffix}"
    kept = stem.encode()[: MAX_NAME_BYTES - len(tail.encode())].decode(errors="ignore")
    return kept.rstrip(". ") + tail
