"""A bag or a file that is odd is named, and hinders nobody: the other bags are found, read and written."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import socket
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import text

from handover.archive.catalog.query import Query
from handover.archive.deposit import Deposit, deposit_files, recover
from handover.archive.errors import CorruptBag
from handover.archive.reindex import rebuild_catalog
from handover.archive.verify import verify_archive
from handover.base.regular_files import read_regular

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from handover.archive.entry import JobEntry
    from handover.archive.store import Archive

JOB, ODD = "2026-07-14-alder", "odd"
DEEP = json.loads("[" * 400 + "]" * 400)
EARLY = "0001-01-01T00:00:00+14:00"
WHEN = "2026-07-14T12:30:00-04:00"


def seal(bag: Path, entry: bytes) -> None:
    """Give a bag another entry, and renew its seals, as somebody would who knows what they are."""
    (bag / "entry.json").write_bytes(entry)
    for algorithm in ("sha256", "sha512"):
        manifest = bag / f"tagmanifest-{algorithm}.txt"
        lines = [line.split("  ") for line in manifest.read_text().splitlines()]
        for line in lines:
            line[0] = hashlib.new(algorithm, (bag / line[1]).read_bytes()).hexdigest()
        manifest.write_text("".join("  ".join(line) + "\n" for line in lines))


@pytest.fixture
def two(filed: Archive, entry: Callable[..., JobEntry], at: datetime) -> Archive:
    """Return an archive with two jobs; what is called odd is still like the other."""
    deposit_files(filed, Deposit(entry(ODD), {"care-sheet.pdf": b"sheet"}), at)
    return filed


def jobs(archive: Archive) -> list[str]:
    return sorted(each.job for each in archive.catalog.entries(Query()))


def odd_faults(archive: Archive) -> dict[str, str]:
    return {
        f"{report.bag}/{each.path}": each.kind
        for report in verify_archive(archive).damaged
        for each in report.faults
    }


@pytest.mark.parametrize(
    "said",
    [
        {"owner": 5}, {"owner": None}, {"job": ["odd"]}, {"job": ""}, {"revision": "1"}, {"revision": True},
        {"revision": 10**30}, {"revision": 1.0}, {"placed": None}, {"placed": 5},
        {"placed": EARLY}, {"issued": "9999-12-31T23:59:59-12:00"},
        {"curing_ends": "0001-01-01T00:00:00+00:00"}, {"frost_until": {}}, {"cylinder_low": "yes"},
        {"walkthrough_open": None}, {"tasks": None}, {"tasks": [None]}, {"tasks": [{}]},
        {"tasks": [{"kind": None, "start": WHEN}]}, {"tasks": [{"kind": "x", "start": EARLY}]},
        {"more": None}, {"more": []}, {"more": {"a": DEEP}}, {"unknown": 1}, {"version": None},
    ],
    ids=lambda said: json.dumps(said)[:60],
)  # fmt: skip
def test_a_sealed_bag_with_an_odd_entry_hinders_nobody(two: Archive, said: dict[str, Any]) -> None:
    bag = two.bags / ODD
    seal(bag, json.dumps(json.loads((bag / "entry.json").read_bytes()) | said).encode())
    assert odd_faults(two) == {"odd/entry.json": "changed"}
    assert [str(bag) in str(each) for each in rebuild_catalog(two)] == [True]
    assert jobs(two) == [JOB, ODD]  # what the catalog knew of it stays
    (two.folder / "catalog.sqlite").unlink()
    two.close()
    rebuild_catalog(two)
    assert jobs(two) == [JOB]


def test_an_entry_nested_without_end_hinders_nobody(two: Archive) -> None:
    seal(two.bags / ODD, b"[" * 200_000)
    assert odd_faults(two) == {"odd/entry.json": "changed"}
    assert len(rebuild_catalog(two)) == 1


def test_a_row_that_cannot_be_read_hides_no_other(two: Archive) -> None:
    """An earlier version may have written it."""
    with two.catalog._engine.begin() as connection:
        connection.execute(text("UPDATE job SET entry = '{}' WHERE job = 'odd'"))
    assert jobs(two) == [JOB]
    assert ["is not the entry of a job" in each for each in two.catalog.unreadable.values()] == [True]


@pytest.mark.parametrize(
    "name", ["entry.json", "manifest-sha256.txt", "tagmanifest-sha512.txt", "bag-info.txt"]
)
@pytest.mark.parametrize("kind", ["fifo", "socket", "link", "folder", "device"])
def test_what_is_no_file_is_named_and_waited_for_by_nobody(
    two: Archive, name: str, kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = two.bags / ODD / name
    kept = shutil.copy(file, tmp_path / "kept")
    file.unlink()
    match kind:
        case "fifo":
            os.mkfifo(file)
        case "socket":
            monkeypatch.chdir(file.parent)  # the path of a socket is short
            with socket.socket(socket.AF_UNIX) as made:
                made.bind(file.name)
        case "link":
            file.symlink_to(kept)
        case "folder":
            file.mkdir()
        case "device":
            file.symlink_to("/dev/zero")
    assert {each.partition("/")[0] for each in odd_faults(two)} == {ODD}
    assert len(rebuild_catalog(two)) == 1
    with pytest.raises(CorruptBag):
        two.bag(ODD)
    assert two.bag(JOB).job == JOB


def test_a_link_to_a_file_is_read_where_that_is_asked(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"text")
    (tmp_path / "link").symlink_to("file")
    assert read_regular(tmp_path / "link", follow=True) == b"text"
    with pytest.raises(OSError, match="is not a regular file"):
        read_regular(tmp_path / "link")
    with pytest.raises(FileNotFoundError):
        read_regular(tmp_path / "none")


@pytest.mark.parametrize("kind", ["file", "link", "hidden folder", "dead link", "fifo"])
def test_a_stray_file_among_the_work_blocks_nobody(
    two: Archive, kind: str, entry: Callable[..., JobEntry], at: datetime, tmp_path: Path
) -> None:
    two.working.mkdir(exist_ok=True)
    stray = two.working / (".nfs0123" if kind != "hidden folder" else "Not A Bag.")
    match kind:
        case "file":
            stray.write_bytes(b"")
        case "link":
            stray.symlink_to(tmp_path)
        case "hidden folder":
            stray.mkdir()
        case "dead link":
            stray.symlink_to("nowhere")
        case "fifo":
            os.mkfifo(stray)
    recover(two)
    deposit_files(two, Deposit(entry(revision=2), {"care-sheet.pdf": b"second"}), at)
    assert rebuild_catalog(two) == []
    assert odd_faults(two) == {f".working/{stray.name}/": "unexpected"}
    assert os.path.lexists(stray)


@pytest.mark.parametrize("name", [".DS_Store", ".nfs0123"])
def test_a_stray_file_in_the_work_of_a_killed_run_goes_with_it(two: Archive, name: str) -> None:
    work = two.working / JOB
    (work / "fresh").mkdir(parents=True)
    (work / name).write_bytes(b"")
    recover(two)
    assert not work.exists()


def test_work_that_cannot_be_completed_blocks_no_other(
    two: Archive, monkeypatch: pytest.MonkeyPatch, our_log: pytest.LogCaptureFixture
) -> None:
    for job in (JOB, ODD):
        (two.working / job / "fresh").mkdir(parents=True)
    remove = shutil.rmtree

    def refuse(path: Path, **more: Any) -> None:
        if JOB in str(path):
            raise PermissionError(13, "Permission denied")
        remove(path, **more)

    monkeypatch.setattr(shutil, "rmtree", refuse)
    recover(two)
    assert "Permission denied" in our_log.text
    assert two.pending() == [JOB]


def test_the_folder_of_an_issue_without_a_number(two: Archive) -> None:
    bag = two.bags / ODD
    (bag / "data" / "issues" / "0001").rename(bag / "data" / "issues" / "first")
    for each in ("manifest-sha256.txt", "manifest-sha512.txt"):
        (bag / each).write_text((bag / each).read_text().replace("issues/0001", "issues/first"))
    seal(bag, (bag / "entry.json").read_bytes())
    assert odd_faults(two) == {"odd/entry.json": "changed"}
    assert len(rebuild_catalog(two)) == 1
