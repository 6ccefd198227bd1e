"""Print which installed packages a lock does not name: `.venv/bin/python .ci/unlocked.py LOCK`.

What installs the others is left out, and the project itself.
"""

from __future__ import annotations

import re
import sys
from importlib.metadata import distributions
from pathlib import Path

KEPT = {"handover", "pip", "setuptools", "uv"}


def plain(name: str) -> str:
    """Return the name of a package in the one spelling by which indexes compare names."""
    return re.sub(r"[-_.]+", "-", name).lower()


def unlocked(lock: str) -> list[str]:
    """Return the installed packages that the text of a lock does not name."""
    named = {plain(name) for name in re.findall(r"^([\w.-]+)(?:\[[\w,.-]*\])?==", lock, re.MULTILINE)}
    installed = {plain(name) for each in distributions() if (name := each.metadata["Name"])}
    return sorted(installed - named - KEPT)


if __name__ == "__main__":
    print(*unlocked(Path(sys.argv[1]).read_text(encoding="utf-8")))
