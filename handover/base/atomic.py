"""Files and folders that survive a kill and a power cut: written, flushed to the disk, replaced whole."""

from __future__ import annotations

import ctypes
import errno
import fcntl
import os
import secrets
import shutil
import stat
from contextlib import contextmanager, suppress
from functools import cache
from typing import TYPE_CHECKING

from handover.base.interruption import raise_if_requested
from handover.base.regular_files import open_regular

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path
    from typing import BinaryIO

DESKTOP_FILES = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
"""Files that desktops leave in a folder."""

TEMPORARY_SUFFIX = ".new"
"""Ending of the name of a temporary file."""

MAX_STEM = 50
"""Characters of a file's name that the name of its temporary file repeats."""

_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC
_NO_LINK = {errno.EPERM, errno.EACCES, errno.EXDEV, errno.EMLINK, errno.ENOTSUP, errno.ENOSYS}
_NO_FOLDER_FLUSH = {errno.EINVAL, errno.ENOTSUP}
_NO_EXCHANGE = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP}
_RENAME_EXCHANGE = 2  # linux/fs.h
_AT_FDCWD = -100  # fcntl.h


def write_new_file(file: Path, data: bytes | Path, mode: int | None = None) -> None:
    """Write a new file, with bytes or with those of another file. It is not on the disk before `flush`.

    Args:
        file: The file.
        data: Its contents, or the file that has them.
        mode: Its mode; None for that of any new file.

    Raises:
        OSError: It exists, or cannot be written; ``data`` is no regular file.
    """
    handle = os.open(file, _NEW, 0o666 if mode is None else 0o600)
    with os.fdopen(handle, "wb") as stream:
        if mode is not None:
            os.fchmod(handle, mode)
        if isinstance(data, bytes):
            stream.write(data)
        else:
            with open_regular(data) as source:
                shutil.copyfileobj(source, stream)


def write_file(file: Path, data: bytes, mode: int | None = None) -> None:
    """Write a file in the place of an earlier one: see `open_replacement`."""
    with open_replacement(file, mode) as stream:
        stream.write(data)


def private_mode(folder: Path) -> int:
    """Return the mode of a private file in a folder: for its group too, if that may write to the folder."""
    return 0o660 if folder.stat().st_mode & stat.S_IWGRP else 0o600


def create_file(file: Path, data: bytes) -> None:
    """Write a file that must not exist yet, whole or not at all.

    Raises:
        OSError: A file or a link of that name exists (it is left as it is), or it cannot be written.
    """
    with _temporary_file(file) as (fresh, stream):
        stream.write(data)
        _sync(stream)
        try:
            os.link(fresh, file, follow_symlinks=False)
        except OSError as fault:
            if fault.errno not in _NO_LINK:
                raise
            _create_without_links(file, data)
    flush(file.parent)


def _create_without_links(file: Path, data: bytes) -> None:
    """Write a new file on a file system without links; a failure leaves none."""
    write_new_file(file, data)
    try:
        flush(file)
    except OSError:
        file.unlink(missing_ok=True)
        raise


@contextmanager
def open_replacement(file: Path, mode: int | None = None) -> Iterator[BinaryIO]:
    """Open a temporary file that takes the place of another when the block ends without an exception.

    The temporary file has a name that nobody can guess and is on the disk before it replaces the other; a
    failure or a kill leaves the earlier file as it was. The new file has the permissions of the earlier one.

    Args:
        file: The file to replace.
        mode: The mode of a file that replaces none; None for that of any new file.

    Raises:
        OSError: The file cannot be written.
    """
    with _temporary_file(file) as (fresh, stream):
        if file.exists():  # before anything is written: what is private stays so
            os.fchmod(stream.fileno(), stat.S_IMODE(file.stat().st_mode))
        elif mode is not None:
            os.fchmod(stream.fileno(), mode)
        yield stream
        _sync(stream)
        fresh.replace(file)
    flush(file.parent)


@contextmanager
def _temporary_file(file: Path) -> Iterator[tuple[Path, BinaryIO]]:
    """Open a new file beside another; it is gone when the block ends, unless it was renamed.

    It is locked as long as this run lives: by this a later run knows what a kill left behind.
    """
    prefix = f".{file.name[:MAX_STEM]}."
    _remove_leftovers(file.parent, prefix)
    fresh, handle = _create_locked(file.parent, prefix)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield fresh, stream
    finally:
        fresh.unlink(missing_ok=True)


def _create_locked(folder: Path, prefix: str) -> tuple[Path, int]:
    """Create a file with a name that nobody can guess; return its path and the handle that holds its lock."""
    while True:
        fresh = folder / f"{prefix}{secrets.token_hex(8)}{TEMPORARY_SUFFIX}"
        handle = os.open(fresh, _NEW, 0o666)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
        except OSError:
            os.close(handle)
            fresh.unlink(missing_ok=True)
            raise
        if os.fstat(handle).st_nlink:
            return fresh, handle
        os.close(handle)  # another run took it for a leftover before it was locked


