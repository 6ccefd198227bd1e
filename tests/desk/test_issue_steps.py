"""From a request to a published issue: once, whatever is repeated and wherever it was killed."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from handover.service.desk.issue_steps import IssueSteps
from handover.service.desk.owner_links import job_of_token, link_of, renew_link, withdraw_link
from handover.service.desk.requests import outcome_of, pending_keys, pending_request, receive
from handover.service.desk.tables import PUBLICATION, REQUEST, REQUEST_FILE, TO_SEND

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.service.desk.database import Desk
    from tests.desk.conftest import Ask, WorkAtOnce

JOB = "2026-07-14-test-slab"


class Kill(BaseException):
    """The process ends here."""


def published(desk: Desk) -> list[tuple[str, int]]:
    with desk.reading() as connection:
        rows = connection.execute(select(PUBLICATION.c.job, PUBLICATION.c.revision)).all()
        to_send = connection.execute(select(TO_SEND.c.job, TO_SEND.c.revision)).all()
    assert sorted(rows) == sorted(to_send)
    return sorted((each.job, each.revision) for each in rows)


def test_a_record_is_archived_and_published(desk: Desk, ask: Ask) -> None:
    outcome = ask("one")
    assert (outcome.state, outcome.job, outcome.revision) == ("published", JOB, 1)
    bag = desk.archive.bag(JOB)
    assert bag.revisions == (1,)
    assert "care-sheet.pdf" in bag.issue(1)
    assert published(desk) == [(JOB, 1)]
    link = link_of(desk, JOB)
    assert link is not None
    assert job_of_token(desk, link.token) == JOB


def test_the_same_request_again_is_the_same(desk: Desk, ask: Ask) -> None:
    assert ask("one") == ask("one")
    assert desk.archive.bag(JOB).revisions == (1,)


def test_another_request_is_the_next_issue(desk: Desk, ask: Ask) -> None:
    ask("one")
    first = link_of(desk, JOB)
    assert ask("two", at="2026-07-14T18:00:00-04:00").revision == 2
    schedule = json.loads(desk.archive.bag(JOB).issue(2)["schedule.json"])
    assert schedule["revision"] == 2
    assert link_of(desk, JOB) == first
    assert published(desk) == [(JOB, 1), (JOB, 2)]


def test_a_record_that_cannot_be_used_is_refused_with_all_findings(
    desk: Desk, ask: Ask, record_text: str
) -> None:
    bad = record_text.replace('"5 in"', '"5 parsecs"').replace('"34 ft"', '"long"')
    outcome = ask("one", record=bad)
    assert outcome.state == "refused"
    assert {each.field for each in outcome.findings} >= {"slab.thickness", "slab.length"}
    assert desk.archive.names() == []
    assert pending_keys(desk) == ()


def test_weather_that_does_not_fit_is_refused(desk: Desk, ask: Ask) -> None:
    outcome = ask("one", first="2025-07-14T00:00")
    assert outcome.state == "refused"
    assert outcome.findings
    assert desk.archive.names() == []


def test_what_a_request_was_made_of_does_not_stay_in_the_database(desk: Desk, ask: Ask) -> None:
    ask("one")
    ask("two", record="no record")
    with desk.reading() as connection:
        rows = connection.execute(select(REQUEST.c.record, REQUEST.c.weather)).all()
        assert {value for row in rows for value in row} == {None}
        assert connection.execute(select(REQUEST_FILE)).all() == []


@pytest.mark.parametrize("step", ["note_job", "note_revision", "archive_documents", "publish_request"])
@pytest.mark.parametrize("when", ["before", "after"])
def test_a_run_that_is_killed_ends_once(
    desk: Desk, ask: Ask, desk_work: WorkAtOnce, monkeypatch: pytest.MonkeyPatch, step: str, when: str
) -> None:
    """Killed before or after each step that writes, then begun again."""
    where = "handover.service.desk.issue_steps"

    def kill(real: Callable[..., object]) -> Callable[..., object]:
        def killed(*arguments: object, **options: object) -> object:
            if when == "after":
                real(*arguments, **options)
            raise Kill

        return killed

    with monkeypatch.context() as patch:
        patch.setattr(f"{where}.{step}", kill(__import__(where, fromlist=[step]).__dict__[step]))
        with pytest.raises(Kill):
            ask("one")
    desk_work.finish("one")
    outcome = outcome_of(desk, "one")
    assert outcome is not None
    assert (outcome.state, outcome.revision) == ("published", 1)
    assert desk.archive.bag(JOB).revisions == (1,)
    assert published(desk) == [(JOB, 1)]
    assert pending_keys(desk) == ()


def test_requests_of_a_job_are_published_in_the_order_of_arrival(
    desk: Desk, ask: Ask, desk_work: WorkAtOnce, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(IssueSteps, "issue", lambda *_: None)  # killed before its turn
        ask("one")
    assert ask("two", at="2026-07-14T18:00:00-04:00").revision == 2
    one = outcome_of(desk, "one")
    assert one is not None
    assert one.revision == 1
    desk_work.finish("one")
    assert desk.archive.bag(JOB).revisions == (1, 2)


def test_a_revision_that_somebody_else_has_archived_is_not_taken(
    desk: Desk, ask: Ask, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command line archives to the same folder while a request waits."""
    with monkeypatch.context() as patch:
        patch.setattr("handover.service.desk.issue_steps.archive_documents", lambda *_, **__: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            ask("one")
    pending = pending_request(desk, "one")
    assert pending is not None
    assert pending.revision == 1
    other = ask("other", at="2026-07-14T12:45:00-04:00")  # which ends the first one before
    assert other.revision == 2
    assert desk.archive.bag(JOB).revisions == (1, 2)


def test_a_failure_that_no_step_knows_ends_the_request(desk: Desk, desk_work: WorkAtOnce, ask: Ask) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(IssueSteps, "issue", lambda *_: None)
        ask("one")
    desk_work.steps.give_up("one", OSError(28, "No space left on device", "/archive"))
    outcome = outcome_of(desk, "one")
    assert outcome is not None
    assert outcome.state == "failed"
    assert "No space left on device" in str(outcome.findings[0])
    desk_work.finish("one")
    assert desk.archive.names() == []


def test_without_weather_and_contact_the_request_says_what_is_missing(
    desk: Desk, desk_work: WorkAtOnce, record_text: str
) -> None:
    from datetime import datetime  # noqa: PLC0415

    from handover.jobs.attached_files import MemoryFiles  # noqa: PLC0415
    from handover.jobs.reading import RecordSource  # noqa: PLC0415
    from handover.service.desk.requests import DeskRequest  # noqa: PLC0415

    text = record_text.replace('email = "office@example.com"\n', "")
    source = RecordSource("job.toml", text.encode(), MemoryFiles({}))
    receive(desk, DeskRequest("one", source, datetime.fromisoformat("2026-07-14T12:30:00-04:00"), "ana"))
    desk_work.finish("one")
    outcome = outcome_of(desk, "one")
    assert outcome is not None
    assert outcome.state == "refused"
    assert outcome.findings[0].field == "contractor.email"


def test_a_link_is_withdrawn_and_renewed(desk: Desk, ask: Ask) -> None:
    ask("one")
    first = link_of(desk, JOB)
    assert first is not None
    withdraw_link(desk, JOB, "ana")
    assert job_of_token(desk, first.token) is None
    assert link_of(desk, JOB) is None
    ask("two", at="2026-07-14T18:00:00-04:00")
    assert link_of(desk, JOB) is None, "a withdrawn link does not come back by itself"
    second = renew_link(desk, JOB, "ana")
    assert second.token != first.token
    assert job_of_token(desk, second.token) == JOB
    assert job_of_token(desk, first.token) is None
    third = renew_link(desk, JOB, "ana")
    assert job_of_token(desk, second.token) is None
    assert job_of_token(desk, third.token) == JOB
