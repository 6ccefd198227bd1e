"""What is personal goes, from everywhere that is ours; what is technical stays; the bag says so."""

from __future__ import annotations

import json
import subprocess
from dataclasses import replace
from typing import TYPE_CHECKING

import bagit
import pytest

from handover.archive.catalog import Query
from handover.archive.deposit import Deposit, deposit_files
from handover.archive.errors import CorruptBag
from handover.archive.forget import forget_job
from handover.archive.reindex import rebuild_catalog
from handover.archive.store import Archive
from handover.archive.verify import verify_archive
from handover.errors import UnusableInput

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from handover.archive.entry import JobEntry

    Contents = Callable[[Path], dict[str, bytes]]

JOB = "2026-07-14-alder"
OWNER = "Xqz Quetzalcoatlina Prueba"


def redact(path: str, data: bytes) -> bytes | None:
    """Keep the technical record: no photos, no messages, no name."""
    if path.startswith(("photos/", "messages/")):
        return None
    return data.replace(OWNER.encode(), b"(removed)")


def redact_entry(entry: JobEntry) -> JobEntry:
    return replace(entry, owner="", more={})


@pytest.fixture
def personal(
    office: Archive, deposit: Callable[..., Deposit], entry: Callable[..., JobEntry], at: datetime
) -> Archive:
    """Return an archive that holds an owner's name in many places, and other jobs."""
    for number in range(5):
        deposit_files(office, deposit(entry(f"other {number}", owner=f"Bo {number}")), at)
    job = entry(owner=OWNER, more={"phone": "555-0142"})
    sheet = f"Care sheet for {OWNER}".encode()
    deposit_files(
        office, deposit(job, sheet, **{"photos/edge.jpg": OWNER.encode(), "messages/1.eml": b"Dear O"}), at
    )
    deposit_files(office, deposit(replace(job, revision=2), sheet + b", revised"), at)
    return office


def test_what_is_personal_goes_and_what_is_technical_stays(personal: Archive, at: datetime) -> None:
    went = forget_job(personal, JOB, redact, redact_entry, at)
    sheets = ["issues/0001/care-sheet.pdf", "issues/0002/care-sheet.pdf"]
    assert went == [*sheets, "messages/1.eml", "photos/edge.jpg"]
    bag = personal.bag(JOB)
    assert bag.issue(1)["care-sheet.pdf"] == b"Care sheet for (removed)"
    assert bag.issue(2)["inputs/job.toml"] == b'id = "alder"'
    assert (bag.entry.owner, bag.entry.more, bag.entry.mix) == ("", {}, "3000 psi, type I")
    assert verify_archive(personal).sound
    bagit.Bag(str(bag.folder)).validate()


def test_the_bag_says_what_was_removed_and_when(personal: Archive, at: datetime) -> None:
    forget_job(personal, JOB, redact, redact_entry, at)
    forget_job(
        personal, JOB, lambda path, _: None if path.endswith(".toml") else b"x", lambda entry: entry, at
    )
    first, second = json.loads((personal.bags / JOB / "removed.json").read_bytes())
    assert first == {
        "at": "2026-07-14T12:30:00-04:00",
        "files_removed": ["data/messages/1.eml", "data/photos/edge.jpg"],
        "files_changed": ["data/issues/0001/care-sheet.pdf", "data/issues/0002/care-sheet.pdf"],
        "entry_fields_changed": ["owner", "more"],
    }
    assert len(second["files_removed"]) == 2
    assert second["entry_fields_changed"] == []


def test_no_trace_is_left_anywhere_on_the_disk(personal: Archive, at: datetime, contents: Contents) -> None:
    needles = {OWNER.encode(), b"quetzalcoatlina", b"xqz", b"555-0142"}  # "xqz": as the index of words has it

    def traces() -> set[bytes]:
        everything = b"".join(contents(personal.folder).values())
        return {each for each in needles if each in everything}

    assert traces() == needles if personal._url is None else traces() >= {OWNER.encode()}
    others = {name: contents(personal.bags / name) for name in personal.names() if name != JOB}
    with Archive(personal.folder, personal._url) as other:
        assert len(list(other.catalog.entries())) == 6  # somebody has the catalog open all the while
        for number in range(5):
            forget_job(personal, f"other {number}", redact, redact_entry, at)
        forget_job(personal, JOB, redact, redact_entry, at)
    assert traces() == set()
    assert others.keys() == {f"other {number}" for number in range(5)}
    assert personal.catalog.find(Query("quetzalcoatlina")).entries == ()
    assert personal.catalog.find(Query("alder lane")).entries != ()


def test_the_index_of_words_does_not_remember(
    archive: Archive, deposit: Callable[..., Deposit], entry: Callable[..., JobEntry], at: datetime
) -> None:
    """A word that goes is only struck out there, until the index is merged."""
    deposit_files(archive, deposit(entry(owner=OWNER)), at)
    file = archive.folder / "catalog.sqlite"

    def remembered() -> bool:
        return b"xqz" in file.read_bytes() + file.with_name("catalog.sqlite-wal").read_bytes()

    assert remembered()
    forget_job(archive, JOB, redact, redact_entry, at)
    assert not remembered()


def test_nothing_to_remove_changes_nothing(personal: Archive, at: datetime, contents: Contents) -> None:
    before = contents(personal.bags)
    assert forget_job(personal, JOB, lambda _, data: data, lambda entry: entry, at) == []
    assert contents(personal.bags) == before


def test_a_job_that_was_forgotten_goes_on(
    personal: Archive, entry: Callable[..., JobEntry], at: datetime
) -> None:
    forget_job(personal, JOB, redact, redact_entry, at)
    deposit_files(personal, Deposit(entry(revision=3, owner=""), {"care-sheet.pdf": b"third"}), at)
    assert personal.bag(JOB).revisions == (1, 2, 3)
    assert json.loads(personal.bag(JOB).removed)[0]["files_removed"]
    assert verify_archive(personal).sound


def test_the_rebuilt_catalog_knows_no_more(personal: Archive, at: datetime) -> None:
    forget_job(personal, JOB, redact, redact_entry, at)
    kept = list(personal.catalog.entries())
    rebuild_catalog(personal)
    assert list(personal.catalog.entries()) == kept


def test_the_id_stays(personal: Archive, at: datetime) -> None:
    with pytest.raises(ValueError, match="the id of a job stays"):
        forget_job(personal, JOB, redact, lambda entry: replace(entry, job="x"), at)
    with pytest.raises(UnusableInput, match="there is no job"):
        forget_job(personal, "birch", redact, redact_entry, at)


def test_the_bag_is_still_read_by_other_programs(personal: Archive, at: datetime) -> None:
    forget_job(personal, JOB, redact, redact_entry, at)
    command = ["sha256sum", "--check", "--strict", "--quiet", "manifest-sha256.txt", "tagmanifest-sha256.txt"]
    subprocess.run(command, cwd=personal.bags / JOB, check=True)


def test_a_list_of_removals_that_cannot_be_read_is_a_damaged_bag(
    filed: Archive, at: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is sealed, and nothing is made up in its place."""
    for text in (b"[" * 100_000, b"{}", b"\xff"):
        bag = replace(filed.bag("2026-07-14-alder"), removed=text)
        monkeypatch.setattr(filed, "bag", lambda _, bag=bag: bag)
        with pytest.raises(CorruptBag, match=r"removed\.json"):
            forget_job(filed, bag.job, lambda *_: None, lambda entry: replace(entry, owner=""), at)
        monkeypatch.undo()
