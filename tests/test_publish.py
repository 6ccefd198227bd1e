"""A set of documents is published completely or not at all, and no file is lost."""

from __future__ import annotations

import errno
import json
import os
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from handover.base import atomic
from handover.errors import RenderingFailed, UnusableInput
from handover.service import publish
from handover.service.send_log import Delivery, open_send_log

if TYPE_CHECKING:
    from collections.abc import Callable


def a_set(job: str = "alder", text: bytes = b"first", **more: bytes) -> dict[str, bytes]:
    """Return the files of a small set."""
    schedule = json.dumps({"job": job}).encode()
    return {"care-sheet.pdf": text, "schedule.json": schedule, "inputs/job.toml": b"id = 1", **more}


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder, hidden ones too."""
    return {
        file.relative_to(folder).as_posix(): file.read_bytes()
        for file in sorted(folder.rglob("*"))
        if file.is_file()
    }


def put(folder: Path, files: dict[str, bytes], job: str = "alder") -> None:
    publish.publish(files, folder, job)


def test_a_set_has_exactly_its_files(tmp_path: Path) -> None:
    put(tmp_path / "new" / "deep", a_set())
    assert contents(tmp_path) == {f"new/deep/{name}": content for name, content in a_set().items()}


def test_a_later_set_takes_the_place_of_an_earlier_one(tmp_path: Path) -> None:
    put(tmp_path / "out", a_set(**{"care-sheet.es.pdf": b"viejo"}))
    put(tmp_path / "out", a_set(text=b"second"))
    assert contents(tmp_path) == {f"out/{name}": content for name, content in a_set(text=b"second").items()}


def test_what_somebody_else_laid_into_the_folder_goes_along(tmp_path: Path) -> None:
    put(tmp_path / "out", a_set())
    (tmp_path / "out" / "signed.jpg").write_bytes(b"scan")
    (tmp_path / "out" / "photos").mkdir()
    (tmp_path / "out" / "photos" / "edge.jpg").write_bytes(b"edge")
    put(tmp_path / "out", a_set(text=b"second"))
    kept = {"out/signed.jpg": b"scan", "out/photos/edge.jpg": b"edge"}
    assert contents(tmp_path).items() >= kept.items()


def test_an_empty_folder_may_be_filled(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    put(tmp_path / "out", a_set())
    assert contents(tmp_path / "out") == a_set()


@pytest.mark.parametrize(
    "there",
    [
        {"novel.txt": b"chapter 1"},
        {"schedule.json": b"{"},
        {"schedule.json": b"[]"},
        {"schedule.json": b'{"job": "another"}'},
        {"schedule.json": b"\xff\x00"},
    ],
    ids=["foreign", "broken", "a list", "another job", "binary"],
)
def test_a_folder_of_something_else_is_left_alone(tmp_path: Path, there: dict[str, bytes]) -> None:
    (tmp_path / "out").mkdir()
    for name, content in there.items():
        (tmp_path / "out" / name).write_bytes(content)
    with pytest.raises(UnusableInput) as refused:
        put(tmp_path / "out", a_set())
    assert refused.value.findings[0].file == str(tmp_path / "out")
    assert contents(tmp_path / "out") == there
    assert [each.name for each in tmp_path.iterdir()] == ["out"]


def test_a_file_in_the_place_of_the_folder_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(b"a file")
    with pytest.raises(UnusableInput, match="not a folder"):
        put(tmp_path / "out", a_set())
    assert contents(tmp_path) == {"out": b"a file"}


def test_an_empty_document_stops_the_run_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(RenderingFailed, match=r"care-sheet\.pdf"):
        put(tmp_path / "new" / "out", a_set(text=b""))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("step", ["_write", "_carry_foreign_files", "_swap"])
@pytest.mark.parametrize("fault", [OSError("disk full"), KeyboardInterrupt()], ids=["disk full", "stopped"])
def test_a_run_that_fails_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, fault: BaseException
) -> None:
    put(tmp_path / "out", a_set())

    def fail(*_: object) -> None:
        raise fault

    monkeypatch.setattr(publish, step, fail)
    for target in ("out",) if step == "_carry_foreign_files" else ("out", "new/deep"):
        with pytest.raises(type(fault)):
            put(tmp_path / target, a_set(text=b"second"))
    assert contents(tmp_path) == {f"out/{name}": content for name, content in a_set().items()}
    assert [each.name for each in tmp_path.iterdir()] == ["out"]


def test_the_earlier_set_is_back_when_the_last_rename_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path / "out", a_set())
    rename = type(tmp_path).rename

    def fail_for_the_new(self: Path, target: Path) -> Path:
        if "issuing" in self.name:
            raise OSError("no rename today")
        return rename(self, target)

    monkeypatch.setattr(atomic, "exchange_names", lambda *_: False)
    monkeypatch.setattr(type(tmp_path), "rename", fail_for_the_new)
    with pytest.raises(OSError, match="no rename today"):
        put(tmp_path / "out", a_set(text=b"second"))
    assert contents(tmp_path) == {f"out/{name}": content for name, content in a_set().items()}


KILLED_WHILE = """
import os, signal, sys
from pathlib import Path
from handover.base import atomic
from handover.service import publish

