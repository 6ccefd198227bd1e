"""Every missing, changed or unexpected file of every bag is reported."""

from __future__ import annotations

import hashlib
import os
from typing import TYPE_CHECKING

import pytest

from handover.archive import verify as verifying
from handover.archive.bag import digests
from handover.archive.deposit import Deposit, deposit_files
from handover.archive.store import Archive
from handover.archive.verify import BagReport, FileFault, verify_archive

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from handover.archive.entry import JobEntry

    Contents = Callable[[Path], dict[str, bytes]]

SHEET = "data/issues/0001/care-sheet.pdf"


def faults(archive: Archive) -> dict[str, str]:
    """Return what is wrong in the one bag of an archive: kinds by path."""
    (report,) = verify_archive(archive).damaged
    return {fault.path: fault.kind for fault in report.faults}


def test_a_sound_archive_is_sound_and_all_of_it_was_read(
    filed: Archive, bag_folder: Path, contents: Contents
) -> None:
    before = contents(bag_folder)
    report = verify_archive(filed)
    assert report.sound
    # All but the tag manifests, which nothing vouches for but the catalog.
    vouched = {path: data for path, data in before.items() if not path.startswith("tagmanifest")}
    assert (report.bags, report.files, report.octets) == (1, len(vouched), sum(map(len, vouched.values())))
    assert contents(bag_folder) == before


def test_every_octet_counts(filed: Archive, bag_folder: Path, contents: Contents) -> None:
    """One bit of any file turned, and the bag is not sound."""
    for path, data in contents(bag_folder).items():
        for place in {0, len(data) // 2, len(data) - 1}:
            (bag_folder / path).write_bytes(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])
            assert not verify_archive(filed).sound, (path, place)
        (bag_folder / path).write_bytes(data)
    assert verify_archive(filed).sound


def test_every_file_counts(filed: Archive, bag_folder: Path, contents: Contents) -> None:
    for path, data in contents(bag_folder).items():
        (bag_folder / path).unlink()
        assert faults(filed)[path] == "missing"
        (bag_folder / path).write_bytes(data)
    for path in ("extra.txt", "data/extra.txt", "data/issues/0002/care-sheet.pdf", ".hidden"):
        (bag_folder / path).parent.mkdir(exist_ok=True)
        (bag_folder / path).write_bytes(b"")
        assert faults(filed) == {path: "unexpected"}
        (bag_folder / path).unlink()


def test_all_faults_are_reported_at_once(filed: Archive, bag_folder: Path) -> None:
    (bag_folder / SHEET).write_bytes(b"FIRST sheet")
    (bag_folder / "data/photos/edge.jpg").unlink()
    (bag_folder / "data/photos/Edge.jpg").write_bytes(b"a photo")
    assert faults(filed) == {
        SHEET: "changed",
        "data/photos/edge.jpg": "missing",
        "data/photos/Edge.jpg": "unexpected",
    }


@pytest.mark.parametrize("target", ["outside", "fifo", "folder"])
def test_only_a_file_passes_for_a_file(filed: Archive, bag_folder: Path, tmp_path: Path, target: str) -> None:
    photo = bag_folder / "data" / "photos" / "edge.jpg"
    photo.unlink()
    match target:
        case "outside":
            (tmp_path / "edge.jpg").write_bytes(b"a photo")
            photo.symlink_to(tmp_path / "edge.jpg")
        case "fifo":
            os.mkfifo(photo)
        case "folder":
            photo.mkdir()
    assert faults(filed) == {"data/photos/edge.jpg": "missing" if target == "folder" else "changed"}


@pytest.mark.parametrize("text", [b"", b"rubbish\n", b"\xff\n", b"aa  ../../../etc/passwd\n"])
def test_an_invalid_manifest_is_reported(filed: Archive, bag_folder: Path, text: bytes) -> None:
    (bag_folder / "manifest-sha256.txt").write_bytes(text)
    assert faults(filed)["manifest-sha256.txt"] == "changed"


def forge(bag_folder: Path, path: str, data: bytes) -> None:
    """Change a file of a bag and renew all manifests, as somebody would who knows what they are."""
    (bag_folder / path).write_bytes(data)
    for stem, names in (
        ("manifest", [SHEET]),
        ("tagmanifest", ["manifest-sha256.txt", "manifest-sha512.txt"]),
    ):
        for algorithm in ("sha256", "sha512"):
            manifest = bag_folder / f"{stem}-{algorithm}.txt"
            lines = [line.split("  ") for line in manifest.read_text().splitlines()]
            for line in lines:
                if line[1] in names:
                    line[0] = hashlib.new(algorithm, (bag_folder / line[1]).read_bytes()).hexdigest()
            manifest.write_text("".join("  ".join(line) + "\n" for line in lines))


