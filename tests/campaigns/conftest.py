"""A disk of our own whose power can be cut: an ext4 image, mounted, copied at an instant, mounted again.

A copy of the image has what the file system has sent to the disk, and nothing that waits in memory. The
journal is written by itself only once an hour, so that a copy has as little as ext4 may have written. A
second copy, after the journal was written, has the names, and not the data that nobody has flushed.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest

from handover.base import atomic

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

SIZE = 24_000_000
CALLS = ("mkdir", "link", "symlink", "rename", "replace", "unlink", "rmdir", "fsync")
"""Calls that change names, or write to the disk: what a disk has differs only between these."""


def _run(*command: object) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([str(each) for each in command], capture_output=True, check=False)


class Disk:
    """A mounted image, and its copies at the instants of its power cuts."""

    def __init__(self, folder: Path) -> None:
        self.image, self.root, self._copies = folder / "disk.img", folder / "disk", folder / "copies"
        self.cuts: list[Path] = []
        self._count = 0
        self._after = folder / "after"
        for each in (self.root, self._copies, self._after):
            each.mkdir()

    def mount(self) -> str:
        """Make and mount the disk; return why that is not possible, or nothing."""
        with self.image.open("wb") as file:
            file.truncate(SIZE)
        for command in (
            ("mkfs.ext4", "-q", "-F", self.image),
            ("mount", "-o", "loop,commit=3600", self.image, self.root),
        ):
            if (done := _run(*command)).returncode:
                return f"{command[0]}: {done.stderr.decode(errors='replace').strip()}"
        return ""

    def unmount(self) -> None:
        """Unmount the disk."""
        _run("umount", "--lazy", self.root)

    def settle(self) -> None:
        """Write all that waits in memory to the disk."""
        subprocess.run(["sync", "-f", str(self.root)], check=True)

    def cut(self) -> list[Path]:
        """Cut the power, once as the disk is, and once after its journal was written; return the copies."""
        copies = [self._copy()]
        self._journal()
        return [*copies, self._copy()]

    def forget(self, copies: list[Path]) -> None:
        """Forget the copies of a cut."""
        for each in copies:
            self.cuts.remove(each)
            REAL["unlink"](each)

    def _copy(self) -> Path:
        self._count += 1
        copy = self._copies / f"{self._count}.img"
        subprocess.run(["cp", "--sparse=always", str(self.image), str(copy)], check=True)
        self.cuts.append(copy)
        return copy

    def _journal(self) -> None:
        """Have the journal written, as any other program's `fsync` may at any time."""
        handle = os.open(self.root / "of-another-program", os.O_WRONLY | os.O_CREAT)
        try:
            os.write(handle, b"x")
            REAL["fsync"](handle)
        finally:
            os.close(handle)

    @contextmanager
    def after(self, cut: Path) -> Iterator[Path]:
        """Check the disk after a power cut as a system does when it starts, and mount it."""
        checked = _run("e2fsck", "-f", "-p", cut)
        assert checked.returncode in {0, 1}, checked.stdout  # 1: the journal was replayed
        subprocess.run(["mount", "-o", "loop", str(cut), str(self._after)], check=True)
        try:
            yield self._after
        finally:
            _run("umount", "--lazy", self._after)


REAL: dict[str, Any] = {name: getattr(os, name) for name in CALLS}


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Disk]:
    """Return a mounted disk; skip, with the reason, where the system does not let us mount one."""
    if os.getuid() != 0 or not all(map(shutil.which, ("mkfs.ext4", "e2fsck", "mount", "umount"))):
        pytest.skip("to cut the power of a disk takes root, and the tools of ext4")
    made = Disk(tmp_path)
    if why := made.mount():
        pytest.skip(f"no disk can be mounted here: {why}")
    yield made
    made.unmount()


@pytest.fixture
def cutting(disk: Disk, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """Give a block in which the power is cut after some calls of the code that is tried."""

    @contextmanager
    def block(cuts: int) -> Iterator[None]:
        """Cut the power so often or up to twice, after calls that are evenly spread over the block."""
        kept: list[list[Path]] = []
        step, made = 1, 0

        def note_call() -> None:
            nonlocal step, made
            made += 1
            if made % step == 0:
                kept.append(disk.cut())
            if len(kept) == 2 * cuts:
                for each in kept[::2]:
                    disk.forget(each)
                del kept[::2]
                step *= 2

        def watched(real: Callable[..., Any]) -> Callable[..., Any]:
            def call(*arguments: Any, **more: Any) -> Any:
                result = real(*arguments, **more)
                note_call()
                return result

            return call

        with monkeypatch.context() as patched:
            for name, real in REAL.items():
                patched.setattr(os, name, watched(real))
            patched.setattr(atomic, "exchange_names", watched(atomic.exchange_names))
            yield

    return block