moment, folder = sys.argv[1], Path(sys.argv[2])
die = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
if moment == "writing":
    publish._carry_foreign_files = die
elif moment == "exchanged":
    exchange = atomic.exchange_names
    atomic.exchange_names = lambda new, target: exchange(new, target) and die()
else:
    atomic.exchange_names = lambda *_: False
    rename = Path.rename
    Path.rename = lambda self, target: die() if "issuing" in self.name else rename(self, target)
publish.publish({"care-sheet.pdf": b"second", "schedule.json": b'{"job": "alder"}'}, folder, "alder")
"""


@pytest.mark.parametrize("moment", ["writing", "renaming", "exchanged"])
def test_the_next_run_tidies_what_a_killed_one_left(tmp_path: Path, moment: str) -> None:
    folder = tmp_path / "out"
    put(folder, a_set(**{"signed.jpg": b"scan"}))
    killed = subprocess.run([sys.executable, "-c", KILLED_WHILE, moment, str(folder)], check=False)
    assert killed.returncode == -signal.SIGKILL
    assert len(list(tmp_path.iterdir())) > 1, "the killed run left nothing: this test tests nothing"
    put(folder, a_set(text=b"third"))
    wanted = a_set(text=b"third") | {"signed.jpg": b"scan"}
    assert contents(tmp_path) == {f"out/{name}": content for name, content in wanted.items()}


def test_a_reader_finds_a_whole_set_at_every_instant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "out"
    put(folder, a_set())
    found: list[bytes] = []
    exchange = atomic.exchange_names

    def look(new: Path, target: Path) -> bool:
        found.append((folder / "care-sheet.pdf").read_bytes())
        if not exchange(new, target):
            pytest.skip("the file system of the temporary folder cannot exchange two names")
        found.append((folder / "care-sheet.pdf").read_bytes())
        return True

    monkeypatch.setattr(atomic, "exchange_names", look)
    put(folder, a_set(text=b"second"))
    assert found == [b"first", b"second"]
    assert [each.name for each in tmp_path.iterdir()] == ["out"]


def test_a_run_at_work_is_not_tidied_away(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    with publish._temporary_folder(folder) as fresh:
        (fresh / "care-sheet.pdf").write_bytes(b"half")
        publish._recover(folder)
        assert contents(fresh) == {"care-sheet.pdf": b"half"}


def test_the_folder_has_the_rights_that_any_new_folder_gets(tmp_path: Path) -> None:
    put(tmp_path / "out", a_set())
    (tmp_path / "plain").mkdir()
    assert (tmp_path / "out").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_the_rights_of_a_folder_that_exists_stay(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    put(folder, a_set())
    for name, mode in (("", 0o2750), ("inputs", 0o700)):
        (folder / name).chmod(mode)
    (folder / "photos").mkdir(mode=0o710)
    before = [(folder / each).stat().st_mode for each in ("", "inputs", "photos")]
    put(folder, a_set(text=b"second"))
    assert [(folder / each).stat().st_mode for each in ("", "inputs", "photos")] == before


# ---- what lies beside


def test_what_lies_beside_is_the_same_file_in_the_new_set(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    put(folder, a_set())
    (folder / "signed.jpg").write_bytes(b"scan")
    (folder / "latest").symlink_to("signed.jpg")
    before = (folder / "signed.jpg").stat()
    put(folder, a_set(text=b"second"))
    after = (folder / "signed.jpg").stat()
    assert (after.st_ino, after.st_mtime_ns) == (before.st_ino, before.st_mtime_ns)
    assert (folder / "latest").is_symlink()
    assert after.st_nlink == 1


def test_without_links_it_is_copied_with_its_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "out"
    put(folder, a_set())
    (folder / "signed.jpg").write_bytes(b"scan")
    before = (folder / "signed.jpg").stat()

    def refuse(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "no links on this disk")

    monkeypatch.setattr(os, "link", refuse)
    put(folder, a_set(text=b"second"))
    assert (folder / "signed.jpg").read_bytes() == b"scan"
    assert (folder / "signed.jpg").stat().st_mtime_ns == before.st_mtime_ns


def test_everything_is_flushed_before_the_names_are_exchanged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Flushed are the files and folders beside too; the earlier set is removed after the folder above."""
    folder = tmp_path / "out"
    put(folder, a_set())
    (folder / "photos").mkdir()
    (folder / "photos" / "edge.jpg").write_bytes(b"edge")
    done: list[str] = []
    fsync, exchange, remove = os.fsync, atomic.exchange_names, publish.shutil.rmtree

    def note_flush(handle: int) -> None:
        fsync(handle)
        done.append(Path(f"/proc/self/fd/{handle}").readlink().name)

    def note_exchange(one: Path, other: Path) -> bool:
        done.append("exchange")
        return exchange(one, other)

    def note_removal(path: Path, **more: Any) -> None:
        done.append("remove")
        remove(path, **more)

    monkeypatch.setattr(os, "fsync", note_flush)
    monkeypatch.setattr(atomic, "exchange_names", note_exchange)
    monkeypatch.setattr(publish.shutil, "rmtree", note_removal)
    put(folder, a_set(text=b"second"))
    at = done.index("exchange")
    assert {"edge.jpg", "photos", "care-sheet.pdf", "job.toml", "inputs"} <= set(done[:at])
    assert tmp_path.name in done[at : at + done[at:].index("remove")]


