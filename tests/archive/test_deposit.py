"""Filing adds to a bag, and never writes over what it holds."""

from __future__ import annotations

import os
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from handover.archive import bag_writer
from handover.archive.deposit import Deposit, deposit_files, recover
from handover.archive.errors import CatalogFailed, CorruptBag, IndexPending, LockTimeout, NotArchived
from handover.archive.store import Archive, bag_name
from handover.archive.verify import verify_archive
from handover.base import atomic
from handover.errors import UnusableInput

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from handover.archive.entry import JobEntry

    Deposits = Callable[..., Deposit]
    Entries = Callable[..., JobEntry]
    Contents = Callable[[Path], dict[str, bytes]]


def test_a_bag_holds_what_was_filed_where_it_says(
    filed: Archive, bag_folder: Path, contents: Contents
) -> None:
    payload = {path: data for path, data in contents(bag_folder).items() if path.startswith("data/")}
    assert payload == {
        "data/issues/0001/care-sheet.pdf": b"first sheet",
        "data/issues/0001/inputs/job.toml": b'id = "alder"',
        "data/photos/edge.jpg": b"a photo",
    }
    bag = filed.bag("2026-07-14-alder")
    assert bag.revisions == (1,)
    assert bag.issue(1) == {"care-sheet.pdf": b"first sheet", "inputs/job.toml": b'id = "alder"'}
    assert bag.read("data/photos/edge.jpg") == b"a photo"


def test_a_revision_leaves_the_earlier_ones_as_they_were(
    filed: Archive, bag_folder: Path, deposit: Deposits, entry: Entries, at: datetime, contents: Contents
) -> None:
    before = contents(bag_folder / "data")
    deposit_files(filed, deposit(entry(revision=2), b"second sheet"), at)
    after = contents(bag_folder / "data")
    assert after.items() >= before.items()
    assert filed.bag("2026-07-14-alder").issue(2)["care-sheet.pdf"] == b"second sheet"
    assert filed.bag("2026-07-14-alder").entry.revision == 2
    assert verify_archive(filed).sound


@pytest.mark.parametrize("later", [b"sent later", b"sent LATER!"], ids=["shorter", "as long"])
def test_a_file_that_changes_while_it_is_read_is_no_damage_to_the_bag(
    filed: Archive,
    bag_folder: Path,
    entry: Entries,
    at: datetime,
    contents: Contents,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    later: bytes,
) -> None:
    """Seen where a message was sent while its folder was archived: the office was told to restore the bag."""
    before, log = contents(bag_folder), tmp_path / "sent.json"
    log.write_bytes(b"sent before")
    real = bag_writer.digests

    def read(data: bytes | Path) -> object:
        found = real(data)
        if data == log:
            log.write_bytes(later)
        return found

    monkeypatch.setattr(bag_writer, "digests", read)
    with pytest.raises(NotArchived, match=r"sent\.json changed while it was read.*archive it again"):
        deposit_files(filed, Deposit(entry(), others={"sent.json": log}), at)
    assert contents(bag_folder) == before
    monkeypatch.setattr(bag_writer, "digests", real)
    assert deposit_files(filed, Deposit(entry(), others={"sent.json": log}), at).changed
    assert verify_archive(filed).sound


def test_the_same_deposit_again_changes_nothing(
    filed: Archive, bag_folder: Path, deposit: Deposits, at: datetime
) -> None:
    file = bag_folder / "bag-info.txt"
    before = file.stat().st_ino
    again = deposit_files(filed, deposit(**{"photos/edge.jpg": b"a photo"}), at)
    assert (again.changed, again.paths) == (False, {"photos/edge.jpg": "data/photos/edge.jpg"})
    assert file.stat().st_ino == before


def test_the_same_deposits_give_the_same_bytes(
    tmp_path: Path, deposit: Deposits, entry: Entries, at: datetime, contents: Contents
) -> None:
    made = []
    for name in ("one", "other"):
        with Archive(tmp_path / name) as archive:
            deposit_files(archive, deposit(), at)
            deposit_files(archive, deposit(entry(revision=2), b"second"), at)
            made.append(contents(archive.bags))
    assert made[0] == made[1]


@pytest.mark.parametrize(
    ("revision", "sheet", "expected"),
    [(1, b"another sheet", "in the archive with other documents"), (2, b"second", "comes after a later one")],
)
def test_what_was_issued_is_never_written_again(
    archive: Archive, deposit: Deposits, entry: Entries, at: datetime, revision: int, sheet: bytes,
    expected: str, contents: Contents,
) -> None:  # fmt: skip
    deposit_files(archive, deposit(), at)
    deposit_files(archive, deposit(entry(revision=3), b"third"), at)
    before = contents(archive.bags)
    with pytest.raises(UnusableInput, match=f"{expected}.*for example 4"):
        deposit_files(archive, deposit(entry(revision=revision), sheet), at)
    assert contents(archive.bags) == before