def _remove_leftovers(folder: Path, prefix: str) -> None:
    """Remove temporary files that killed runs left; no living run holds their lock."""
    digits = len(secrets.token_hex(8))
    with os.scandir(folder) as found:
        left = [
            folder / each.name
            for each in found
            if each.name.startswith(prefix)
            and each.name.endswith(TEMPORARY_SUFFIX)
            and len(each.name) == len(prefix) + digits + len(TEMPORARY_SUFFIX)
            and each.is_file(follow_symlinks=False)
        ]
    for each in left:
        with suppress(OSError), lock_path(each, wait=False):
            each.unlink()


def _sync(stream: BinaryIO) -> None:
    """Wait until what was written to a stream is on the disk."""
    stream.flush()
    os.fsync(stream.fileno())


@contextmanager
def lock_path(path: Path, *, wait: bool = True) -> Iterator[None]:
    """Hold a file or folder that exists: nobody else holds it meanwhile. The lock ends with the process.

    What took its name while we waited is held in its place.

    Raises:
        BlockingIOError: Somebody else holds it, and we do not wait.
        OSError: It does not exist, or is something that cannot be held, such as a pipe.
    """
    handle = _open_locked(path, os.O_RDONLY, wait=wait)
    try:
        yield
    finally:
        os.close(handle)


@contextmanager
def hold_lock_file(file: Path, on_wait: Callable[[], None] | None = None) -> Iterator[None]:
    """Hold a lock file, which is made for this and removed afterwards. Wait while somebody else holds it.

    Args:
        file: The lock file.
        on_wait: Called once before we wait for somebody else.

    Raises:
        OSError: It cannot be made: its folder does not exist, or cannot be written.
    """
    handle = _open_locked(file, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, on_wait=on_wait)
    try:
        yield
    finally:
        try:
            file.unlink(missing_ok=True)
        finally:
            os.close(handle)  # else this process would wait for itself at the next lock


def _open_locked(
    path: Path, flags: int, *, wait: bool = True, on_wait: Callable[[], None] | None = None
) -> int:
    """Return the handle that holds the lock of the file or folder that has this name."""
    while True:
        handle = os.open(path, flags | os.O_NONBLOCK | os.O_CLOEXEC, 0o666)
        try:
            _lock(handle, wait=wait, on_wait=on_wait)
            with suppress(FileNotFoundError):
                if os.path.samestat(os.fstat(handle), path.stat()):
                    return handle
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)  # the run that held it has removed or replaced it meanwhile


def _lock(handle: int, *, wait: bool, on_wait: Callable[[], None] | None) -> None:
    """Lock an open file or folder; say so before waiting."""
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        if not wait:
            raise
        if on_wait is not None:
            on_wait()
        fcntl.flock(handle, fcntl.LOCK_EX)


def link_or_copy(source: Path, target: Path) -> None:
    """Give a file a second name, or copy it where the system cannot do that."""
    try:
        os.link(source, target, follow_symlinks=False)
    except OSError as fault:
        if fault.errno not in _NO_LINK:
            raise
        shutil.copy2(source, target, follow_symlinks=False)
        if not target.is_symlink():
            flush(target)


def carry_over(source: Path, target: Path) -> None:
    """Give a file, or every file of a folder, a second name, all of it on the disk before this returns.

    A link is not followed. A folder keeps its rights. The parent of the target is not flushed.
    """
    if source.is_symlink() or not source.is_dir():
        link_or_copy(source, target)
        if stat.S_ISREG(target.lstat().st_mode):
            _flush_readable(target)
        return
    target.mkdir()
    for each in sorted(source.iterdir()):
        carry_over(each, target / each.name)
    keep_rights(source, target)
    _flush_readable(target)


def carry_missing(source: Path, target: Path) -> None:
    """Carry over what is missing at the target: all of it, or what a folder there lacks, at any depth."""
    if not os.path.lexists(target):
        carry_over(source, target)
    elif all(each.is_dir() and not each.is_symlink() for each in (source, target)):
        for each in sorted(source.iterdir()):
            carry_missing(each, target / each.name)
        _flush_readable(target)


def _flush_readable(path: Path) -> None:
    """Flush a file or folder; all disks, where we may not open it."""
    try:
        flush(path)
    except PermissionError:
        os.sync()


def keep_rights(source: Path, target: Path) -> None:
    """Give a folder the group and the mode of another, as far as we may."""
    rights = source.stat()
    with suppress(OSError):
        os.chown(target, -1, rights.st_gid)
    with suppress(OSError):
        target.chmod(stat.S_IMODE(rights.st_mode))


def flush(path: Path) -> None:
    """Wait until a file, or the list of names of a folder, is on the disk."""
    opened = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    try:
        os.fsync(opened)
    except OSError as fault:
        if fault.errno not in _NO_FOLDER_FLUSH or not path.is_dir():
            raise  # some network file systems flush files, and cannot flush a folder
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

    Raises:
        KeyboardInterrupt: Somebody asked this run to stop, and a library discarded the exception.
    """
    raise_if_requested()
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