def test_a_file_laid_there_in_the_last_moment_goes_along(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "out"
    put(folder, a_set())
    replace = publish.replace_folder

    def lay_and_replace(new: Path, target: Path, backup: Path) -> None:
        (target / "late.jpg").write_bytes(b"late")
        replace(new, target, backup)

    monkeypatch.setattr(publish, "replace_folder", lay_and_replace)
    put(folder, a_set(text=b"second"))
    assert contents(folder) == a_set(text=b"second") | {"late.jpg": b"late"}


def test_a_file_laid_into_a_folder_there_in_the_last_moment_goes_along(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Seen, once in 437 commands: a photo laid beside others in the instant of an exchange was lost."""
    folder, replace = tmp_path / "out", publish.replace_folder
    put(folder, a_set())
    deep = folder / "photos" / "edges"
    deep.mkdir(parents=True)
    (deep / "one.jpg").write_bytes(b"one")

    def lay_and_replace(new: Path, target: Path, backup: Path) -> None:
        (deep / "two.jpg").write_bytes(b"two")
        replace(new, target, backup)

    monkeypatch.setattr(publish, "replace_folder", lay_and_replace)
    put(folder, a_set(text=b"second"))
    beside = {"photos/edges/one.jpg": b"one", "photos/edges/two.jpg": b"two"}
    assert contents(folder) == a_set(text=b"second") | beside


@pytest.mark.parametrize("exchanging", [True, False], ids=["exchange", "two renames"])
def test_the_earlier_set_is_back_when_the_disk_cannot_say_that_it_has_the_new_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, exchanging: bool
) -> None:
    folder = tmp_path / "out"
    put(folder, a_set(**{"signed.jpg": b"scan"}))
    if not exchanging:
        for module in (atomic, publish):
            monkeypatch.setattr(module, "exchange_names", lambda *_: False)
    flush = publish.flush

    def fail_above(path: Path) -> None:
        if path == tmp_path:
            raise OSError(errno.EIO, "the disk is broken")
        flush(path)

    monkeypatch.setattr(publish, "flush", fail_above)
    with pytest.raises(OSError, match="the disk is broken"):
        put(folder, a_set(text=b"second"))
    assert contents(tmp_path) == {
        f"out/{name}": data for name, data in (a_set() | {"signed.jpg": b"scan"}).items()
    }


# ---- several runs at once


def test_a_program_that_fills_the_folder_meanwhile_is_named_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "out"
    replace = publish.replace_folder

    def fill_and_replace(new: Path, target: Path, backup: Path) -> None:
        target.mkdir()
        (target / "of-another.pdf").write_bytes(b"another")
        monkeypatch.setattr(atomic, "exchange_names", lambda *_: False)
        monkeypatch.setattr(type(target), "exists", lambda *_: False)  # it looked just before
        try:
            replace(new, target, backup)
        finally:
            monkeypatch.undo()

    monkeypatch.setattr(publish, "replace_folder", fill_and_replace)
    with pytest.raises(UnusableInput, match="another run is at work on it"):
        put(folder, a_set())
    assert contents(tmp_path) == {"out/of-another.pdf": b"another"}


def test_a_run_that_waits_says_for_what(
    tmp_path: Path, our_log: pytest.LogCaptureFixture, until: Callable[..., None]
) -> None:
    with ThreadPoolExecutor(1) as pool:
        with publish.lock_folder(tmp_path / "out"):
            waiting = pool.submit(put, tmp_path / "out", a_set())
            until(lambda: "another run is at work on it" in our_log.text, "it waits without a word")
        waiting.result()
    assert contents(tmp_path / "out") == a_set()


def test_a_set_does_not_change_while_its_message_is_sent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, until: Callable[..., None]
) -> None:
    """What a sending run notes is in the new set too."""
    folder, reached, lock = tmp_path / "out", threading.Event(), publish.lock_path
    put(folder, a_set())

    def reach(path: Path, **more: Any) -> Any:
        if path == folder:
            reached.set()
        return lock(path, **more)

    monkeypatch.setattr(publish, "lock_path", reach)
    with ThreadPoolExecutor(1) as pool:
        with open_send_log(folder) as log:
            publishing = pool.submit(put, folder, a_set(text=b"second"))
            until(reached.is_set, "the set is not locked")
            log.put(Delivery("<1@example.com>", ("ana@example.org",), NOON, "sent"))
        publishing.result()
    with open_send_log(folder) as log:
        assert [each.state for each in log.deliveries] == ["sent"]
    assert (folder / "care-sheet.pdf").read_bytes() == b"second"


def issued(revision: int, at: str, text: bytes = b"first") -> dict[str, bytes]:
    """Return a small set of a revision and a time of issue."""
    schedule = {"job": "alder", "revision": revision, "issued_at": at}
    return a_set(text=text) | {"schedule.json": json.dumps(schedule).encode()}


NOON, ONE = "2026-07-14T12:00:00-04:00", "2026-07-14T13:00:00-04:00"


@pytest.mark.parametrize(
    ("revision", "at"), [(1, ONE), (2, ONE)], ids=["an earlier revision", "the same of another time"]
)
def test_a_later_issue_or_another_of_the_same_revision_is_not_overwritten(
    revision: int, at: str, tmp_path: Path
) -> None:
    there = issued(2, NOON)
    put(tmp_path / "out", there)
    with pytest.raises(UnusableInput, match="holds revision 2") as refused:
        put(tmp_path / "out", issued(revision, at, b"second"))
    assert "issue it again" in str(refused.value.findings[0].expected)
    assert contents(tmp_path) == {f"out/{name}": content for name, content in there.items()}


@pytest.mark.parametrize(("revision", "at"), [(2, "2026-07-14T16:00:00+00:00"), (3, ONE)])
def test_the_same_issue_again_and_a_later_one_take_the_place_of_a_set(
    revision: int, at: str, tmp_path: Path
) -> None:
    put(tmp_path / "out", issued(2, NOON))
    new = issued(revision, at, b"second")
    put(tmp_path / "out", new)
    assert contents(tmp_path / "out") == new


def test_a_folder_is_held_by_one_run_at_a_time(tmp_path: Path) -> None:
    """Each of many runs adds one to what it finds; none sees what another is about to change."""
    folder, count = tmp_path / "new" / "out", tmp_path / "count"
    count.write_text("0", encoding="utf-8")

    def add_one(_: int) -> None:
        with publish.lock_folder(folder):
            found = int(count.read_text(encoding="utf-8"))
            time.sleep(0.001)  # no wait: it gives the others their chance to be wrong
            count.write_text(str(found + 1), encoding="utf-8")

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(add_one, range(40)))
    assert count.read_text(encoding="utf-8") == "40"
    assert not list(folder.parent.iterdir())


def test_a_run_waits_until_the_folder_is_free(tmp_path: Path) -> None:
    began = threading.Event()

    def issue_next() -> int:
        began.set()
        with publish.lock_folder(tmp_path / "out"):
            return publish.next_revision("alder", datetime.fromisoformat(ONE), folder=tmp_path / "out")

    with ThreadPoolExecutor(1) as pool:
        with publish.lock_folder(tmp_path / "out"):
            next_one = pool.submit(issue_next)
            assert began.wait(60)
            publish.publish_locked(issued(1, NOON), tmp_path / "out", "alder")
        assert next_one.result() == 2


@pytest.mark.parametrize(("made_from", "revision"), [(b"id = 1", 1), (b"id = 2", 2)])
def test_the_same_time_of_issue_with_other_inputs_is_the_next_revision(
    made_from: bytes, revision: int, tmp_path: Path
) -> None:
    put(tmp_path / "out", issued(1, NOON))
    at, inputs = datetime.fromisoformat(NOON), {"job.toml": made_from}
    assert publish.next_revision("alder", at, folder=tmp_path / "out", made_from=inputs) == revision


def test_a_run_that_fails_takes_no_folder_from_another_that_waits(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "out"
    began = threading.Event()

    def issue_next() -> None:
        began.set()
        put(folder, a_set())

    with ThreadPoolExecutor(1) as pool:
        with suppress(RuntimeError), publish.lock_folder(folder):
            next_one = pool.submit(issue_next)
            assert began.wait(60)
            raise RuntimeError("stopped")
        next_one.result()
    assert contents(folder) == a_set()
