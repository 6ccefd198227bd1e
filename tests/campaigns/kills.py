"""The process is killed while it works: what it worked on is old or new, and the next run tidies up.

The table counts, by writer, the runs that were killed and those that had ended before.
"""

from __future__ import annotations

import os
import signal
from collections import Counter
from time import sleep
from typing import TYPE_CHECKING

from campaign import Case, campaign
from program import command, office
from works import WORKS, check_old_or_new, finish, outcome, watched

if TYPE_CHECKING:
    from collections.abc import Callable

LONGEST_S = 1.5
"""Longest wait before a kill at any instant."""


@campaign(in_suite=2)
def kills(case: Case) -> None:
    """Killed before any call to the system, or at any instant."""
    random = case.random
    name = random.choice(list(WORKS))
    expected, root = outcome(name), office(case.folder)
    arguments = WORKS[name](root)
    stop = expected.draw_call(random) if random.random() < 0.7 else None
    delay = random.uniform(0, LONGEST_S)
    case.keep("killed", f"{name} before call {stop}, else after {delay} s".encode())
    ended = _in_child(lambda: _work(arguments, stop), None if stop is not None else delay)
    case.counts[name, "killed" if ended else "ended before"] += 1
    found = check_old_or_new(root, expected)
    if ended == 0:
        assert found == expected.new
    finish(root, arguments, expected)


def _work(arguments: list[object], stop: tuple[str, int] | None) -> int:
    """Run a command; die before a call, given by its name and number."""
    calls = Counter[str]()

    def die(call: str) -> None:
        calls[call] += 1
        if (call, calls[call]) == stop:
            os.kill(os.getpid(), signal.SIGKILL)

    with watched(die):
        return command(*arguments).status


def _in_child(work: Callable[[], int], delay_s: float | None) -> int:
    """Work in a process of its own, and kill it after some time; return its exit code, negative if killed."""
    if (child := os.fork()) == 0:
        status = 99
        try:
            status = work()
        finally:
            os._exit(status)
    if delay_s is not None:
        sleep(delay_s)
        os.kill(child, signal.SIGKILL)
    _, ended = os.waitpid(child, 0)
    code = os.waitstatus_to_exitcode(ended)
    assert code in {0, -signal.SIGKILL}, code
    return code
