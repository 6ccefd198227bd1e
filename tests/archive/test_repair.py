"""What the bags say twice is written again; nothing else is touched."""

from __future__ import annotations

import hashlib
import shutil
from typing import TYPE_CHECKING

import bagit
import pytest

from handover.archive.bag import MANIFESTS, TAG_MANIFESTS
from handover.archive.repair import repair_archive
from handover.archive.verify import verify_archive

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from handover.archive.store import Archive

    Contents = Callable[[Path], dict[str, bytes]]

ALL = (*MANIFESTS, *TAG_MANIFESTS)


def spoil(file: Path, how: str) -> None:
    match how:
        case "missing":
            file.unlink()
        case "empty":
            file.write_bytes(b"")
        case "binary":
            file.write_bytes(b"\xff\x00")
        case "one digit":
            data = bytearray(file.read_bytes())
            data[3] = ord("0") if data[3] != ord("0") else ord("1")
            file.write_bytes(data)
        case "one line less":
            file.write_bytes(b"".join(file.read_bytes().splitlines(keepends=True)[1:]))


def test_what_is_whole_is_not_touched(filed: Archive, contents: Contents) -> None:
    before = contents(filed.bags)
    assert repair_archive(filed) == []
    assert contents(filed.bags) == before


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("how", ["missing", "empty", "binary", "one digit", "one line less"])
def test_a_manifest_is_written_again_from_its_twin(
    filed: Archive, bag_folder: Path, contents: Contents, name: str, how: str
) -> None:
    before = contents(filed.bags)
    spoil(bag_folder / name, how)
    assert not verify_archive(filed).sound
    assert [(each.bag, each.what.split()[0]) for each in repair_archive(filed)] == [(bag_folder.name, name)]
    assert contents(filed.bags) == before
    bagit.Bag(str(bag_folder)).validate()
    assert verify_archive(filed).sound
    assert repair_archive(filed) == []


@pytest.mark.parametrize("pair", [MANIFESTS, TAG_MANIFESTS])
def test_both_gone_nothing_is_made_up(
    filed: Archive, bag_folder: Path, contents: Contents, pair: tuple[str, ...]
) -> None:
    for each in pair:
        (bag_folder / each).unlink()
    before = contents(filed.bags)
    assert repair_archive(filed) == []
    assert contents(filed.bags) == before


@pytest.mark.parametrize("change", ["payload", "entry", "unexpected", "missing"])
@pytest.mark.parametrize("name", [None, *ALL])
def test_what_was_changed_by_somebody_stays_and_stays_known(
    filed: Archive, bag_folder: Path, contents: Contents, change: str, name: str | None
) -> None:
    photo = bag_folder / "data" / "photos" / "edge.jpg"
    match change:
        case "payload":
            photo.write_bytes(b"another")
        case "entry":
            (bag_folder / "entry.json").write_bytes(b"{}")
        case "unexpected":
            (bag_folder / "data" / "more.txt").write_bytes(b"more")
        case "missing":
            photo.unlink()
    if name is not None:
        (bag_folder / name).unlink()
    before = contents(filed.bags)
    repair_archive(filed)
    after = contents(filed.bags)
    assert {path: after[path] for path in before} == before
    assert set(after) - set(before) <= {f"{bag_folder.name}/{each}" for each in ALL}
    assert not verify_archive(filed).sound


def test_a_forged_twin_is_not_believed(filed: Archive, bag_folder: Path) -> None:
    """Somebody changed a file, and the digests of one algorithm: the tag manifests know better."""
    photo = bag_folder / "data" / "photos" / "edge.jpg"
    old = hashlib.sha512(photo.read_bytes()).hexdigest()
    photo.write_bytes(b"another")
    new = hashlib.sha512(photo.read_bytes()).hexdigest()
    twin = bag_folder / MANIFESTS[1]
    twin.write_text(twin.read_text().replace(old, new))
    (bag_folder / MANIFESTS[0]).unlink()
    assert repair_archive(filed) == []


def test_a_tag_manifest_that_is_not_the_catalogs_is_not_written(filed: Archive, bag_folder: Path) -> None:
    with filed.catalog._writing() as connection:
        connection.exec_driver_sql("UPDATE job SET seal = 'another'")
    (bag_folder / TAG_MANIFESTS[0]).unlink()
    assert repair_archive(filed) == []


@pytest.mark.parametrize("how", ["missing", "binary"])
def test_a_lost_catalog_is_rebuilt(filed: Archive, how: str) -> None:
    filed.close()
    for each in filed.folder.glob("catalog.sqlite?*"):
        each.unlink()
    spoil(filed.folder / "catalog.sqlite", how)
    assert [each.what for each in repair_archive(filed)] == ["the catalog is rebuilt from the bags"]
    assert verify_archive(filed).sound
    assert repair_archive(filed) == []


def test_an_unfinished_step_is_completed(filed: Archive, bag_folder: Path) -> None:
    work = filed.working / bag_folder.name
    work.mkdir(parents=True, exist_ok=True)
    shutil.copytree(bag_folder, work / "fresh")
    assert [each.bag for each in repair_archive(filed)] == [bag_folder.name]
    assert not work.exists()
    assert verify_archive(filed).sound