def test_an_issue_is_not_mixed_from_two(filed: Archive, entry: Entries, at: datetime) -> None:
    with pytest.raises(UnusableInput, match="other documents"):
        deposit_files(filed, Deposit(entry(), {"care-sheet.es.pdf": b"hoja"}), at)
    with pytest.raises(UnusableInput, match="among the documents of an issue"):
        deposit_files(filed, Deposit(entry(), others={"issues/0001/care-sheet.es.pdf": b"hoja"}), at)


def test_other_files_of_one_name_are_all_kept(filed: Archive, entry: Entries, at: datetime) -> None:
    name = "photos/edge.jpg"
    assert (
        deposit_files(filed, Deposit(entry(), others={name: b"later"}), at).paths[name]
        == "data/photos/edge-2.jpg"
    )
    assert deposit_files(filed, Deposit(entry(), others={name: b"later"}), at).changed is False
    bag = filed.bag("2026-07-14-alder")
    assert (bag.read("data/photos/edge.jpg"), bag.read("data/photos/edge-2.jpg")) == (b"a photo", b"later")


def test_contact_stays_until_another_is_given(filed: Archive, entry: Entries, at: datetime) -> None:
    deposit_files(filed, Deposit(entry(remarks="called")), at)
    assert dict(filed.bag("2026-07-14-alder").info)["Contact-Name"] == "Bo Muster"


def test_a_bag_that_holds_what_is_not_its_own_is_left_alone(
    filed: Archive, bag_folder: Path, deposit: Deposits, entry: Entries, at: datetime, contents: Contents
) -> None:
    (bag_folder / "data" / "signed.pdf").write_bytes(b"scan")
    before = contents(filed.bags)
    with pytest.raises(CorruptBag, match=r"data/signed\.pdf unexpected"):
        deposit_files(filed, deposit(entry(revision=2)), at)
    assert contents(filed.bags) == before


def test_what_a_desktop_leaves_behind_is_not_kept(
    filed: Archive, bag_folder: Path, deposit: Deposits, entry: Entries, at: datetime
) -> None:
    (bag_folder / "data" / ".DS_Store").write_bytes(b"positions of icons")
    deposit_files(filed, deposit(entry(revision=2)), at)
    assert verify_archive(filed).sound


@pytest.mark.parametrize("damage", ["change", "remove", "manifest"])
def test_a_damaged_bag_is_not_added_to_and_its_damage_stays_known(
    filed: Archive, bag_folder: Path, deposit: Deposits, entry: Entries, at: datetime, damage: str,
    contents: Contents,
) -> None:  # fmt: skip
    sheet = bag_folder / "data" / "issues" / "0001" / "care-sheet.pdf"
    match damage:
        case "change":
            sheet.write_bytes(b"FIRST sheet")
        case "remove":
            sheet.unlink()
        case "manifest":
            (bag_folder / "manifest-sha256.txt").write_bytes(b"")
    before = contents(filed.bags)
    with pytest.raises(CorruptBag, match="2026-07-14-alder"):
        deposit_files(filed, deposit(entry(revision=2)), at)
    assert contents(filed.bags) == before
    assert not verify_archive(filed).sound
    assert list(filed.working.iterdir()) == []


def test_two_jobs_do_not_share_a_bag(filed: Archive, deposit: Deposits, entry: Entries, at: datetime) -> None:
    with pytest.raises(UnusableInput, match="another job, '2026-07-14-alder'"):
        deposit_files(filed, deposit(entry("2026-07-14-Alder")), at)


def test_a_job_that_is_not_there_is_reported(archive: Archive) -> None:
    with pytest.raises(UnusableInput, match="there is no job 'birch'"):
        archive.bag("birch")


@pytest.mark.parametrize("job", ["../../evil", "a/b", "CON", "Ünïcode", ".", "x" * 400, "catalog."])
def test_any_id_makes_a_bag_inside_the_archive(
    archive: Archive, deposit: Deposits, entry: Entries, at: datetime, job: str
) -> None:
    folder = deposit_files(archive, deposit(entry(job)), at).folder
    assert folder.parent == archive.bags
    assert archive.names() == [folder.name]
    assert archive.bag(job).job == job
    assert bag_name(folder.name) == folder.name


