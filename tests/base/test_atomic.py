"""A file is written whole or not at all, in the place of another or of none."""

from __future__ import annotations

import errno
import os
import signal
import stat
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from handover.base.atomic import create_file, hold_lock_file, lock_path, open_replacement, write_file

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    Writer = Callable[[Path, bytes], None]

WRITERS = [pytest.param(write_file, id="replace"), pytest.param(create_file, id="create")]


def names(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


@pytest.mark.parametrize("write", WRITERS)
def test_a_new_file_has_its_bytes_and_the_rights_of_any_new_file(tmp_path: Path, write: Writer) -> None:
    write(tmp_path / "a.json", b"new")
    (tmp_path / "plain").touch()
    assert (tmp_path / "a.json").read_bytes() == b"new"
    assert (tmp_path / "a.json").stat().st_mode == (tmp_path / "plain").stat().st_mode
    assert names(tmp_path) == ["a.json", "plain"]


def test_an_earlier_file_is_replaced_and_its_permissions_stay(tmp_path: Path) -> None:
    file = tmp_path / "a.json"
    file.write_bytes(b"older")
    file.chmod(0o640)
    write_file(file, b"newer")
    assert file.read_bytes() == b"newer"
    assert file.stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("write", WRITERS)
def test_a_failed_write_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, write: Writer
) -> None:
    file = tmp_path / "a.json"
    if write is write_file:
        file.write_bytes(b"older")
    before = names(tmp_path)

    def full(_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write(file, b"newer")
    assert names(tmp_path) == before
    assert write is create_file or file.read_bytes() == b"older"


@pytest.mark.parametrize("links", [True, False], ids=["with links", "without links"])
def test_a_file_that_exists_is_never_created_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, links: bool
) -> None:
    def no_links(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    if not links:
        monkeypatch.setattr(os, "link", no_links)
    create_file(tmp_path / "a", b"first")
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    for name in ("a", "dangling"):
        with pytest.raises(FileExistsError):
            create_file(tmp_path / name, b"second")
    assert (tmp_path / "a").read_bytes() == b"first"
    assert names(tmp_path) == ["a", "dangling"]


def test_a_link_is_replaced_and_not_followed(tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.write_bytes(b"of somebody else")
    (tmp_path / "a").symlink_to(other)
    write_file(tmp_path / "a", b"new")
    assert other.read_bytes() == b"of somebody else"
    assert (tmp_path / "a").read_bytes() == b"new"


def test_an_exception_in_the_block_leaves_the_earlier_file(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"older")

    def fail() -> None:
        with open_replacement(tmp_path / "a") as stream:
            stream.write(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fail()
    assert (tmp_path / "a").read_bytes() == b"older"
    assert names(tmp_path) == ["a"]


KILLED = """
import os, signal, sys
from pathlib import Path
from handover.base import atomic

setattr(os, sys.argv[1], lambda *_, **__: os.kill(os.getpid(), signal.SIGKILL))
atomic.write_file(Path(sys.argv[2]), b"newer")
"""


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_killed_before_the_end_the_earlier_file_is_whole(tmp_path: Path, call: str) -> None:
    file = tmp_path / "a"
    file.write_bytes(b"older")
    killed = subprocess.run([sys.executable, "-c", KILLED, call, str(file)], check=False)
    assert killed.returncode == -signal.SIGKILL
    assert file.read_bytes() == b"older"
    assert len(names(tmp_path)) == 2, "the killed run left nothing: this test tests nothing"
    write_file(file, b"third")
    assert file.read_bytes() == b"third"
    assert names(tmp_path) == ["a"]


def test_the_temporary_file_of_a_living_run_is_left_alone(tmp_path: Path) -> None:
    with open_replacement(tmp_path / "a") as stream:
        stream.write(b"first ")
        write_file(tmp_path / "a", b"second")
        stream.write(b"run")
    assert (tmp_path / "a").read_bytes() == b"first run"
    assert names(tmp_path) == ["a"]


@pytest.mark.parametrize("name", [".a.new", ".a.0123.new", ".a.0123456789abcdef.old"])
def test_files_of_others_are_no_leftovers(tmp_path: Path, name: str) -> None:
    (tmp_path / name).touch()
    write_file(tmp_path / "a", b"new")
    assert names(tmp_path) == [name, "a"]


def test_a_long_name_has_room_for_its_temporary_name(tmp_path: Path) -> None:
    file = tmp_path / ("\U0001f9f1" * 60)
    write_file(file, b"new")
    assert file.read_bytes() == b"new"


def test_one_at_a_time_holds_a_folder(tmp_path: Path) -> None:
    with lock_path(tmp_path), pytest.raises(BlockingIOError), lock_path(tmp_path, wait=False):
        pass
    with lock_path(tmp_path, wait=False):
        pass


def test_a_private_file_is_private_while_it_is_written(tmp_path: Path) -> None:
    file = tmp_path / "sent.json"
    file.write_bytes(b"earlier")
    file.chmod(0o600)
    with open_replacement(file) as stream:
        (fresh,) = (each for each in tmp_path.iterdir() if each != file)
        assert stat.S_IMODE(fresh.stat().st_mode) == 0o600
        stream.write(b"later")
    assert (file.read_bytes(), stat.S_IMODE(file.stat().st_mode)) == (b"later", 0o600)


def test_a_lock_file_that_cannot_be_removed_is_not_held_for_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Seen: the disk failed at the removal, and the next issue of the same process waited for itself."""

    def fail(*_: object, **__: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    def waits() -> None:
        pytest.fail("the lock is still held")

    lock = tmp_path / ".out.lock"
    with monkeypatch.context() as broken:
        broken.setattr("pathlib.Path.unlink", fail)
        with pytest.raises(OSError, match="Input/output"), hold_lock_file(lock):
            pass
    with hold_lock_file(lock, waits):
        pass
    assert names(tmp_path) == []
