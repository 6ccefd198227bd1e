"""Job records that are being written: one folder for each job, with the named files and the history.

    DRAFTS/JOB/
      0001-20260714T163000Z.toml   the record as it was first saved
      0002-... each later one; the last one is the draft
      files/                       pictures and logs that the record names

A saved revision is never overwritten, so that nothing typed is lost. A record with faults can be saved too.
"""

from __future__ import annotations

import re
import unicodedata
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from filelock import FileLock

from handover.base.atomic import write_file
from handover.base.file_names import MAX_NAME_BYTES, safe_name
from handover.base.text import quoted_text, short_line
from handover.errors import Finding, UnusableInput
from handover.jobs.attached_files import FolderFiles
from handover.jobs.parse import decode_utf8, language_of
from handover.jobs.reading import RecordSource, examine_source
from handover.service.job_inputs import is_inside

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from handover.jobs.record import JobRecord

FILES_FOLDER = "files"
DIGEST_DIGITS = 8
"""Hexadecimal digits that distinguish two names."""

_SAVED = re.compile(r"(\d{4,})-(\d{8}T\d{6}Z)\.(toml|json)")
_TIME = "%Y%m%dT%H%M%SZ"


@dataclass(frozen=True)
class DraftRevision:
    """One saved revision of a draft: its number from 1, when, and its bytes."""

    number: int
    saved_at: datetime
    data: bytes


@dataclass(frozen=True)
class RecordDraft:
    """A record that is being written.

    Attributes:
        name: Name of the draft.
        number: Number of times it was saved.
        saved_at: When it was saved last.
        source: The record with the files that it names, as input for an issue.
        job: The job, or None while there are faults.
        findings: Its faults and cautions.
    """

    name: str
    number: int
    saved_at: datetime
    source: RecordSource
    job: JobRecord | None
    findings: tuple[Finding, ...]


class Drafts:
    """The drafts in a folder, which is created with the first draft."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def names(self) -> tuple[str, ...]:
        """Return the names of all drafts, in order."""
        if not self._folder.is_dir():
            return ()
        found = (each.name for each in self._folder.iterdir() if each.is_dir() and _revisions_in(each))
        return tuple(sorted(found))

    def read(self, name: str) -> RecordDraft:
        """Return the last revision of a draft.

        Raises:
            UnusableInput: There is none of that name.
        """
        folder = self._folder / _folder_name(name)
        saved = _revisions_in(folder)
        if not saved:
            raise UnusableInput(
                [Finding(f"there is no draft {quoted_text(name)}", expected="the name of a draft")]
            )
        number, at, file = saved[-1]
        source = RecordSource(f"record{file.suffix}", file.read_bytes(), FolderFiles(folder / FILES_FOLDER))
        examined = examine_source(source)
        return RecordDraft(folder.name, number, at, source, examined.record, examined.findings)

    def history(self, name: str) -> tuple[DraftRevision, ...]:
        """Return all revisions of a draft, in order."""
        saved = _revisions_in(self._folder / _folder_name(name))
        return tuple(DraftRevision(number, at, file.read_bytes()) for number, at, file in saved)

    def save(
        self,
        name: str,
        data: bytes,
        at: datetime,
        *,
        files: Mapping[str, bytes] | None = None,
        after: int | None = None,
    ) -> RecordDraft:
        """Save a draft; return it with its findings. Saving the same bytes again changes nothing.

        Args:
            name: Name of the draft, such as the id of the job; its case does not matter. A name that is not
                valid on every system gets a suffix, so that no two names share a draft.
            data: The record, TOML or JSON, with faults or without.
            at: Time of saving, aware.
            files: Files that the record names, by those names; a later file replaces an earlier one.
            after: The number of the revision that was edited; None to save in any case.

        Raises:
            UnusableInput: The draft was changed by somebody else since, or a file has a name that leads out
                of the folder or that some system does not take.
        """
        folder = self._folder / _folder_name(name)
        if unusable := [finding for each in files or {} if (finding := _problem_of_name(each))]:
            raise UnusableInput(unusable)
        with self._lock(folder):
            saved = _revisions_in(folder)
            last = saved[-1][0] if saved else 0
            if after is not None and after != last:
                problem = f"was saved by somebody else meanwhile: the last revision is {last}, not {after}"
                raise UnusableInput([Finding(problem, short_line(name), expected="the current draft")])
            if not saved or saved[-1][2].read_bytes() != data:
                stamp = at.astimezone(UTC).strftime(_TIME)
                _write(folder / f"{last + 1:04}-{stamp}.{_language(data)}", data)
            # after the record, so that a bad file loses nothing typed
            for path, content in (files or {}).items():
                _write(folder / FILES_FOLDER / path, content)
            return self.read(name)

    @contextmanager
    def _lock(self, folder: Path) -> Iterator[None]:
        folder.mkdir(parents=True, exist_ok=True)
        with FileLock(folder / ".lock"):
            yield


def _folder_name(name: str) -> str:
    """Return the folder of a draft: its name, or another one if the name is not valid on every system."""
    name = unicodedata.normalize("NFC", name.lower())
    safe = safe_name(name)
    if safe == name:
        return safe
    digest = f"-{sha256(name.encode(errors='surrogatepass')).hexdigest()[:DIGEST_DIGITS]}"
    kept = safe.encode()[: MAX_NAME_BYTES - len(digest)].decode(errors="ignore")
    return f"{kept}{digest}"


def _problem_of_name(path: str) -> Finding | None:
    """Return the fault of the name of a file; None if it is valid on every system."""
    if not is_inside(path):
        problem = "leads out of the draft"
        return Finding(problem, short_line(path), expected="a name below the folder of the record")
    parts = PurePosixPath(path).parts
    safe = "/".join(map(safe_name, parts))
    if safe == unicodedata.normalize("NFC", "/".join(parts)):
        return None
    problem = "is not a name that every system takes"
    return Finding(problem, short_line(path), expected="another name", example=safe)


def _revisions_in(folder: Path) -> list[tuple[int, datetime, Path]]:
    """Return number, time and file of each revision of a draft, in order."""
    if not folder.is_dir():
        return []
    found = ((each, _SAVED.fullmatch(each.name)) for each in folder.iterdir())
    return sorted(
        (int(match[1]), datetime.strptime(match[2], _TIME).replace(tzinfo=UTC), each)
        for each, match in found
        if match
    )


def _language(data: bytes) -> str:
    text = decode_utf8(data)
    return language_of(text) if isinstance(text, str) else "toml"


def _write(file: Path, data: bytes) -> None:
    """Write a file completely or not at all; it is on the disk before this returns.

    Raises:
        UnusableInput: It cannot be written with this name.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        write_file(file, data)
    except OSError as fault:
        problem = f"cannot be written: {fault.strerror}"
        raise UnusableInput([Finding(problem, short_line(file.name), expected="another name")]) from None