def test_files_that_stay_are_not_copied(
    filed: Archive, bag_folder: Path, entry: Entries, at: datetime
) -> None:
    photo = bag_folder / "data" / "photos" / "edge.jpg"
    before = photo.stat().st_ino
    deposit_files(filed, Deposit(entry(remarks="called")), at)
    assert (photo.stat().st_ino, photo.stat().st_nlink) == (before, 1)


def test_where_links_cannot_be_files_are_copied(
    filed: Archive, bag_folder: Path, entry: Entries, at: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    photo = bag_folder / "data" / "photos" / "edge.jpg"
    before = photo.stat().st_ino
    monkeypatch.setattr(os, "link", refuse)
    deposit_files(filed, Deposit(entry(remarks="called")), at)
    assert photo.stat().st_ino != before
    assert verify_archive(filed).sound


def test_a_link_planted_in_a_bag_is_not_followed(
    filed: Archive, bag_folder: Path, tmp_path: Path, entry: Entries, at: datetime
) -> None:
    secret = tmp_path / "elsewhere"
    secret.write_bytes(b"a photo")
    photo = bag_folder / "data" / "photos" / "edge.jpg"
    photo.unlink()
    photo.symlink_to(secret)
    with pytest.raises(CorruptBag, match=r"edge\.jpg changed"):
        deposit_files(filed, Deposit(entry(remarks="called")), at)


def test_where_names_cannot_be_exchanged_the_new_bag_still_comes_in(
    filed: Archive, deposit: Deposits, entry: Entries, at: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(atomic, "exchange_names", lambda *_: False)
    deposit_files(filed, deposit(entry(revision=2)), at)
    assert filed.bag("2026-07-14-alder").revisions == (1, 2)
    assert verify_archive(filed).sound
    assert list(filed.working.iterdir()) == []


def test_all_that_is_new_is_on_the_disk_before_it_counts(
    filed: Archive, bag_folder: Path, entry: Entries, at: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    events: list[str] = []
    fresh = filed.working / "2026-07-14-alder" / "fresh"
    put_in_place = atomic.replace_folder

    def swap(*paths: Path) -> None:
        events.append("swap")
        put_in_place(*paths)

    monkeypatch.setattr(atomic, "replace_folder", swap)
    monkeypatch.setattr(atomic, "flush", lambda path: events.append(str(path)))
    photo = bag_folder / "data" / "photos" / "edge.jpg"
    deposit_files(filed, Deposit(entry(revision=2), {"care-sheet.pdf": b"second"}), at)
    kept = {photo, *(bag_folder / "data/issues/0001").rglob("*.*")}
    new = {each for each in bag_folder.rglob("*") if each not in kept} | {bag_folder}
    before, after = events[: events.index("swap")], events[events.index("swap") + 1 :]
    assert set(before) == {str(fresh / each.relative_to(bag_folder)) for each in new}
    assert before.index(str(fresh / "data")) < before.index(str(fresh))  # what is inside comes first
    assert after == [str(filed.bags)]


def test_this_system_exchanges_names(tmp_path: Path) -> None:
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        (tmp_path / name / name).touch()
    if not atomic.exchange_names(tmp_path / "one", tmp_path / "other"):
        pytest.skip("the file system of the temporary folder cannot exchange two names")
    assert (tmp_path / "one" / "other").exists()
    assert (tmp_path / "other" / "one").exists()


def test_whoever_holds_a_bag_keeps_others_out_but_not_himself(
    filed: Archive, deposit: Deposits, entry: Entries, at: datetime
) -> None:
    with Archive(filed.folder, timeout_s=0) as other, filed.lock("2026-07-14-alder"):
        with pytest.raises(LockTimeout, match="2026-07-14-alder"):
            deposit_files(other, deposit(entry(revision=2)), at)
        assert deposit_files(filed, deposit(entry(revision=2)), at).changed
    assert filed.bag("2026-07-14-alder").revisions == (1, 2)


def test_a_catalog_that_fails_is_reported_and_brought_up_to_date_later(
    filed: Archive, deposit: Deposits, entry: Entries, at: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: object) -> None:
        raise CatalogFailed("the server is down")

    later = replace(entry(), revision=2, owner="Berta Beispiel")
    with monkeypatch.context() as patched:
        patched.setattr(filed.catalog, "put", fail)
        with pytest.raises(IndexPending, match="is archived, but the server is down"):
            deposit_files(filed, deposit(later), at)
    assert filed.bag(later.job).entry == later
    assert [each.owner for each in filed.catalog.entries()] == ["Ana Prueba"]
    assert verify_archive(filed).sound  # that the catalog is behind is no damage
    recover(filed)
    assert list(filed.catalog.entries()) == [later]
    assert list(filed.working.iterdir()) == []
