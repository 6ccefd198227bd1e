"""Who may read and write an archive: its owner alone, or a group too.

The folder of the archive decides; what is made in it has the rights of that folder. A new archive is private,
or that of the group that the office names. An archive that exists keeps the rights that it has.
"""

from __future__ import annotations

import grp
import os
import stat
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handover.errors import UnusableInput

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True)
class Access:
    """The rights of what is made in an archive.

    Attributes:
        folder: Mode of a folder.
        file: Mode of a file.
    """

    folder: int = 0o700
    file: int = 0o600

    @classmethod
    def of(cls, archive: Path) -> Access:
        """Return the rights that the folder of an archive asks for; private ones if there is none."""
        try:
            mode = stat.S_IMODE(archive.stat().st_mode)
        except OSError:
            return cls()
        return cls(mode, mode & 0o666)

    def make_folder(self, folder: Path) -> None:
        """Make a folder, unless there is one. Its parent gives it its group.

        Raises:
            OSError: It cannot be made.
        """
        if folder.is_dir():
            return
        with suppress(FileExistsError):
            folder.mkdir(mode=0o700)
            folder.chmod(self.folder)


def make_archive_folder(archive: Path, group: str | None) -> None:
    """Make the folder of an archive, unless there is one: private, or for a group.

    Raises:
        UnusableInput: There is no such group, or we may not give it a folder.
        OSError: The folder cannot be made.
    """
    if archive.is_dir():
        return
    archive.parent.mkdir(parents=True, exist_ok=True)
    try:
        archive.mkdir(mode=0o700)
    except FileExistsError:
        return
    if group is None:
        return
    try:
        os.chown(archive, -1, grp.getgrnam(group).gr_gid)
    except (KeyError, PermissionError):
        archive.rmdir()
        raise UnusableInput.with_finding(
            f"there is no group {group!r} of which you are a member",
            field="archive.group",
            expected="the name of a group of this system, which has you as a member",
        ) from None
    archive.chmod(0o2770)
