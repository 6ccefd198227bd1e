"""Paths in a bag: none leads out of it; no two are one file on any system (RFC 8493, sections 5 and 6)."""

from __future__ import annotations

from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from handover.base.file_names import casefold_path, free_name, safe_name
from handover.errors import Finding, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Mapping


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
        path = free_name(self._folder(safe_path(wanted)), lambda each: self._is_of_another(each, mark))
        key = casefold_path(path)
        if key in self._spelled:
            return self._spelled[key]
        self._take(path, mark)
        return path

    def _is_of_another(self, path: str, mark: object) -> bool:
        """Return whether a path is that of a folder, or of a file with another mark."""
        key = casefold_path(path)
        return key in self._spelled and self._marks.get(key) != mark

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
