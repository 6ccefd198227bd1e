"""A message sent from the archive: the bag stays whole, and what was sent is noted beside the issue."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from handover.archive.deposit import Deposit, deposit_files
from handover.archive.entry import JobEntry
from handover.archive.store import Archive
from handover.archive.verify import verify_archive
from handover.service import message_stores
from handover.service.message_stores import ArchivedMessages
from handover.service.sending import dry_run, send_messages

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    Serve = Callable[..., Any]

pytestmark = pytest.mark.usefixtures("trusted")

PASSWORD = "correct horse"  # noqa: S105 - of the server that the tests run
AT = datetime.fromisoformat("2026-07-14T13:00:00-04:00")
JOB = "2026-07-14-test-slab"


@pytest.fixture
def store(tmp_path: Path, message: str) -> Iterator[ArchivedMessages]:
    with Archive(tmp_path / "archive") as archive:
        documents = {"message.eml": message.encode(), "schedule.json": b"{}"}
        deposit_files(archive, Deposit(JobEntry(JOB, AT, 1, AT), documents), AT)
        yield ArchivedMessages(archive, JOB)


def notes(store: ArchivedMessages) -> dict[str, list[str]]:
    """Return the states that each note of the bag holds."""
    bag = store.archive.bag(JOB)
    paths = sorted(each for each in bag.payload if each.startswith("data/messages/0001/"))
    return {each: [one["state"] for one in json.loads(bag.read(each))["sent"]] for each in paths}


def outcome(outcomes: Iterator[Any]) -> tuple[str, str]:
    [only] = outcomes
    assert only.job == JOB
    return only.state, only.words


def test_it_goes_out_once_and_the_bag_stays_whole(
    serve: Serve, store: ArchivedMessages, postbox: Any
) -> None:
    server, before = serve(), store.archive.bag(JOB).issue(1)
    assert outcome(dry_run([store]))[0] == "ready"
    assert notes(store) == {}
    assert outcome(send_messages([store], server, PASSWORD, AT)) == ("sent", "ana@example.org")
    state, words = outcome(send_messages([store], server, PASSWORD, AT + timedelta(hours=1)))
    assert (state, "ana@example.org" in words) == ("already sent", True)
    assert len(postbox.taken) == 1
    assert store.archive.bag(JOB).issue(1) == before
    assert verify_archive(store.archive).sound
    assert notes(store) == {
        "data/messages/0001/sent.json": ["unsure"],
        "data/messages/0001/sent-2.json": ["sent"],
    }


def test_a_message_that_was_refused_can_be_sent_again(
    serve: Serve, store: ArchivedMessages, postbox: Any
) -> None:
    server, postbox.answer = serve(), "554 not today"
    assert outcome(send_messages([store], server, PASSWORD, AT))[0] == "not sent"
    assert sorted(notes(store).values()) == [["unsure"], ["withdrawn"]]
    postbox.answer = "250 taken"
    assert outcome(send_messages([store], server, PASSWORD, AT)) == ("sent", "ana@example.org")


def test_a_run_that_broke_off_is_not_taken_for_one_that_sent_nothing(
    serve: Serve, store: ArchivedMessages
) -> None:
    unsure = {"message_id": "<0123456789abcdef@example.com>", "to": ["ana@example.org"], "at": AT.isoformat()}
    text = json.dumps({"sent": [{**unsure, "state": "unsure"}]}).encode()
    entry = store.archive.bag(JOB).entry
    deposit_files(store.archive, Deposit(entry, others={"messages/0001/sent.json": text}), AT)
    state, words = outcome(send_messages([store], serve(), PASSWORD, AT))
    assert (state, "was interrupted" in words) == ("not sent", True)


def test_a_job_that_is_not_there_stops_no_other(serve: Serve, store: ArchivedMessages) -> None:
    missing = ArchivedMessages(store.archive, "another")
    states = [each.state for each in send_messages([missing, store], serve(), PASSWORD, AT)]
    assert states == ["not sent", "sent"]


def test_what_went_out_is_never_said_not_to_have_gone(
    serve: Serve, store: ArchivedMessages, postbox: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk refuses the second note, after the server took the message."""
    deposit, calls = message_stores.deposit_files, iter([True, False])

    def refuse_second(*arguments: Any) -> Any:
        if next(calls):
            return deposit(*arguments)
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(message_stores, "deposit_files", refuse_second)
    state, words = outcome(send_messages([store], serve(), PASSWORD, AT))
    assert len(postbox.taken) == 1
    assert state == "not sent"
    assert "Nothing was sent" not in words
