"""Killed at any line, or with the disk full at any call, a bag is in its old state or its new one."""

from __future__ import annotations

import errno
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bagit
import pytest

import handover.archive
from handover.archive.deposit import Deposit, deposit_files, recover
from handover.archive.errors import IndexPending, NotArchived
from handover.archive.forget import forget_job
from handover.archive.store import Archive
from handover.archive.verify import verify_archive
from handover.base import atomic

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime
    from types import FrameType

    from handover.archive.entry import JobEntry

    Contents = Callable[[Path], dict[str, bytes]]
    State = frozenset[tuple[str, bytes | None]]
    Work = Callable[[Archive], None]

# The worker of the suite that runs this has a thread for its own talk; the child of a fork has no use for it.
pytestmark = pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")

OUR_CODE = str(Path(handover.archive.__file__).parent)
JOB = "2026-07-14-alder"


# ---- a process that is killed -----------------------------------------------------------------------

RANDOM = re.compile(r"[0-9a-f]{16}(?=\.new\b)")
"""What the name of a temporary file has of its own."""


def state_of(archive: Archive) -> State:
    """Return all that a process that died left of an archive: its folders and files, hidden ones too.

    What the next run does follows from that alone, and is tried once for each such state.
    """

    def name(path: Path) -> str:
        return RANDOM.sub("", path.relative_to(archive.folder).as_posix())

    return frozenset(
        (name(each), each.read_bytes() if each.is_file() else None) for each in archive.folder.rglob("*")
    )


def killed_at_line(stop: int, work: Callable[[], None]) -> int:
    """Do some work in a process of its own, which kills itself when it comes to a line.

    Lines are counted as they are run, in the code of the archive alone.

    Returns:
        How many lines were run; -1 if the process was killed.
    """
    reading, writing = os.pipe()
    if (child := os.fork()) == 0:
        run = 0

        def trace(frame: FrameType, event: str, _: Any) -> Any:
            nonlocal run
            if not frame.f_code.co_filename.startswith(OUR_CODE):
                return None
            if event == "line":
                run += 1
                if run == stop:
                    os.kill(os.getpid(), signal.SIGKILL)
            return trace

        try:
            sys.settrace(trace)
            work()
            sys.settrace(None)
            os.write(writing, str(run).encode())
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as result:
        lines = result.read()
    _, status = os.waitpid(child, 0)
    if os.waitstatus_to_exitcode(status) == -signal.SIGKILL:
        return -1
    return int(lines)


def revise(entry: JobEntry, at: datetime) -> Work:
    """File a second revision and a message."""
    second = Deposit(
        replace(entry, revision=2, owner="Berta Beispiel"),
        {"care-sheet.pdf": b"second sheet", "inputs/weather.json": b"{}"},
        {"messages/2.eml": b"new dates"},
    )
    return lambda archive: _use(archive, lambda: deposit_files(archive, second, at))


def forget_owner(at: datetime) -> Work:
    """Remove the owner, and the photo of their garage."""
    return lambda archive: _use(
        archive,
        lambda: forget_job(
            archive,
            JOB,
            lambda path, data: None if path.startswith("photos/") else data,
            lambda entry: replace(entry, owner=""),
            at,
        ),
    )


def _use(archive: Archive, work: Callable[[], object]) -> None:
    with archive:
        work()


@pytest.fixture
def works(entry: Callable[..., JobEntry], at: datetime) -> dict[str, Work]:
    """Return the ways in which a bag gets a new state."""
    return {"revise": revise(entry(), at), "forget": forget_owner(at)}


