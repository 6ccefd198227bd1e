"""Stores of the message of a job and the log of its deliveries: a folder, or a bag of the archive.

A folder has `sent.json` beside its message. Files of a bag are never overwritten: each step of a delivery is
a new file among the job's messages, `messages/NNNN/sent.json` and numbered files after it.
"""

from __future__ import annotations

import json
import re
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Protocol

from handover.archive.bag import DATA_FOLDER, issue_folder
from handover.archive.deposit import Deposit, deposit_files
from handover.archive.errors import CorruptBag, IndexPending, LockTimeout
from handover.errors import Finding, HandoverError, UnusableInput
from handover.service.publish import MESSAGE_FILE
from handover.service.send_log import (
    LOG_FILE,
    WITHDRAWN,
    Delivery,
    DeliveryLog,
    NotSent,
    message_file,
    open_send_log,
    parse_draft,
    read_deliveries,
    read_draft,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager
    from pathlib import Path

    from handover.archive.bag import Bag
    from handover.archive.store import Archive
    from handover.service.send_log import MessageDraft


class DraftStore(Protocol):
    """A store of the message of a job, with its delivery log."""

    @property
    def name(self) -> Path | str:
        """Name of the job in reports."""

    def read(self) -> MessageDraft:
        """Return the message.

        Raises:
            UnusableInput: There is none, or it has no sender or receiver.
        """

    def open_log(self) -> AbstractContextManager[DeliveryLog]:
        """Open the delivery log; a second run waits until the first is done.

        Raises:
            NotSent: The log cannot be read.
        """


@dataclass(frozen=True)
class FolderMessages:
    """The message of an issued folder: the folder, or the message in it."""

    name: Path

    def read(self) -> MessageDraft:
        """Return the message, see `DraftStore`."""
        return read_draft(self.name)

    def open_log(self) -> AbstractContextManager[DeliveryLog]:
        """Open the log beside the message, see `DraftStore`."""
        return open_send_log(message_file(self.name).parent)


@dataclass(frozen=True)
class ArchivedMessages:
    """The message of the last issue of a job in an archive."""

    archive: Archive
    name: str

    def read(self) -> MessageDraft:
        """Return the message, see `DraftStore`."""
        with _faults_of_the_archive():
            bag = self.archive.bag(self.name)
        path = issue_folder(bag.revisions[-1]) + MESSAGE_FILE if bag.revisions else MESSAGE_FILE
        if path not in bag.payload:
            finding = Finding("has no message", file=self.name, expected="an issued job")
            raise UnusableInput([finding])
        with _faults_of_the_archive():
            content = bag.read(path)
        return parse_draft(content, f"{self.name}/{path}")

    @contextmanager
    def open_log(self) -> Iterator[DeliveryLog]:
        """Open the log in the bag, see `DraftStore`; the bag is locked meanwhile."""
        with ExitStack() as stack:
            with _faults_of_the_archive():
                stack.enter_context(self.archive.lock(self.name))
                log = _ArchivedLog(self.archive, self.archive.bag(self.name))
            yield log


@contextmanager
def _faults_of_the_archive() -> Iterator[None]:
    """Turn the errors of a locked or damaged bag into `NotSent`, so that other messages are still sent."""
    try:
        yield
    except (CorruptBag, LockTimeout) as fault:
        raise NotSent(str(fault)) from None


class _ArchivedLog(DeliveryLog):
    """The delivery log of a bag."""

    def __init__(self, archive: Archive, bag: Bag) -> None:
        self._files = _log_files(bag)
        super().__init__(_deliveries(bag, self._files))
        self._archive = archive
        self._job = bag.job
        self._path = f"messages/{bag.revisions[-1]:04}/{LOG_FILE}"
        self._count = len(self._files)

    def _save(self, entry: Delivery, *, withdrawn: bool) -> None:
        self._count += 1
        noted = {**asdict(entry), **({"state": WITHDRAWN} if withdrawn else {})}
        text = json.dumps({"number": self._count, "sent": [noted]}, indent=2) + "\n"
        try:
            deposit = Deposit(self._archive.bag(self._job).entry, others={self._path: text.encode()})
            deposit_files(self._archive, deposit, datetime.fromisoformat(entry.at))
        except IndexPending:  # it is in the bag; the next run updates the catalog
            return
        except (HandoverError, OSError) as fault:
            raise NotSent(f"What was sent cannot be recorded in the archive: {fault}") from None


def _log_files(bag: Bag) -> list[str]:
    """Return the paths of the logs of the last issue, in the order in which they were written."""
    stem, ending = LOG_FILE.split(".")
    folder = re.escape(f"{DATA_FOLDER}messages/{bag.revisions[-1]:04}/{stem}")
    numbered = re.compile(rf"{folder}(?:-(\d+))?\.{ending}")
    found = [(int(match[1] or 1), path) for path in bag.payload if (match := numbered.fullmatch(path))]
    return [path for _, path in sorted(found)]


def _deliveries(bag: Bag, files: list[str]) -> list[Delivery]:
    """Return the deliveries in logs, each in its last state."""
    latest: dict[tuple[str, tuple[str, ...], str], str] = {}
    try:
        for path in files:
            for each in read_deliveries(json.loads(bag.read(path))["sent"]):
                latest[each.message_id, each.to, each.at] = each.state
    except (ValueError, TypeError, LookupError, RecursionError):
        raise NotSent(f"{bag.job}: the archive's log of what was sent cannot be read.") from None
    return [
        Delivery(message_id, to, at, "sent" if state == "sent" else "unsure")
        for (message_id, to, at), state in latest.items()
        if state != WITHDRAWN
    ]
