"""Calls to the system fail: the command says so in words, and what it worked on is old or new.

The table counts the calls that failed, by writer and error. A failed `fsync` may not be ignored: what was
said to be done would not be on the disk.
"""

from __future__ import annotations

import errno
import os
from collections import Counter

from campaign import Case, campaign
from program import command, office
from works import WORKS, check_old_or_new, finish, outcome, watched

ERRORS = (
    errno.EIO,
    errno.EMFILE,
    errno.ENOMEM,
    errno.ENOSPC,
    errno.EACCES,
    errno.EROFS,
    errno.EDQUOT,
    errno.ESTALE,
)
NEVER = {"close", "fstat"}
"""Calls that the system does not refuse for these reasons."""


@campaign(in_suite=2)
def failing(case: Case) -> None:
    """One call to the system fails, or every one from then on."""
    random = case.random
    name, code, lasting = random.choice(list(WORKS)), random.choice(ERRORS), random.random() < 0.3
    expected, root = outcome(name), office(case.folder)
    arguments = WORKS[name](root)
    first, calls = expected.draw_call(random), Counter[str]()
    failed: list[str] = []

    def fail(call: str) -> None:
        calls[call] += 1
        begins = (call, calls[call]) == first
        if call not in NEVER and (begins or (lasting and failed)):
            failed.append(call)
            case.counts[name, errno.errorcode[code]] += 1
            raise OSError(code, os.strerror(code))

    with watched(fail):
        said = command(*arguments)
    case.keep("failed", f"{name}: {failed} from call {first}: {os.strerror(code)}\n{said.text}".encode())
    found = check_old_or_new(root, expected, said.text)
    if said.status == 0:
        assert found == expected.new, said.text
        assert "fsync" not in failed, "the failure of a call that writes to the disk was ignored"
    else:
        assert said.text.strip()
    finish(root, arguments, expected)
