"""The files that a record names: pictures and a logger's readings, in its own folder or in memory."""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import partial
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Protocol

from handover.base.text import quoted_text
from handover.errors import Finding
from handover.jobs.fields import TextField

if TYPE_CHECKING:
    from collections.abc import Mapping

_PICTURES = (".png", ".jpg", ".jpeg")


@dataclass(frozen=True)
class RelativePathField(TextField):
    """The path of a file in the record's own folder or below it."""

    longest: int = 200
    example: str = "photos/door.jpg"
    pictures: bool = False

    def parse(self, raw: object) -> str | Finding:
        """Return the path, or a finding. `AttachedFiles` checks whether the file exists."""
        text = super().parse(raw)
        if isinstance(text, Finding):
            return text
        fault = partial(
            Finding,
            expected="a file in the folder of this record, or in one below it",
            example=f'"{self.example}"',
        )
        path = PurePosixPath(text)
        if "\\" in text:
            return fault(f"{quoted_text(text)} has a backslash; write / between folders")
        if path.is_absolute() or ".." in path.parts or ":" in text or text.startswith("~"):
            return fault(f"{quoted_text(text)} leads out of the folder of this record")
        if self.pictures and path.suffix.lower() not in _PICTURES:
            return fault(f"{quoted_text(text)} is not a picture ({', '.join(_PICTURES)})")
        return text


class AttachedFiles(Protocol):
    """The files that a record may name, by their names in the record."""

    def problem(self, name: str) -> Finding | None:
        """Return what is wrong with a file of that name, or None where it can be read."""

    def exists(self, name: str) -> bool:
        """Return whether anything exists with that name."""

    def read(self, name: str, at_most: int | None = None) -> bytes:
        """Return the bytes of a file; of one that is larger than a limit, the first of them.

        Raises:
            OSError: It cannot be read.
        """


@dataclass(frozen=True)
class FolderFiles:
    """The files in a folder and below it. Links are followed if they stay inside."""

    folder: Path

    def problem(self, name: str) -> Finding | None:
        """Return what is wrong with a file of that name, or None where it can be read."""
        fault = partial(
            Finding,
            expected="a file in the folder of this record, or in one below it",
            example='"photos/door.jpg"',
        )
        try:
            path = (self.folder / name).resolve(strict=True)
        except (OSError, RuntimeError):  # missing, not readable, or a circle of links
            return fault(f"{quoted_text(name)} does not exist")
        if not path.is_relative_to(self.folder.resolve()):
            return fault(f"{quoted_text(name)} is a link that leads out of the folder of this record")
        return None if path.is_file() else fault(f"{quoted_text(name)} is not a file")

    def exists(self, name: str) -> bool:
        """Return whether anything exists with that name."""
        return os.path.lexists(self.folder / name)

    def read(self, name: str, at_most: int | None = None) -> bytes:
        """Return the bytes of a file; of one that is larger than a limit, the first of them."""
        with (self.folder / name).open("rb") as file:
            return file.read(at_most)


@dataclass(frozen=True)
class MemoryFiles:
    """Files in memory, by name."""

    files: Mapping[str, bytes]

    def problem(self, name: str) -> Finding | None:
        """Return what is wrong with a file of that name, or None where it can be read."""
        if name in self.files:
            return None
        known = ", ".join(map(quoted_text, self.files)) or "none"
        return Finding(
            f"{quoted_text(name)} is not among the files of this record", expected=f"one of: {known}"
        )

    def exists(self, name: str) -> bool:
        """Return whether there is a file with that name."""
        return name in self.files

    def read(self, name: str, at_most: int | None = None) -> bytes:
        """Return the bytes of a file; of one that is larger than a limit, the first of them."""
        if name not in self.files:
            raise FileNotFoundError(name)
        return self.files[name][:at_most]
