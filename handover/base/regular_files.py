"""Reading of files that somebody else may have put there: no pipe or device is waited for."""

from __future__ import annotations

import errno
import os
import stat
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path
    from typing import BinaryIO


class NotRegularFile(OSError):
    """What has the name of a file is a folder, a pipe, a device, a socket or a link."""

    def __str__(self) -> str:
        return f"{self.filename} {self.strerror}"


def open_regular(file: Path, *, follow: bool = False) -> BinaryIO:
    """Open a regular file to read its bytes, without a buffer.

    Args:
        file: The file.
        follow: Whether a link to a regular file will do.

    Raises:
        OSError: It cannot be read, or is something else: a folder, a pipe, a device, a link.
    """
    flags = os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | (0 if follow else os.O_NOFOLLOW)
    try:
        handle = os.open(file, flags)
    except OSError as fault:
        if fault.errno in {errno.ELOOP, errno.ENXIO}:  # a link, or a socket
            raise _no_file(file) from None
        raise
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise _no_file(file)
    return os.fdopen(handle, "rb", buffering=0)


def read_regular(file: Path, *, follow: bool = False) -> bytes:
    """Return the bytes of a regular file. Arguments and errors as `open_regular`."""
    with open_regular(file, follow=follow) as stream:
        return stream.read()


def _no_file(file: Path) -> NotRegularFile:
    return NotRegularFile(errno.EINVAL, "is not a regular file", str(file))