@pytest.mark.parametrize("exchanging", [True, False], ids=["exchange", "two renames"])
@pytest.mark.parametrize("what", ["revise", "forget"])
def test_killed_anywhere_a_bag_is_old_or_new_and_the_next_run_tidies_up(
    tmp_path: Path, deposit: Callable[..., Deposit], at: datetime, works: dict[str, Work], what: str,
    exchanging: bool, contents: Contents, monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    if not exchanging:
        monkeypatch.setattr(atomic, "exchange_names", lambda *_: False)
    number = 0

    with Archive(tmp_path / "first") as first:
        deposit_files(first, deposit(**{"photos/edge.jpg": b"a photo"}), at)

    def fresh() -> Archive:
        nonlocal number
        number += 1
        return Archive(shutil.copytree(first.folder, tmp_path / str(number)))

    undisturbed = fresh()
    bag = undisturbed.bags / JOB
    old = contents(bag)
    lines = killed_at_line(0, lambda: works[what](undisturbed))
    new = contents(bag)
    assert lines > 400
    assert new != old

    seen = []
    known: dict[State, bool] = {}
    first_line = 1 + 7 * (2 * exchanging + (what == "forget"))  # other lines in each of the four
    for stop in range(first_line, lines + 1, max(1, lines // 40)):
        archive = fresh()
        assert killed_at_line(stop, lambda archive=archive: works[what](archive)) == -1
        left = state_of(archive)
        if left in known:
            seen.append(known[left])
            continue
        bag = archive.bags / JOB
        if exchanging:
            assert contents(bag) in (old, new)
            bagit.Bag(str(bag)).validate()
        with archive:
            recover(archive)
            state = contents(bag)
            assert state in (old, new)
            assert list(archive.working.iterdir()) == []
            assert list(archive.catalog.entries()) == [archive.bag(JOB).entry]
            assert verify_archive(archive).sound
            works[what](archive)
            assert contents(bag) == new
        known[left] = state == new
        seen.append(known[left])
    assert seen == sorted(seen)  # once it is new, it stays so
    assert set(seen) == {False, True}


def test_the_first_bag_of_an_archive_is_there_or_not(
    tmp_path: Path, deposit: Callable[..., Deposit], at: datetime, contents: Contents
) -> None:
    def work(archive: Archive) -> None:
        _use(archive, lambda: deposit_files(archive, deposit(), at))

    whole = Archive(tmp_path / "whole")
    lines = killed_at_line(0, lambda: work(whole))
    seen = []
    known: set[State] = set()
    for stop in range(1, lines + 1, max(1, lines // 40)):
        archive = Archive(tmp_path / str(stop))
        assert killed_at_line(stop, lambda archive=archive: work(archive)) == -1
        seen.append(bool(archive.names()))
        left = state_of(archive)
        if left in known:
            continue
        known.add(left)
        if seen[-1]:
            assert contents(archive.bags) == contents(whole.bags)
        work(archive)
        assert contents(archive.bags) == contents(whole.bags)
        assert list(archive.working.iterdir()) == []
    assert set(seen) == {False, True}


IN_A_LOOP = """
import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path
import alembic.command
import handover.archive.catalog
from handover.archive.entry import JobEntry
from handover.archive.deposit import Deposit, deposit_files
from handover.archive.store import Archive
at = datetime.fromisoformat("2026-07-14T12:30:00-04:00")
with Archive(Path(sys.argv[1])) as archive:
    first = (archive.bag_or_none("job") or 0) and archive.bag("job").entry.revision
    print("ready", flush=True)
    for revision in range(first + 1, 10_000):
        entry = JobEntry("job", at, revision, at, owner=f"owner {revision}")
        documents = {f"{name}.pdf": f"{revision} {name} ".encode() * 2000 for name in range(4)}
        deposit_files(archive, Deposit(entry, documents), at)
        print(revision, flush=True)
"""


def test_killed_from_outside_again_and_again_nothing_is_lost(
    tmp_path: Path, warm: Callable[..., Any]
) -> None:
    """At instants nobody chose, in the middle of system calls; what is reported as archived is there."""
    archive = Archive(tmp_path / "archive")
    done = 0
    for share in (0.1, 0.3, 0.5, 0.7, 0.9):  # of the time that a filing takes
        with warm(IN_A_LOOP, [archive.folder], stdout=subprocess.PIPE) as child:
            assert child.stdout.readline() == "ready\n"
            for _ in range(2):
                began = time.monotonic()
                filed = int(child.stdout.readline())
            child.wait(share * (time.monotonic() - began))
            child.kill()
        assert child.returncode == -signal.SIGKILL
        bag = archive.bag("job")
        bagit.Bag(str(bag.folder)).validate()
        assert bag.entry.revision >= filed > done
        done = bag.entry.revision
        assert bag.revisions == tuple(range(1, done + 1))
    with archive:
        recover(archive)
        assert verify_archive(archive).sound
        assert [each.revision for each in archive.catalog.entries()] == [done]


# ---- a disk that is full ----------------------------------------------------------------------------


@contextmanager
def full_after(calls: int) -> Iterator[list[str]]:
    """Let every call that takes room on the disk fail after so many; give the names of those made."""
    made: list[str] = []

    def counted(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **more: Any) -> Any:
            if len(made) >= calls:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            made.append(name)
            return real(*arguments, **more)

        return call

    with pytest.MonkeyPatch.context() as patched:
        for name in ("mkdir", "link", "rename", "fsync"):
            patched.setattr(os, name, counted(name, getattr(os, name)))
        patched.setattr(atomic, "write_new_file", counted("write", half_written))
        yield made


def half_written(file: Path, data: bytes, mode: int | None = None) -> None:  # noqa: ARG001
    """Write a file as a disk does that has room for it after all."""
    file.write_bytes(data)


@pytest.mark.parametrize("what", ["revise", "forget"])
def test_with_the_disk_full_at_any_call_a_bag_is_old_or_new(
    filed: Archive, bag_folder: Path, works: dict[str, Work], what: str, contents: Contents
) -> None:
    old = contents(bag_folder)
    calls, result = 0, []
    while contents(bag_folder) == old:
        with full_after(calls), pytest.raises((NotArchived, IndexPending), match="No space left") as caught:
            works[what](filed)
        result.append(caught.type)
        bagit.Bag(str(bag_folder)).validate()
        calls += 1
    assert calls > 20
    assert result == [NotArchived] * (calls - 1) + [IndexPending]
    recover(filed)
    assert verify_archive(filed).sound
    assert contents(bag_folder) != old
    assert list(filed.catalog.entries()) == [filed.bag(JOB).entry]
    assert list(filed.working.iterdir()) == []


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Mount a disk of half a megabyte, or skip."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=512k", "tmpfs", str(folder)]
    if os.getuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("only root may mount the small disk that this test fills")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_on_a_disk_that_fills_up_a_bag_is_old_or_new(
    small_disk: Path, deposit: Callable[..., Deposit], entry: Callable[..., JobEntry], at: datetime
) -> None:
    with Archive(small_disk / "archive") as archive:
        deposit_files(archive, deposit(), at)
        revision = 1
        try:
            while revision < 60:
                deposit_files(
                    archive, Deposit(entry(revision=revision + 1), {"photo.jpg": bytes(20_000)}), at
                )
                revision += 1
        except NotArchived:
            pass
        except IndexPending:
            revision += 1
        assert revision < 60
        assert revision > 3
        bag = archive.bag(JOB)
        bagit.Bag(str(bag.folder)).validate()
        assert bag.revisions == tuple(range(1, revision + 1))
