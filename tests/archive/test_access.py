"""Who may read an archive, the cache of forecasts and the log of what was sent."""

from __future__ import annotations

import grp
import os
import stat
from typing import TYPE_CHECKING

import pytest

from handover.archive.deposit import Deposit, deposit_files
from handover.archive.store import Archive
from handover.base.atomic import private_mode
from handover.errors import UnusableInput

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime
    from pathlib import Path

    from handover.archive.entry import JobEntry


def modes(folder: Path) -> dict[str, set[int]]:
    """Return the modes of all folders and of all files at and below a folder."""
    found: dict[str, set[int]] = {"folders": set(), "files": set()}
    for each in (folder, *folder.rglob("*")):
        kind = "folders" if each.is_dir() else "files"
        found[kind].add(stat.S_IMODE(each.stat().st_mode))
    return found


@pytest.fixture(params=[0o000, 0o022, 0o077], ids=oct)
def _any_umask(request: pytest.FixtureRequest) -> Iterator[None]:
    """Have a mask of new files: what is private does not depend on it, nor what a group may write."""
    earlier = os.umask(request.param)
    yield
    os.umask(earlier)


@pytest.mark.usefixtures("_any_umask")
def test_a_new_archive_is_its_owners_alone(
    archive: Archive, deposit: Callable[..., Deposit], at: datetime
) -> None:
    deposit_files(archive, deposit(), at)
    assert modes(archive.folder) == {"folders": {0o700}, "files": {0o600}}


@pytest.mark.usefixtures("_any_umask")
def test_or_that_of_a_group(tmp_path: Path, deposit: Callable[..., Deposit], at: datetime) -> None:
    group = grp.getgrgid(os.getgid())
    with Archive(tmp_path / "archive", group=group.gr_name) as archive:
        deposit_files(archive, deposit(), at)
    assert modes(archive.folder) == {"folders": {0o2770}, "files": {0o660}}
    assert {each.stat().st_gid for each in archive.folder.rglob("*")} == {group.gr_gid}


def test_a_group_that_there_is_not(tmp_path: Path, deposit: Callable[..., Deposit], at: datetime) -> None:
    archive = Archive(tmp_path / "archive", group="nobody-of-that-name")
    with archive, pytest.raises(UnusableInput, match="nobody-of-that-name"):
        deposit_files(archive, deposit(), at)
    assert not archive.folder.exists()


@pytest.mark.parametrize("mode", [0o755, 0o750, 0o2775])
def test_an_archive_that_exists_keeps_its_rights(
    archive: Archive, deposit: Callable[..., Deposit], entry: Callable[..., JobEntry], at: datetime, mode: int
) -> None:
    archive.folder.mkdir()
    archive.folder.chmod(mode)
    deposit_files(archive, deposit(), at)
    deposit_files(archive, Deposit(entry(revision=2), {"care-sheet.pdf": b"second"}), at)
    assert modes(archive.folder) == {"folders": {mode}, "files": {mode & 0o666}}


def test_a_private_file_is_for_the_group_where_that_may_write(tmp_path: Path) -> None:
    for mode, private in ((0o755, 0o600), (0o700, 0o600), (0o775, 0o660), (0o2770, 0o660)):
        tmp_path.chmod(mode)
        assert private_mode(tmp_path) == private
