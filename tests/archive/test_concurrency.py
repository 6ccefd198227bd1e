"""Many people at once, on the same bags and on different ones."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import bagit
import pytest

from handover.archive.reindex import rebuild_catalog
from handover.archive.verify import verify_archive

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.archive.store import Archive

PEOPLE, TIMES = 4, 6
LIMIT_S = 600
"""How long a person waits for the others: the machine may be busy."""

ONE_OF_MANY = """
import sys, warnings
warnings.simplefilter("error")
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from handover.archive.catalog import engine
from handover.archive.entry import JobEntry
from handover.archive.deposit import Deposit, deposit_files
from handover.archive.store import Archive

folder, url, who, times = Path(sys.argv[1]), sys.argv[2] or None, sys.argv[3], int(sys.argv[4])
limit = float(sys.argv[5])
engine.LOCK_TIMEOUT_MS = int(limit * 1000)
at = datetime.fromisoformat("2026-07-14T12:30:00-04:00")
with Archive(folder, url, timeout_s=limit) as archive:
    for time in range(times):
        own = JobEntry(f"job of {who}", at, time + 1, at, owner=f"owner of {who}")
        deposit_files(archive, Deposit(own, {"sheet.pdf": f"{who} {time}".encode()}), at)
        with archive.lock("common job"):
            bag = archive.bag_or_none("common job")
            last = bag.entry.revision if bag else 0
            common = JobEntry("common job", at, last + 1, at, remarks=f"by {who}")
            files = {"message.eml": f"{who} {time}".encode()}
            deposit_files(archive, Deposit(common, {"sheet.pdf": f"{who} {time}".encode()}, files), at)
"""


@pytest.mark.xdist_group("processes")
def test_many_processes_file_at_once_and_nothing_is_lost(office: Archive, warm: Callable[..., Any]) -> None:
    archive = (office.folder, office._url or "")
    started = [warm(ONE_OF_MANY, [*archive, f"person {who}", TIMES, LIMIT_S]) for who in range(PEOPLE)]
    assert [each.wait() for each in started] == [0] * PEOPLE

    deposits = {f"person {who} {time}".encode() for who in range(PEOPLE) for time in range(TIMES)}
    common = office.bag("common job")
    assert common.revisions == tuple(range(1, PEOPLE * TIMES + 1))
    assert {common.issue(each)["sheet.pdf"] for each in common.revisions} == deposits
    messages = [path for path in common.payload if path.startswith("data/message")]
    assert {common.read(path) for path in messages} == deposits
    assert len(messages) == len(deposits)
    for who in range(PEOPLE):
        assert office.bag(f"job of person {who}").revisions == tuple(range(1, TIMES + 1))
    for name in office.names():
        bagit.Bag(str(office.bags / name)).validate()
    assert verify_archive(office).sound
    assert list(office.working.iterdir()) == []

    kept = list(office.catalog.entries())
    assert len(kept) == PEOPLE + 1
    rebuild_catalog(office)
    assert list(office.catalog.entries()) == kept
