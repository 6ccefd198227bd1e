"""The power is cut while a set, a message or a bag is written: afterwards all of it is old, or all new."""

from __future__ import annotations

import json
import shutil
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, Any

import bagit
import pytest

from handover.archive.deposit import recover
from handover.archive.store import Archive
from handover.archive.verify import verify_archive
from handover.service import sending
from handover.service.archiving import archive_issue
from handover.service.inputs import read_weather_file
from handover.service.message_stores import ArchivedMessages, FolderMessages
from handover.service.reissuing import ReissueRequest, reissue_job
from handover.service.send_log import Delivery

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

pytestmark = pytest.mark.usefixtures("stand_in_pdf", "shared_simulations", "shared_schedules", "few_members")

JOB = "2026-07-14-test-slab"
FIRST = datetime.fromisoformat("2026-07-14T12:30:00-04:00")
LATER = datetime.fromisoformat("2026-07-14T16:00:00-04:00")
BESIDE = {"signed.jpg": b"scan" * 9000, "photos/edge.jpg": b"edge" * 900, "sent.json": b'{"sent": []}\n'}
DELIVERY = Delivery("<1@example.com>", ("ana@example.org",), FIRST.isoformat(), "unsure")
CUTS = 6
"""Power cuts of each test, each tried without and with the journal written at that instant."""


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder, hidden ones too."""
    files = (each for each in sorted(folder.rglob("*")) if each.is_file())
    return {each.relative_to(folder).as_posix(): each.read_bytes() for each in files}


@pytest.fixture(scope="session")
def issued(once: Callable[..., Path], issue_into: Callable[[Path, datetime], None]) -> Path:
    """Issue the invented job, with files beside its documents; return its folder."""

    def fill(folder: Path) -> None:
        issue_into(folder, FIRST)
        for name, data in BESIDE.items():
            (folder / "out" / name).parent.mkdir(exist_ok=True)
            (folder / "out" / name).write_bytes(data)

    return once("power-cut", fill) / "out"


@pytest.fixture
def office(disk: Any, issued: Path) -> Any:
    """Give the disk an issued folder and its archive, all written."""
    shutil.copytree(issued, disk.root / "out")
    with Archive(disk.root / "archive") as archive:
        archive_issue(archive, disk.root / "out", FIRST)
    disk.settle()
    return disk


def warmer(hourly: dict[str, Any], folder: Path) -> Path:
    """Write weather that moves dates."""
    hourly["hourly"]["temperature_2m"] = [each + 6 for each in hourly["hourly"]["temperature_2m"]]
    file = folder / "warmer.json"
    file.write_text(json.dumps(hourly), encoding="utf-8")
    return file


def check_archive(folder: Path, states: tuple[dict[str, bytes], ...]) -> int:
    """Check an archive after a power cut; return which of the states its bag has."""
    with Archive(folder) as archive:
        recover(archive)
        bagit.Bag(str(archive.bag(JOB).folder)).validate()
        assert verify_archive(archive).sound
        assert list(archive.working.iterdir()) == []
        assert list(archive.catalog.entries()) == [archive.bag(JOB).entry]
        return states.index(contents(archive.bags))


def test_a_set_issued_again_is_old_or_new_and_nothing_beside_it_is_lost(
    office: Any, cutting: Callable[..., Any], hourly: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    out, bags = office.root / "out", office.root / "archive" / "bags"
    request = ReissueRequest(partial(lambda file, _: read_weather_file(file), warmer(hourly(), tmp_path)))
    old, old_bags = contents(out), contents(bags)
    with Archive(office.root / "archive") as archive, cutting(CUTS):
        reissue_job(archive, JOB, out, LATER, request)
    office.cut()
    new, new_bags = contents(out), contents(bags)
    assert old != new
    assert new.items() >= BESIDE.items()
    seen = []
    for cut in office.cuts:
        with office.after(cut) as root:
            found = contents(root / "out")
            assert found in (old, new)
            assert found.items() >= BESIDE.items()
            seen.append((found == new, check_archive(root / "archive", (old_bags, new_bags))))
    assert seen[-2:] == [(True, 1)] * 2  # what is said to be done is on the disk
    assert {(False, 0), (True, 1)} <= set(seen) <= {(False, 0), (True, 0), (True, 1)}


class ServerThatTakesTime:
    """A mail server: the power is cut when it has the message, and before it says so."""

    def __init__(self, disk: Any) -> None:
        self._disk = disk
        self.cuts: list[Path] = []

    def data(self, _: bytes) -> tuple[int, bytes]:
        self.cuts = self._disk.cut()
        return 250, b"taken"


@pytest.mark.parametrize("store", ["folder", "archive"])
def test_a_message_that_a_server_may_have_is_not_sent_again(
    office: Any, cutting: Callable[..., Any], store: str
) -> None:
    def messages(root: Path, archive: Archive) -> Any:
        return FolderMessages(root / "out") if store == "folder" else ArchivedMessages(archive, JOB)

    def logged(root: Path) -> list[str]:
        with Archive(root / "archive") as archive, messages(root, archive).open_log() as log:
            return [each.state for each in log.deliveries]

    server = ServerThatTakesTime(office)
    with (
        Archive(office.root / "archive") as archive,
        messages(office.root, archive).open_log() as log,
        cutting(CUTS // 2),
    ):
        sending._transmit(server, b"", DELIVERY, log)  # type: ignore[arg-type]
    office.cut()
    seen = []
    for cut in office.cuts:
        with office.after(cut) as root:
            seen.append(logged(root))
    taken = office.cuts.index(server.cuts[0])
    assert all(each in ([], ["unsure"]) for each in seen[:taken])
    assert all(each in (["unsure"], ["sent"]) for each in seen[taken:])
    assert seen[-2:] == [["sent"]] * 2  # what is said to be sent is on the disk


def test_a_bag_is_old_or_new(office: Any, cutting: Callable[..., Any]) -> None:
    bags = office.root / "archive" / "bags"
    (office.root / "out" / "late.jpg").write_bytes(b"late" * 5000)
    old = contents(bags)
    with Archive(office.root / "archive") as archive:
        archive.catalog.seals()  # opened before
        with cutting(CUTS):
            archive_issue(archive, office.root / "out", LATER)
    office.cut()
    new = contents(bags)
    seen = []
    for cut in office.cuts:
        with office.after(cut) as root:
            seen.append(check_archive(root / "archive", (old, new)))
    assert seen == sorted(seen)
    assert seen[-2:] == [1, 1]
    assert 0 in seen
