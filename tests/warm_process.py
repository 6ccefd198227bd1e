"""A process that has loaded the program, and copies itself for each run that a test asks for.

A run begins with everything imported, in an environment, a folder and a session of its own; its code is that
of `python -c`, and it ends as a program ends. A test of what happens during the imports starts Python itself.

The orders come through a socket: what to run, and the files for its output, its errors and its end. To the
last of these go two lines: the number of the process, and its exit status.
"""

from __future__ import annotations

import json
import os
import select
import signal
import socket
import sys
import tempfile
import time
from importlib import import_module
from types import ModuleType
from typing import Any

import handover.archive.catalog
import handover.archive.deposit
import handover.cli.archive
import handover.cli.job
import handover.documents.calendars
import handover.documents.message
import handover.documents.pages
import handover.schedule.plan
import handover.service.archiving
import handover.service.inputs
import handover.service.pdf_workers
import handover.service.summary  # noqa: F401
from handover.documents.engine import load_engine
from handover.documents.templating import environment
from handover.documents.translations import load_translations

LATE = (
    *("alembic.command", "sqlalchemy.dialects.sqlite", "rich.table", "rich.progress"),
    *("markdown", "segno", "tree_sitter_json", "tree_sitter_toml", "numpy.ma"),
)
"""Libraries that a run imports only where it uses them."""

BY_NAME = "handover.service.render"
"""Takes the functions of `pages` by name: it is imported after a run has replaced some of them."""

MOST = 1 << 20
"""Bytes of one order."""


def await_order(orders: socket.socket) -> dict[str, Any]:
    """Copy this process for each order; return its order in the copy. The first one ends with its socket."""
    woken, wakes = os.pipe()
    for each in (woken, wakes):
        os.set_blocking(each, False)
    signal.set_wakeup_fd(wakes)
    signal.signal(signal.SIGCHLD, lambda *_: None)
    ends: dict[int, int] = {}
    while True:
        readable, _, _ = select.select([orders, woken], [], [])
        if woken in readable:
            os.read(woken, MOST)
            report_ends(ends)
        if orders not in readable:
            continue
        data, files, _, _ = socket.recv_fds(orders, MOST, 3)
        if not data:
            sys.exit()
        if child := os.fork():
            ends[child] = files.pop()
            for each in files:
                os.close(each)
            continue
        signal.set_wakeup_fd(-1)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        for each in (woken, wakes, orders.detach(), *ends.values()):
            os.close(each)
        return begin(json.loads(data), files)


def report_ends(ends: dict[int, int]) -> None:
    """Write the exit status of each copy that has ended."""
    for child, end in list(ends.items()):
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            os.write(end, f"{os.waitstatus_to_exitcode(status)}\n".encode())
            os.close(ends.pop(child))


def begin(order: dict[str, Any], files: list[int]) -> dict[str, Any]:
    """Give a copy the surroundings of its order."""
    out, err, end = files
    os.setsid()
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.dup2(out, 1)
    os.dup2(err, 2)
    os.environ.clear()
    os.environ.update(order["env"])
    time.tzset()
    tempfile.tempdir = None
    os.chdir(order["cwd"])
    os.write(end, f"{os.getpid()}\n".encode())
    for each in files:
        os.close(each)
    return order


def load() -> None:
    """Load what a run loads later than at its start, and keeps."""
    for late in LATE:
        import_module(late)
    load_engine()
    load_translations("en")
    for name in environment().list_templates(extensions=["html"]):
        environment().get_template(name)


if __name__ == "__main__":
    load()
    assert BY_NAME not in sys.modules
    order = await_order(socket.socket(fileno=int(sys.argv[1])))
    sys.argv = ["-c", *order["arguments"]]
    sys.modules["__main__"] = main = ModuleType("__main__")
    exec(compile(order["code"], "<string>", "exec"), main.__dict__)  # noqa: S102 - of a test
