"""Names of files that any system takes and none obeys.

A name is put in normal form C. What some system forbids becomes "-"; a name that differs from another one
only by case or by normal form gets a number, for on some systems the two would be one file.
"""

from __future__ import annotations

import re
import unicodedata
from hashlib import sha256
from pathlib import PurePath, PurePosixPath
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

MAX_NAME_BYTES = 120
"""Longest part of a path in bytes of UTF-8: half of what most systems accept."""

MAX_ASCII_NAME = 100
"""Longest name that `ascii_name` returns."""

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


def ascii_name(path: str) -> str:
    """Return the last part of a path as a name of ASCII letters, digits, ".", "_" and "-".

    It begins with a letter, a digit or "_", so that no command takes it for an option.
    """
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", PurePath(path).name).lstrip(".-")
    return name[-MAX_ASCII_NAME:].lstrip(".-") or "file"


def casefold_path(path: str) -> str:
    """Return a path folded for comparison: on some systems, two paths that fold alike are one file."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def free_name(path: str, is_taken: Callable[[str], bool]) -> str:
    """Return a path, or the next one with a number after its stem, that is not taken."""
    wanted, free, number = PurePath(path), path, 1
    while is_taken(free):
        number += 1
        free = str(wanted.with_name(f"{wanted.stem}-{number}{wanted.suffix}"))
    return free


def plain_slug(text: str) -> str:
    """Return a text in small letters and digits, with "-" between: "Lee's Patio" is "lee-s-patio".

    It is "job" where nothing of the text remains.
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().casefold()
    return re.sub("[^a-z0-9]+", "-", plain).strip("-") or "job"


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
