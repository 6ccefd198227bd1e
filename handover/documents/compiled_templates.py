"""Compiled templates, kept in the user's cache folder for the next run, as Python keeps compiled modules.

To compile the pages of a set takes a quarter as long as to compute its schedule. Jinja compiles a template
again where its text is another than that of what is kept; whatever else decides over the compiled form, our
version and Jinja's, is part of the name of the folder.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import jinja2
import platformdirs

from handover.base.version import VERSION

if TYPE_CHECKING:
    from jinja2.bccache import Bucket


def bytecode_cache() -> jinja2.BytecodeCache | None:
    """Return where compiled templates are kept; None where Python keeps no compiled modules either."""
    if sys.dont_write_bytecode:
        return None
    with suppress(OSError, RuntimeError):  # it cannot be made, or no home folder is known
        cache = Path(platformdirs.user_cache_dir("handover", appauthor=False))
        folder = cache / "templates" / f"{VERSION}-jinja-{jinja2.__version__}"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if _is_private(folder):
            return _ForgivingCache(str(folder))
    return None


def _is_private(folder: Path) -> bool:
    """Return whether only this user can write to a folder: what is kept there is run."""
    found = folder.stat()
    return found.st_uid == os.geteuid() and not found.st_mode & 0o022


class _ForgivingCache(jinja2.FileSystemBytecodeCache):
    """Never stops a run: what cannot be read is compiled again, what cannot be written is not kept."""

    def load_bytecode(self, bucket: Bucket) -> None:
        try:
            super().load_bytecode(bucket)
        except Exception:  # noqa: BLE001 - what a damaged file raises has many names
            bucket.reset()

    def dump_bytecode(self, bucket: Bucket) -> None:
        with suppress(OSError):
            super().dump_bytecode(bucket)
