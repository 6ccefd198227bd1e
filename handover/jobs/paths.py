"""Names of files that lie beside the record."""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import partial
from pathlib import Path, PurePosixPath

from handover.errors import Finding
from handover.jobs.fields import Text
from handover.units import shown

_PICTURES = (".png", ".jpg", ".jpeg")


@dataclass(frozen=True)
class RelativePath(Text):
    """The path of a file in the record's own folder or below it."""

    longest: int = 200
    example: str = "photos/door.jpg"
    pictures: bool = False

    def read(self, written: object) -> str | Finding:
        """Return the path, or a finding. That the file is there is for `found_in` to say."""
        text = super().read(written)
        if isinstance(text, Finding):
            return text
        fault = partial(
            Finding,
            expected="a file in the folder of this record, or in one below it",
            example=f'"{self.example}"',
        )
        path = PurePosixPath(text)
        if "\\" in text:
            return fault(f"{shown(text)} has a backslash; write / between folders")
        if path.is_absolute() or ".." in path.parts or ":" in text or text.startswith("~"):
            return fault(f"{shown(text)} leads out of the folder of this record")
        if self.pictures and path.suffix.lower() not in _PICTURES:
            return fault(f"{shown(text)} is not a picture ({', '.join(_PICTURES)})")
        return text


def found_in(folder: Path, name: str) -> Path | Finding:
    """Return the file of that name in a folder, links followed, or a finding where it is none of ours."""
    fault = partial(
        Finding,
        expected="a file in the folder of this record, or in one below it",
        example='"photos/door.jpg"',
    )
    try:
        path = (folder / name).resolve(strict=True)
    except (OSError, RuntimeError):  # not there, not ours to read, or links that go in a circle
        return fault(f"{shown(name)} is not there")
    if not path.is_relative_to(folder.resolve()):
        return fault(f"{shown(name)} is a link that leads out of the folder of this record")
    if not path.is_file():
        return fault(f"{shown(name)} is not a file")
    return path


def exists(folder: Path, name: str) -> bool:
    """Say whether anything at all goes by that name in a folder."""
    return os.path.lexists(folder / name)
