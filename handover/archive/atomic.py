"""Files that survive a kill and a power cut: written, flushed to the disk, swapped whole."""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

DESKTOP_FILES = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
"""Files that desktops leave in a folder."""

_NO_LINK = {errno.EPERM, errno.EACCES, errno.EXDEV, errno.EMLINK, errno.ENOTSUP, errno.ENOSYS}
_NO_EXCHANGE = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP}
_RENAME_EXCHANGE = 2  # linux/fs.h
_AT_FDCWD = -100  # fcntl.h


def write_new_file(file: Path, data: bytes) -> None:
    """Write a new file. It is not on the disk before `flush`."""
    with file.open("xb") as stream:
        stream.write(data)


def link_or_copy(source: Path, target: Path) -> None:
    """Give a file a second name, or copy it where the system cannot do that."""
    try:
        os.link(source, target, follow_symlinks=False)
    except OSError as fault:
        if fault.errno not in _NO_LINK:
            raise
        shutil.copyfile(source, target, follow_symlinks=False)
        flush(target)


def flush(path: Path) -> None:
    """Wait until a file, or the list of names of a folder, is on the disk."""
    opened = os.open(path, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)


def walk(folder: Path, below: str = "") -> Iterator[tuple[str, os.DirEntry[str]]]:
    """Yield every file below a folder with its path, "/" between the parts."""
    with os.scandir(folder) as found:
        entries = sorted(found, key=lambda each: each.name)
    for each in entries:
        if each.is_dir(follow_symlinks=False):
            yield from walk(folder / each.name, f"{below}{each.name}/")
        else:
            yield f"{below}{each.name}", each


def replace_folder(new: Path, target: Path, backup: Path) -> None:
    """Replace a folder by a new one; the old one is at one of the two other paths afterwards.

    Where the system can exchange two names (Linux, on most file systems) the target exists at every instant.
    Elsewhere the old folder is renamed first, and `restore_backup` recovers from a kill between the two
    renames.
    """
    if not target.exists():
        new.rename(target)
    elif not exchange_names(new, target):
        target.rename(backup)
        try:
            new.rename(target)
        except BaseException:
            backup.rename(target)
            raise


def restore_backup(target: Path, backup: Path) -> None:
    """Restore a folder that was renamed by a run that was killed before the new one took its name."""
    if backup.exists() and not target.exists():
        backup.rename(target)


def exchange_names(one: Path, other: Path) -> bool:
    """Exchange two names in one step; return False where the system cannot."""
    rename = _renameat2()
    if rename is None:
        return False
    if rename(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _RENAME_EXCHANGE) == 0:
        return True
    fault = ctypes.get_errno()
    if fault in _NO_EXCHANGE:
        return False
    raise OSError(fault, os.strerror(fault), str(one), None, str(other))


@cache
def _renameat2() -> Callable[..., int] | None:
    """Return the call of the C library, or None where it has none."""
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return None
    rename.argtypes = [ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_uint]
    rename.restype = ctypes.c_int
    found: Callable[..., int] = rename
    return found