def test_a_forgery_that_is_right_in_itself_is_not_what_the_catalog_knows(
    filed: Archive, bag_folder: Path
) -> None:
    forge(bag_folder, SHEET, b"FIRST sheet")  # of the same length
    ((fault,),) = (report.faults for report in verify_archive(filed).damaged)
    assert (fault.path, fault.kind) == ("", "changed")
    assert "differs from the catalog" in fault.detail


def test_a_file_of_another_length_contradicts_the_payload_oxum(filed: Archive, bag_folder: Path) -> None:
    forge(bag_folder, SHEET, b"a longer sheet")
    assert faults(filed) == {"bag-info.txt": "changed"}


def test_a_missing_bag_is_reported(filed: Archive, bag_folder: Path) -> None:
    bag_folder.rename(filed.folder / "elsewhere")
    assert verify_archive(filed).damaged == [
        BagReport("2026-07-14-alder", 0, 0, (FileFault("", "missing", "the catalog knows this bag"),))
    ]


def test_an_unexpected_bag_is_reported(filed: Archive, bag_folder: Path) -> None:
    filed.catalog.drop(bag_folder.name)
    (filed.bags / "a-note.txt").write_bytes(b"by the way")
    (filed.bags / ".DS_Store").write_bytes(b"of a desktop")
    first, second = verify_archive(filed).damaged
    assert (first.bag, first.faults[0].kind) == (bag_folder.name, "unexpected")
    assert "`handover reindex`" in first.faults[0].detail
    assert second == BagReport("a-note.txt", 0, 0, (FileFault("", "unexpected", "is not a bag"),))


def test_a_bag_that_waits_for_the_catalog_is_valid(filed: Archive, bag_folder: Path) -> None:
    filed.catalog.drop(bag_folder.name)
    (filed.working / bag_folder.name).mkdir(
        parents=True
    )  # as a killed run leaves it before it updates the catalog
    assert verify_archive(filed).sound


def test_without_a_catalog_the_bags_are_verified_and_none_is_made(filed: Archive) -> None:
    filed.close()
    for file in filed.folder.glob("catalog.sqlite*"):
        file.unlink()
    report = verify_archive(filed)
    assert (report.sound, report.bags, report.damaged) == (False, 1, [])
    assert "reindex" in report.catalog_fault, "its loss is reported"
    assert not list(filed.folder.glob("catalog.sqlite*"))


def test_a_broken_catalog_is_reported_and_the_bags_are_verified(filed: Archive) -> None:
    filed.close()
    (filed.folder / "catalog.sqlite").write_bytes(b"rubbish" * 1000)
    report = verify_archive(filed)
    assert report.catalog_fault
    assert (report.sound, report.bags, report.damaged) == (False, 1, [])


def test_no_archive_has_no_faults(tmp_path: Path) -> None:
    with Archive(tmp_path / "nowhere") as archive:
        assert verify_archive(archive) == verifying.Report()
    assert not (tmp_path / "nowhere").exists()


def test_progress_is_reported_for_each_bag(
    archive: Archive, deposit: Callable[..., Deposit], entry: Callable[..., JobEntry], at: datetime
) -> None:
    for number in range(12):
        deposit_files(archive, deposit(entry(f"job {number}")), at)
    (archive.bags / "job 7" / SHEET).unlink()
    result: list[tuple[str, int, int]] = []
    report = verify_archive(archive, lambda each, total: result.append((each.bag, len(each.faults), total)))
    assert result == [(name, int(name == "job 7"), 12) for name in archive.names()]
    assert [each.bag for each in report.damaged] == ["job 7"]


def test_a_lock_on_a_bag_is_reported(filed: Archive) -> None:
    with Archive(filed.folder, timeout_s=0) as other, filed.lock("2026-07-14-alder"):
        (report,) = verify_archive(other).damaged
    assert "another process is working" in report.faults[0].detail


# Digests by hashlib in one go, against ours in pieces and in two threads.
@pytest.mark.parametrize(
    "size",
    [
        0,
        1,
        verifying.SMALL_FILE_BYTES,
        verifying.SMALL_FILE_BYTES + 1,
        verifying.LARGE_FILE_BYTES - 1,
        verifying.LARGE_FILE_BYTES,
        verifying.LARGE_FILE_BYTES + 3,
    ],
)
def test_a_file_of_any_size_is_digested_whole(tmp_path: Path, size: int) -> None:
    data = b"\x01\x02\x03\x05\x07" * (size // 5 + 1)
    (tmp_path / "file").write_bytes(data[:size])
    assert verifying.digest_file(tmp_path / "file") == (size, digests(data[:size]))
