"""Removes the personal data of an owner from the bag of their job.

The technical record stays: the slab, its mix, tickets, cylinders, walk-through, weather, settings, and every
schedule with its reasons, without the owner's name, address, numbers and words. Documents for the owner,
messages and pictures are removed completely, because nobody can be sure what they contain. The place stays to
a hundredth of a degree, about a kilometre, for the weather. The id of the job and the names of the remaining
files do not change.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import tomli_w

from handover.archive.bag import DATA_FOLDER, ISSUES_FOLDER
from handover.archive.forget import forget_job
from handover.jobs.parse import decode_utf8, language_of, parse_text
from handover.service.archiving import RECORD_SUFFIXES
from handover.service.publish import INPUTS_FOLDER, SCHEDULE_FILE

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from handover.archive.bag import Bag
    from handover.archive.entry import JobEntry
    from handover.archive.store import Archive

REMOVED_TEXT = "(removed)"
COORDINATE_DECIMALS = 2
"""Remaining decimals of latitude and longitude."""

NAMES_OF_PLACE = ("address", "project")
"""Fields of the site that may name the owner or their street."""

MIN_NAME_LETTERS = 3
"""Minimum length of a part of a name that is searched for in remarks."""

FREE_TEXT = ("item", "note")
"""Fields of the walk-through with free text of the crew."""

PICTURES = (b"\xff\xd8\xff", b"\x89PNG", b"GIF8", b"RIFF", b"II*\0", b"MM\0*")

_ISSUED = re.compile(rf"{ISSUES_FOLDER.removeprefix(DATA_FOLDER)}\d+/")


def forget_owner(archive: Archive, job: str, at: datetime) -> list[str]:
    """Remove an owner's personal data from the bag of a job and from the catalog.

    Args:
        archive: The archive.
        job: The id of the job, which stays.
        at: Time of removal, aware.

    Returns:
        The paths of the removed or changed files; none if nothing was left to remove.

    Raises:
        UnusableInput: There is no such job.
        CorruptBag, LockTimeout, NotArchived, IndexPending, CatalogFailed: As
            `handover.archive.forget.forget_job`.
    """
    with archive.lock(job):
        bag = archive.bag(job)
        records = _records(bag)
        names = _NameRemover(bag.entry, records.values())
        logos = {f"{path.rpartition('/')[0]}/{_logo(record)}" for path, record in records.items()}

        def redact(path: str, data: bytes) -> bytes | None:
            if path in records:
                return _record_without_owner(data, records[path], names)
            return data if path in logos or not _is_picture(data) else None

        return forget_job(
            archive,
            job,
            redact,
            lambda entry: _entry_without_owner(entry, names),
            at,
            redact_text=names.remove_from,
            may_stay=lambda path: path in records or _is_technical(path),
        )


def _is_technical(path: str) -> bool:
    """Return whether a file below "data/", other than a record, is about the slab alone."""
    issued = _ISSUED.match(path)
    name = path[issued.end() :] if issued else ""
    return name == SCHEDULE_FILE or name.startswith(INPUTS_FOLDER)


def _records(bag: Bag) -> dict[str, Mapping[str, Any]]:
    """Return the job records among the inputs of all issues, by their paths below "data/"."""
    found: dict[str, Mapping[str, Any]] = {}
    for path in bag.payload:
        if f"/{INPUTS_FOLDER}" in path and path.endswith(RECORD_SUFFIXES):
            text = decode_utf8(bag.read(path))
            written = parse_text(text) if isinstance(text, str) else []
            if isinstance(written, dict) and written.get("id") == bag.job:
                found[path.removeprefix(DATA_FOLDER)] = written
    return found


def _logo(record: Mapping[str, Any]) -> str:
    return str(record.get("contractor", {}).get("logo", ""))


def _is_picture(data: bytes) -> bool:
    """Return whether a file begins like JPEG, PNG, GIF, WebP, TIFF or one of the kinds of HEIF."""
    return data.startswith(PICTURES) or data[4:8] == b"ftyp"


# ---- remaining text ---------------------------------------------------------------------------------


class _NameRemover:
    """Removes the names and addresses of an owner from remarks."""

    def __init__(self, entry: JobEntry, records: Iterable[Mapping[str, Any]]) -> None:
        whole = {entry.owner, entry.street, *(str(entry.more.get(each, "")) for each in ("phone", "email"))}
        people = {entry.owner}
        for each in records:
            owner, site = each.get("owner", {}), each.get("site", {})
            signed = each.get("acknowledgement", {})
            people |= {owner.get("name", ""), signed.get("name", "")}
            whole |= {owner.get("phone", ""), owner.get("email", ""), signed.get("remarks", "")}
            whole |= {site.get("name", ""), site.get("address", "")}
        parts = {
            part
            for name in people
            for part in re.findall(r"[^\W\d_]+", name)
            if len(part) >= MIN_NAME_LETTERS
        }
        texts = sorted({*whole, *people, *parts} - {""}, key=len, reverse=True)
        named = "|".join(map(re.escape, texts))
        apart = rf"(?<![^\W_])(?:{named})(?![^\W_])"  # names of files also join words with "_"
        self._named = re.compile(apart, re.IGNORECASE) if texts else None

    def remove_from(self, text: str) -> str:
        """Return a text with each name replaced by a mark."""
        return self._named.sub(REMOVED_TEXT, text) if self._named else text


def _entry_without_owner(entry: JobEntry, names: _NameRemover) -> JobEntry:
    return replace(
        entry,
        owner="",
        street="",
        remarks=names.remove_from(entry.remarks),
        tasks=tuple(replace(each, text=names.remove_from(each.text)) for each in entry.tasks),
        more={name: value for name, value in entry.more.items() if name == "language"},
    )


def _record_without_owner(data: bytes, record: Mapping[str, Any], names: _NameRemover) -> bytes:
    """Return a job record, in its own format (TOML or JSON), without its owner and without comments."""
    less = dict(record)
    if "owner" in record:
        less["owner"] = {key: value for key, value in record["owner"].items() if key == "language"}
    less["site"] = {
        key: _coarsen(key, value) for key, value in record["site"].items() if key not in NAMES_OF_PLACE
    }
    if "acknowledgement" in record:
        less["acknowledgement"] = {"name": REMOVED_TEXT, "time": record["acknowledgement"]["time"]}
    if "walkthrough" in record:
        less["walkthrough"] = [
            {
                key: names.remove_from(value) if key in FREE_TEXT else value
                for key, value in each.items()
                if key != "photo"
            }
            for each in record["walkthrough"]
        ]
    if less == record:
        return data
    if language_of(data.decode("utf-8-sig")) == "json":
        return f"{json.dumps(less, ensure_ascii=False, indent=2)}\n".encode()
    return tomli_w.dumps(less).encode()


def _coarsen(key: str, value: Any) -> Any:
    if key in {"latitude", "longitude"} and isinstance(value, float):
        return round(value, COORDINATE_DECIMALS)
    return REMOVED_TEXT if key == "name" else value
