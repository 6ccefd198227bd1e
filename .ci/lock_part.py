"""Print a part of a lock: `python .ci/lock_part.py run-time requirements.lock`; the other part is `build`.

The lock says of each package what asks for it: the project itself, its group "build", or other packages.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

PINNED = re.compile(r"^([a-z0-9-]+)(?:\[[a-z,]+\])?==", re.MULTILINE)
ASKED_BY = re.compile(r"^ {4}#(?: via)? +(?!via$)(\S.*)$", re.MULTILINE)
PARTS = {"run-time": "handover (pyproject.toml)", "build": "handover (pyproject.toml:build)"}
"""By the name of a part: who asks for its packages, in the words of the lock."""


def blocks(lock: str) -> dict[str, str]:
    """Return the lines of each package of a lock, by its name."""
    begins = [match.start() for match in PINNED.finditer(lock)]
    texts = [lock[begin:end] for begin, end in zip(begins, [*begins[1:], len(lock)], strict=True)]
    return {match[1]: text for text in texts if (match := PINNED.match(text))}


def part(name: str, lock: str) -> dict[str, str]:
    """Return the lines of each package of a part, by its name: all that is asked for, directly or not."""
    texts = blocks(lock)
    asked_by = {package: set(ASKED_BY.findall(text)) for package, text in texts.items()}
    needed = {PARTS[name]}
    while more := {package for package, askers in asked_by.items() if askers & needed} - needed:
        needed |= more
    return {package: text for package, text in texts.items() if package in needed}


if __name__ == "__main__":
    print("".join(part(sys.argv[1], Path(sys.argv[2]).read_text(encoding="utf-8")).values()), end="")
